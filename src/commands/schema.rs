//! `stillaxis schema`: the JSON Schema of the record.

use super::Ending;
use super::messages::Failure;
use super::standard_output::print;
use crate::record::{CaseRecord, Record};
use clap::Args;

/// Print the JSON Schema of a record, one line of measurements.ndjson or, with --cases, of cases.ndjson.
#[derive(Debug, Args)]
pub(super) struct SchemaArgs {
    /// The schema of a case, one line of cases.ndjson, instead
    #[arg(long)]
    cases: bool,
}

/// Print it.
pub(super) fn run(args: &SchemaArgs) -> Result<Ending, Failure> {
    let schema = if args.cases { schemars::schema_for!(CaseRecord) } else { schemars::schema_for!(Record) };
    let text = serde_json::to_string_pretty(&schema).map_err(|error| Failure(format!("standard output: {error}")))?;
    print(&format!("{text}\n"))?;
    Ok(Ending::Done)
}
