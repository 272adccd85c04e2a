//! The figures of a study as JSON and CSV.

use crate::study::figures::Study;
use std::io;

/// The study as JSON, indented; numbers in full, what cannot be said is `null`.
///
/// # Errors
/// None are known; kept because serde returns one.
pub fn json(study: &Study) -> io::Result<Vec<u8>> {
    let mut bytes = serde_json::to_vec_pretty(study).map_err(io::Error::from)?;
    bytes.push(b'\n');
    Ok(bytes)
}

/// One row a figure; the table of inclusions comes first, as a section of its own.
///
/// # Errors
/// Those of the writer; none is known for writing into memory.
pub fn csv(study: &Study) -> io::Result<Vec<u8>> {
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    writer.write_record([
        "section", "group", "quantity", "unit", "value", "low95", "high95", "eyes", "patients", "note",
    ])?;
    for inclusion in &study.inclusions {
        let count = inclusion.records.to_string();
        writer.write_record(["Records", "", &inclusion.what, "records", &count, "", "", "", "", ""])?;
    }
    let number = |value: Option<f64>| value.map_or(String::new(), |v| v.to_string());
    for section in &study.sections {
        for figure in &section.figures {
            writer.write_record([
                section.title.as_str(),
                &figure.group,
                &figure.quantity,
                figure.unit,
                &number(figure.value),
                &number(figure.interval95.map(|i| i[0])),
                &number(figure.interval95.map(|i| i[1])),
                &figure.eyes.to_string(),
                &figure.patients.map_or(String::new(), |p| p.to_string()),
                &figure.note,
            ])?;
        }
    }
    writer.into_inner().map_err(|error| error.into_error())
}
