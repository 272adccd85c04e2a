//! The file of the case sheet to checked rows, all faults collected.

use super::super::load::shown;
use super::super::path_end::still_parts;
use super::{COLUMNS, Case};
use std::collections::{BTreeMap, HashMap};
use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

/// A case sheet without faults.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// Where it was read from.
    pub path: PathBuf,
    /// Headings that stillaxis does not know, in the sheet's order; carried through.
    pub unknown: Vec<String>,
    /// Its rows in order, without blank ones.
    pub rows: Vec<Row>,
}

/// A row, and where it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Line of the file that the row starts at, from 1.
    pub line: u64,
    /// What it says.
    pub case: Case,
}

/// Something wrong in a sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The sheet.
    pub file: String,
    /// Line, from 1.
    pub line: u64,
    /// Heading of the column; `None` where the whole row is meant.
    pub column: Option<String>,
    /// What stands there.
    pub value: String,
    /// What should.
    pub expected: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: line {}", self.file, self.line)?;
        if let Some(column) = &self.column {
            write!(f, ", column {column}")?;
        }
        write!(f, ": {:?}, expected {}", self.value, self.expected)
    }
}

/// Why a sheet cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum SheetError {
    /// The system does not give its bytes.
    #[error("{file}: cannot be read: {source}")]
    Io {
        /// The sheet.
        file: String,
        /// What the system says.
        source: io::Error,
    },
    /// All that is wrong in it.
    #[error("{}", .0.iter().map(Fault::to_string).collect::<Vec<_>>().join("\n"))]
    Faults(Vec<Fault>),
}

impl Sheet {
    /// Read and check a sheet.
    ///
    /// Comma-separated, UTF-8 with or without byte order mark, lines ended by LF or CRLF, a line of headings first.
    /// Headings and cells are trimmed; known headings may be in either case.
    ///
    /// # Errors
    /// [`SheetError::Faults`] with every fault, not just the first; [`SheetError::Io`] where it cannot be read.
    pub fn read(path: &Path) -> Result<Self, SheetError> {
        let bytes = std::fs::read(path).map_err(|source| SheetError::Io { file: shown(path), source })?;
        Self::parse(path, &bytes)
    }

    /// The same, of the bytes of the file at `path`.
    ///
    /// # Errors
    /// [`SheetError::Faults`].
    pub fn parse(path: &Path, bytes: &[u8]) -> Result<Self, SheetError> {
        let mut faults = Faults::of(path);
        let sheet = faults.sheet(path, bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes));
        match sheet {
            Some(sheet) if faults.list.is_empty() => Ok(sheet),
            _ => Err(SheetError::Faults(faults.list)),
        }
    }
}

/// Faults of one file as they are found.
pub(super) struct Faults {
    file: String,
    pub(super) list: Vec<Fault>,
}

impl Faults {
    pub(super) fn of(path: &Path) -> Self {
        Self { file: shown(path), list: Vec::new() }
    }

    pub(super) fn add(&mut self, line: u64, column: Option<&str>, value: &str, expected: impl Into<String>) {
        self.list.push(Fault {
            file: self.file.clone(),
            line,
            column: column.map(str::to_owned),
            value: value.to_owned(),
            expected: expected.into(),
        });
    }

    /// `None` where the faults found leave nothing to check rows by.
    fn sheet(&mut self, path: &Path, bytes: &[u8]) -> Option<Sheet> {
        let text = match std::str::from_utf8(bytes) {
            Ok(text) => text,
            Err(error) => {
                let line = 1 + bytes[..error.valid_up_to()].iter().filter(|byte| **byte == b'\n').count() as u64;
                let rest = &bytes[error.valid_up_to()..];
                self.add(line, None, &String::from_utf8_lossy(&rest[..rest.len().min(8)]), "text in UTF-8");
                return None;
            }
        };
        let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
        let mut records = reader.records().filter_map(Result::ok).filter(|record| !record.iter().all(str::is_empty));
        let Some(headings) = records.next() else {
            self.add(1, None, "", "a line of headings, with `still` or `case` among them");
            return None;
        };
        let mut lines = Lines { text, at: 0, line: 1 };
        let headings = self.headings(lines.of(&headings), &headings)?;
        let mut rows = Vec::new();
        // The reader takes all that follows an unclosed quotation mark for one cell, which must not swallow rows unsaid.
        let unclosed = text.matches('"').count() % 2 == 1;
        let mut records = records.peekable();
        while let Some(record) = records.next() {
            let line = lines.of(&record);
            if unclosed && records.peek().is_none() && record.iter().any(|cell| cell.contains('\n')) {
                self.add(line, None, "\"", "a second quotation mark that closes the cell");
            }
            if let Some(columns) = self.columns(line, &headings, &record) {
                rows.push(Row { line, case: self.case(line, columns) });
            }
        }
        self.names(&rows);
        let unknown = headings.into_iter().filter(|h| !h.is_empty() && !COLUMNS.contains(&h.as_str())).collect();
        Some(Sheet { path: path.to_owned(), unknown, rows })
    }

