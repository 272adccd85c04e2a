//! Made-up records, and the answers of a run on them.

use crate::support::{Run, stillaxis};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// A measured still of a lens of 2 D at the cornea that matches its eye, planned at 0: crossed cylinders of 2 D leave
/// 4 |sin t| D, J0 = 2 sin t sin t and J45 = -2 sin t cos t (Thibos, Wheeler & Horner 1997, from memory).
pub fn measured(patient: &str, eye: &str, technique: &str, error_deg: f64, sd_deg: f64) -> Value {
    let path = format!("{patient}-{eye}-{technique}.jpg");
    let (sin, cos) = error_deg.to_radians().sin_cos();
    json!({
        "schema": 1, "still": {"path": path, "sha256": format!("sha of {path}"), "a field to come": 1},
        "case": {"patient": patient, "eye": eye, "technique": technique, "operator": "Beck", "case": format!("{patient}-{eye}")},
        "outcome": "measured", "refusals": [], "warnings": [], "another field to come": {},
        "reference_marks": [{"length_mm": 1.0, "width_mm": 0.2, "lean_deg": error_deg / 3.0, "contrast": 0.4}],
        "alignment": {"error_deg": error_deg, "sd_deg": sd_deg, "lens_axis_in_eye_deg": 90.0 + error_deg,
            "marks_opposition_deg": 1.0,
            "variance_parts_deg2": {"reference_marks": sd_deg * sd_deg / 2.0, "oval": sd_deg * sd_deg / 2.0}},
        "cylinder": {"plane": "cornea", "residual_percent": 200.0 * sin.abs(), "residual_d": 4.0 * sin.abs(),
            "j0_d": 2.0 * sin * sin, "j45_d": -2.0 * sin * cos},
        "program": {"version": "0.1.0", "settings": ""}
    })
}

/// A refused still.
pub fn refused(patient: &str, eye: &str, technique: &str, code: &str) -> Value {
    let mut record = measured(patient, eye, technique, 0.0, 1.0);
    record["outcome"] = json!("refused");
    record["refusals"] = json!([{"code": code, "message": "", "hint": ""}]);
    record["alignment"] = Value::Null;
    record["cylinder"] = Value::Null;
    record
}

/// Stills of one eye, of the errors given, sd 0.5 degrees each.
pub fn stills_of_an_eye(errors_deg: &[f64]) -> Vec<Value> {
    let still = |(k, error): (usize, &f64)| {
        let mut record = measured("p", "OS", "ink", *error, 0.5);
        record["still"] = json!({"path": format!("p-OS-{k}.jpg"), "sha256": format!("sha {k}")});
        record
    };
    errors_deg.iter().enumerate().map(still).collect()
}

/// Two groups: "broad" with errors of -6 to 6, "narrow" with -2 to 2, one eye each of 13 patients.
pub fn two_groups() -> Vec<Value> {
    let broad = (0..13).map(|k| measured(&format!("b{k}"), "OD", "broad", f64::from(k) - 6.0, 0.5));
    let narrow = (0..13).map(|k| measured(&format!("n{k}"), "OD", "narrow", (f64::from(k) - 6.0) / 3.0, 0.5));
    broad.chain(narrow).collect()
}

/// Write records, one a line.
pub fn write(folder: &Path, records: &[Value]) -> PathBuf {
    let file = folder.join("records.ndjson");
    let lines: Vec<String> = records.iter().map(Value::to_string).collect();
    std::fs::write(&file, lines.join("\n")).unwrap();
    file
}

/// Run a command on records in a folder of its own; gives the run and its JSON.
pub fn run(command: &str, records: &[Value], more: &[&str]) -> (Run, Option<Value>) {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), records);
    let args = [&[command, "records.ndjson", "--out", "out"], more].concat();
    let run = stillaxis(folder.path(), args, "");
    let read = std::fs::read(folder.path().join(format!("out/{command}.json"))).ok();
    if read.is_some() {
        let page = std::fs::read_to_string(folder.path().join("out/report.html")).unwrap();
        assert!(page.contains("</html>") && !page.contains("<script"), "{page}");
    }
    let answers = read.map(|bytes| serde_json::from_slice(&bytes).unwrap());
    (run, answers)
}

/// A figure by section, group and quantity.
pub fn figure<'a>(answers: &'a Value, section: &str, group: &str, quantity: &str) -> &'a Value {
    let sections = answers["sections"].as_array().unwrap();
    let section = sections.iter().find(|s| s["title"] == section).unwrap_or_else(|| panic!("no section {section}"));
    let figures = section["figures"].as_array().unwrap();
    let found = figures.iter().find(|f| f["group"] == group && f["quantity"] == quantity);
    found.unwrap_or_else(|| panic!("no {quantity} of {group} in {section:#}"))
}

/// The number of records of an inclusion.
pub fn included(answers: &Value, what: &str) -> u64 {
    let all = answers["inclusions"].as_array().unwrap();
    let found = all.iter().find(|i| i["what"] == what).unwrap_or_else(|| panic!("no {what:?} in {all:#?}"));
    found["records"].as_u64().unwrap()
}
