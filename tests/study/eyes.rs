//! Several stills of an eye to one figure.

use crate::records::{figure, measured, run, stills_of_an_eye, write};
use crate::support::stillaxis;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use stillaxis::case_estimate::of_records;
use stillaxis::record::{Alignment, Outcome, Record, Still, VarianceParts};

fn audited(records: &[Value]) -> Value {
    let (done, answers) = run("audit", records, &[]);
    assert_eq!(done.code, Some(0), "{done:?}");
    answers.unwrap()
}

/// A figure of all eyes.
fn value(answers: &Value, section: &str, quantity: &str) -> f64 {
    let figure = figure(answers, section, "all eyes", quantity);
    figure["value"].as_f64().unwrap_or_else(|| panic!("a value in {figure}"))
}

#[track_caller]
fn close(got: f64, expected: f64) {
    assert!((got - expected).abs() < 1e-9, "{got} is not {expected}");
}

/// A record as the program makes it.
fn record(at: usize, error_deg: f64, parts: VarianceParts) -> Record {
    let still = Still {
        path: format!("{at}.jpg"),
        sha256: format!("sha {at}"),
        width_px: 640,
        height_px: 480,
        exif_orientation: 1,
        mirrored: false,
        pixel_aspect: 1.0,
        taken_at: None,
    };
    let case = BTreeMap::from([("case", "c"), ("patient", "p"), ("eye", "OD")].map(|(k, v)| (k.into(), v.into())));
    let sd = parts.sum().sqrt();
    let alignment = Alignment {
        error_deg,
        sd_deg: sd,
        interval95_deg: [error_deg - 2.0 * sd, error_deg + 2.0 * sd],
        reference_deg: 0.0,
        intended_deg: 0.0,
        lens_deg: error_deg.rem_euclid(180.0),
        lens_axis_in_eye_deg: None,
        marks_opposition_deg: None,
        offset_apparent_mm: None,
        offset_sd_mm: None,
        variance_parts_deg2: parts,
    };
    Record { alignment: Some(alignment), ..Record::new(still, case, Outcome::Measured) }
}

/// An eye has one error and one variance in `audit` and in cases.ndjson: of stills that agree, of stills one of which is read
/// worse, of stills one of which stands apart, and of stills that disagree.
#[test]
fn an_eye_is_the_same_in_audit_and_in_cases() {
    let parts =
        |lens_marks| VarianceParts { reference_marks: 0.05, lens_marks, limbus: 0.01, oval: 0.02, parallax: 0.04 };
    for stills in [
        vec![(1.0, 0.03), (1.2, 0.03), (0.8, 0.03)],
        vec![(1.0, 0.03), (1.2, 0.03), (1.6, 0.3)],
        vec![(2.0, 0.03), (2.2, 0.03), (1.9, 0.03), (14.0, 0.03)],
        vec![(0.0, 0.03), (2.0, 0.03)],
        vec![(89.5, 0.03), (-89.5, 0.03)],
        vec![(-3.0, 0.03)],
    ] {
        let records: Vec<Record> =
            stills.iter().enumerate().map(|(k, (error, lens))| record(k, *error, parts(*lens))).collect();
        let case = of_records(&records).remove(0).estimate.unwrap();
        let lines: Vec<Value> = records.iter().map(|record| serde_json::to_value(record).unwrap()).collect();
        let answers = audited(&lines);
        close(value(&answers, "Alignment", "mean error"), case.error_deg);
        close(value(&answers, "Alignment", "error of reading (SD)"), case.sd_deg);
        let apart = answers["notes"].to_string().contains("1 still stands apart from the others of its eye");
        assert_eq!(apart, case.used < case.measured, "{}", answers["notes"]);
    }
}

/// By hand: a variance that the record gives no source of is the still's own, a quarter of it left in four; of what is told the oval
/// is shared, so that 0.16 and a quarter of 0.25 - 0.16 are left.
#[test]
fn a_record_without_parts_is_read_all_the_same() {
    let mut records = stills_of_an_eye(&[1.0, 1.2, 0.8, 1.0]);
    records.iter_mut().for_each(|record| record["alignment"]["variance_parts_deg2"] = Value::Null);
    close(value(&audited(&records), "Alignment", "error of reading (SD)"), 0.25);
    records
        .iter_mut()
        .for_each(|record| record["alignment"]["variance_parts_deg2"] = json!({"oval": 0.16, "limbus": null}));
    close(value(&audited(&records), "Alignment", "error of reading (SD)"), (0.16 + 0.09 / 4.0_f64).sqrt());
}

