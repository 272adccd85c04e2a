//! Records and readings that cannot be used: told of, counted, and what can be said is said.

use crate::records::{figure, included, measured, refused, run, two_groups, write};
use crate::support::stillaxis;
use serde_json::{Value, json};

/// Every record is accounted for: what is left out and what is counted add up to what was read.
#[test]
fn nothing_is_dropped_silently() {
    let mut records = two_groups();
    let mut other = measured("v", "OD", "broad", 1.0, 0.5);
    other["schema"] = json!(99);
    let mut excluded = measured("x", "OD", "broad", 1.0, 0.5);
    excluded["case"]["exclude"] = json!("TRUE");
    excluded["case"]["exclude_reason"] = json!("zonules torn");
    let mut blank = measured("y", "OD", "broad", 1.0, 0.5);
    blank["alignment"]["error_deg"] = Value::Null;
    let mut far = measured("z", "OD", "broad", 1.0, 0.5);
    far["alignment"]["error_deg"] = json!(123.0);
    let twice = records[0].clone();
    let unknown = refused("w", "OD", "broad", "a_reason_to_come");
    records.extend([other, excluded, blank, far, twice, json!({"schema": 1}), json!("text"), unknown]);
    let (done, answers) = run("audit", &records, &[]);
    let answers = answers.unwrap_or_else(|| panic!("{done:?}"));
    assert_eq!(done.code, Some(1), "{done:?}");
    let expected = [
        ("records read", 34),
        ("left out: a record of another schema version", 1),
        ("left out: left out by the case sheet: zonules torn", 1),
        ("left out: measured, but without a usable angle", 2),
        ("left out: the same still again: the first record counts", 1),
        ("left out: not a record", 2),
        ("counted: measured", 26),
        ("counted: refused, a reason to come", 1),
    ];
    for (what, count) in expected {
        assert_eq!(included(&answers, what), count, "{what}");
    }
    let all = answers["inclusions"].as_array().unwrap();
    let all = all.iter().map(|i| (i["what"].as_str().unwrap(), i["records"].as_u64().unwrap()));
    let parts = all.filter(|(what, _)| what.starts_with("left out: ") || what.starts_with("counted: "));
    assert_eq!(parts.map(|(_, count)| count).sum::<u64>(), 34);
    for said in [
        "line 27: a record of another schema version: found schema 99, expected 1",
        "line 29: measured, but without a usable angle: error_deg is null",
        "error_deg is 123, expected -90 to 90",
    ] {
        assert!(done.stderr.contains(said), "{said}: {done:?}");
    }
}

/// What cannot be used gives exit code 1, with --stage as well; what was left out on wish does not, whatever its reason is called.
#[test]
fn what_was_asked_for_is_no_fault() {
    let mut records = two_groups();
    for (k, record) in records.iter_mut().enumerate() {
        record["case"]["stage"] = json!(if k < 13 { "before" } else { "end" });
    }
    let mut excluded = measured("x", "OD", "broad", 1.0, 0.5);
    excluded["case"]["stage"] = json!("end");
    excluded["case"]["exclude"] = json!("true");
    excluded["case"]["exclude_reason"] = json!("not a record");
    records.push(excluded);
    for (more, args, code) in [
        (None, &["--stage", "end"][..], 0),
        (None, &[], 0),
        (Some(json!("text")), &["--stage", "end"], 1),
        (Some(json!("text")), &[], 1),
        (Some(records[20].clone()), &["--stage", "end"], 1),
    ] {
        let all: Vec<Value> = records.iter().cloned().chain(more).collect();
        for command in ["audit", "compare"] {
            let (done, _) = run(command, &all, args);
            assert_eq!(done.code, Some(code), "{args:?} {done:?}");
        }
    }
}

/// NaN is no JSON: such a line is no record.
#[test]
fn nan_is_told_of() {
    let folder = tempfile::tempdir().unwrap();
    let file = write(folder.path(), &two_groups());
    let text = std::fs::read_to_string(&file).unwrap();
    let with_nan = text.replacen("\"error_deg\":-6.0", "\"error_deg\":NaN", 1);
    assert_ne!(text, with_nan);
    std::fs::write(&file, with_nan).unwrap();
    let done = stillaxis(folder.path(), ["audit", "records.ndjson", "--out", "out"], "");
    assert_eq!(done.code, Some(1), "{done:?}");
    assert!(done.stderr.contains("records.ndjson: line 1: not a record: expected value"), "{done:?}");
}

