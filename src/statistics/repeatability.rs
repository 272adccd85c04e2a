//! How well a way of measuring agrees with itself.

use super::descriptive::{mean, variance};
use super::distributions::chi_squared_quantile;
use super::{COVERAGE, Interval};
use crate::normal::Z95;

/// Repeatability from repeated readings of subjects.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Repeatability {
    /// Standard deviation of repeated readings of one subject.
    pub within_sd: f64,
    /// Its 95 % interval, by chi squared.
    pub within_interval: Interval,
    /// 95 % of differences between two readings of one subject are expected below it: sqrt(2) 1.96 times the above.
    pub coefficient: f64,
    /// Its 95 % interval.
    pub coefficient_interval: Interval,
    /// Subjects with two or more readings.
    pub subjects: usize,
    /// Readings less subjects.
    pub freedom: f64,
}

impl Repeatability {
    /// From the readings of each subject; those with one reading say nothing. `None` without any other.
    ///
    /// Source: Bland & Altman (1986), Lancet i:307-310; (1996), BMJ 312:1654 (from memory).
    pub fn of(subjects: &[Vec<f64>]) -> Option<Self> {
        let repeated: Vec<&Vec<f64>> = subjects.iter().filter(|s| s.len() > 1).collect();
        let freedom: f64 = repeated.iter().map(|s| s.len() as f64 - 1.0).sum();
        let squares: f64 = repeated.iter().filter_map(|s| variance(s).map(|v| v * (s.len() as f64 - 1.0))).sum();
        if freedom <= 0.0 {
            return None;
        }
        let within_sd = (squares / freedom).sqrt();
        let within_interval = sd_interval(within_sd, freedom);
        let factor = 2.0_f64.sqrt() * Z95;
        Some(Self {
            within_sd,
            within_interval,
            coefficient: factor * within_sd,
            coefficient_interval: Interval { low: factor * within_interval.low, high: factor * within_interval.high },
            subjects: repeated.len(),
            freedom,
        })
    }
}

/// 95 % interval of a standard deviation of normal values with `freedom` degrees of freedom.
pub fn sd_interval(sd: f64, freedom: f64) -> Interval {
    let tail = (1.0 - COVERAGE) / 2.0;
    let end = |probability: f64| sd * (freedom / chi_squared_quantile(probability, freedom)).sqrt();
    Interval { low: end(1.0 - tail), high: end(tail) }
}

/// Lin's concordance of pairs: how near they lie to the line of equality, -1 to 1. `None` of fewer than two, or without spread.
///
/// Source: Lin (1989), Biometrics 45:255-268, with divisor n.
pub fn concordance(pairs: &[[f64; 2]]) -> Option<f64> {
    let column = |k: usize| pairs.iter().map(|pair| pair[k]).collect::<Vec<_>>();
    let (x, y) = (column(0), column(1));
    let n = pairs.len() as f64;
    let (mx, my) = (mean(&x)?, mean(&y)?);
    let (vx, vy) = (variance(&x)? * (n - 1.0) / n, variance(&y)? * (n - 1.0) / n);
    let both = pairs.iter().map(|[x, y]| (x - mx) * (y - my)).sum::<f64>() / n;
    let whole = vx + vy + (mx - my).powi(2);
    (whole > 0.0).then(|| 2.0 * both / whole)
}
