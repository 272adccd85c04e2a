//! Do groups differ in spread? Brown & Forsythe's test, and the same by patient.
//!
//! Source: Brown & Forsythe (1974), J Am Stat Assoc 69:364-367: analysis of variance of the distances from the group's
//! median.

use super::descriptive::{mean, median, variance};
use super::distributions::{f_upper, t_two_sided};
use super::permutation::{LabelExchange, Permuted};

/// A test by an F statistic.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FTest {
    /// The statistic.
    pub f: f64,
    /// Degrees of freedom above and below.
    pub freedom: [f64; 2],
    /// P(F >= f) for independent values.
    pub p: f64,
}

/// Distance of each value from the median of its group.
///
/// - `labels`: group of each value, numbers from 0
pub fn distances_from_median(values: &[f64], labels: &[usize]) -> Vec<f64> {
    let groups = labels.iter().max().map_or(0, |most| most + 1);
    let of = |group: usize| values.iter().zip(labels).filter(move |(_, label)| **label == group).map(|(v, _)| *v);
    let medians: Vec<f64> = (0..groups).map(|g| median(&of(g).collect::<Vec<_>>()).unwrap_or(f64::NAN)).collect();
    values.iter().zip(labels).map(|(value, label)| (value - medians[*label]).abs()).collect()
}

/// F of a one-way analysis of variance; NaN with fewer than two groups or no value to spare.
///
/// - `labels`: group of each value, numbers from 0
pub fn analysis_of_variance_f(values: &[f64], labels: &[usize]) -> f64 {
    let groups = labels.iter().max().map_or(0, |most| most + 1);
    let (mut sums, mut counts) = (vec![0.0; groups], vec![0.0; groups]);
    for (value, label) in values.iter().zip(labels) {
        sums[*label] += value;
        counts[*label] += 1.0;
    }
    let grand = sums.iter().sum::<f64>() / values.len() as f64;
    let means: Vec<f64> = sums.iter().zip(&counts).map(|(sum, count)| sum / count).collect();
    let used = counts.iter().filter(|count| **count > 0.0).count() as f64;
    let between: f64 =
        means.iter().zip(&counts).filter(|(_, count)| **count > 0.0).map(|(m, c)| c * (m - grand).powi(2)).sum();
    let within: f64 = values.iter().zip(labels).map(|(value, label)| (value - means[*label]).powi(2)).sum();
    between / (used - 1.0) / (within / (values.len() as f64 - used))
}

/// The test for independent values. `None` with fewer than two groups, or no group of two.
///
/// - `labels`: group of each value, numbers from 0
pub fn brown_forsythe(values: &[f64], labels: &[usize]) -> Option<FTest> {
    let f = analysis_of_variance_f(&distances_from_median(values, labels), labels);
    let groups = labels.iter().collect::<std::collections::HashSet<_>>().len() as f64;
    let freedom = [groups - 1.0, values.len() as f64 - groups];
    f.is_finite().then(|| FTest { f, freedom, p: f_upper(f, freedom[0], freedom[1]) })
}

/// The same statistic, its p-value by exchanging whole patients: holds also where the eyes of a patient are alike.
/// Distances are taken from the medians of the groups as they are, then exchanged. `None` as above.
///
/// - `labels`, `patients`: of each value, numbers from 0
pub fn brown_forsythe_by_patient(
    values: &[f64],
    labels: &[usize],
    patients: &[usize],
    draws: u32,
    seed: u64,
) -> Option<Permuted> {
    let distances = distances_from_median(values, labels);
    let statistic = |labels: &[usize]| analysis_of_variance_f(&distances, labels);
    statistic(labels).is_finite().then(|| LabelExchange::new(labels, patients).test(statistic, draws, seed))
}

/// A test of two spreads within pairs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PairedSpread {
    /// Correlation of the sums with the differences of the pairs.
    pub correlation: f64,
    /// Student's t of it.
    pub t: f64,
    /// Two-sided, n - 2 degrees of freedom.
    pub p: f64,
}

/// Do the two values of a pair differ in spread? Their sums and differences are then correlated. `None` for fewer than
/// three pairs, or where sums or differences do not scatter.
///
/// Source: Pitman (1939), Biometrika 31:9-12; Morgan (1939), Biometrika 31:13-19 (from memory).
pub fn pitman_morgan(pairs: &[[f64; 2]]) -> Option<PairedSpread> {
    let n = pairs.len() as f64;
    let sums: Vec<f64> = pairs.iter().map(|[a, b]| a + b).collect();
    let differences: Vec<f64> = pairs.iter().map(|[a, b]| a - b).collect();
    let (ms, md) = (mean(&sums)?, mean(&differences)?);
    let both: f64 = sums.iter().zip(&differences).map(|(s, d)| (s - ms) * (d - md)).sum();
    let correlation = both / ((n - 1.0) * (variance(&sums)? * variance(&differences)?).sqrt());
    let t = correlation * ((n - 2.0) / (1.0 - correlation * correlation)).sqrt();
    (n > 2.0 && correlation.is_finite()).then(|| PairedSpread { correlation, t, p: t_two_sided(t, n - 2.0) })
}