/// All refused: an audit says so; there is no page without any record.
#[test]
fn all_refused() {
    let records: Vec<Value> = (0..6).map(|k| refused(&format!("p{k}"), "OD", "ink", "limbus_not_found")).collect();
    let (done, answers) = run("audit", &records, &["--by", "technique"]);
    let answers = answers.unwrap_or_else(|| panic!("{done:?}"));
    assert!(done.stdout.starts_with("No eye of 6 has a figure"), "{done:?}");
    assert_eq!(figure(&answers, "Alignment", "technique: ink", "mean error")["note"], "no eye measured");
    assert_eq!(figure(&answers, "Eyes without a figure", "all eyes", "limbus not found")["value"], 6.0);
    let (done, answers) = run("compare", &records, &[]);
    assert_eq!(answers.unwrap_or_else(|| panic!("{done:?}"))["headline"], "Nothing to compare");
}

/// A group of one has no spread and is compared with nothing, and the report says so.
#[test]
fn a_group_of_one() {
    let mut records = two_groups();
    records.push(measured("one", "OD", "alone", 3.0, 0.5));
    let (done, answers) = run("compare", &records, &[]);
    let answers = answers.unwrap_or_else(|| panic!("{done:?}"));
    assert!(answers["notes"].to_string().contains("alone has one eye measured"), "{answers:#}");
    assert!(figure(&answers, "Groups", "alone", "spread (SD)")["value"].is_null());
    figure(&answers, "Differences", "broad − narrow", "spread, ratio");
    let (_, answers) = run("audit", &[measured("one", "OD", "alone", 3.0, 0.5)], &[]);
    let spread = answers.unwrap();
    let spread = figure(&spread, "Alignment", "all eyes", "spread (SD)");
    assert_eq!((&spread["value"], &spread["note"]), (&Value::Null, &json!("one eye has no spread")));
}

/// Of few patients the mean error has an interval, a spread has none and says why; shares that are all or none in both groups
/// differ by nothing, with an interval that does not say so for certain.
#[test]
fn few_patients_give_few_intervals() {
    let records = [two_groups()[2..6].to_vec(), two_groups()[14..18].to_vec()].concat();
    let (_, answers) = run("audit", &records, &["--by", "technique"]);
    let answers = answers.unwrap();
    let of = |quantity: &str| figure(&answers, "Alignment", "technique: broad", quantity).clone();
    assert!(of("mean error")["interval95"].is_array());
    assert!(of("spread (SD)")["interval95"].is_null());
    assert!(of("spread (SD)")["note"].as_str().unwrap().contains("too few patients"), "{}", of("spread (SD)"));
    let (_, answers) = run("compare", &records, &[]);
    let answers = answers.unwrap();
    let of = |quantity: &str| figure(&answers, "Differences", "broad − narrow", quantity);
    assert_eq!(of("spread, ratio")["note"], "no interval: too few patients");
    let within = of("within 5°, difference");
    assert_eq!(within["value"], 0.0);
    // Newcombe's method 10 of 4/4 and 4/4: Wilson's interval of 4/4 begins at 1 / (1 + 1.96^2 / 4) = 0.510.
    assert!((within["interval95"][1].as_f64().unwrap() - 49.0).abs() < 0.1, "{within}");
}

/// Dioptres of different planes are different units: those of the lens are left out of them, and counted.
#[test]
fn mixed_planes() {
    let mut records = two_groups();
    for record in &mut records[..5] {
        record["cylinder"]["plane"] = json!("lens");
    }
    let (_, answers) = run("audit", &records, &[]);
    let answers = answers.unwrap();
    assert_eq!(figure(&answers, "Residual cylinder", "all eyes", "residual cylinder, mean")["eyes"], 21);
    assert_eq!(figure(&answers, "Residual cylinder", "all eyes", "residual of the cylinder, mean")["eyes"], 26);
    assert!(answers["sections"].to_string().contains("5 eyes have theirs in the plane of the lens only"));
}

