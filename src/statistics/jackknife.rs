//! Intervals by leaving out one cluster (patient) at a time, with Student's t.
//!
//! For spreads and mean sizes they hold better than the bootstrap's where patients are few: taken on the logarithm and
//! corrected for bias, 94 of 100 intervals from ten patients hold the truth, where BCa reaches 89 (see the simulation among
//! the tests).
//!
//! Source: Tukey (1958), Ann Math Stat 29:614; Miller (1974), Biometrika 61:1-15 (from memory).

use super::Interval;
use super::distributions::t_quantile;

/// Clusters are left out in at most so many portions: more would cost time, and change little. Student's t has one degree of
/// freedom less than there are portions; from 399 to infinity its quantile falls by 0.3 %.
const MOST_PORTIONS: usize = 400;

/// Fewest clusters for an interval on the logarithm: of fewer the pseudo-values say so little of a spread that the interval can reach
/// over several powers of ten.
pub const FEWEST_FOR_SPREADS: usize = 5;

/// Scale on which the interval is symmetric.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scale {
    /// As it is.
    Plain,
    /// Its logarithm: for what is positive, and for ratios.
    Logarithm,
}

/// In how many portions so many clusters are left out.
pub(super) fn portions(clusters: usize) -> usize {
    clusters.min(MOST_PORTIONS)
}

/// Weights of so many clusters with one portion left out, every so many-th of them: 0 for these, else 1.
pub(super) fn without(portion: usize, clusters: usize) -> Vec<f64> {
    let mut weights = vec![1.0; clusters];
    weights.iter_mut().skip(portion).step_by(portions(clusters)).for_each(|weight| *weight = 0.0);
    weights
}

/// Interval at `coverage` of a statistic; `None` for fewer than two clusters ([`FEWEST_FOR_SPREADS`] on the logarithm), or where it is undefined with a portion left out.
///
/// - `clusters`: how many
/// - `statistic`: from the weight of each cluster, 1 or 0, NaN where undefined
///
/// Of the pseudo-values g v - (g - 1) v without portion, g the number of portions: their mean, +- t(g - 1) times its standard
/// error.
pub fn interval(clusters: usize, coverage: f64, scale: Scale, statistic: impl Fn(&[f64]) -> f64) -> Option<Interval> {
    let portions = portions(clusters);
    let fewest = match scale {
        Scale::Plain => 2,
        Scale::Logarithm => FEWEST_FOR_SPREADS,
    };
    if portions < fewest {
        return None;
    }
    let scaled = |weights: &[f64]| match scale {
        Scale::Plain => statistic(weights),
        Scale::Logarithm => statistic(weights).ln(),
    };
    let whole = scaled(&vec![1.0; clusters]);
    let g = portions as f64;
    let pseudo: Vec<f64> =
        (0..portions).map(|portion| g * whole - (g - 1.0) * scaled(&without(portion, clusters))).collect();
    let middle = super::descriptive::mean(&pseudo)?;
    let half = t_quantile(0.5 + coverage / 2.0, g - 1.0) * (super::descriptive::variance(&pseudo)? / g).sqrt();
    let back = |end: f64| match scale {
        Scale::Plain => end,
        Scale::Logarithm => end.exp(),
    };
    (middle.is_finite() && half.is_finite()).then(|| Interval { low: back(middle - half), high: back(middle + half) })
}
