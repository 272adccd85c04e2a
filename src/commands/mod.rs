//! One file a verb: arguments, calls, messages; no measuring.

use std::process::ExitCode;

/// Parse the command line, run the verb, return its exit code.
pub fn run() -> ExitCode {
    ExitCode::from(2)
}
