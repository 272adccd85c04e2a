//! Which row speaks for which still.

use super::super::load::shown;
use super::super::path_end::PathEnds;
use super::Case;
use super::reading::{Faults, Row, Sheet, SheetError};
use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};

/// What a sheet says of a list of stills.
#[derive(Clone, Debug, PartialEq)]
pub struct Matched {
    /// For each still, in order, what the sheet knows of it; `None` where it has no row.
    pub cases: Vec<Option<Case>>,
    /// Line and name of each row that speaks for none of the stills.
    pub unused: Vec<(u64, String)>,
}

impl Sheet {
    /// Find the row of each still.
    ///
    /// A row's `still` is a file name or the end of a path, and fits the stills whose path ends so, in the same case. A
    /// row with a `case` but no still speaks for the whole case: what it says holds for every still whose own row names
    /// that case and leaves the cell empty, and for the stills without a row in a folder of that name.
    ///
    /// # Errors
    /// [`SheetError::Faults`] where a row fits several stills, or a still several rows: whose plan is whose is not
    /// guessed.
    pub fn matched(&self, stills: &[PathBuf]) -> Result<Matched, SheetError> {
        let mut faults = Faults::of(&self.path);
        let paths: Vec<Vec<String>> = stills.iter().map(|path| path_parts(path)).collect();
        let ends = PathEnds::of(paths.iter().map(|parts| parts.iter().map(String::as_str).collect()));
        let mut own_rows: Vec<Vec<usize>> = vec![Vec::new(); stills.len()];
        let mut by_case: HashMap<&str, usize> = HashMap::new();
        for (at, Row { case, .. }) in self.rows.iter().enumerate() {
            match (&case.still, &case.case) {
                (Some(still), _) => ends.ending_in(still).into_iter().for_each(|of| own_rows[of].push(at)),
                (None, Some(case)) => drop(by_case.insert(case, at)),
                (None, None) => {}
            }
        }

        let mut first_still: HashMap<usize, &Path> = HashMap::new();
        let mut used: HashSet<usize> = HashSet::new();
        let mut cases = Vec::with_capacity(stills.len());
        for ((path, parts), own) in stills.iter().zip(&paths).zip(own_rows) {
            let row = own.first().copied();
            if let [first, second, ..] = own[..] {
                let (first, second) = (&self.rows[first], &self.rows[second]);
                let still = second.case.still.as_deref().unwrap_or_default();
                let expected = format!("one row for {}, which line {} names as well", shown(path), first.line);
                faults.add(second.line, Some("still"), still, expected);
            }
            if let Some(first) = row.and_then(|row| first_still.insert(row, path)) {
                let row = &self.rows[row.unwrap_or_default()];
                let still = row.case.still.as_deref().unwrap_or_default();
                let (first, second) = (shown(first), shown(path));
                let expected = format!("as much of the path as tells {first} from {second}");
                faults.add(row.line, Some("still"), still, expected);
            }
            let own_case = row.map(|row| &self.rows[row].case);
            let folder = parts.iter().rev().nth(1).map(String::as_str);
            let whole = match own_case {
                Some(own) => own.case.as_deref(),
                None => folder,
            };
            let whole = whole.and_then(|case| by_case.get(case)).copied();
            used.extend(row.into_iter().chain(whole));
            cases.push(match (row, whole) {
                (None, None) => None,
                (Some(row), None) | (None, Some(row)) => Some(self.rows[row].case.clone()),
                (Some(own), Some(whole)) => Some(completed(&self.rows[own], &self.rows[whole], &mut faults)),
            });
        }
        let unused = self.rows.iter().enumerate().filter(|(at, _)| !used.contains(at));
        let name = |case: &Case| case.still.clone().or_else(|| case.case.clone()).unwrap_or_default();
        let unused = unused.map(|(_, row)| (row.line, name(&row.case))).collect();
        if faults.list.is_empty() { Ok(Matched { cases, unused }) } else { Err(SheetError::Faults(faults.list)) }
    }
}

/// A still's own row, its empty cells filled from the row of its case.
fn completed(own: &Row, whole: &Row, faults: &mut Faults) -> Case {
    let mut columns = own.case.columns.clone();
    for (heading, cell) in &mut columns {
        if let Some(said) = whole.case.columns.get(heading).filter(|_| cell.is_empty() && heading != "still") {
            cell.clone_from(said);
        }
    }
    // Each row is right by itself; together they may still disagree.
    Case::checked(columns, |column, value, expected| faults.add(own.line, Some(column), value, expected))
}

fn path_parts(path: &Path) -> Vec<String> {
    // A file of the working folder, given by its name alone, lies in that folder all the same.
    let whole = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    whole.components().map(|part| part.as_os_str().to_string_lossy().into_owned()).collect()
}
