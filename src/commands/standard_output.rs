//! Data, on standard output.

use super::messages::Failure;
use std::io::{ErrorKind, Write};

/// Write `text` to standard output. A reader who has seen enough and closed it is no failure.
pub(super) fn print(text: &str) -> Result<(), Failure> {
    let mut output = std::io::stdout().lock();
    match output.write_all(text.as_bytes()).and_then(|()| output.flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(Failure(format!("standard output: {error}"))),
        _ => Ok(()),
    }
}
