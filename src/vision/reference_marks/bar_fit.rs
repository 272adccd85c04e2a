//! A bar with soft edges fitted to a profile across or along a mark.
//!
//! The profile is depth, 1 - light / ground, at even steps. A bar of even ink seen through a blur of Gaussian form is the
//! difference of two error functions: its edges lie where it is at half its own height, however soft it looks, and a
//! thin bar that the blur has made shallow and wide comes out as thin as it is, with an uncertainty that says so.

use crate::least_squares::{Search, Singular, SumOfSquares};
use nalgebra::{SMatrix, SVector};
use statrs::function::erf::erf;
use std::f64::consts::{PI, SQRT_2};

/// Number of parameters: both edges, logarithm of the softness, height, its change along the bar, level outside.
const COUNT: usize = 6;
type Parameters = SVector<f64, COUNT>;
type Square = SMatrix<f64, COUNT, COUNT>;

const SEARCH: Search = Search { steps: 60, damping: 1e-2, most_damping: 1e9 };
/// Least sd of one depth: a profile without any noise is only ever drawn.
const LEAST_NOISE: f64 = 1e-4;
/// Share of the cost that a step must gain for another to be made.
const SETTLED: f64 = 1e-6;
/// Largest root mean square misfit of what is still a bar, share of its height.
const MISFIT: f64 = 0.15;

/// What is held of a bar before it is looked at.
#[derive(Clone, Copy, Debug)]
pub(super) struct Expected {
    /// Its edges, in the unit of the positions.
    pub edges: [f64; 2],
    /// Its height.
    pub height: f64,
    /// sd of its edges' blur, in the unit of the positions, and sd of the natural logarithm of that.
    pub softness: (f64, f64),
    /// sd of the change of height from one end to the other, share of the height: 0 for a bar of even height.
    pub slope_sd: f64,
}

/// A fitted bar.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bar {
    /// From edge to edge, in the unit of the positions.
    pub width: f64,
    /// Its standard deviation by noise and softness.
    pub width_sd: f64,
    /// Its edges, in the unit of the positions.
    pub edges: [f64; 2],
    /// How soft they are, in the same unit.
    pub softness: f64,
    /// Its height.
    pub height: f64,
}

/// Fit a bar to depths at `positions`; `None` where it is none.
///
/// - `positions`: at even steps, in any unit
/// - `noise`: sd of one depth that is expected at least; what neighbours share of it the remainder of the fit tells
pub(super) fn fit(positions: &[f64], depths: &[f64], noise: f64, expected: &Expected) -> Option<Bar> {
    if positions.len() < 2 * COUNT {
        return None;
    }
    let middle = (expected.edges[0] + expected.edges[1]) / 2.0;
    let prior =
        Parameters::from([expected.edges[0], expected.edges[1], expected.softness.0.ln(), expected.height, 0.0, 0.0]);
    // Edges and height are free; what is not to be fitted is held.
    let far = (expected.edges[1] - expected.edges[0]).abs() * 10.0;
    let prior_sd = Parameters::from([
        far,
        far,
        expected.softness.1,
        10.0 * expected.height,
        (expected.slope_sd * expected.height).max(1e-9),
        0.5 * expected.height,
    ]);
    let profile = Profile { positions, depths, middle };
    let weight = Square::from_diagonal(&prior_sd.map(|s| 1.0 / (s * s)));
    let mut sd = noise.max(LEAST_NOISE);
    let mut at = profile.about(prior);
    // The size of the remainder is known only after a fit.
    for _ in 0..2 {
        (at, _) = SEARCH.run(&Fit { profile: &profile, sd, prior, weight }, at).ok()?;
        let free = (positions.len() - COUNT) as f64;
        sd = noise.max((at.squares() / free).sqrt()).max(LEAST_NOISE);
    }
    let p = at.p;
    if p[3] <= 0.0 || p[1] <= p[0] || sd > MISFIT * p[3] {
        return None;
    }
    let covariance = (at.normal / (sd * sd * shared_noise(&at.rest)) + weight).try_inverse()?;
    let variance = covariance[(0, 0)] + covariance[(1, 1)] - 2.0 * covariance[(0, 1)];
    Some(Bar {
        width: p[1] - p[0],
        width_sd: variance.max(0.0).sqrt(),
        edges: [p[0], p[1]],
        softness: p[2].exp(),
        height: p[3],
    })
}

/// By how much neighbours that are alike enlarge the variance of a mean: (1 + r) / (1 - r) for a correlation r of
/// neighbours that falls off geometrically.
pub(super) fn shared_noise(series: &[f64]) -> f64 {
    let squares: f64 = series.iter().map(|v| v * v).sum();
    let products: f64 = series.windows(2).map(|w| w[0] * w[1]).sum();
    let r = if squares > 0.0 { (products / squares).clamp(0.0, 0.95) } else { 0.0 };
    (1.0 + r) / (1.0 - r)
}

/// The profile and what is held of the bar, as a sum of squares each over its variance.
struct Fit<'a> {
    profile: &'a Profile<'a>,
    /// sd of one depth.
    sd: f64,
    prior: Parameters,
    /// Inverse of the prior's covariance.
    weight: Square,
}

