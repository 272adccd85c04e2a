//! Taking the error of reading out of what was read.
//!
//! Each reading is the truth plus an error of known variance. Reading noise alone looks like misalignment: it widens the
//! spread, and adds to the mean size.

use super::descriptive::{mean, variance};

/// Spread of the truth: sqrt(s^2 - mean of the reading variances), 0 where reading explains all of it. `None` of fewer than
/// two.
///
/// - `readings` and their `variances`, in the square of their unit
///
/// Source: method of moments, Hedges & Olkin (1985) for the variance component, equal weights (from memory).
pub fn true_spread(readings: &[f64], variances: &[f64]) -> Option<f64> {
    Some((variance(readings)? - mean(variances)?).max(0.0).sqrt())
}

/// The readings drawn towards their mean so that their spread is that of the truth: mean + w (reading - mean),
/// w = t / sqrt(t^2 + v), t the true spread and v the variance of the reading. Their sizes and the shares of them within a
/// limit estimate those of the truth; a single one of them is no better a reading than before. `None` of fewer than two.
///
/// Source: constrained empirical Bayes, Louis (1984), J Am Stat Assoc 79:393-398 (from memory).
pub fn without_reading_error(readings: &[f64], variances: &[f64]) -> Option<Vec<f64>> {
    let (middle, spread) = (mean(readings)?, true_spread(readings, variances)?);
    let drawn = |(reading, variance): (&f64, &f64)| {
        let whole = (spread * spread + variance).sqrt();
        middle + if whole > 0.0 { spread / whole } else { 1.0 } * (reading - middle)
    };
    Some(readings.iter().zip(variances).map(drawn).collect())
}
