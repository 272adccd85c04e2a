//! Several stills of one eye, all the way: drawn, measured with a sheet that names the case, combined, written.

mod support;

use std::path::Path;
use stillaxis::case_estimate::of_records;
use stillaxis::geometry::axis_difference;
use stillaxis::phantom;
use stillaxis::record::Record;
use support::{files, stillaxis};

const SEED: u64 = 3;
const STILLS: usize = 3;

/// Draw one eye under several tilts; gives the true errors.
fn drawn(folder: &Path) -> Vec<f64> {
    let scenes = phantom::views(SEED, 2, STILLS);
    let mut sheet = "still,case,patient,eye,intended_axis_deg\n".to_owned();
    let truths = scenes.iter().enumerate().map(|(k, scene)| {
        let drawing = phantom::draw(scene).unwrap();
        let name = format!("view{k}.{}", if scene.camera.jpeg_quality.is_some() { "jpg" } else { "png" });
        std::fs::write(folder.join(&name), phantom::encode(&drawing.picture, &scene.camera).unwrap()).unwrap();
        sheet.push_str(&format!("{name},thrush-od,thrush,OD,{}\n", scene.plan.intended_axis_deg));
        phantom::truth(scene, &name, &drawing.visibility).unwrap().alignment_error_deg.unwrap()
    });
    let truths = truths.collect();
    std::fs::write(folder.join("sheet.csv"), sheet).unwrap();
    truths
}

#[test]
fn stills_of_one_case() {
    let folder = tempfile::tempdir().unwrap();
    let truths = drawn(folder.path());
    let run = stillaxis(folder.path(), ["measure", ".", "--sheet", "sheet.csv", "--out", "out"], "");
    assert_eq!(run.code, Some(0), "{run:?}");
    let out = folder.path().join("out");
    let text = std::fs::read_to_string(out.join("cases.ndjson")).unwrap();
    assert_eq!(text.lines().count(), 1);
    let case: serde_json::Value = serde_json::from_str(&text).unwrap();

    let schema = stillaxis(folder.path(), ["schema", "--cases"], "");
    let schema: serde_json::Value = serde_json::from_str(&schema.stdout).unwrap();
    assert!(jsonschema::is_valid(&schema, &case), "{case}");
    assert!(schema["properties"]["estimate"].is_object() && !jsonschema::is_valid(&schema, &serde_json::json!({})));

    // The estimate holds the truth, is better than the worst of its stills, and its files say the same.
    let estimate = &case["estimate"];
    let error = estimate["error_deg"].as_f64().unwrap();
    let truth = truths.iter().sum::<f64>() / truths.len() as f64;
    let off = |error: f64| axis_difference(truth, error).abs();
    let half =
        (estimate["interval95_deg"][1].as_f64().unwrap() - estimate["interval95_deg"][0].as_f64().unwrap()) / 2.0;
    assert!(off(error) < half && off(error) < 0.3, "{error} of {truths:?}: {case}");
    let stills: Vec<Record> = std::fs::read_to_string(out.join("measurements.ndjson"))
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let errors: Vec<f64> = stills.iter().map(|r| r.alignment.as_ref().unwrap().error_deg).collect();
    assert!(off(error) <= errors.iter().map(|e| off(*e)).fold(0.0, f64::max) + 1e-9);
    let shared = estimate["shared_sd_deg"].as_f64().unwrap();
    assert!(shared > 0.0 && estimate["sd_deg"].as_f64().unwrap() >= shared);
    let mut table = csv::Reader::from_path(out.join("cases.csv")).unwrap();
    let heading: Vec<String> = table.headers().unwrap().iter().map(str::to_owned).collect();
    let row = table.records().next().unwrap().unwrap();
    let cell = |name: &str| &row[heading.iter().position(|h| h == name).unwrap()];
    assert_eq!((cell("case"), cell("stills_used")), ("thrush-od", "3"));
    assert_eq!(cell("alignment_error_deg").parse::<f64>().unwrap(), error);
    let page = std::fs::read_to_string(out.join("report.html")).unwrap();
    assert!(page.contains("thrush-od") && page.contains("Spread of the stills"));

    // One still gone astray: named, left out, and hardly felt.
    let mut astray = stills.clone();
    let alignment = astray[1].alignment.as_mut().unwrap();
    alignment.error_deg = axis_difference(0.0, alignment.error_deg + 25.0);
    let with = &of_records(&astray)[0];
    let moved = axis_difference(error, with.estimate.as_ref().unwrap().error_deg).abs();
    assert!(moved < 0.5, "moved by {moved}");
    assert_eq!(with.stills[1].weight, 0.0);
    assert!(with.warnings.iter().any(|w| w.contains("view1") && w.contains("stands apart")), "{:?}", with.warnings);

    // Another stage is another estimate; an excluded still does not count.
    let mut staged = stills.clone();
    staged[0].case.insert("stage".into(), "before turning".into());
    staged[2].case.insert("exclude".into(), "true".into());
    let cases = of_records(&staged);
    assert_eq!(cases.len(), 2);
    assert_eq!(cases[1].estimate.as_ref().unwrap().used, 1);
    assert_eq!(cases[1].stills[1].left_out.as_deref(), Some("excluded by the case sheet"));

    // Without a case in the sheet there are no files of cases, not even those of an earlier run.
    std::fs::write(folder.path().join("plain.csv"), "still,intended_axis_deg\nview0.jpg,40\n").unwrap();
    let name = files(folder.path()).into_iter().find(|f| f.starts_with("view0")).unwrap();
    let run = stillaxis(folder.path(), ["measure", &name, "--sheet", "plain.csv", "--out", "out"], "");
    assert!(run.code.is_some_and(|code| code < 2), "{run:?}");
    assert!(files(&out).iter().all(|file| !file.contains("cases")), "{:?}", files(&out));
}
