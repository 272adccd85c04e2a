//! The command line: exit codes, standard input and output, order, and the same bytes every time.

mod support;

use image::ImageFormat;
use std::fs;
use std::io::Read;
use std::process::{Command, Stdio};
use support::{encoded, plain_picture, records, stillaxis};

fn folder_with(stills: &[&str]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder for temporary files");
    for (at, still) in stills.iter().enumerate() {
        let mut picture = plain_picture();
        picture.put_pixel(0, 0, image::Rgb([at as u8; 3]));
        let path = folder.path().join(still);
        fs::create_dir_all(path.parent().expect("in the folder")).expect("made");
        fs::write(path, encoded(&picture, ImageFormat::Png)).expect("written");
    }
    folder
}

/// The codes that the help names: 0 all measured, 1 some refused or unreadable, 2 the run itself could not be done.
#[test]
fn exit_codes() {
    let table: [(&[&str], i32, &str); 12] = [
        (&["--version"], 0, "stdout"),
        (&["--help"], 0, "stdout"),
        (&["measure", "--help"], 0, "stdout"),
        (&["schema"], 0, "stdout"),
        (&["measure", "x.png", "--out", "out"], 1, "stderr"),
        (&["measure", "missing.png", "--out", "out"], 1, "stderr"),
        (&[], 2, "stderr"),
        (&["weigh"], 2, "stderr"),
        (&["measure"], 2, "stderr"),
        (&["measure", "x.png"], 2, "stderr"),
        (&["measure", "x.png", "--out", "out", "--jobs", "0"], 2, "stderr"),
        (&["measure", "x.png", "--out", "x.png"], 2, "stderr"),
    ];
    let folder = folder_with(&["x.png"]);
    for (args, code, stream) in table {
        let run = stillaxis(folder.path(), args, "");
        assert_eq!(run.code, Some(code), "{run:?}");
        let (used, unused) = if stream == "stdout" { (&run.stdout, &run.stderr) } else { (&run.stderr, &run.stdout) };
        assert!(!used.is_empty() && unused.is_empty(), "{run:?}");
    }
    let version = stillaxis(folder.path(), ["--version"], "");
    assert_eq!(version.stdout, format!("stillaxis {}\n", env!("CARGO_PKG_VERSION")));
    let help = stillaxis(folder.path(), ["--help"], "").stdout;
    assert!(
        help.contains("0 every still measured, 1 some refused or unreadable, 2 the run itself could not be done"),
        "{help}"
    );
}

/// Those of a few drawn stills that can be measured, measured by themselves.
#[test]
fn the_exit_code_is_0_when_every_still_is_measured() {
    let folder = folder_with(&[]);
    let drawn = stillaxis(folder.path(), ["simulate", "--out", "drawn", "--count", "4", "--difficulty", "easy"], "");
    assert_eq!(drawn.code, Some(0), "{drawn:?}");
    let measure = |stills: &[String]| {
        let common = ["--sheet", "drawn/cases.csv", "--out", "out"].map(str::to_owned);
        stillaxis(folder.path(), [&["measure".to_owned()], stills, &common].concat(), "")
    };
    let all = measure(&["drawn".to_owned()]);
    let records = records(&folder.path().join("out"));
    assert_eq!(records.len(), 4, "{all:?}");
    let measured = records.iter().filter(|record| record["outcome"] == "measured");
    let measured: Vec<String> =
        measured.filter_map(|record| record["still"]["path"].as_str()).map(str::to_owned).collect();
    assert!(!measured.is_empty(), "{all:?}");
    let run = measure(&measured);
    assert_eq!(run.code, Some(0), "{run:?}");
    assert!(run.stderr.contains(&format!("{} measured, 0 refused\n", measured.len())), "{run:?}");
}

