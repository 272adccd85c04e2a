//! Limits of agreement between two ways of measuring.
//!
//! Sources: Bland & Altman (1986), Lancet i:307-310; (1999), Stat Methods Med Res 8:135-160; (2007), J Biopharm Stat
//! 17:571-582, for repeated measurements; Zou (2013), Stat Methods Med Res 22:630-642, for their intervals (the last three
//! from memory).

use super::clusters::numbered;
use super::descriptive::{mean, variance};
use super::distributions::{chi_squared_quantile, t_quantile};
use super::jackknife::{self, Scale};
use super::{COVERAGE, Interval};
use crate::normal::Z95;
use std::collections::HashSet;

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
    /// Part of the variance of a difference that subjects share; without repeats all of it.
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
    let (sd, z) = (variance.sqrt(), Z95);
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
    let parts = Parts::of(subjects.iter().filter_map(|s| Differences::of(s)))?;
    let (count, harmonic) = (parts.subjects, parts.harmonic);
    if parts.freedom == 0.0 && more_variance == 0.0 {
        return limits(&subjects.iter().filter_map(|s| s.first().copied()).collect::<Vec<_>>());
    }
    let whole = parts.variance() + more_variance;
    let half = t_quantile(0.5 + COVERAGE / 2.0, count - 1.0) * (parts.of_means / count).sqrt();
    let tail = (1.0 - COVERAGE) / 2.0;
    let both = [(parts.of_means, count - 1.0), ((1.0 - 1.0 / harmonic) * parts.within, parts.freedom)];
    let reach = |probability: f64| -> f64 {
        let far = both.iter().filter(|(part, freedom)| *part > 0.0 && *freedom > 0.0);
        far.map(|(part, freedom)| (part * (1.0 - freedom / chi_squared_quantile(probability, *freedom))).powi(2))
            .sum::<f64>()
            .sqrt()
    };
    let bias = Interval { low: parts.bias - half, high: parts.bias + half };
    let sd = Interval { low: (whole - reach(1.0 - tail)).max(0.0).sqrt(), high: (whole + reach(tail)).sqrt() };
    Some(parts.joined(whole, bias, sd))
}

/// As [`limits_repeated`], with intervals that hold also where subjects are alike in clusters, as both eyes of a patient are: by
/// the jackknife over clusters, of the bias as it is and of the standard deviation on its logarithm, joined as above. Without
/// a cluster of two subjects it is [`limits_repeated`]. Intervals are NaN for fewer than two clusters.
///
/// - `clusters`: of each subject, any numbers
/// - `more_variance`: from which of the subjects count to the variance that a single difference has beyond those given
pub fn limits_clustered(
    subjects: &[Vec<f64>],
    clusters: &[usize],
    more_variance: impl Fn(&dyn Fn(usize) -> bool) -> f64,
) -> Option<Limits> {
    let known: Vec<Option<Differences>> = subjects.iter().map(|s| Differences::of(s)).collect();
    let mut seen = HashSet::new();
    let alone = clusters.iter().zip(&known).filter(|(_, known)| known.is_some()).all(|(at, _)| seen.insert(*at));
    if alone {
        return limits_repeated(subjects, more_variance(&|_| true));
    }
    // Numbered anew: a cluster of which no subject is known would be a pseudo-value equal to the whole estimate.
    let with_subjects = clusters.iter().zip(&known).filter(|(_, known)| known.is_some());
    let (numbers, count) = numbered(with_subjects.map(|(at, _)| at));
    let mut numbers = numbers.into_iter();
    let cluster_of: Vec<Option<usize>> = known.iter().map(|known| known.and_then(|_| numbers.next())).collect();
    let estimate = |weights: &[f64]| {
        let counts = |subject: usize| cluster_of[subject].is_some_and(|at| weights[at] > 0.0);
        let parts = Parts::of((0..known.len()).filter(|k| counts(*k)).filter_map(|k| known[k]))?;
        let whole = parts.variance() + more_variance(&counts);
        Some((parts, whole))
    };
    let (parts, whole) = estimate(&vec![1.0; count])?;
    let by_cluster = |scale: Scale, of: &dyn Fn(Parts, f64) -> f64| {
        let statistic = |weights: &[f64]| estimate(weights).map_or(f64::NAN, |(parts, whole)| of(parts, whole));
        let nothing = Interval { low: f64::NAN, high: f64::NAN };
        jackknife::interval(count, COVERAGE, scale, statistic).unwrap_or(nothing)
    };
    let bias = by_cluster(Scale::Plain, &|parts, _| parts.bias);
    // Without any spread there is no logarithm, and nothing to be in doubt about.
    let sd = if whole > 0.0 {
        by_cluster(Scale::Logarithm, &|_, whole| whole.sqrt())
    } else {
        Interval { low: 0.0, high: 0.0 }
    };
    Some(parts.joined(whole, bias, sd))
}

