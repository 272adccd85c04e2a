//! The statistics against published values, against well-known libraries, and by simulation.

mod libraries;
mod published;
mod simulation;

/// Fails unless `got` is within `within` of `expected`.
#[track_caller]
fn close(got: f64, expected: f64, within: f64) {
    assert!((got - expected).abs() <= within, "{got} is not {expected} to {within}");
}
