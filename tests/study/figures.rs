//! What the commands say of records whose answers can be worked out by hand.

use crate::records::{figure, included, measured, refused, run, two_groups, write};
use crate::support::stillaxis;
use serde_json::{Value, json};

fn value(figure: &Value) -> f64 {
    figure["value"].as_f64().unwrap_or_else(|| panic!("a value in {figure}"))
}

#[track_caller]
fn close(got: f64, expected: f64) {
    assert!((got - expected).abs() < 1e-9, "{got} is not {expected}");
}

/// Errors -6 to 6: spread sqrt(182 / 12), mean size 42 / 13; the reading variance 0.25 comes out of the variance.
#[test]
fn audit_by_hand() {
    let (done, answers) = run("audit", &two_groups(), &["--by", "technique"]);
    let answers = answers.unwrap_or_else(|| panic!("{done:?}"));
    assert_eq!(done.code, Some(0), "{done:?}");
    let broad = "technique: broad";
    close(value(figure(&answers, "Alignment", broad, "mean error")), 0.0);
    close(value(figure(&answers, "Alignment", broad, "spread (SD)")), (182.0_f64 / 12.0).sqrt());
    close(
        value(figure(&answers, "Alignment", broad, "spread (SD), reading taken out")),
        (182.0_f64 / 12.0 - 0.25).sqrt(),
    );
    close(value(figure(&answers, "Alignment", broad, "mean absolute error")), 42.0 / 13.0);
    close(value(figure(&answers, "Alignment", broad, "median absolute error")), 3.0);
    close(value(figure(&answers, "Within the limits", broad, "within 5°")), 1100.0 / 13.0);
    close(value(figure(&answers, "Within the limits", "all eyes", "within 5°")), 2400.0 / 26.0);
    let behind = figure(&answers, "Alignment", "all eyes", "mean error");
    assert_eq!((behind["eyes"].as_u64(), behind["patients"].as_u64()), (Some(26), Some(26)));
    // Wilson's interval of 11 of 13, by statsmodels 0.15: 0.5777 to 0.9567.
    let interval = &figure(&answers, "Within the limits", broad, "within 5°")["interval95"];
    assert!((interval[0].as_f64().unwrap() - 57.77).abs() < 0.01, "{interval}");
    assert!((interval[1].as_f64().unwrap() - 95.67).abs() < 0.01, "{interval}");
}

/// Two stills of an eye are one eye, their errors averaged as axes: 89 and -89 are 2 degrees apart.
#[test]
fn eyes_are_counted_and_axes_averaged() {
    let mut records = two_groups();
    for (k, error) in [89.0, -89.0].into_iter().enumerate() {
        let mut record = measured("p", "OS", "broad", error, 1.0);
        record["still"]["sha256"] = json!(format!("another {k}"));
        records.push(record);
    }
    let (_, answers) = run("audit", &records, &[]);
    let answers = answers.unwrap();
    assert_eq!(included(&answers, "counted: measured"), 28);
    assert_eq!(included(&answers, "eyes with a figure, from these stills"), 27);
    close(value(figure(&answers, "Within the limits", "all eyes", "within 5°")), 2400.0 / 27.0);
}

/// A group whose stills are refused does not look better: an eye without a figure counts as beyond the limit in "at least".
#[test]
fn refusals_do_not_flatter() {
    let mut records = two_groups();
    records.extend((0..13).map(|k| refused(&format!("r{k}"), "OD", "narrow", "reference_marks_missing")));
    let (_, answers) = run("audit", &records, &["--by", "technique"]);
    let answers = answers.unwrap();
    close(value(figure(&answers, "Within the limits", "technique: narrow", "within 5°")), 100.0);
    close(value(figure(&answers, "Within the limits", "technique: narrow", "within 5°, at least")), 50.0);
    close(value(figure(&answers, "Eyes without a figure", "technique: narrow", "without a figure")), 50.0);
    close(value(figure(&answers, "Eyes without a figure", "technique: narrow", "reference marks missing")), 13.0);
}

/// Stills refused of eyes that have a figure from another still are counted by group and reason: one of 14 stills of 13 patients.
#[test]
fn refused_stills_are_told_by_group() {
    let mut records = two_groups();
    let mut again = refused("n3", "OD", "narrow", "lens_marks_missing");
    again["still"]["sha256"] = json!("another");
    records.push(again);
    let (_, answers) = run("audit", &records, &["--by", "technique"]);
    let answers = answers.unwrap();
    close(value(figure(&answers, "Eyes without a figure", "technique: narrow", "without a figure")), 0.0);
    let of = |group: &str, quantity: &str| value(figure(&answers, "Refused stills", group, quantity));
    close(of("technique: narrow", "stills"), 14.0);
    close(of("technique: narrow", "refused"), 100.0 / 14.0);
    close(of("technique: narrow", "lens marks missing"), 1.0);
    close(of("technique: broad", "lens marks missing"), 0.0);
    let (_, answers) = run("compare", &records, &[]);
    close(value(figure(&answers.unwrap(), "Groups", "narrow", "refused stills")), 100.0 / 14.0);
}