    /// Headings, known ones in our spelling.
    fn headings(&mut self, line: u64, record: &csv::StringRecord) -> Option<Vec<String>> {
        let mut headings: Vec<String> = Vec::new();
        for heading in record.iter().map(str::trim) {
            let known = COLUMNS.iter().find(|known| known.eq_ignore_ascii_case(heading));
            let name = known.map_or(heading, |known| *known).to_owned();
            if !name.is_empty() && headings.contains(&name) {
                self.add(line, Some(&name), heading, "each column once");
            }
            // A plan that goes unread for a slip in its heading would make wrong angles, not missing ones.
            if known.is_none()
                && let Some(meant) = COLUMNS.iter().find(|known| is_slip_for(heading, known))
            {
                self.add(
                    line,
                    Some(heading),
                    heading,
                    format!("`{meant}`, or a name less like it for a column of your own"),
                );
            }
            headings.push(name);
        }
        if headings.iter().any(|heading| heading == "still" || heading == "case") {
            return Some(headings);
        }
        let all = record.iter().collect::<Vec<_>>().join(",");
        let expected = if record.len() == 1 && all.contains([';', '\t']) {
            "headings with commas between, `still` or `case` among them"
        } else {
            "a column `still` or `case` among the headings"
        };
        self.add(line, None, &all, expected);
        None
    }

    /// Cells under their headings; `None` for a blank row.
    fn columns(
        &mut self,
        line: u64,
        headings: &[String],
        record: &csv::StringRecord,
    ) -> Option<BTreeMap<String, String>> {
        let mut columns: BTreeMap<String, String> = headings
            .iter()
            .filter(|heading| !heading.is_empty())
            .map(|heading| (heading.clone(), String::new()))
            .collect();
        for (at, cell) in record.iter().map(str::trim).enumerate().filter(|(_, cell)| !cell.is_empty()) {
            match headings.get(at).filter(|heading| !heading.is_empty()) {
                Some(heading) => {
                    columns.insert(heading.clone(), cell.to_owned());
                }
                None => self.add(line, None, cell, format!("nothing in column {}, which has no heading", at + 1)),
            }
        }
        columns.values().any(|cell| !cell.is_empty()).then_some(columns)
    }

    fn case(&mut self, line: u64, columns: BTreeMap<String, String>) -> Case {
        let case = Case::checked(columns, |column, value, expected| self.add(line, Some(column), value, expected));
        if case.still.is_none() && case.case.is_none() {
            let row = case.columns.values().filter(|cell| !cell.is_empty()).cloned().collect::<Vec<_>>().join(",");
            self.add(line, None, &row, "a still or a case in every row");
        }
        case
    }

    /// No still twice, and no case twice among the rows that speak for a whole case.
    fn names(&mut self, rows: &[Row]) {
        let mut seen: HashMap<(&str, String), u64> = HashMap::new();
        for Row { line, case } in rows {
            let (column, name) = match (&case.still, &case.case) {
                (Some(still), _) => ("still", still),
                (None, Some(case)) => ("case", case),
                (None, None) => continue,
            };
            let key = if column == "still" { still_parts(name).join("/") } else { name.clone() };
            if let Some(first) = seen.get(&(column, key.clone())) {
                let what = if column == "still" { "each still once" } else { "one row without a still for each case" };
                self.add(*line, Some(column), name, format!("{what}; it stands in line {first} already"));
            } else {
                seen.insert((column, key), *line);
            }
        }
    }
}

/// Counts lines up to a record. The reader's own count is that of the record before, with blank lines between left out.
struct Lines<'a> {
    text: &'a str,
    at: usize,
    line: u64,
}

impl Lines<'_> {
    fn of(&mut self, record: &csv::StringRecord) -> u64 {
        let start = record.position().map_or(0, |position| position.byte() as usize);
        let bytes = self.text.as_bytes();
        while let Some(byte) = bytes.get(self.at) {
            let ends_line = *byte == b'\n' || (*byte == b'\r' && bytes.get(self.at + 1) != Some(&b'\n'));
            if self.at >= start && !matches!(byte, b'\r' | b'\n') {
                break;
            }
            self.line += u64::from(ends_line);
            self.at += 1;
        }
        self.line
    }
}

/// Whether `heading` looks like `known` written wrongly: other punctuation, its unit left off, or one letter amiss.
fn is_slip_for(heading: &str, known: &str) -> bool {
    let letters =
        |name: &str| -> String { name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect() };
    let without_unit = ["_deg", "_d", "_mm"].iter().find_map(|unit| known.strip_suffix(unit)).unwrap_or(known);
    let (heading, known, bare) = (letters(heading), letters(known), letters(without_unit));
    heading == known || heading == bare || (known.len() >= 6 && one_letter_apart(&heading, &known))
}

/// Whether one letter was put in, left out, changed, or exchanged with its neighbour.
fn one_letter_apart(a: &str, b: &str) -> bool {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let front = a.iter().zip(&b).take_while(|(x, y)| x == y).count();
    let (a, b) = (&a[front..], &b[front..]);
    match (a, b) {
        ([_, rest @ ..], other) | (other, [_, rest @ ..]) if rest == other => true,
        ([_, rest_a @ ..], [_, rest_b @ ..]) if rest_a == rest_b => true,
        ([x, y, rest_a @ ..], [v, w, rest_b @ ..]) => x == w && y == v && rest_a == rest_b,
        _ => false,
    }
}
