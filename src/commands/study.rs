//! What audit, compare and agree have in common: records in, a page with its numbers out. What only audit and compare share,
//! eyes and groups, is [`GroupArgs`].

use super::Ending;
use super::files::write_into;
use super::messages::{Failure, counted, listed, say};
use crate::report::study;
use crate::report::summary::PRACTICE_LIMITS_DEG;
use crate::stills::load::shown;
use crate::study::eye::{Eyes, eyes};
use crate::study::figures::{Inclusion, Study, Why};
use crate::study::reading::{Choice, Read, read};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Name of the records in a folder of results.
const RECORDS: &str = "measurements.ndjson";
const PAGE: &str = "report.html";

/// Arguments of all three.
#[derive(Debug, clap::Args)]
pub(super) struct StudyArgs {
    /// Folder to write report.html and its numbers to, as JSON and CSV; made if it is missing
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Only stills of this stage count (column `stage` of the case sheet); else those of all stages do
    #[arg(long, value_name = "STAGE")]
    pub stage: Option<String>,
}

/// Arguments of audit and compare, which speak of groups of eyes.
#[derive(Debug, clap::Args)]
pub(super) struct GroupArgs {
    /// Results of `measure`: folders with measurements.ndjson in them, or such files
    #[arg(required = true, value_name = "RESULTS")]
    results: Vec<PathBuf>,
    #[command(flatten)]
    pub study: StudyArgs,
    /// Limits of the size of the error, degrees [default: 5 10]
    #[arg(long, value_name = "DEG", num_args = 1.., allow_negative_numbers = true, value_delimiter = ',', value_parser = limit)]
    limit: Vec<f64>,
    /// Seed of all that is drawn by chance: bootstrap, permutation, sequences
    #[arg(long, value_name = "S", default_value_t = 1)]
    pub seed: u64,
}

/// Eyes to speak of, and what became of the records.
pub(super) struct Grouped {
    /// Eyes, and what was doubtful.
    pub together: Eyes,
    /// What became of every record, and the eyes that came of them.
    pub inclusions: Vec<Inclusion>,
    /// Programs that made the records.
    pub made_by: String,
    /// Limits of the size of the error, degrees.
    pub limits_deg: Vec<f64>,
}

impl GroupArgs {
    /// Read the records and put eyes together; the columns to group by have to be in the case sheet.
    pub(super) fn eyes(&self, by: &[String]) -> Result<Grouped, Failure> {
        let read = records(&self.results, &self.study)?;
        by.iter().try_for_each(|column| known_column(&read, column))?;
        let together = eyes(&read.stills);
        if let Some(stages) = &together.stages {
            let names: Vec<String> = self.results.iter().map(|path| shown(&records_in(path))).collect();
            say(&format!("{}: {stages}", listed(&names)));
        }
        let measured = together.eyes.iter().filter(|eye| eye.measure.is_some()).count();
        let made_by = made_by(&read);
        let mut inclusions = read.inclusions;
        inclusions.push(Inclusion::new("eyes with a figure, from these stills", measured));
        inclusions.push(Inclusion::new("eyes without one", together.eyes.len() - measured));
        let limits_deg = if self.limit.is_empty() { PRACTICE_LIMITS_DEG.to_vec() } else { self.limit.clone() };
        Ok(Grouped { together, inclusions, made_by, limits_deg })
    }
}

/// Read the records, and say what cannot be used.
pub(super) fn records(results: &[PathBuf], args: &StudyArgs) -> Result<Read, Failure> {
    if args.out.join(RECORDS).exists() {
        let why = "holds the results of measure, whose report.html would be lost: give another folder";
        return Err(Failure::at(&args.out, why));
    }
    let files: Vec<(String, Vec<u8>)> = results.iter().map(|path| file(path)).collect::<Result<_, _>>()?;
    let found = read(&files, &Choice { stage: args.stage.clone() });
    found.messages.iter().for_each(say);
    if found.stills.is_empty() {
        let records = found.inclusions.first().map_or(0, |all| all.records);
        let names: Vec<String> = files.into_iter().map(|(name, _)| name).collect();
        let reasons = found.inclusions.iter().skip(1).filter(|i| i.records > 0);
        let reasons: Vec<String> = reasons.map(|i| format!("{}: {}", i.what, i.records)).collect();
        let why = if reasons.is_empty() { String::new() } else { format!(" ({})", reasons.join("; ")) };
        let count = counted(records, "record", "records");
        return Err(Failure(format!("{}: none of {count} can be counted{why}", names.join(", "))));
    }
    Ok(found)
}

/// The file of records in what was named as results.
fn records_in(path: &Path) -> PathBuf {
    if path.is_dir() { path.join(RECORDS) } else { path.to_owned() }
}

fn file(path: &Path) -> Result<(String, Vec<u8>), Failure> {
    let file = records_in(path);
    let bytes = std::fs::read(&file).map_err(|error| Failure::at(&file, error))?;
    Ok((shown(&file), bytes))
}

/// That a column is in the sheet.
fn known_column(read: &Read, column: &str) -> Result<(), Failure> {
    let columns: BTreeSet<&String> = read.stills.iter().flat_map(|still| still.columns.keys()).collect();
    if columns.iter().any(|known| *known == column) {
        return Ok(());
    }
    let names: Vec<&str> = columns.iter().map(|name| name.as_str()).collect();
    let found = if names.is_empty() { "no column at all".to_owned() } else { names.join(", ") };
    Err(Failure(format!("--by {column:?}: no such column in the case sheet; the records have {found}")))
}

/// Write the page and its numbers, and say where.
pub(super) fn write(args: &StudyArgs, study: &Study) -> Result<Ending, Failure> {
    std::fs::create_dir_all(&args.out).map_err(|error| Failure::at(&args.out, error))?;
    let keep = |name: &str, bytes| write_into(&args.out, name, bytes);
    keep(PAGE, study::html(study).map(String::into_bytes))?;
    keep(&format!("{}.json", study.command), study::json(study))?;
    keep(&format!("{}.csv", study.command), study::csv(study))?;
    super::standard_output::print(&format!("{}\n{}\n", study.headline, shown(&args.out.join(PAGE))))?;
    let unusable = study.inclusions.iter().any(|inclusion| inclusion.left_out == Some(Why::Unusable));
    Ok(if unusable { Ending::Partly } else { Ending::Done })
}

/// Programs that made the records, for the methods.
pub(super) fn made_by(read: &Read) -> String {
    let programs: BTreeSet<&str> = read.stills.iter().map(|still| still.program.as_str()).collect();
    format!("Records made by {}.", programs.into_iter().collect::<Vec<_>>().join("; "))
}

/// Limits of size, degrees: more than 0.
fn limit(text: &str) -> Result<f64, String> {
    let value: f64 = text.trim().parse().map_err(|_| "expected a number of degrees".to_owned())?;
    if value > 0.0 && value <= 90.0 { Ok(value) } else { Err("expected more than 0 and at most 90 degrees".to_owned()) }
}
