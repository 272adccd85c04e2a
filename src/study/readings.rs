//! Readers' readings: a CSV file with a column `still` (file name or end of the path, as in a case sheet), `reader`, `error_deg`
//! (lens axis less intended axis, degrees, counter-clockwise positive), one row a reading. Other columns are ignored.

use super::figures::{Inclusion, Why};
use super::reading::{MESSAGES_OF_A_KIND, RIGHT_ANGLE_DEG};
use crate::stills::path_end::{PathEnds, still_parts};
use std::collections::BTreeMap;

/// The columns that are read.
const COLUMNS: [&str; 3] = ["still", "reader", "error_deg"];

/// The readings of one reader: of each still, by its place in the list of stills, in the order of the file.
pub type OfReader = BTreeMap<usize, Vec<f64>>;

/// What the file held.
#[derive(Clone, Debug, Default)]
pub struct Readings {
    /// By reader, in the order of their names.
    pub readers: BTreeMap<String, OfReader>,
    /// What became of every row.
    pub inclusions: Vec<Inclusion>,
    /// What was wrong, with line, for people.
    pub messages: Vec<String>,
}

/// Why a file of readings cannot be used at all.
#[derive(Debug, thiserror::Error)]
pub enum ReadingsError {
    /// A column is missing.
    #[error("no column {missing:?}; found {found:?}, expected still, reader and error_deg (degrees)")]
    NoColumn {
        /// The column.
        missing: &'static str,
        /// What the first line has.
        found: Vec<String>,
    },
    /// No CSV.
    #[error("not a CSV file: {0}")]
    NotCsv(#[from] csv::Error),
}

/// Read the file.
///
/// - `stills`: paths of the stills that the readings may be of
/// - `set_aside`: paths of those whose readings do not count either, because they were left out on wish
///
/// # Errors
/// [`ReadingsError`] where the file is no CSV or lacks a column. Faulty rows are counted and told of, not fatal.
pub fn read(bytes: &[u8], stills: &[&str], set_aside: &[&str]) -> Result<Readings, ReadingsError> {
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(without_mark(bytes));
    let headings: Vec<String> = reader.headers()?.iter().map(str::to_lowercase).collect();
    let mut columns = [0; 3];
    for (at, name) in columns.iter_mut().zip(COLUMNS) {
        let found = headings.iter().position(|heading| heading == name);
        *at = found.ok_or_else(|| ReadingsError::NoColumn { missing: name, found: headings.clone() })?;
    }
    let known = PathEnds::of(stills.iter().map(|path| still_parts(path)));
    let set_aside = PathEnds::of(set_aside.iter().map(|path| still_parts(path)));
    let mut readings = Readings::default();
    let mut counts: BTreeMap<(&str, Why), usize> = BTreeMap::new();
    let mut rows = 0;
    for row in reader.byte_records() {
        let row = row?;
        rows += 1;
        let line = row.position().map_or(0, csv::Position::line);
        let mut leave_out = |why: Why, reason: &'static str, detail: String| {
            let count = counts.entry((reason, why)).or_default();
            *count += 1;
            if *count <= MESSAGES_OF_A_KIND {
                readings.messages.push(format!("line {line}: {detail}"));
            } else if *count == MESSAGES_OF_A_KIND + 1 {
                readings.messages.push(format!("{reason}: further readings like this are counted in the report"));
            }
        };
        let row = match csv::StringRecord::from_byte_record(row) {
            Ok(mut row) => {
                row.trim();
                row
            }
            Err(faulty) => {
                let column = faulty.utf8_error().field() + 1;
                let text = faulty.into_byte_record();
                let text = String::from_utf8_lossy(text.get(column - 1).unwrap_or_default()).into_owned();
                leave_out(Why::Unusable, "not UTF-8", format!("column {column} is {text:?}, expected text in UTF-8"));
                continue;
            }
        };
        let cell = |k: usize| row.get(columns[k]).unwrap_or("");
        let (still, name, value) = (cell(0), cell(1), cell(2));
        let parsed = value.parse::<f64>().ok().filter(|v| v.abs() <= RIGHT_ANGLE_DEG);
        let Some(error_deg) = parsed else {
            let reason = if value.is_empty() { "no value" } else { "not an angle from -90 to 90 degrees" };
            leave_out(Why::Unusable, reason, format!("error_deg is {value:?}, expected -90 to 90 degrees"));
            continue;
        };
        if name.is_empty() {
            leave_out(Why::Unusable, "no reader", "reader is empty".to_owned());
            continue;
        }
        match known.ending_in(still)[..] {
            [at] => readings.readers.entry(name.to_owned()).or_default().entry(at).or_default().push(error_deg),
            [_, _, ..] => leave_out(Why::Unusable, "still in doubt", format!("{still:?} fits several records")),
            [] if !set_aside.ending_in(still).is_empty() => {
                leave_out(Why::Asked, "of a still that was left out", format!("{still:?} was left out"));
            }
            [] => leave_out(Why::Unusable, "no record of the still", format!("no record of the still {still:?}")),
        }
    }
    readings.inclusions = vec![Inclusion::new("readings read", rows)];
    let left_out = |((reason, why), count): (&(&str, Why), &usize)| {
        Inclusion::left_out(format!("readings left out: {reason}"), *count, *why)
    };
    readings.inclusions.extend(counts.iter().map(left_out));
    let kept: usize = readings.readers.values().flat_map(BTreeMap::values).map(Vec::len).sum();
    readings.inclusions.push(Inclusion::new("readings counted", kept));
    Ok(readings)
}

/// Spreadsheets put a byte-order mark first.
fn without_mark(bytes: &[u8]) -> &[u8] {
    bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes)
}