/// Without patients intervals are wider, and no test is made.
#[test]
fn an_unnamed_patient_is_not_independent() {
    let named = two_groups();
    let mut unnamed = named.clone();
    unnamed.iter_mut().for_each(|record| record["case"]["patient"] = json!(""));
    let width = |answers: &Value| {
        let interval = &figure(answers, "Differences", "broad − narrow", "spread, ratio")["interval95"];
        (interval[1].as_f64().unwrap() / interval[0].as_f64().unwrap()).ln()
    };
    let (named, unnamed) = (run("compare", &named, &[]).1.unwrap(), run("compare", &unnamed, &[]).1.unwrap());
    assert!((width(&unnamed) / width(&named) - std::f64::consts::SQRT_2).abs() < 1e-9);
    let p = figure(&unnamed, "Tests", "broad − narrow", "p, spread (Brown-Forsythe)");
    assert_eq!((&p["value"], &p["note"]), (&Value::Null, &json!("not given: 26 eyes name no patient")));
}

/// Messages of a run that cannot be done: exit code 2, path and cause.
#[test]
fn what_cannot_be_done() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), &two_groups());
    std::fs::write(folder.path().join("empty.ndjson"), "").unwrap();
    std::fs::write(folder.path().join("radians.csv"), "still,reader,error_rad\nx.jpg,a,0.1\n").unwrap();
    std::fs::write(folder.path().join("latin.csv"), b"still,reader,error_deg,gr\xf6\xdfe\nx.jpg,a,0.1,1\n").unwrap();
    std::fs::create_dir(folder.path().join("results")).unwrap();
    std::fs::write(folder.path().join("results/measurements.ndjson"), "").unwrap();
    let cases: [(&[&str], &str); 7] = [
        (&["audit", "missing.ndjson", "--out", "out"], "missing.ndjson: "),
        (&["audit", "empty.ndjson", "--out", "out"], "empty.ndjson: none of 0 records can be counted"),
        (&["audit", "records.ndjson", "--by", "surgeon", "--out", "out"], "--by \"surgeon\": no such column"),
        (&["audit", "records.ndjson", "--limit", "-3", "--out", "out"], "expected more than 0"),
        (&["audit", "records.ndjson", "--out", "results"], "give another folder"),
        (
            &["agree", "records.ndjson", "radians.csv", "--out", "out"],
            "radians.csv: no column \"error_deg\"; found [\"still\", \"reader\", \"error_rad\"]",
        ),
        (&["agree", "records.ndjson", "latin.csv", "--out", "out"], "latin.csv: not a CSV file: "),
    ];
    for (args, said) in cases {
        let done = stillaxis(folder.path(), args, "");
        assert!(done.code == Some(2) && done.stderr.contains(said), "{said}: {done:?}");
    }
    assert!(!folder.path().join("out").exists());
}

/// Faulty readings are told of by line and counted; the others are used.
#[test]
fn faulty_readings() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), &two_groups());
    let good: String = (0..13).map(|k| format!("b{k}-OD-broad.jpg,a,{k}\n")).collect();
    // Readings of other stills: told of thrice, then counted only.
    let others: String = (0..50).map(|k| format!("other{k}.jpg,a,1\n")).collect();
    let readings = format!(
        "still,reader,error_deg\n{good}b1-OD-broad.jpg,a,NaN\nb2-OD-broad.jpg,a,200\nnone.jpg,a,1\nb3-OD-broad.jpg,,1\n{others}"
    );
    std::fs::write(folder.path().join("readings.csv"), readings).unwrap();
    let done = stillaxis(folder.path(), ["agree", "records.ndjson", "readings.csv", "--out", "out"], "");
    assert_eq!(done.code, Some(1), "{done:?}");
    for said in [
        "line 15: error_deg is \"NaN\"",
        "line 16: error_deg is \"200\"",
        "line 17: no record of the still \"none.jpg\"",
        "line 18: reader is empty",
    ] {
        assert!(done.stderr.contains(said), "{said}: {done:?}");
    }
    let answers: Value = serde_json::from_slice(&std::fs::read(folder.path().join("out/agree.json")).unwrap()).unwrap();
    assert_eq!((included(&answers, "readings read"), included(&answers, "readings counted")), (67, 13));
    assert_eq!(included(&answers, "readings left out: no record of the still"), 51);
    assert_eq!(done.stderr.matches("no record of the still").count(), 4, "{done:?}");
}

