//! `stillaxis schema`: the JSON Schema of the record.

use super::Ending;
use super::messages::Failure;
use super::standard_output::print;
use crate::record::Record;
use clap::Args;

/// Print the JSON Schema of a record, one line of measurements.ndjson.
#[derive(Debug, Args)]
pub(super) struct SchemaArgs {}

/// Print it.
pub(super) fn run(_args: &SchemaArgs) -> Result<Ending, Failure> {
    let text = serde_json::to_string_pretty(&schemars::schema_for!(Record))
        .map_err(|error| Failure(format!("standard output: {error}")))?;
    print(&format!("{text}\n"))?;
    Ok(Ending::Done)
}