/// A lens refused for standing far from its plan is counted apart, also where another reason stands before it, and whether or not another
/// still gave its eye a figure; the methods say what that does to means and spreads.
#[test]
fn lenses_far_from_their_plan_are_counted_apart() {
    let mut records = two_groups();
    let mut far = |patient: &str, codes: &[&str]| {
        let mut record = refused(patient, "OD", "narrow", codes[0]);
        let refusals = codes.iter().map(|code| json!({"code": code, "message": "", "hint": ""}));
        record["refusals"] = refusals.collect();
        record["still"]["sha256"] = json!(format!("far {patient}"));
        records.push(record);
    };
    far("n3", &["far_from_plan"]);
    far("r0", &["far_from_plan"]);
    far("r1", &["interval_too_wide", "far_from_plan"]);
    far("r2", &["interval_too_wide"]);
    let (_, answers) = run("audit", &records, &["--by", "technique"]);
    let answers = answers.unwrap();
    let of = |group: &str, quantity: &str| value(figure(&answers, "Lenses far from their plan", group, quantity));
    for (group, eyes, without) in
        [("all eyes", 3.0, 2.0), ("technique: narrow", 3.0, 2.0), ("technique: broad", 0.0, 0.0)]
    {
        close(of(group, "eyes with a still refused as far from plan"), eyes);
        close(of(group, "of these without a figure"), without);
    }
    close(value(figure(&answers, "Within the limits", "technique: narrow", "within 5°, at least")), 1300.0 / 16.0);
    assert!(answers["methods"].to_string().contains("stands far from its plan"), "{}", answers["methods"]);
    let (_, answers) = run("compare", &records, &[]);
    let answers = answers.unwrap();
    close(value(figure(&answers, "Groups", "narrow", "eyes with a still refused as far from plan")), 3.0);
    close(value(figure(&answers, "Groups", "broad", "eyes with a still refused as far from plan")), 0.0);
    close(value(figure(&answers, "Groups", "narrow", "of these without a figure")), 2.0);
    assert!(answers["methods"].to_string().contains("stands far from its plan"), "{}", answers["methods"]);
}

/// A ratio of 3 in spread, found by interval and test; the seed is printed, and the same seed gives the same bytes.
#[test]
fn compare_by_hand() {
    let (done, answers) = run("compare", &two_groups(), &["--seed", "7"]);
    let answers = answers.unwrap_or_else(|| panic!("{done:?}"));
    let ratio = figure(&answers, "Differences", "broad − narrow", "spread, ratio");
    close(value(ratio), 3.0);
    assert!(ratio["interval95"][0].as_f64().unwrap() > 1.5, "{ratio}");
    assert!(value(figure(&answers, "Tests", "broad − narrow", "p, spread (Brown-Forsythe)")) < 0.01);
    assert!(value(figure(&answers, "Tests", "broad − narrow", "p, mean error (permutation)")) > 0.9);
    assert_eq!(answers["seed"], 7);
    assert_eq!(run("compare", &two_groups(), &["--seed", "7"]).1, Some(answers));
}

/// Eyes that name no patient are nobody's fellow eyes, whatever else they share: neither all that are called OD, nor the one of
/// case 7 and that of patient 7. So no correlation of fellow eyes can be told for the next study.
#[test]
fn nameless_eyes_are_not_fellow_eyes() {
    let correlation = |records: &[Value]| {
        let (_, answers) = run("compare", records, &[]);
        let answers = answers.unwrap();
        let of = |quantity: &str| figure(&answers, "The next study", "planned from this study", quantity).clone();
        (of("correlation of a patient's eyes"), of("spread within groups (SD)"))
    };
    let mut only_eyes = two_groups();
    for (k, record) in only_eyes.iter_mut().enumerate() {
        record["case"]["patient"] = json!("");
        record["case"]["case"] = json!("");
        record["case"]["eye"] = json!(if k % 2 == 0 { "OD" } else { "OS" });
    }
    let (of_eyes, spread) = correlation(&only_eyes);
    assert!(of_eyes["value"].is_null(), "{of_eyes}");
    // Squares of -6 to 6 sum to 182, of a third of them to 182 / 9; 26 eyes, two means.
    close(value(&spread), ((182.0_f64 + 182.0 / 9.0) / 24.0).sqrt());
    assert_eq!((spread["eyes"].as_u64(), spread["patients"].as_u64()), (Some(26), None));
    let mut case_7 = two_groups();
    case_7[3]["case"]["patient"] = json!("7");
    case_7[5]["case"]["patient"] = json!("");
    case_7[5]["case"]["eye"] = json!("");
    case_7[5]["case"]["case"] = json!("7");
    let (of_case, _) = correlation(&case_7);
    assert!(of_case["value"].is_null(), "{of_case}");
}