/// A row in another encoding is told of and counted; the others are used.
#[test]
fn a_reading_that_is_not_utf8() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), &two_groups());
    let good: String = (0..13).map(|k| format!("b{k}-OD-broad.jpg,a,{k}\n")).collect();
    let readings = [b"still,reader,error_deg\nb1-OD-broad.jpg,J\xf6,2\n", good.as_bytes()].concat();
    std::fs::write(folder.path().join("readings.csv"), readings).unwrap();
    let done = stillaxis(folder.path(), ["agree", "records.ndjson", "readings.csv", "--out", "out"], "");
    assert_eq!(done.code, Some(1), "{done:?}");
    assert!(done.stderr.contains("line 2: column 2 is \"J\u{fffd}\", expected text in UTF-8"), "{done:?}");
    let answers: Value = serde_json::from_slice(&std::fs::read(folder.path().join("out/agree.json")).unwrap()).unwrap();
    assert_eq!((included(&answers, "readings read"), included(&answers, "readings counted")), (14, 13));
    assert_eq!(included(&answers, "readings left out: not UTF-8"), 1);
}

/// A reading names its still as a case sheet does: by the end of its path, with `/` or `\`, whatever `.` and `..` stand before.
#[test]
fn readings_name_stills_as_sheets_do() {
    let folder = tempfile::tempdir().unwrap();
    let mut records = two_groups();
    for record in &mut records {
        let path = format!("day one/{}", record["still"]["path"].as_str().unwrap());
        record["still"]["path"] = json!(path);
    }
    write(folder.path(), &records);
    let named = [
        "b0-OD-broad.jpg",
        "./b1-OD-broad.jpg",
        "day one/b2-OD-broad.jpg",
        "day one\\b3-OD-broad.jpg",
        ".\\day one\\b4-OD-broad.jpg",
        "../day one/./b5-OD-broad.jpg",
        "..\\..\\day one//b6-OD-broad.jpg",
        "../../b7-OD-broad.jpg",
    ];
    let rows: String = named.iter().map(|still| format!("{still},a,1\n")).collect();
    let others = "day two/b8-OD-broad.jpg,a,1\none/b9-OD-broad.jpg,a,1\n..,a,1\n";
    std::fs::write(folder.path().join("readings.csv"), format!("still,reader,error_deg\n{rows}{others}")).unwrap();
    let done = stillaxis(folder.path(), ["agree", "records.ndjson", "readings.csv", "--out", "out"], "");
    assert_eq!(done.code, Some(1), "{done:?}");
    let answers: Value = serde_json::from_slice(&std::fs::read(folder.path().join("out/agree.json")).unwrap()).unwrap();
    assert_eq!(included(&answers, "readings counted"), 8, "{done:?}");
    assert_eq!(included(&answers, "readings left out: no record of the still"), 3, "{done:?}");
}

/// Readings of stills of another stage or left out by the sheet are counted, and no fault.
#[test]
fn readings_of_stills_left_out_are_no_fault() {
    let folder = tempfile::tempdir().unwrap();
    let mut records = two_groups();
    for (k, record) in records.iter_mut().enumerate() {
        record["case"]["stage"] = json!(if k < 13 { "before" } else { "end" });
    }
    records[25]["case"]["exclude"] = json!("true");
    write(folder.path(), &records);
    let row = |record: &Value| format!("{},a,1\n", record["still"]["path"].as_str().unwrap());
    let readings: String =
        std::iter::once("still,reader,error_deg\n".to_owned()).chain(records.iter().map(row)).collect();
    for (more, code) in [("", 0), ("none.jpg,a,1\n", 1)] {
        std::fs::write(folder.path().join("readings.csv"), format!("{readings}{more}")).unwrap();
        let done =
            stillaxis(folder.path(), ["agree", "records.ndjson", "readings.csv", "--stage", "end", "--out", "out"], "");
        assert_eq!(done.code, Some(code), "{done:?}");
        let answers = std::fs::read(folder.path().join("out/agree.json")).unwrap();
        let answers: Value = serde_json::from_slice(&answers).unwrap();
        assert_eq!(included(&answers, "readings counted"), 12, "{done:?}");
        assert_eq!(included(&answers, "readings left out: of a still that was left out"), 14, "{done:?}");
    }
}
