//! The command line to a list of stills, each with what the sheet knows of it.

use crate::commands::messages::{Failure, counted, listed, say};
use crate::stills::discover::discover;
use crate::stills::load::shown;
use crate::stills::sheet::{Case, Sheet};
use std::io::Read;
use std::path::{Path, PathBuf};

/// Said in the record of a still that the sheet has no row for.
const NO_ROW: &str = "the case sheet has no row for this still: its marks were taken to stand on the intended axis";
/// Said in the record of a still that was measured without a sheet.
const NO_SHEET: &str = "no case sheet was given: the marks were taken to stand on the intended axis";

/// A still to measure.
#[derive(Clone, Debug)]
pub(super) struct Job {
    /// Where it is.
    pub path: PathBuf,
    /// What the sheet knows of it.
    pub case: Case,
    /// What a reader of its record should know.
    pub warnings: Vec<String>,
}

/// All that is to be measured.
#[derive(Clone, Debug)]
pub(super) struct Inputs {
    /// In the order given.
    pub jobs: Vec<Job>,
    /// Whether every path gave stills.
    pub complete: bool,
}

/// Find the stills and their rows, and say what is amiss with either.
pub(super) fn gather(paths: &[PathBuf], sheet: Option<&Path>, leave_out: &[PathBuf]) -> Result<Inputs, Failure> {
    let found = discover(&with_list(paths)?, leave_out);
    for message in found.notes.iter().chain(&found.faults) {
        say(message);
    }
    if found.stills.is_empty() {
        let paths: Vec<String> = paths.iter().map(|path| shown(path)).collect();
        return Err(Failure(format!("{}: no pictures to measure", listed(&paths))));
    }
    let cases = match sheet {
        Some(sheet) => read_sheet(sheet, &found.stills)?,
        None => vec![None; found.stills.len()],
    };
    let jobs = found.stills.into_iter().zip(cases);
    let jobs = jobs.map(|(path, case)| {
        let unsaid = if sheet.is_none() { NO_SHEET } else { NO_ROW };
        let warnings = if case.is_some() { Vec::new() } else { vec![unsaid.to_owned()] };
        Job { path, case: case.unwrap_or_default(), warnings }
    });
    Ok(Inputs { jobs: jobs.collect(), complete: found.faults.is_empty() })
}

fn read_sheet(path: &Path, stills: &[PathBuf]) -> Result<Vec<Option<Case>>, Failure> {
    let fault = |error: crate::stills::sheet::SheetError| Failure(error.to_string());
    let sheet = Sheet::read(path).map_err(fault)?;
    let matched = sheet.matched(stills).map_err(fault)?;
    let file = shown(path);
    if !sheet.unknown.is_empty() {
        say(&format!("{file}: carried through as they are: {}", listed(&sheet.unknown)));
    }
    if !matched.unused.is_empty() {
        let rows = counted(matched.unused.len(), "row", "rows");
        let names: Vec<String> = matched.unused.iter().map(|(line, name)| format!("{name} (line {line})")).collect();
        say(&format!("{file}: {rows} for none of the stills given: {}", listed(&names)));
    }
    let without = stills.iter().zip(&matched.cases).filter(|(_, case)| case.is_none());
    let without: Vec<String> = without.map(|(still, _)| shown(still)).collect();
    if !without.is_empty() {
        say(&format!("{file}: no row for {}: {}", counted(without.len(), "still", "stills"), listed(&without)));
    }
    Ok(matched.cases)
}

/// The paths, with `-` replaced by those that standard input lists.
fn with_list(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let mut whole = Vec::with_capacity(paths.len());
    for path in paths {
        if path.as_os_str() == "-" {
            let mut list = String::new();
            let read = std::io::stdin().lock().read_to_string(&mut list);
            read.map_err(|error| Failure(format!("standard input: {error}")))?;
            whole.extend(list.lines().filter(|line| !line.trim().is_empty()).map(PathBuf::from));
        } else {
            whole.push(path.clone());
        }
    }
    Ok(whole)
}
