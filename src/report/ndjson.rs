//! measurements.ndjson: one line of JSON a record, in the order given.

use super::rounding::rounded;
use crate::record::{Record, SCHEMA_VERSION};
use serde::Serialize;

/// The records, one line each, numbers rounded by the unit in their name: angles to 1e-4 degrees, places to 1e-3 px,
/// lengths to 1e-4 mm, dioptres to 1e-4 D, percent to 1e-3. The same records give the same bytes.
pub fn write(records: &[Record]) -> Vec<u8> {
    lines(records)
}

/// The same for records of any kind.
pub(super) fn lines<R: Serialize>(records: &[R]) -> Vec<u8> {
    let mut bytes = Vec::new();
    for record in records {
        // A record is strings, numbers and lists under names that are strings: serde has no error for it.
        if let Ok(value) = rounded(record) {
            bytes.extend_from_slice(value.to_string().as_bytes());
            bytes.push(b'\n');
        }
    }
    bytes
}

/// Why a file of records cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// A line is not a record.
    #[error("line {line}: not a record: {source}")]
    NotARecord {
        /// Line, from 1.
        line: usize,
        /// What the parser says.
        source: serde_json::Error,
    },
    /// A record of another form.
    #[error("line {line}: record of schema {found}, expected {SCHEMA_VERSION}")]
    OtherSchema {
        /// Line, from 1.
        line: usize,
        /// The schema it names.
        found: u64,
    },
}

/// Records from the bytes of a measurements.ndjson. Empty lines are passed over.
///
/// # Errors
/// [`ReadError`] at the first line that is no record of this schema.
pub fn read(bytes: &[u8]) -> Result<Vec<Record>, ReadError> {
    let mut records = Vec::new();
    for (index, line) in bytes.split(|byte| *byte == b'\n').enumerate() {
        if line.trim_ascii().is_empty() {
            continue;
        }
        let not_a_record = |source| ReadError::NotARecord { line: index + 1, source };
        let value: serde_json::Value = serde_json::from_slice(line).map_err(not_a_record)?;
        // The version is looked at first: a record of a later form should not be blamed for its fields.
        if let Some(found) = value.get("schema").and_then(serde_json::Value::as_u64)
            && found != u64::from(SCHEMA_VERSION)
        {
            return Err(ReadError::OtherSchema { line: index + 1, found });
        }
        records.push(serde_json::from_value(value).map_err(not_a_record)?);
    }
    Ok(records)
}
