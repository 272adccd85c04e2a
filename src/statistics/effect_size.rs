//! Differences between two groups on a scale that does not depend on the unit.

use super::descriptive::{mean, variance};
use super::rank_tests::ranks;

/// Difference of means over the common standard deviation, corrected for few values: Hedges' g. `None` with fewer than two
/// values in a group, or without spread.
///
/// Source: Hedges (1981), J Educ Stat 6:107-128, the correction by its usual approximation 1 - 3 / (4 n - 9) (from memory).
pub fn hedges_g(first: &[f64], second: &[f64]) -> Option<f64> {
    let (n, m) = (first.len() as f64, second.len() as f64);
    let pooled = ((n - 1.0) * variance(first)? + (m - 1.0) * variance(second)?) / (n + m - 2.0);
    let g = (mean(first)? - mean(second)?) / pooled.sqrt() * (1.0 - 3.0 / (4.0 * (n + m) - 9.0));
    (pooled > 0.0).then_some(g)
}

/// Cliff's delta: how much more often a value of the first group is the larger one than the smaller one, -1 to 1. `None` with
/// an empty group.
///
/// Source: Cliff (1993), Psychol Bull 114:494-509 (from memory).
pub fn cliffs_delta(first: &[f64], second: &[f64]) -> Option<f64> {
    if first.is_empty() || second.is_empty() {
        return None;
    }
    let (n, m) = (first.len() as f64, second.len() as f64);
    let rank_sum: f64 = ranks(&[first, second].concat())[..first.len()].iter().sum();
    let u = rank_sum - n * (n + 1.0) / 2.0;
    Some(2.0 * u / (n * m) - 1.0)
}
