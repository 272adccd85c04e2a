//! Limits of agreement between two ways of measuring.
//!
//! Sources: Bland & Altman (1986), Lancet i:307-310; (1999), Stat Methods Med Res 8:135-160; (2007), J Biopharm Stat
//! 17:571-582, for repeated measurements; Zou (2013), Stat Methods Med Res 22:630-642, for their intervals (the last three
//! from memory).

use super::descriptive::{mean, variance};
use super::distributions::{chi_squared_quantile, normal_quantile, t_quantile};
use super::{COVERAGE, Interval};

/// Mean difference and limits within which 95 % of differences are expected, with their 95 % intervals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Mean difference.
    pub bias: f64,
    /// Interval of it.
    pub bias_interval: Interval,
    /// Standard deviation of a single difference.
    pub sd: f64,
    /// Lower limit, bias - 1.96 sd.
    pub low: f64,
    /// Interval of it.
    pub low_interval: Interval,
    /// Upper limit, bias + 1.96 sd.
    pub high: f64,
    /// Interval of it.
    pub high_interval: Interval,
    /// Part of the variance of a difference that subjects share; 0 without repeats.
    pub between_variance: f64,
    /// Part within a subject; 0 without repeats.
    pub within_variance: f64,
}

/// Limits from one difference a subject; `None` of fewer than two.
///
/// The interval of a limit takes its variance as sd^2 (1/n + z^2 / 2(n - 1)) (Bland & Altman 1999, 3).
pub fn limits(differences: &[f64]) -> Option<Limits> {
    let (bias, variance) = (mean(differences)?, variance(differences)?);
    let n = differences.len() as f64;
    let (sd, z) = (variance.sqrt(), normal_quantile(0.5 + COVERAGE / 2.0));
    let t = t_quantile(0.5 + COVERAGE / 2.0, n - 1.0);
    let about = |middle: f64, error: f64| Interval { low: middle - t * error, high: middle + t * error };
    let limit_error = sd * (1.0 / n + z * z / (2.0 * (n - 1.0))).sqrt();
    let (low, high) = (bias - z * sd, bias + z * sd);
    Some(Limits {
        bias,
        bias_interval: about(bias, sd / n.sqrt()),
        sd,
        low,
        low_interval: about(low, limit_error),
        high,
        high_interval: about(high, limit_error),
        between_variance: variance,
        within_variance: 0.0,
    })
}

/// Limits from several differences a subject, what was measured having changed between them (repeated stills of one case).
/// Without a subject that has two of them, as above. `None` of fewer than two subjects.
///
/// - `subjects`: the differences of each
/// - `more_variance`: variance that a single difference has beyond those given, because these are of means of repeated
///   readings; 0 as a rule
///
/// The variance of a difference is the sum of that between and that within subjects, by one-way analysis of variance
/// (Bland & Altman 2007, 3). The intervals join those of its parts (Zou 2013): bias by Student's t on the subjects' means,
/// variances by chi squared.
pub fn limits_repeated(subjects: &[Vec<f64>], more_variance: f64) -> Option<Limits> {
    let subjects: Vec<&Vec<f64>> = subjects.iter().filter(|s| !s.is_empty()).collect();
    let count = subjects.len() as f64;
    let total: f64 = subjects.iter().map(|s| s.len() as f64).sum();
    if subjects.len() < 2 {
        return None;
    }
    if total == count && more_variance == 0.0 {
        return limits(&subjects.iter().map(|s| s[0]).collect::<Vec<_>>());
    }
    let means: Vec<f64> = subjects.iter().filter_map(|s| mean(s)).collect();
    let freedom = total - count;
    let squares: f64 = subjects.iter().zip(&means).flat_map(|(s, m)| s.iter().map(move |d| (d - m).powi(2))).sum();
    let within = if freedom > 0.0 { squares / freedom } else { 0.0 };
    // Unequal numbers of repeats: means count alike, the within part enters by the harmonic mean of the numbers.
    let harmonic = count / subjects.iter().map(|s| 1.0 / s.len() as f64).sum::<f64>();
    let of_means = variance(&means)?;
    let between = (of_means - within / harmonic).max(0.0);
    let whole = of_means + (1.0 - 1.0 / harmonic) * within + more_variance;
    let (sd, z) = (whole.sqrt(), normal_quantile(0.5 + COVERAGE / 2.0));
    let bias = mean(&means)?;
    let bias_error = (of_means / count).sqrt();
    let half = t_quantile(0.5 + COVERAGE / 2.0, count - 1.0) * bias_error;

    let tail = (1.0 - COVERAGE) / 2.0;
    let parts = [(of_means, count - 1.0), ((1.0 - 1.0 / harmonic) * within, freedom)];
    let reach = |probability: f64| -> f64 {
        let far = parts.iter().filter(|(part, freedom)| *part > 0.0 && *freedom > 0.0);
        far.map(|(part, freedom)| (part * (1.0 - freedom / chi_squared_quantile(probability, *freedom))).powi(2))
            .sum::<f64>()
            .sqrt()
    };
    let (least, most) = ((whole - reach(1.0 - tail)).max(0.0), whole + reach(tail));
    // Recovery of the interval of bias + z sd from those of bias and sd.
    let inner = (half.powi(2) + (z * (sd - least.sqrt())).powi(2)).sqrt();
    let outer = (half.powi(2) + (z * (most.sqrt() - sd)).powi(2)).sqrt();
    let (low, high) = (bias - z * sd, bias + z * sd);
    Some(Limits {
        bias,
        bias_interval: Interval { low: bias - half, high: bias + half },
        sd,
        low,
        low_interval: Interval { low: low - outer, high: low + inner },
        high,
        high_interval: Interval { low: high - inner, high: high + outer },
        between_variance: between,
        within_variance: within,
    })
}

/// Standard deviation of the difference of single readings, from the differences of means of repeated ones: what the means
/// lack is added, (1 - 1/m) of each method's variance within subjects (Bland & Altman 1986, "Repeatability").
/// `None` of fewer than two subjects.
///
/// - `differences_of_means`: one a subject
/// - `within`: for each method its variance within subjects, and how many readings a mean is of
pub fn sd_for_single_readings(differences_of_means: &[f64], within: [(f64, f64); 2]) -> Option<f64> {
    let lacking: f64 = within.iter().map(|(variance, readings)| (1.0 - 1.0 / readings) * variance).sum();
    variance(differences_of_means).map(|v| (v + lacking).sqrt())
}