/// One picture a stage, each of the still's own size.
#[test]
fn stages_are_drawn_on_demand() {
    let folder = folder_with(&[]);
    let drawn = ["simulate", "--out", "drawn", "--count", "1", "--difficulty", "easy"];
    assert_eq!(stillaxis(folder.path(), drawn, "").code, Some(0));
    let measure = ["measure", "drawn", "--out", "out", "--debug-dir", "stages"];
    let run = stillaxis(folder.path(), measure, "");
    let size = {
        let record = &records(&folder.path().join("out"))[0];
        assert!(record["limbus"].is_object(), "{run:?}");
        [&record["still"]["width_px"], &record["still"]["height_px"]].map(|v| v.as_u64().expect("a size") as u32)
    };
    for stage in ["1-limbus-candidates", "2-limbus", "3-reference-marks", "4-lens-marks"] {
        let path = folder.path().join(format!("stages/0001-still_0000-{stage}.jpg"));
        let picture = image::open(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        assert_eq!([picture.width(), picture.height()], size, "{stage}");
    }
}

#[test]
fn records_fit_the_schema_that_is_printed() {
    let folder = folder_with(&["x.png"]);
    let printed = stillaxis(folder.path(), ["schema"], "").stdout;
    let schema: serde_json::Value = serde_json::from_str(&printed).expect("JSON");
    let validator = jsonschema::validator_for(&schema).expect("a schema");
    stillaxis(folder.path(), ["measure", "x.png", "missing.png", "--out", "out"], "");
    let records = records(&folder.path().join("out"));
    assert_eq!(records.len(), 2);
    for record in &records {
        assert!(validator.is_valid(record), "{record}");
    }
    let mut wrong = records[0].clone();
    wrong["outcome"] = "guessed".into();
    assert!(!validator.is_valid(&wrong));
}

#[test]
fn stills_are_listed_on_standard_input_and_kept_in_order() {
    let folder = folder_with(&["b.png", "a.png", "more/d.png", "more/c.png"]);
    let run = stillaxis(folder.path(), ["measure", "-", "--out", "out"], "b.png\r\n\nmore\na.png\n");
    assert_eq!(run.code, Some(1), "{run:?}");
    let paths: Vec<_> = records(&folder.path().join("out")).iter().map(|r| r["still"]["path"].clone()).collect();
    assert_eq!(paths, ["b.png", "more/c.png", "more/d.png", "a.png"]);
    let order: Vec<_> = run.stderr.lines().take(4).map(|line| line.split(':').next().unwrap_or_default()).collect();
    assert_eq!(order, ["b.png", "more/c.png", "more/d.png", "a.png"], "{run:?}");
}

#[test]
fn the_same_bytes_whatever_the_number_of_threads() {
    let names: Vec<String> = (0..12).map(|n| format!("{n:02}.png")).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let folder = folder_with(&names);
    fs::write(folder.path().join("05.png"), "no picture").expect("written");
    let outputs = ["1", "7", "7"].map(|jobs| {
        let out = tempfile::tempdir().expect("a folder for temporary files");
        let run =
            stillaxis(folder.path(), ["measure", ".", "--jobs", jobs, "--out", &out.path().to_string_lossy()], "");
        assert_eq!(run.code, Some(1), "{run:?}");
        let files = support::files(out.path());
        assert_eq!(files.len(), 3 + 11, "{files:?}");
        files.into_iter().map(|file| (fs::read(out.path().join(&file)).expect("readable"), file)).collect::<Vec<_>>()
    });
    assert!(outputs[0] == outputs[1] && outputs[1] == outputs[2]);
}

#[test]
fn a_second_run_replaces_the_first_and_does_not_measure_its_overlays() {
    let folder = folder_with(&["x.png", "y.png"]);
    for _ in 0..2 {
        let run = stillaxis(folder.path(), ["measure", ".", "--out", "out"], "");
        assert_eq!(run.code, Some(1), "{run:?}");
        assert_eq!(records(&folder.path().join("out")).len(), 2, "{run:?}");
    }
}

/// Overlays of the run before whose stills this run has not are removed; what else lies there stays.
#[test]
fn overlays_that_a_run_does_not_write_do_not_stay() {
    let folder =
        folder_with(&["a/x.png", "b/x.png", "y.png", "z.png", "out/overlays/mine.jpg", "out/overlays/z.bak.png"]);
    let overlays = || support::files(&folder.path().join("out/overlays"));
    let measure = |stills: &[&str]| {
        let run = stillaxis(folder.path(), [&["measure"][..], stills, &["--out", "out"]].concat(), "");
        assert_eq!(run.code, Some(1), "{run:?}");
    };
    measure(&["a/x.png", "b/x.png", "y.png", "z.png"]);
    assert_eq!(overlays(), ["a_x_png.jpg", "b_x_png.jpg", "mine.jpg", "y.jpg", "z.bak.png", "z.jpg"]);
    // A still that can no longer be read has no overlay.
    fs::write(folder.path().join("z.png"), "no picture").expect("written");
    measure(&["a/x.png", "y.png", "z.png"]);
    assert_eq!(overlays(), ["mine.jpg", "x.jpg", "y.jpg", "z.bak.png"]);
    // Without records that say what an earlier run wrote nothing is removed.
    fs::write(folder.path().join("out/measurements.ndjson"), "no record\n").expect("written");
    measure(&["a/x.png"]);
    assert_eq!(overlays(), ["mine.jpg", "x.jpg", "y.jpg", "z.bak.png"]);
}

/// Overlays and stages of any run are left out of folders, and it is said; what is named is measured.
#[test]
fn pictures_that_earlier_runs_wrote_are_not_taken_for_stills() {
    let folder = folder_with(&["in/x.png", "in/overlays/y.png", "in/w-2-limbus.jpg", "in/001-w-2-limbus.jpg"]);
    let measured = |args: &[&str]| {
        let run = stillaxis(folder.path(), [&["measure"][..], args].concat(), "");
        let out = folder.path().join(args[args.iter().position(|arg| *arg == "--out").expect("given") + 1]);
        let records = records(&out);
        (records.iter().map(|r| r["still"]["path"].as_str().unwrap_or_default().to_owned()).collect::<Vec<_>>(), run)
    };
    let stills = ["in/001-w-2-limbus.jpg", "in/overlays/y.png", "in/w-2-limbus.jpg", "in/x.png"];
    let (first, run) = measured(&["in", "--out", "in/run", "--debug-dir", "in/run/stages"]);
    assert_eq!(first, stills, "{run:?}");
    let (second, run) = measured(&["in", "--out", "elsewhere", "--debug-dir", "in"]);
    assert_eq!(second, stills, "{run:?}");
    assert!(run.stderr.contains("in/run/overlays: overlays of an earlier run; left out\n"), "{run:?}");
    assert!(run.stderr.contains("in/run/stages: 4 pictures of stages of an earlier run; left out\n"), "{run:?}");
    let (third, run) = measured(&["in", "--out", "elsewhere"]);
    assert_eq!(third, stills, "{run:?}");

    let (named, run) =
        measured(&["in/run/overlays/x.jpg", "in/run/stages/0004-x-1-limbus-candidates.jpg", "--out", "third"]);
    assert_eq!(named, ["in/run/overlays/x.jpg", "in/run/stages/0004-x-1-limbus-candidates.jpg"], "{run:?}");
    let (some, run) = measured(&["in/run", "in/x.png", "--out", "fourth"]);
    assert_eq!(some, ["in/x.png"], "{run:?}");
    assert!(run.stderr.contains("in/run: no pictures in this folder"), "{run:?}");
    let inside = stillaxis(&folder.path().join("in/run/overlays"), ["measure", ".", "--out", "../../../fifth"], "");
    assert_eq!(inside.code, Some(2), "{inside:?}");
}

#[test]
fn overlays_of_like_names_do_not_replace_each_other() {
    let folder = folder_with(&["a/x.png", "b/x.png", "b/X.tif", "y.png", "b_x_png.png"]);
    let args = ["measure", "a/x.png", "b/x.png", "b/X.tif", "y.png", "b_x_png.png", "--out", "out"];
    let run = stillaxis(folder.path(), args, "");
    assert_eq!(run.code, Some(1), "{run:?}");
    let overlays = support::files(&folder.path().join("out/overlays"));
    assert_eq!(overlays, ["a_x_png.jpg", "b_X_tif.jpg", "b_x_png.jpg", "b_x_png_2.jpg", "y.jpg"]);
}

#[test]
fn the_sheet_goes_into_the_record_and_what_fits_nothing_is_said() {
    let folder = folder_with(&["x.png", "y.png"]);
    let sheet = "still,patient,note\nx.png,p1,first of two\nz.png,p2,\n";
    fs::write(folder.path().join("cases.csv"), sheet).expect("written");
    let run = stillaxis(folder.path(), ["measure", ".", "--sheet", "cases.csv", "--out", "out"], "");
    assert_eq!(run.code, Some(1), "{run:?}");
    for said in [
        "cases.csv: carried through as they are: note\n",
        "cases.csv: 1 row for none of the stills given: z.png (line 3)\n",
        "cases.csv: no row for 1 still: ./y.png\n",
    ] {
        assert!(run.stderr.contains(said), "{said:?} in {run:?}");
    }
    let records = records(&folder.path().join("out"));
    let case = serde_json::json!({"still": "x.png", "patient": "p1", "note": "first of two"});
    assert_eq!(records[0]["case"], case);
    assert_eq!(records[0]["warnings"], serde_json::json!([]));
    assert_eq!(records[1]["case"], serde_json::json!({}));
    assert!(
        records[1]["warnings"][0].as_str().is_some_and(|w| w.contains("has no row for this still")),
        "{}",
        records[1]
    );
}

/// Without a sheet nothing tells what the marks stand for: the record says what was taken for granted.
#[test]
fn no_sheet_is_said_in_the_record() {
    let folder = folder_with(&["x.png"]);
    stillaxis(folder.path(), ["measure", "x.png", "--out", "out"], "");
    let expected = ["no case sheet was given: the marks were taken to stand on the intended axis"];
    assert_eq!(records(&folder.path().join("out"))[0]["warnings"], serde_json::json!(expected));
}

/// A case sheet is called as a table of the results is, and may lie where the results go.
#[test]
fn what_a_run_reads_and_what_no_run_wrote_stays() {
    let folder = folder_with(&["in/x.png"]);
    let sheet = folder.path().join("in/cases.csv");
    let kept = |text: &str| assert_eq!(fs::read_to_string(&sheet).expect("still there"), text);
    let measure = |args: &[&str]| stillaxis(folder.path(), [&["measure", "in"], args].concat(), "");

    // No cases: nothing is to be written there.
    let alone = "still,patient\nx.png,p1\n";
    fs::write(&sheet, alone).expect("written");
    for args in [&["--out", "in"][..], &["--sheet", "in/cases.csv", "--out", "in"]] {
        assert_eq!(measure(args).code, Some(1));
        kept(alone);
    }
    let of_case = "still,case\nx.png,c1\n";
    fs::write(&sheet, of_case).expect("written");
    let run = measure(&["--sheet", "in/cases.csv", "--out", "in/../in"]);
    assert_eq!(run.code, Some(2), "{run:?}");
    assert!(run.stderr.contains("in/../in/cases.csv: would be written over, and is read by this run"), "{run:?}");
    kept(of_case);
    fs::write(folder.path().join("other.csv"), of_case).expect("written");
    let run = measure(&["--sheet", "other.csv", "--out", "in"]);
    assert_eq!(run.code, Some(2), "{run:?}");
    assert!(run.stderr.contains("in/cases.csv: would be written over, and no earlier run wrote it"), "{run:?}");
    kept(of_case);

    // What a run wrote is replaced by the next, and removed by one without cases.
    for _ in 0..2 {
        assert_eq!(measure(&["--sheet", "other.csv", "--out", "out"]).code, Some(1));
        assert!(folder.path().join("out/cases.csv").is_file());
    }
    measure(&["--out", "out"]);
    assert!(!folder.path().join("out/cases.csv").exists() && !folder.path().join("out/cases.ndjson").exists());
}

/// A reader that has seen enough is no fault, and neither is nobody listening.
#[test]
fn closed_pipes_end_quietly() {
    let folder = folder_with(&["x.png"]);
    let start = |args: &[&str]| {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin!("stillaxis"));
        command
            .args(args)
            .current_dir(folder.path())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        command.spawn().expect("the binary is built")
    };
    let mut schema = start(&["schema"]);
    drop(schema.stdout.take());
    let mut said = String::new();
    schema.stderr.take().expect("piped").read_to_string(&mut said).expect("UTF-8");
    assert_eq!((schema.wait().expect("ended").code(), said.as_str()), (Some(0), ""));

    let mut measure = start(&["measure", "x.png", "missing.png", "--out", "out"]);
    drop(measure.stderr.take());
    assert_eq!(measure.wait().expect("ended").code(), Some(1));
    assert_eq!(records(&folder.path().join("out")).len(), 2);
}