/// Both eyes of a patient, one in each group: compared within patients.
#[test]
fn pairs_are_compared_within_patients() {
    let records: Vec<Value> = (0..13)
        .flat_map(|k| {
            let error = f64::from(k) - 6.0;
            let patient = format!("p{k}");
            [measured(&patient, "OD", "broad", error, 0.5), measured(&patient, "OS", "narrow", error / 3.0, 0.5)]
        })
        .collect();
    let (_, answers) = run("compare", &records, &[]);
    let size =
        figure(answers.as_ref().unwrap(), "Within patients", "broad − narrow", "absolute error, mean difference");
    close(value(size), 42.0 / 13.0 * 2.0 / 3.0);
    assert_eq!(size["patients"], 13);
}

/// Readers off by 1 and by -1 degree throughout: bias and limits follow; errors next to 90 are read as axes.
#[test]
fn agree_by_hand() {
    let folder = tempfile::tempdir().unwrap();
    let mut records = two_groups();
    records.push(measured("q", "OD", "broad", 89.5, 0.5));
    write(folder.path(), &records);
    let mut readings = "still,reader,error_deg\n".to_owned();
    for record in &records {
        let error = record["alignment"]["error_deg"].as_f64().unwrap();
        let still = record["still"]["path"].as_str().unwrap();
        for (reader, bias) in [("above", 1.0), ("below", -1.0)] {
            let read = error + bias;
            readings += &format!("{still},{reader},{}\n", if read > 90.0 { read - 180.0 } else { read });
        }
    }
    std::fs::write(folder.path().join("readings.csv"), readings).unwrap();
    let done = stillaxis(folder.path(), ["agree", "records.ndjson", "readings.csv", "--out", "out"], "");
    assert_eq!(done.code, Some(0), "{done:?}");
    let answers: Value = serde_json::from_slice(&std::fs::read(folder.path().join("out/agree.json")).unwrap()).unwrap();
    for (pair, bias) in [("program − above", -1.0), ("program − below", 1.0)] {
        close(value(figure(&answers, "Program against readers", pair, "mean difference")), bias);
        close(value(figure(&answers, "Program against readers", pair, "upper limit")), bias);
    }
    close(value(figure(&answers, "Reader against reader", "above − below", "mean difference")), 2.0);
    close(value(figure(&answers, "Intraclass correlations", "readers", "ICC(3,1)")), 1.0);
    assert!(value(figure(&answers, "Intraclass correlations", "readers", "ICC(2,1)")) < 1.0);
}

/// Differences of -0.001 degrees all over are said to be 0.00, not less.
#[test]
fn what_rounds_to_nothing_has_no_minus() {
    let folder = tempfile::tempdir().unwrap();
    let records: Vec<Value> = (0..6).map(|k| measured(&format!("p{k}"), "OD", "ink", f64::from(k), 0.5)).collect();
    write(folder.path(), &records);
    let mut readings = "still,reader,error_deg\n".to_owned();
    for record in &records {
        let error = record["alignment"]["error_deg"].as_f64().unwrap();
        readings += &format!("{},a,{:.3}\n", record["still"]["path"].as_str().unwrap(), error + 0.001);
    }
    std::fs::write(folder.path().join("readings.csv"), readings).unwrap();
    let done = stillaxis(folder.path(), ["agree", "records.ndjson", "readings.csv", "--out", "out"], "");
    let page = std::fs::read_to_string(folder.path().join("out/report.html")).unwrap();
    assert!(page.contains("between 0.00° and 0.00°"), "{done:?}");
}

