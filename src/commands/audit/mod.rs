//! `stillaxis audit`: alignment of a list of operations, by group and over time.

use super::Ending;
use super::messages::Failure;
use super::study::{GroupArgs, write};
use crate::study::audit::{AuditSettings, headline, methods, sections};
use crate::study::figures::Study;

/// Audit a list of operations: error by group and over time, shares within limits, refusals, residual cylinder, learning.
///
/// Counts eyes, not stills. Writes report.html, audit.json and audit.csv into the folder given by --out. Exit codes: 0 every
/// record could be used, 1 some could not (they are counted in the report), 2 the run itself could not be done.
#[derive(Debug, clap::Args)]
pub(super) struct AuditArgs {
    #[command(flatten)]
    groups: GroupArgs,
    /// Columns of the case sheet to group by
    #[arg(long, value_name = "COLUMN", num_args = 1.., value_delimiter = ',')]
    by: Vec<String>,
}

/// Read, ask, write.
pub(super) fn run(args: &AuditArgs) -> Result<Ending, Failure> {
    let found = args.groups.eyes(&args.by)?;
    let seed = args.groups.seed;
    let settings = AuditSettings { by: args.by.clone(), limits_deg: found.limits_deg, seed };
    let eyes = &found.together.eyes;
    let mut how = methods(&settings);
    how.push(found.made_by);
    let study = Study {
        command: "audit",
        title: "Audit of toric lens alignment".to_owned(),
        headline: headline(eyes, settings.limits_deg[0]),
        version: env!("CARGO_PKG_VERSION"),
        seed,
        inclusions: found.inclusions,
        sections: sections(eyes, &settings),
        notes: found.together.notes,
        methods: how,
    };
    write(&args.groups.study, &study)
}
