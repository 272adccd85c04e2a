//! `stillaxis audit`: alignment of a list of operations, by group and over time.

use super::Ending;
use super::messages::Failure;
use super::study::{StudyArgs, known_column, limit, made_by, records, write};
use crate::report::summary::PRACTICE_LIMITS_DEG;
use crate::study::audit::{AuditSettings, headline, methods, sections};
use crate::study::eye::eyes;
use crate::study::figures::{Inclusion, Study};
use std::path::PathBuf;

/// Audit a list of operations: error by group and over time, shares within limits, refusals, residual cylinder, learning.
///
/// Counts eyes, not stills. Writes report.html, audit.json and audit.csv into the folder given by --out. Exit codes: 0 every
/// record could be used, 1 some could not (they are counted in the report), 2 the run itself could not be done.
#[derive(Debug, clap::Args)]
pub(super) struct AuditArgs {
    /// Results of `measure`: folders with measurements.ndjson in them, or such files
    #[arg(required = true, value_name = "RESULTS")]
    results: Vec<PathBuf>,
    #[command(flatten)]
    study: StudyArgs,
    /// Columns of the case sheet to group by
    #[arg(long, value_name = "COLUMN", num_args = 1.., value_delimiter = ',')]
    by: Vec<String>,
    /// Limits of the size of the error, degrees [default: 5 10]
    #[arg(long, value_name = "DEG", num_args = 1.., allow_negative_numbers = true, value_delimiter = ',', value_parser = limit)]
    limit: Vec<f64>,
    /// Seed of the bootstrap and of drawn sequences
    #[arg(long, value_name = "S", default_value_t = 1)]
    seed: u64,
}

/// Read, ask, write.
pub(super) fn run(args: &AuditArgs) -> Result<Ending, Failure> {
    let read = records(&args.results, &args.study)?;
    for column in &args.by {
        known_column(&read, column)?;
    }
    let limits_deg = if args.limit.is_empty() { PRACTICE_LIMITS_DEG.to_vec() } else { args.limit.clone() };
    let settings = AuditSettings { by: args.by.clone(), limits_deg, seed: args.seed };
    let together = eyes(&read.stills);
    let mut inclusions = read.inclusions.clone();
    let measured = together.eyes.iter().filter(|eye| eye.measure.is_some()).count();
    inclusions.push(Inclusion::new("eyes with a figure, from these stills", measured));
    inclusions.push(Inclusion::new("eyes without one", together.eyes.len() - measured));
    let mut how = methods(&settings);
    how.push(made_by(&read));
    let study = Study {
        command: "audit",
        title: "Audit of toric lens alignment".to_owned(),
        headline: headline(&together.eyes, settings.limits_deg[0]),
        version: env!("CARGO_PKG_VERSION"),
        seed: args.seed,
        inclusions,
        notes: together.notes,
        sections: sections(&together.eyes, &settings),
        methods: how,
    };
    write(&args.study, &study)
}
