//! `stillaxis compare`: differences between groups of eyes.

use super::Ending;
use super::messages::Failure;
use super::study::{StudyArgs, known_column, limit, made_by, records, write};
use crate::report::summary::PRACTICE_LIMITS_DEG;
use crate::study::compare::{CompareSettings, headline, methods, sections};
use crate::study::eye::eyes;
use crate::study::figures::{Inclusion, Study};
use std::path::PathBuf;

/// Compare groups of eyes, as ways of marking: bias, spread and size of the error, quality of the marks, the next study.
///
/// Counts eyes, not stills, and keeps both eyes of a patient together. Writes report.html, compare.json and compare.csv into the
/// folder given by --out. Exit codes: 0 every record could be used, 1 some could not (they are counted in the report), 2
/// the run itself could not be done.
#[derive(Debug, clap::Args)]
pub(super) struct CompareArgs {
    /// Results of `measure`: folders with measurements.ndjson in them, or such files
    #[arg(required = true, value_name = "RESULTS")]
    results: Vec<PathBuf>,
    #[command(flatten)]
    study: StudyArgs,
    /// Column of the case sheet whose values are the groups
    #[arg(long, value_name = "COLUMN", default_value = "technique")]
    by: String,
    /// Limits of the size of the error, degrees [default: 5 10]
    #[arg(long, value_name = "DEG", num_args = 1.., allow_negative_numbers = true, value_delimiter = ',', value_parser = limit)]
    limit: Vec<f64>,
    /// Seed of bootstrap and permutation
    #[arg(long, value_name = "S", default_value_t = 1)]
    seed: u64,
}

/// Read, ask, write.
pub(super) fn run(args: &CompareArgs) -> Result<Ending, Failure> {
    let read = records(&args.results, &args.study)?;
    known_column(&read, &args.by)?;
    let limits_deg = if args.limit.is_empty() { PRACTICE_LIMITS_DEG.to_vec() } else { args.limit.clone() };
    let settings = CompareSettings { by: args.by.clone(), limits_deg, seed: args.seed };
    let together = eyes(&read.stills);
    let (sections, more_notes) = sections(&together.eyes, &settings);
    let mut inclusions = read.inclusions.clone();
    let measured = together.eyes.iter().filter(|eye| eye.measure.is_some()).count();
    inclusions.push(Inclusion::new("eyes with a figure, from these stills", measured));
    inclusions.push(Inclusion::new("eyes without one", together.eyes.len() - measured));
    let mut how = methods(&settings);
    how.push(made_by(&read));
    let study = Study {
        command: "compare",
        title: format!("Toric lens alignment compared by {}", args.by),
        headline: headline(&sections),
        version: env!("CARGO_PKG_VERSION"),
        seed: args.seed,
        inclusions,
        notes: [together.notes, more_notes].concat(),
        sections,
        methods: how,
    };
    write(&args.study, &study)
}