/// The differences of one subject.
#[derive(Clone, Copy)]
struct Differences {
    count: f64,
    mean: f64,
    /// Sum of squares about the mean.
    squares: f64,
}

impl Differences {
    fn of(differences: &[f64]) -> Option<Self> {
        let mean = mean(differences)?;
        let squares = differences.iter().map(|d| (d - mean).powi(2)).sum();
        Some(Self { count: differences.len() as f64, mean, squares })
    }
}

/// What differences of many subjects come to.
#[derive(Clone, Copy)]
struct Parts {
    bias: f64,
    /// Variance of the subjects' means.
    of_means: f64,
    /// Variance within a subject.
    within: f64,
    /// Harmonic mean of the numbers of repeats.
    harmonic: f64,
    subjects: f64,
    /// Degrees of freedom within subjects.
    freedom: f64,
}

impl Parts {
    /// `None` of fewer than two subjects.
    fn of(subjects: impl Iterator<Item = Differences>) -> Option<Self> {
        let (mut means, mut squares, mut total, mut inverse) = (Vec::new(), 0.0, 0.0, 0.0);
        for subject in subjects {
            means.push(subject.mean);
            squares += subject.squares;
            total += subject.count;
            inverse += 1.0 / subject.count;
        }
        let count = means.len() as f64;
        let freedom = total - count;
        Some(Self {
            bias: mean(&means)?,
            of_means: variance(&means)?,
            within: if freedom > 0.0 { squares / freedom } else { 0.0 },
            // Unequal numbers of repeats: means count alike, the within part enters by the harmonic mean of the numbers.
            harmonic: count / inverse,
            subjects: count,
            freedom,
        })
    }

    /// Variance of a single difference.
    fn variance(&self) -> f64 {
        self.of_means + (1.0 - 1.0 / self.harmonic) * self.within
    }

    /// Limits, their intervals recovered from those of bias and standard deviation (Zou 2013).
    ///
    /// - `whole`: variance of a single difference
    fn joined(&self, whole: f64, bias_interval: Interval, sd_interval: Interval) -> Limits {
        let (bias, sd, z) = (self.bias, whole.sqrt(), Z95);
        let (low, high) = (bias - z * sd, bias + z * sd);
        let (left, right) = (bias - bias_interval.low, bias_interval.high - bias);
        let (inward, outward) = (z * (sd - sd_interval.low), z * (sd_interval.high - sd));
        Limits {
            bias,
            bias_interval,
            sd,
            low,
            low_interval: Interval { low: low - left.hypot(outward), high: low + right.hypot(inward) },
            high,
            high_interval: Interval { low: high - left.hypot(inward), high: high + right.hypot(outward) },
            between_variance: (self.of_means - self.within / self.harmonic).max(0.0),
            within_variance: self.within,
        }
    }
}

impl Limits {
    /// With intervals whose half-widths are `factor` times as large.
    pub fn widened(self, factor: f64) -> Self {
        let about = |middle: f64, i: Interval| Interval {
            low: middle - factor * (middle - i.low),
            high: middle + factor * (i.high - middle),
        };
        Self {
            bias_interval: about(self.bias, self.bias_interval),
            low_interval: about(self.low, self.low_interval),
            high_interval: about(self.high, self.high_interval),
            ..self
        }
    }
}

/// What means of repeated readings lack of the variance of single ones, in its unit squared: (1 - 1/m) of the variance within
/// subjects (Bland & Altman 1986, "Repeatability").
///
/// - `within`: variance within subjects
/// - `inverse_count`: 1 / m, or its mean over subjects
pub fn lacking_in_means(within: f64, inverse_count: f64) -> f64 {
    (1.0 - inverse_count) * within
}

/// Standard deviation of the difference of single readings, from the differences of means of repeated ones: what the means
/// lack of each method's variance is added ([`lacking_in_means`]). `None` of fewer than two subjects.
///
/// - `differences_of_means`: one a subject
/// - `within`: for each method its variance within subjects, and how many readings a mean is of
pub fn sd_for_single_readings(differences_of_means: &[f64], within: [(f64, f64); 2]) -> Option<f64> {
    let lacking: f64 = within.iter().map(|(variance, readings)| lacking_in_means(*variance, 1.0 / readings)).sum();
    variance(differences_of_means).map(|v| (v + lacking).sqrt())
}
