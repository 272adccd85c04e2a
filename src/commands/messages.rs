//! Messages to people, on standard error.

use std::fmt::Display;
use std::io::Write;

/// Write a line to standard error. A closed one is no reason to stop.
pub(super) fn say(message: &impl Display) {
    let _ = writeln!(std::io::stderr().lock(), "{message}");
}

/// Why a run could not be done, as `path: cause`.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub(super) struct Failure(pub(super) String);

impl Failure {
    /// `path: cause`.
    pub(super) fn at(path: &std::path::Path, cause: impl Display) -> Self {
        Self(format!("{}: {cause}", crate::stills::load::shown(path)))
    }
}

/// `1 still`, `2 stills`.
pub(super) fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// The first of `names`, and how many more there are.
pub(super) fn listed(names: &[String]) -> String {
    const SHOWN: usize = 5;
    let first = names.iter().take(SHOWN).map(String::as_str).collect::<Vec<_>>().join(", ");
    match names.len().checked_sub(SHOWN) {
        Some(more @ 1..) => format!("{first} and {more} more"),
        _ => first,
    }
}