/// Stills at 2 and -2 degrees: the lens stands at 0 and leaves nothing in percent. Of the J0 and J45 of a matched lens of 2 D the
/// mean is (2 sin t sin t, 0), 4 sin t sin t D. Where the eye's 0 is unknown there are none, and what the stills leave cancels
/// by its sense.
#[test]
fn what_stills_leave_is_added_by_direction() {
    let mut records = stills_of_an_eye(&[2.0, -2.0]);
    let answers = audited(&records);
    close(value(&answers, "Residual cylinder", "residual of the cylinder, mean"), 0.0);
    let sin = 2.0_f64.to_radians().sin();
    close(value(&answers, "Residual cylinder", "residual cylinder, mean"), 4.0 * sin * sin);
    close(value(&answers, "Residual cylinder", "centroid, power"), 4.0 * sin * sin);
    for record in &mut records {
        record["cylinder"]["j0_d"] = Value::Null;
        record["cylinder"]["j45_d"] = Value::Null;
    }
    close(value(&audited(&records), "Residual cylinder", "residual cylinder, mean"), 0.0);
    // Across a right angle: 89 and -89 are 2 degrees apart, and either leaves nearly 4 D.
    let mut records = stills_of_an_eye(&[89.0, -89.0]);
    close(value(&audited(&records), "Residual cylinder", "residual of the cylinder, mean"), 200.0);
    records.iter_mut().for_each(|record| record["cylinder"]["j0_d"] = Value::Null);
    close(value(&audited(&records), "Residual cylinder", "residual cylinder, mean"), 4.0 * 89.0_f64.to_radians().sin());
}

/// One still: what its record says, to the digit.
#[test]
fn a_single_still_keeps_its_residual() {
    let mut records = stills_of_an_eye(&[-3.0]);
    records[0]["cylinder"]["residual_d"] = json!(0.2096);
    let answers = audited(&records);
    close(value(&answers, "Residual cylinder", "residual cylinder, mean"), 0.2096);
    close(value(&answers, "Residual cylinder", "residual of the cylinder, mean"), 200.0 * 3.0_f64.to_radians().sin());
}

/// Dioptres of two planes in one eye have no mean: the eye has a percentage only, and the report says so.
#[test]
fn stills_of_two_planes_have_no_dioptres() {
    let mut records = stills_of_an_eye(&[2.0, 3.0]);
    records[1]["cylinder"]["plane"] = json!("lens");
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), &records);
    assert_eq!(stillaxis(folder.path(), ["audit", "records.ndjson", "--out", "out"], "").code, Some(0));
    let answers: Value = serde_json::from_slice(&std::fs::read(folder.path().join("out/audit.json")).unwrap()).unwrap();
    assert_eq!(figure(&answers, "Residual cylinder", "all eyes", "residual of the cylinder, mean")["eyes"], 1);
    assert!(!answers["sections"].to_string().contains("residual cylinder, mean"), "{answers:#}");
    assert!(
        answers["notes"].to_string().contains("1 eye has stills with dioptres of different planes"),
        "{}",
        answers["notes"]
    );
}

/// An eye whose stills are of two stages: audit and compare put them together and say so on standard error, with the stages as
/// `--stage` takes them. Eyes that differ from each other in stage are no such thing, nor are stills of a stage that was chosen.
#[test]
fn stills_of_several_stages_are_told_of() {
    let mut records = stills_of_an_eye(&[1.0, 1.2, 0.8]);
    let mut other = measured("q", "OD", "ink", 2.0, 0.5);
    other["case"]["stage"] = json!("follow-up");
    for (record, stage) in records.iter_mut().zip(["before the last turn", "end", " end "]) {
        record["case"]["stage"] = json!(stage);
    }
    records.push(other);
    let said = "1 eye has stills of several stages (\"before the last turn\", \"end\"), put together although the lens may have \
                been turned between them; --stage STAGE counts the stills of one stage only";
    for command in ["audit", "compare"] {
        let (done, answers) = run(command, &records, &[]);
        assert_eq!(
            (done.code, done.stderr.as_str()),
            (Some(0), format!("records.ndjson: {said}\n").as_str()),
            "{done:?}"
        );
        assert!(answers.unwrap()["notes"].as_array().unwrap().contains(&json!(format!("{said}."))));
        for (records, more) in [(&records[..], &["--stage", "end"][..]), (&records[2..], &[])] {
            let (done, answers) = run(command, records, more);
            assert_eq!(done.code, Some(0), "{done:?}");
            let told = done.stderr + &answers.unwrap()["notes"].to_string();
            assert!(!told.contains("several stages"), "{told}");
        }
    }
}
