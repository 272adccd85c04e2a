//! cases.ndjson and cases.csv: what the stills of each case come to.

use super::ndjson::lines;
use super::rounding::rounded;
use super::table::cell_at;
use crate::record::CaseRecord;

/// Heading and place in the record (a JSON pointer).
const FIELDS: [(&str, &str); 36] = [
    ("case", "/case"),
    ("patient", "/patient"),
    ("eye", "/eye"),
    ("stage", "/stage"),
    ("stills_measured", "/estimate/measured"),
    ("stills_used", "/estimate/used"),
    ("alignment_error_deg", "/estimate/error_deg"),
    ("alignment_sd_deg", "/estimate/sd_deg"),
    ("alignment_low95_deg", "/estimate/interval95_deg/0"),
    ("alignment_high95_deg", "/estimate/interval95_deg/1"),
    ("own_sd_deg", "/estimate/own_sd_deg"),
    ("shared_sd_deg", "/estimate/shared_sd_deg"),
    ("spread_sd_deg", "/estimate/spread_sd_deg"),
    ("expected_spread_sd_deg", "/estimate/expected_spread_sd_deg"),
    ("agreement_p", "/estimate/agreement_p"),
    ("inflation", "/estimate/inflation"),
    ("residual_percent", "/estimate/residual_percent"),
    ("residual_low95_percent", "/estimate/residual_interval95_percent/0"),
    ("residual_high95_percent", "/estimate/residual_interval95_percent/1"),
    ("view_stills", "/view/stills"),
    ("offset_apparent_x_mm", "/view/offset_apparent_mm/0"),
    ("offset_apparent_y_mm", "/view/offset_apparent_mm/1"),
    ("tilt_change_deg", "/view/tilt_change_deg"),
    ("depth_mm", "/view/depth_mm"),
    ("depth_sd_mm", "/view/depth_sd_mm"),
    ("decentration_x_mm", "/view/decentration_mm/0"),
    ("decentration_y_mm", "/view/decentration_mm/1"),
    ("decentration_x_sd_mm", "/view/decentration_sd_mm/0"),
    ("decentration_y_sd_mm", "/view/decentration_sd_mm/1"),
    ("still_paths", "/stills/*/path"),
    ("still_outcomes", "/stills/*/outcome"),
    ("still_errors_deg", "/stills/*/error_deg"),
    ("still_weights", "/stills/*/weight"),
    ("warnings", "/warnings/*"),
    ("program_version", "/program/version"),
    ("case_schema", "/schema"),
];

/// Whether `bytes` begin as [`ndjson`] or [`csv()`] of this or another version does: both name the schema of a case.
pub fn are_cases(bytes: &[u8]) -> bool {
    let first = bytes.split(|byte| *byte == b'\n').next().unwrap_or_default();
    let heading = String::from_utf8_lossy(first);
    let record: Option<serde_json::Value> = serde_json::from_slice(first).ok();
    heading.trim_end().split(',').any(|heading| heading == "case_schema")
        || record.is_some_and(|record| record.get("schema").is_some() && record.get("case").is_some())
}

/// One line of JSON a case, numbers rounded as in measurements.ndjson.
pub fn ndjson(cases: &[CaseRecord]) -> Vec<u8> {
    lines(cases)
}

/// One row a case, units in the headings, empty where nothing is known; the numbers of cases.ndjson, digit for digit.
///
/// # Errors
/// [`csv::Error`] from the writer; none is known for writing into memory.
pub fn csv(cases: &[CaseRecord]) -> Result<Vec<u8>, ::csv::Error> {
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    writer.write_record(FIELDS.iter().map(|(heading, _)| heading))?;
    for case in cases {
        let value = rounded(case).map_err(|error| ::csv::Error::from(std::io::Error::from(error)))?;
        writer.write_record(FIELDS.iter().map(|(_, place)| cell_at(&value, place)))?;
    }
    writer.into_inner().map_err(|error| ::csv::Error::from(error.into_error()))
}