/// A reader whose error is the same in both eyes of a patient, -1 in half of the patients and 1 in the others: 13 patients, not 26
/// eyes, stand behind the interval of the mean, which is then 1.42 times as wide or more; of unnamed patients it cannot be told, and
/// is widened by the square root of 2.
#[test]
fn fellow_eyes_are_kept_together() {
    let width = |patient: &dyn Fn(usize) -> String| {
        let folder = tempfile::tempdir().unwrap();
        let mut readings = "still,reader,error_deg\n".to_owned();
        let records: Vec<Value> = (0..26)
            .map(|k| {
                let mut record = measured(&format!("p{k}"), "OD", "ink", 0.1 * k as f64, 0.5);
                record["case"]["patient"] = json!(patient(k));
                let read = 0.1 * k as f64 + if k / 2 % 2 == 0 { 1.0 } else { -1.0 };
                readings += &format!("p{k}-OD-ink.jpg,a,{read}\n");
                record
            })
            .collect();
        write(folder.path(), &records);
        std::fs::write(folder.path().join("readings.csv"), &readings).unwrap();
        let done = stillaxis(folder.path(), ["agree", "records.ndjson", "readings.csv", "--out", "out"], "");
        assert_eq!(done.code, Some(0), "{done:?}");
        let answers = std::fs::read(folder.path().join("out/agree.json")).unwrap();
        let answers: Value = serde_json::from_slice(&answers).unwrap();
        let interval = &figure(&answers, "Program against readers", "program − a", "mean difference")["interval95"];
        interval[1].as_f64().unwrap() - interval[0].as_f64().unwrap()
    };
    let (apart, fellows) = (width(&|k| format!("p{k}")), width(&|k| format!("p{}", k / 2)));
    assert!((1.42..1.7).contains(&(fellows / apart)), "{fellows} against {apart}");
    close(width(&|_| String::new()), apart * std::f64::consts::SQRT_2);
}

/// The table holds what the JSON holds, digit for digit.
#[test]
fn csv_and_json_agree() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), &two_groups());
    let done = stillaxis(folder.path(), ["audit", "records.ndjson", "--by", "technique", "--out", "out"], "");
    assert_eq!(done.code, Some(0), "{done:?}");
    let answers: Value = serde_json::from_slice(&std::fs::read(folder.path().join("out/audit.json")).unwrap()).unwrap();
    let mut table = csv::Reader::from_path(folder.path().join("out/audit.csv")).unwrap();
    let rows: Vec<csv::StringRecord> = table.records().map(Result::unwrap).filter(|row| &row[0] != "Records").collect();
    let figures: Vec<&Value> =
        answers["sections"].as_array().unwrap().iter().flat_map(|s| s["figures"].as_array().unwrap()).collect();
    assert_eq!(rows.len(), figures.len());
    for (row, figure) in rows.iter().zip(figures) {
        assert_eq!(row[2], *figure["quantity"].as_str().unwrap());
        assert_eq!(row[4].parse::<f64>().ok(), figure["value"].as_f64());
        assert_eq!(row[5].parse::<f64>().ok(), figure["interval95"][0].as_f64());
    }
}

/// With --stage only the stills of that stage count; the others are accounted for.
#[test]
fn a_stage_is_chosen() {
    let mut records = two_groups();
    for (k, record) in records.iter_mut().enumerate() {
        record["case"]["stage"] = json!(if k < 13 { "before" } else { "end" });
    }
    let (done, answers) = run("audit", &records, &["--stage", "end"]);
    assert_eq!(done.code, Some(0), "{done:?}");
    let answers = answers.unwrap();
    assert_eq!(included(&answers, "left out: of another stage"), 13);
    assert_eq!(included(&answers, "eyes with a figure, from these stills"), 13);
}

/// An operator whose errors all lie beyond the limit where those of the others lie within it crosses the limit of the learning
/// sequence, the others do not.
#[test]
fn a_learner_is_seen() {
    let mut records = Vec::new();
    for k in 0..36 {
        let operator = ["Beck", "Tarn", "Ghyll"][k % 3];
        let error = if operator == "Ghyll" && k < 24 { 8.0 } else { 1.0 + k as f64 / 36.0 };
        let mut record = measured(&format!("p{k}"), "OD", "ink", error, 0.5);
        record["case"]["operator"] = json!(operator);
        record["case"]["date"] = json!(format!("2031-{:02}-{:02}", k / 28 + 1, k % 28 + 1));
        records.push(record);
    }
    let (_, answers) = run("audit", &records, &[]);
    let answers = answers.unwrap();
    let alarm =
        |operator: &str| &figure(&answers, "Learning sequence", operator, "first operation above the limit")["value"];
    assert!(alarm("Ghyll").as_f64().is_some_and(|k| k <= 8.0), "{}", alarm("Ghyll"));
    assert!(alarm("Beck").is_null() && alarm("Tarn").is_null());
}
