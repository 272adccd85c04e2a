//! Bootstrap intervals: whole clusters (patients) are drawn again with replacement.
//!
//! Sources: Efron & Tibshirani (1993), An Introduction to the Bootstrap, chapters 13 and 14; the widening for few clusters
//! after Hesterberg (2015), Am Stat 69:371-386 (from memory).

use super::Interval;
use super::descriptive::{quantile_of_sorted, sorted, standard_deviation};
use super::distributions::{normal_cdf, normal_quantile, t_quantile};
use super::jackknife;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

/// Share of the resamples in which a statistic may be undefined before its interval is.
const MOST_UNDEFINED: f64 = 0.05;

/// How to draw.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// Seed of the drawing; the same seed gives the same intervals.
    pub seed: u64,
    /// How often to draw. 2,000 place the ends of a 95 % interval to a few percent of its width.
    pub resamples: u32,
    /// Probability with which the interval is to hold the truth.
    pub coverage: f64,
    /// Widen the interval for few clusters, as Student's t widens that of a mean.
    pub widened: bool,
    /// The interval's half-width in standard errors is multiplied by this; 1 as a rule.
    pub inflation: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self { seed: 1, resamples: 2000, coverage: super::COVERAGE, widened: true, inflation: 1.0 }
    }
}

/// One statistic with its bootstrap distribution summed up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bootstrapped {
    /// Of the data as they are; NaN where undefined.
    pub value: f64,
    /// Bootstrap standard error.
    pub standard_error: f64,
    /// Percentile interval.
    pub percentile: Option<Interval>,
    /// Bias-corrected and accelerated interval.
    pub bca: Option<Interval>,
    /// Acceleration, from the jackknife over clusters.
    pub acceleration: f64,
}

/// Bootstrap several statistics on the same draws.
///
/// - `strata`: of each cluster; clusters are drawn within their stratum, as many as it has
/// - `outputs`: how many statistics
/// - `statistic`: from how often each cluster is taken to the statistics, NaN where one is undefined
///
/// The same seed gives the same draws, whatever the number of threads. Intervals are `None` for fewer than two clusters in a
/// stratum, or where too many draws leave the statistic undefined.
pub fn bootstrap(
    strata: &[usize],
    outputs: usize,
    statistic: impl Fn(&[f64], &mut [f64]) + Sync,
    settings: &Settings,
) -> Vec<Bootstrapped> {
    let mut members: Vec<Vec<usize>> = vec![Vec::new(); strata.iter().max().map_or(0, |most| most + 1)];
    for (cluster, stratum) in strata.iter().enumerate() {
        members[*stratum].push(cluster);
    }
    members.retain(|of_stratum| !of_stratum.is_empty());
    let of = |weights: &[f64]| {
        let mut values = vec![f64::NAN; outputs];
        statistic(weights, &mut values);
        values
    };
    let whole = of(&vec![1.0; strata.len()]);
    let fewest = members.iter().map(Vec::len).min().unwrap_or(0);
    if fewest < 2 {
        return whole.into_iter().map(Bootstrapped::without_interval).collect();
    }
    let draws: Vec<Vec<f64>> = (0..settings.resamples)
        .into_par_iter()
        .map_init(
            || vec![0.0; strata.len()],
            |weights, draw| {
                let mut rng = ChaCha8Rng::seed_from_u64(settings.seed);
                rng.set_stream(u64::from(draw));
                weights.fill(0.0);
                for of_stratum in &members {
                    for _ in 0..of_stratum.len() {
                        weights[of_stratum[rng.random_range(0..of_stratum.len())]] += 1.0;
                    }
                }
                of(weights)
            },
        )
        .collect();
    // The acceleration from portions of many clusters is close to that from single ones, at less cost.
    let portions = (0..jackknife::portions(strata.len())).into_par_iter();
    let left_out: Vec<Vec<f64>> = portions.map(|portion| of(&jackknife::without(portion, strata.len()))).collect();
    let half_width = settings.half_width(strata.len(), members.len());
    (0..outputs)
        .map(|k| {
            let column = |rows: &[Vec<f64>]| rows.iter().map(|row| row[k]).collect::<Vec<_>>();
            Bootstrapped::of(whole[k], column(&draws), &column(&left_out), half_width, settings.resamples)
        })
        .collect()
}

impl Bootstrapped {
    fn without_interval(value: f64) -> Self {
        Self { value, standard_error: f64::NAN, percentile: None, bca: None, acceleration: 0.0 }
    }

    fn of(value: f64, draws: Vec<f64>, left_out: &[f64], z: f64, drawn: u32) -> Self {
        let defined: Vec<f64> = draws.into_iter().filter(|v| v.is_finite()).collect();
        let undefined = 1.0 - defined.len() as f64 / f64::from(drawn);
        let enough = defined.len() > 1 && undefined <= MOST_UNDEFINED;
        if !value.is_finite() || !enough {
            return Self::without_interval(value);
        }
        let ordered = sorted(&defined);
        let ends = |low: f64, high: f64| {
            Some(Interval { low: quantile_of_sorted(&ordered, low)?, high: quantile_of_sorted(&ordered, high)? })
        };
        let acceleration = acceleration(left_out);
        // Draws equal to the value count half: a statistic of few possible values would seem biased otherwise.
        let below = ordered.partition_point(|v| *v < value) as f64;
        let equal = ordered.partition_point(|v| *v <= value) as f64 - below;
        let bias = normal_quantile((below + equal / 2.0) / ordered.len() as f64);
        let shifted = |z: f64| normal_cdf(bias + (bias + z) / (1.0 - acceleration * (bias + z)));
        Self {
            value,
            standard_error: standard_deviation(&defined).unwrap_or(f64::NAN),
            percentile: ends(normal_cdf(-z), normal_cdf(z)),
            bca: if bias.is_finite() { ends(shifted(-z), shifted(z)) } else { ends(normal_cdf(-z), normal_cdf(z)) },
            acceleration,
        }
    }
}

impl Settings {
    /// Half-width in standard errors: the normal quantile, or for few clusters sqrt(n / (n - s)) times that of Student's t with
    /// n - s degrees of freedom, n clusters in s strata.
    fn half_width(&self, clusters: usize, strata: usize) -> f64 {
        let upper = 0.5 + self.coverage / 2.0;
        let (n, freedom) = (clusters as f64, (clusters - strata) as f64);
        let plain =
            if self.widened { (n / freedom).sqrt() * t_quantile(upper, freedom) } else { normal_quantile(upper) };
        plain * self.inflation
    }
}

/// Acceleration from jackknife values, eq. 14.15: sum d^3 / 6 (sum d^2)^1.5, d the mean less each. 0 where all are alike.
fn acceleration(left_out: &[f64]) -> f64 {
    let mean = left_out.iter().sum::<f64>() / left_out.len() as f64;
    let (squares, cubes) = left_out.iter().fold((0.0, 0.0), |(squares, cubes), value| {
        let d = mean - value;
        (squares + d * d, cubes + d * d * d)
    });
    let acceleration = cubes / (6.0 * squares.powf(1.5));
    if acceleration.is_finite() { acceleration } else { 0.0 }
}
