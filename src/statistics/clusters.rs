//! Values in clusters: both eyes of a patient are alike, and two of them say less than two patients do.

use super::descriptive;
use nalgebra::{SMatrix, SVector};
use std::collections::HashMap;
use std::hash::Hash;

/// Cluster numbers 0, 1, 2... in order of first appearance, and how many there are.
pub fn numbered<K: Eq + Hash>(keys: impl Iterator<Item = K>) -> (Vec<usize>, usize) {
    let mut seen = HashMap::new();
    let numbers: Vec<usize> = keys
        .map(|key| {
            let next = seen.len();
            *seen.entry(key).or_insert(next)
        })
        .collect();
    let count = seen.len();
    (numbers, count)
}

/// Mean of points, and the covariance of that mean, those of one cluster being alike in any way: C/(C-1) sum over clusters of
/// d d' / n^2, d the sum of a cluster's deviations, C the number of clusters. With one point a cluster it is the usual one.
/// `None` for fewer than two clusters.
///
/// - `cluster`: of each point, any numbers
///
/// Source: Liang & Zeger (1986), Biometrika 73:13-22, for an intercept alone, with the usual correction (from memory).
pub fn covariance_of_mean<const D: usize>(
    points: &[[f64; D]],
    cluster: &[usize],
) -> Option<(SVector<f64, D>, SMatrix<f64, D, D>)> {
    let coordinate = |k: usize| descriptive::mean(&points.iter().map(|p| p[k]).collect::<Vec<_>>());
    let mean = SVector::from_iterator((0..D).map(|k| coordinate(k).unwrap_or(f64::NAN)));
    let (numbers, count) = numbered(cluster.iter());
    let mut sums = vec![SVector::<f64, D>::zeros(); count];
    for (point, at) in points.iter().zip(numbers) {
        sums[at] += SVector::from(*point) - mean;
    }
    let squares: SMatrix<f64, D, D> = sums.iter().map(|d| d * d.transpose()).sum();
    let (clusters, n) = (count as f64, points.len() as f64);
    (count > 1).then(|| (mean, squares * (clusters / (clusters - 1.0) / (n * n))))
}

/// Variance of the mean of `values`, as [`covariance_of_mean`] has it; with one value a cluster it is the usual s^2 / n.
pub fn variance_of_mean(values: &[f64], cluster: &[usize]) -> Option<f64> {
    let points: Vec<[f64; 1]> = values.iter().map(|value| [*value]).collect();
    covariance_of_mean(&points, cluster).map(|(_, covariance)| covariance[0])
}

/// How many independent values would give a share of the same precision as `hits` do: n over the design effect, which is
/// kept between 1 and `most`, the largest size of a cluster. Where all or none are hits it cannot be seen: then every
/// cluster counts as one value.
///
/// - `cluster`: of each value, numbers from 0
///
/// Source: Kish (1965), Survey Sampling; used in Wilson's interval as by Rao & Scott (1992), Biometrics 48:577-585 (from memory).
pub fn effective_trials(hits: &[bool], cluster: &[usize]) -> f64 {
    let count = hits.len() as f64;
    let mut sizes: HashMap<usize, usize> = HashMap::new();
    for at in cluster {
        *sizes.entry(*at).or_default() += 1;
    }
    let values: Vec<f64> = hits.iter().map(|hit| f64::from(u8::from(*hit))).collect();
    let plain = descriptive::variance(&values).map(|v| v / count).filter(|v| *v > 0.0);
    match (plain, variance_of_mean(&values, cluster)) {
        (Some(plain), Some(clustered)) => {
            let most = sizes.values().max().map_or(1.0, |size| *size as f64);
            count / (clustered / plain).clamp(1.0, most.max(1.0))
        }
        _ => sizes.len() as f64,
    }
}

/// Correlation of two values of one cluster, by one-way analysis of variance, cut off at -1 and 1; `None` without a
/// cluster of two or without spread.
///
/// - `cluster`: of each value, numbers from 0
///
/// Source: Donner (1986), Int Stat Rev 54:67-82 (from memory).
pub fn correlation_within(values: &[f64], cluster: &[usize]) -> Option<f64> {
    let mean = descriptive::mean(values)?;
    let clusters = cluster.iter().max()? + 1;
    let (mut sums, mut sizes) = (vec![0.0; clusters], vec![0.0_f64; clusters]);
    for (value, at) in values.iter().zip(cluster) {
        sums[*at] += value;
        sizes[*at] += 1.0;
    }
    let used = sizes.iter().filter(|size| **size > 0.0).count() as f64;
    let n = values.len() as f64;
    if n <= used || used < 2.0 {
        return None;
    }
    let of_cluster = |at: usize| sums[at] / sizes[at];
    let between: f64 =
        (0..clusters).filter(|k| sizes[*k] > 0.0).map(|k| sizes[k] * (of_cluster(k) - mean).powi(2)).sum();
    let within: f64 = values.iter().zip(cluster).map(|(value, at)| (value - of_cluster(*at)).powi(2)).sum();
    let (between, within) = (between / (used - 1.0), within / (n - used));
    let size = (n - sizes.iter().map(|s| s * s).sum::<f64>() / n) / (used - 1.0);
    let whole = between + (size - 1.0) * within;
    (whole > 0.0).then(|| ((between - within) / whole).clamp(-1.0, 1.0))
}
