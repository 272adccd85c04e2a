//! `stillaxis schema`: the JSON Schema of the record.

use super::Ending;
use super::messages::Failure;
use crate::record::Record;
use clap::Args;
use std::io::{ErrorKind, Write};

/// Print the JSON Schema of a record, one line of measurements.ndjson.
#[derive(Debug, Args)]
pub(super) struct SchemaArgs {}

/// Print it.
pub(super) fn run(_args: &SchemaArgs) -> Result<Ending, Failure> {
    let failed = |cause: &dyn std::fmt::Display| Failure(format!("standard output: {cause}"));
    let text = serde_json::to_string_pretty(&schemars::schema_for!(Record)).map_err(|error| failed(&error))?;
    match writeln!(std::io::stdout().lock(), "{text}") {
        // The reader has seen enough.
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(Ending::Done),
        Err(error) => Err(failed(&error)),
        Ok(()) => Ok(Ending::Done),
    }
}
