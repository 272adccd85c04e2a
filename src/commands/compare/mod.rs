//! `stillaxis compare`: groups of eyes side by side.

use super::Ending;
use super::messages::Failure;
use super::study::{GroupArgs, write};
use crate::study::compare::{CompareSettings, headline, methods, sections};
use crate::study::figures::Study;

/// Compare groups of eyes, as ways of marking: bias, spread and size of the error, quality of the marks, the next study.
///
/// Counts eyes, not stills, and keeps both eyes of a patient together. Writes report.html, compare.json and compare.csv into the
/// folder given by --out. Exit codes: 0 every record could be used, 1 some could not (they are counted in the report), 2
/// the run itself could not be done.
#[derive(Debug, clap::Args)]
pub(super) struct CompareArgs {
    #[command(flatten)]
    groups: GroupArgs,
    /// Column of the case sheet whose values are the groups
    #[arg(long, value_name = "COLUMN", default_value = "technique")]
    by: String,
}

/// Read, ask, write.
pub(super) fn run(args: &CompareArgs) -> Result<Ending, Failure> {
    let found = args.groups.eyes(std::slice::from_ref(&args.by))?;
    let seed = args.groups.seed;
    let settings = CompareSettings { by: args.by.clone(), limits_deg: found.limits_deg, seed };
    let (sections, more_notes) = sections(&found.together.eyes, &settings);
    let mut how = methods(&settings);
    how.push(found.made_by);
    let study = Study {
        command: "compare",
        title: format!("Toric lens alignment compared by {}", args.by),
        headline: headline(&sections),
        version: env!("CARGO_PKG_VERSION"),
        seed,
        inclusions: found.inclusions,
        notes: [found.together.notes, more_notes].concat(),
        sections,
        methods: how,
    };
    write(&args.groups.study, &study)
}
