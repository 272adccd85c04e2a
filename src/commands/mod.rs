//! One file a verb: arguments, calls, messages; no measuring.

mod agree;
mod audit;
mod compare;
mod files;
mod measure;
mod messages;
mod predict;
mod schema;
mod simulate;
mod standard_output;
mod study;

use clap::{Parser, Subcommand};
use messages::say;
use std::process::ExitCode;

/// Measures the alignment of toric intraocular lenses from stills of the operation.
///
/// Exit codes: 0 every still measured, 1 some refused or unreadable, 2 the run itself could not be done.
#[derive(Debug, Parser)]
#[command(name = "stillaxis", version)]
struct Cli {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Debug, Subcommand)]
enum Verb {
    Agree(agree::AgreeArgs),
    Audit(audit::AuditArgs),
    Compare(compare::CompareArgs),
    Measure(measure::MeasureArgs),
    Predict(predict::PredictArgs),
    Schema(schema::SchemaArgs),
    Simulate(simulate::SimulateArgs),
}

/// How a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Ending {
    /// All that was asked for was done.
    Done,
    /// Done, but some of it has no result.
    Partly,
    /// The run itself could not be done.
    Failed,
}

impl From<Ending> for ExitCode {
    fn from(ending: Ending) -> Self {
        Self::from(match ending {
            Ending::Done => 0,
            Ending::Partly => 1,
            Ending::Failed => 2,
        })
    }
}

/// Parse the command line, run the verb, return its exit code.
pub fn run() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            // Help and version go to standard output, which may have been closed: not worth a word.
            let _ = error.print();
            return if error.use_stderr() { Ending::Failed.into() } else { Ending::Done.into() };
        }
    };
    let ending = match cli.verb {
        Verb::Agree(args) => agree::run(&args),
        Verb::Audit(args) => audit::run(&args),
        Verb::Compare(args) => compare::run(&args),
        Verb::Measure(args) => measure::run(&args),
        Verb::Predict(args) => predict::run(&args),
        Verb::Schema(args) => schema::run(&args),
        Verb::Simulate(args) => simulate::run(&args),
    };
    ending
        .unwrap_or_else(|failure| {
            say(&failure);
            Ending::Failed
        })
        .into()
}