impl SumOfSquares for Fit<'_> {
    type Place = About;

    fn sum(&self, place: &About) -> f64 {
        let off = place.p - self.prior;
        place.squares() / (self.sd * self.sd) + off.dot(&(self.weight * off))
    }

    fn step(&self, from: &About, damping: f64) -> Result<Option<About>, Singular> {
        let variance = self.sd * self.sd;
        let gradient = self.weight * (self.prior - from.p) + from.gradient / variance;
        let mut damped = from.normal / variance + self.weight;
        for k in 0..COUNT {
            damped[(k, k)] *= 1.0 + damping;
        }
        let to = from.p + damped.cholesky().ok_or(Singular)?.solve(&gradient);
        Ok(to.iter().all(|v| v.is_finite()).then(|| self.profile.about(to)))
    }

    fn settled(&self, from: &About, to: &About) -> bool {
        self.sum(from) - self.sum(to) < SETTLED * (1.0 + self.sum(from))
    }
}

/// Depths at positions, about the middle of the bar first expected.
struct Profile<'a> {
    positions: &'a [f64],
    depths: &'a [f64],
    middle: f64,
}

/// A profile about a bar, to first order.
struct About {
    p: Parameters,
    /// Depth - bar, sample by sample.
    rest: Vec<f64>,
    /// Sum of slope times remainder.
    gradient: Parameters,
    /// Sum of slope times slope.
    normal: Square,
}

impl About {
    fn squares(&self) -> f64 {
        self.rest.iter().map(|r| r * r).sum()
    }
}

impl Profile<'_> {
    fn about(&self, p: Parameters) -> About {
        let mut about = About {
            p,
            rest: Vec::with_capacity(self.positions.len()),
            gradient: Parameters::zeros(),
            normal: Square::zeros(),
        };
        for (x, depth) in self.positions.iter().zip(self.depths) {
            let (value, slopes) = bar(*x, self.middle, &p);
            let rest = depth - value;
            about.rest.push(rest);
            about.gradient += slopes * rest;
            about.normal.ger(1.0, &slopes, &slopes, 1.0);
        }
        about
    }
}

/// Standard normal distribution.
fn below(z: f64) -> f64 {
    (1.0 + erf(z / SQRT_2)) / 2.0
}

fn density(z: f64) -> f64 {
    (-z * z / 2.0).exp() / (2.0 * PI).sqrt()
}

/// The bar at a place, and its derivatives by the parameters.
fn bar(x: f64, middle: f64, p: &Parameters) -> (f64, Parameters) {
    let softness = p[2].exp();
    let (a, b) = ((x - p[0]) / softness, (x - p[1]) / softness);
    let body = below(a) - below(b);
    // -1/2 to 1/2 between the edges.
    let along = (x - middle) / (p[1] - p[0]).abs().max(1e-6);
    let height = p[3] + p[4] * along;
    let (at_first, at_second) = (density(a), density(b));
    let slopes = Parameters::from([
        -height * at_first / softness,
        height * at_second / softness,
        height * (b * at_second - a * at_first),
        body,
        along * body,
        1.0,
    ]);
    (height * body + p[5], slopes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::StandardNormal;

    /// Bars drawn by adding up a box of fine samples under a Gaussian, which shares nothing with the error functions
    /// here: the width comes back, and its stated sd is that of many draws.
    #[test]
    fn widths_come_back_with_their_sd() {
        for (width, blur) in [(9.0, 1.2), (3.0, 1.0), (2.2, 1.0)] {
            let mut random = ChaCha8Rng::seed_from_u64(3);
            let positions: Vec<f64> = (-30..=30).map(|k| f64::from(k) / 2.0).collect();
            let clean: Vec<f64> = positions
                .iter()
                .map(|x| {
                    let fine = (-400..=400).map(|k| f64::from(k) / 40.0);
                    let (mut sum, mut total) = (0.0, 0.0);
                    for u in fine {
                        let weight = (-u * u / (2.0 * blur * blur)).exp();
                        total += weight;
                        sum += if (x - u - 0.3).abs() <= width / 2.0 { weight } else { 0.0 };
                    }
                    0.5 * sum / total
                })
                .collect();
            let expected =
                Expected { edges: [-0.6 * width, 0.6 * width], height: 0.4, softness: (1.1, 0.25), slope_sd: 0.0 };
            let exact = fit(&positions, &clean, 1e-5, &expected).unwrap();
            assert!((exact.width - width).abs() < 0.02 * width, "{width}: {}", exact.width);
            let fits: Vec<Bar> = (0..300)
                .map(|_| {
                    let noisy: Vec<f64> =
                        clean.iter().map(|v| v + 0.01 * random.sample::<f64, _>(StandardNormal)).collect();
                    fit(&positions, &noisy, 0.01, &expected).unwrap()
                })
                .collect();
            let squares: f64 = fits.iter().map(|f| ((f.width - width) / f.width_sd).powi(2)).sum();
            let rms = (squares / fits.len() as f64).sqrt();
            assert!((0.6..1.25).contains(&rms), "width {width}: error over sd {rms}");
        }
    }

    /// Two humps are no bar.
    #[test]
    fn what_is_no_bar_is_none() {
        let positions: Vec<f64> = (-20..=20).map(f64::from).collect();
        let humps: Vec<f64> =
            positions.iter().map(|x| if (7.0..11.0).contains(&x.abs()) { 0.5 } else { 0.0 }).collect();
        let expected = Expected { edges: [-11.0, 11.0], height: 0.4, softness: (0.7, 0.1), slope_sd: 0.0 };
        assert!(fit(&positions, &humps, 0.005, &expected).is_none());
    }
}
