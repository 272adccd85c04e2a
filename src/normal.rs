//! The standard normal distribution, and the root of a rising function: what dioptres and statistics both need.

use statrs::distribution::{ContinuousCDF, Normal};

/// Probability with which intervals are to hold the truth.
pub const COVERAGE: f64 = 0.95;
/// Normal quantile of a two-sided 95 % interval.
pub const Z95: f64 = 1.959_963_984_540_054;
/// Median of the size of a standard normal variable: its quantile at 0.75.
pub const MEDIAN_SIZE: f64 = 0.674_489_750_196_081_7;
/// Halvings of a bracket: down to the rounding of f64, whatever its ends.
const HALVINGS: u32 = 200;

/// Distribution function.
pub fn cdf(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

/// Quantile; infinite at 0 and 1.
pub fn quantile(probability: f64) -> f64 {
    Normal::standard().inverse_cdf(probability.clamp(0.0, 1.0))
}

/// Where a rising function crosses 0 between `low` and `high`, by halving; an end where it does not.
pub fn root(mut low: f64, mut high: f64, rising: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..HALVINGS {
        let middle = low.midpoint(high);
        if middle == low || middle == high {
            break;
        }
        if rising(middle) < 0.0 { low = middle } else { high = middle }
    }
    low.midpoint(high)
}
