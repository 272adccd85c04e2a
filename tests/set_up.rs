//! `simulate --study`: what a camera can be expected to give.

mod support;

use stillaxis::phantom::{self, Difficulty, MarkForm, SetUp, recorded_by};
use stillaxis::statistics::descriptive::median;
use stillaxis::stills::load::{Recording, load};
use stillaxis::vision::sharpness::sharpness;
use support::{files, stillaxis};

/// Blur and noise of drawn stills are read off them: medians as `--like` takes them. Little in an eye has a sharp edge, so that the
/// blur comes back within a third only.
#[test]
fn blur_and_noise_of_stills() {
    for (blur_px, noise_levels) in [(1.0, 1.5), (1.8, 3.0)] {
        let set_up = SetUp { width_px: 800, height_px: 600, limbus_radius_px: 180.0, blur_px, noise_levels };
        let folder = tempfile::tempdir().unwrap();
        let found: Vec<_> = (0..8)
            .map(|still| {
                let scene = recorded_by(&set_up, MarkForm::Line, Difficulty::Easy, 4, still).unwrap();
                let drawing = phantom::draw(&scene).unwrap();
                let path = folder.path().join("still.png");
                std::fs::write(&path, phantom::encode(&drawing.picture, &scene.camera).unwrap()).unwrap();
                sharpness(&load(&path, Recording::default()).unwrap().picture).unwrap()
            })
            .collect();
        let blur = median(&found.iter().filter_map(|s| s.blur_px).collect::<Vec<_>>()).unwrap();
        let noise = median(&found.iter().map(|s| s.noise_levels).collect::<Vec<_>>()).unwrap();
        assert!((blur / blur_px - 1.0).abs() < 0.34, "blur {blur_px}: {blur:.2}");
        assert!((noise / noise_levels - 1.0).abs() < 0.2, "noise {noise_levels}: {noise:.2}");
    }
}

/// Table, JSON, CSV and chart say the same of all forms of marks, the camera is the one asked for, and the seed is told.
#[test]
fn a_study_of_a_set_up() {
    let folder = tempfile::tempdir().unwrap();
    let args = ["simulate", "--study", "--count", "3", "--seed", "5", "--difficulty", "easy", "--out", "out"];
    let camera = ["--width", "480", "--height", "360", "--limbus-radius", "110", "--blur", "0.7", "--noise", "1"];
    let run = stillaxis(folder.path(), args.into_iter().chain(camera), "");
    assert_eq!(run.code, Some(0), "{run:?}");
    assert!(run.stdout.contains("480 x 360 px") && run.stdout.contains("seed 5"), "{run:?}");
    let out = folder.path().join("out");
    assert_eq!(files(&out), ["study.csv", "study.json", "study.svg"]);
    let study: serde_json::Value = serde_json::from_slice(&std::fs::read(out.join("study.json")).unwrap()).unwrap();
    assert_eq!(study["set_up"]["limbus_radius_px"], 110.0);
    let forms = study["forms"].as_array().unwrap();
    assert_eq!(forms.len(), 6);
    let mut table = csv::Reader::from_path(out.join("study.csv")).unwrap();
    let high = table.headers().unwrap().iter().position(|name| name == "p95_error_high95_deg").unwrap();
    assert!(run.stdout.contains("(at least "), "{run:?}");
    let svg = std::fs::read_to_string(out.join("study.svg")).unwrap();
    for (form, row) in forms.iter().zip(table.records()) {
        let row = row.unwrap();
        let name = form["form"].as_str().unwrap();
        assert_eq!((&row[0], &row[1]), (name, "3"));
        assert_eq!(form["measured"].as_u64().unwrap().to_string(), row[2]);
        // Three stills do not tell what 95 % of the errors stay below.
        let p95 = &form["p95_error_deg"]["interval95"];
        assert!(p95.is_null() || p95[0].is_number() && p95[1].is_null(), "{form}");
        assert_eq!(&row[high], "");
        assert!(svg.contains(name) && run.stdout.contains(name));
        // Sharp stills without faults are read to a fraction of a degree.
        assert!(form["rms_error_deg"]["value"].as_f64().is_none_or(|rms| rms < 1.0), "{form}");
    }
    assert!(forms.iter().map(|f| f["measured"].as_u64().unwrap()).sum::<u64>() > 9, "{forms:?}");
}

/// A folder of stills says what camera took them: the commonest size, not the odd one or an overlay of an earlier run.
#[test]
fn a_camera_like_that_of_a_folder() {
    let folder = tempfile::tempdir().unwrap();
    let stills = folder.path().join("stills");
    std::fs::create_dir_all(stills.join("out/overlays")).unwrap();
    std::fs::write(stills.join("out/measurements.ndjson"), "").unwrap();
    let set_up = SetUp { width_px: 480, height_px: 400, limbus_radius_px: 120.0, blur_px: 1.2, noise_levels: 2.0 };
    for still in 0..3 {
        let scene = recorded_by(&set_up, MarkForm::Stroke, Difficulty::Easy, 6, still).unwrap();
        phantom::draw(&scene).unwrap().picture.save(stills.join(format!("{still}.png"))).unwrap();
    }
    let odd = image::RgbImage::from_pixel(640, 640, image::Rgb([90; 3]));
    for name in ["odd.png", "out/overlays/0.png", "out/overlays/1.png", "out/overlays/2.png"] {
        odd.save(stills.join(name)).unwrap();
    }
    let args = ["simulate", "--study", "--count", "1", "--difficulty", "easy", "--like", "stills", "--out", "out"];
    let run = stillaxis(folder.path(), args, "");
    assert_eq!(run.code, Some(0), "{run:?}");
    assert!(run.stderr.contains("3 of 4 stills looked at are of 480 x 400 px"), "{run:?}");
    let study = std::fs::read(folder.path().join("out/study.json")).unwrap();
    let study: serde_json::Value = serde_json::from_slice(&study).unwrap();
    let radius = study["set_up"]["limbus_radius_px"].as_f64().unwrap();
    assert!((radius / 120.0 - 1.0).abs() < 0.05, "{radius}");
    assert!((study["set_up"]["noise_levels"].as_f64().unwrap() / 2.0 - 1.0).abs() < 0.2);
}

#[test]
fn what_cannot_be_studied() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("empty")).unwrap();
    for (args, said) in [
        (vec!["--blur=-1"], "expected 0 to 20 px"),
        (vec!["--noise", "much"], "expected a number of levels"),
        (vec!["--width", "100"], "240..=4096"),
        (vec!["--limbus-radius", "900"], "expected 60 to"),
        (vec!["--like", "empty"], "no still that can be read"),
    ] {
        let run = stillaxis(folder.path(), ["simulate", "--study", "--out", "out"].into_iter().chain(args), "");
        assert_eq!(run.code, Some(2), "{run:?}");
        assert!(run.stderr.contains(said), "{run:?}");
    }
    let run = stillaxis(folder.path(), ["simulate", "--blur", "1", "--out", "out"], "");
    assert_eq!(run.code, Some(2), "{run:?}");
}
