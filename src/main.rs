//! Parse, call, exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    stillaxis::commands::run()
}
