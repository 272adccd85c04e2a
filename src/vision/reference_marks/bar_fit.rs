//! A bar with soft edges fitted to a profile across or along a mark.
//!
//! The profile is depth, 1 - light / ground, at even steps. A bar of even ink seen through a blur of Gaussian form is the
//! difference of two error functions: its edges lie where it is at half its own height, however soft it looks, and a
//! thin bar that the blur has made shallow and wide comes out as thin as it is, with an uncertainty that says so.

use nalgebra::{SMatrix, SVector};
use statrs::function::erf::erf;
use std::f64::consts::{PI, SQRT_2};

/// Number of parameters: both edges, logarithm of the softness, height, its change along the bar, level outside.
const COUNT: usize = 6;
type Parameters = SVector<f64, COUNT>;
type Square = SMatrix<f64, COUNT, COUNT>;

/// Steps of the search.
const STEPS: usize = 60;
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
    let held = Held { prior, weight: Square::from_diagonal(&prior_sd.map(|s| 1.0 / (s * s))) };
    let mut p = prior;
    let mut sd = noise.max(1e-4);
    let mut at = profile.about(&p);
    // The size of the remainder is known only after a fit.
    for _ in 0..2 {
        (p, at) = search(&profile, sd, p, at, &held)?;
        let free = (positions.len() - COUNT) as f64;
        sd = noise.max((at.squares() / free).sqrt()).max(1e-4);
    }
    if p[3] <= 0.0 || p[1] <= p[0] || sd > MISFIT * p[3] {
        return None;
    }
    let covariance = (at.normal / (sd * sd * shared_noise(&at.rest)) + held.weight).try_inverse()?;
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

/// What is held of the parameters, and the inverse of its covariance.
struct Held {
    prior: Parameters,
    weight: Square,
}

impl Held {
    fn cost(&self, p: &Parameters) -> f64 {
        let off = p - self.prior;
        off.dot(&(self.weight * off))
    }
}

/// Levenberg-Marquardt from `start`, about which the profile is `at`; where it comes to rest, and the profile about that.
fn search(profile: &Profile, sd: f64, start: Parameters, at: About, held: &Held) -> Option<(Parameters, About)> {
    let cost = |p: &Parameters, at: &About| at.squares() / (sd * sd) + held.cost(p);
    let (mut p, mut at) = (start, at);
    let mut best = cost(&p, &at);
    let mut damping = 1e-2;
    for _ in 0..STEPS {
        let gradient = held.weight * (held.prior - p) + at.gradient / (sd * sd);
        let mut damped = at.normal / (sd * sd) + held.weight;
        for k in 0..COUNT {
            damped[(k, k)] *= 1.0 + damping;
        }
        let trial = p + damped.cholesky()?.solve(&gradient);
        let there = profile.about(&trial);
        let value = cost(&trial, &there);
        if value.is_finite() && value <= best {
            let settled = best - value < SETTLED * (1.0 + best);
            (p, at, best) = (trial, there, value);
            damping = (damping * 0.3).max(1e-9);
            if settled {
                break;
            }
        } else {
            damping *= 6.0;
            if damping > 1e9 {
                break;
            }
        }
    }
    p.iter().all(|v| v.is_finite()).then_some((p, at))
}

/// Depths at positions, about the middle of the bar first expected.
struct Profile<'a> {
    positions: &'a [f64],
    depths: &'a [f64],
    middle: f64,
}

/// A profile about a bar, to first order.
struct About {
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
    fn about(&self, p: &Parameters) -> About {
        let mut about = About {
            rest: Vec::with_capacity(self.positions.len()),
            gradient: Parameters::zeros(),
            normal: Square::zeros(),
        };
        for (x, depth) in self.positions.iter().zip(self.depths) {
            let (value, slopes) = bar(*x, self.middle, p);
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
