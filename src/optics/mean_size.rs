//! Means of |t| and of its cost over many readings, what reading noise adds to them taken out.
//!
//! |t| is never negative, so that noise about 0 does not average out: it looks like misalignment, and like a cost.

use super::angle_size::folded_mean;
use super::rotation::residual_percent;
use crate::geometry::axis_difference;
use statrs::function::gamma::gamma_ur;

/// Readings that noise alone would spread as far as they are in more than this share of cases show no misalignment.
const NOISE_ALONE: f64 = 0.05;
/// Points of the mean of a cost, and how far they reach either way, in standard deviations.
const POINTS: u32 = 400;
const REACH: f64 = 8.0;

/// Means over readings, as read and with reading noise taken out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeanSize {
    /// Mean of |reading|, degrees.
    pub as_read_deg: f64,
    /// Mean of |t|, degrees; 0 where noise alone explains the readings.
    pub without_noise_deg: f64,
    /// Mean residual in percent of the cylinder, as read.
    pub percent_as_read: f64,
    /// The same without noise.
    pub percent_without_noise: f64,
    /// Whether noise alone explains the readings: sum (reading/sd)^2 within the 95 % of its chi-square distribution.
    pub noise_alone: bool,
}

impl MeanSize {
    /// Of readings t + noise, each with the standard deviation of its noise, degrees; of one lens read repeatedly or of many
    /// lenses. `None` of nothing.
    ///
    /// Noise of once and twice the variance is added on top, by the mean of the folded normal distribution
    /// ([`folded_mean`]) and not by drawing; how the square of the mean grows with it is carried back to no noise at all,
    /// by the parabola through the three: 3 f(0) - 3 f(1) + f(2). That is exact for a lens in its place and for lenses
    /// spread normally about theirs, within 3 % for most other spreads and 8 % for one lens some standard deviations off
    /// (for which [`size_without_noise`](super::angle_size::size_without_noise) is exact). It does not raise a mean. Where noise
    /// alone explains the readings all of it is 0, since the root of what is left by chance would not be.
    ///
    /// Source: simulation and extrapolation, Cook & Stefanski (1994), J Am Stat Assoc 89:1314-1328; folded normal: Leone, Nelson &
    /// Nottingham (1961), Technometrics 3:543-550 (both from memory).
    pub fn of(readings: &[(f64, f64)]) -> Option<Self> {
        if readings.is_empty() {
            return None;
        }
        let noise_alone = explained_by_noise(readings);
        let count = readings.len() as f64;
        let means = |of: fn(f64, f64) -> f64| {
            let with = |noise: f64| {
                let sum: f64 = readings.iter().map(|(t, sd)| of(axis_difference(0.0, *t), noise.sqrt() * sd)).sum();
                sum / count
            };
            let [as_read, once, twice] = [0.0, 1.0, 2.0].map(with);
            let square = 3.0 * as_read * as_read - 3.0 * once * once + twice * twice;
            let without = if noise_alone { 0.0 } else { square.max(0.0).sqrt().min(as_read) };
            (as_read, without)
        };
        let (as_read_deg, without_noise_deg) = means(folded_mean);
        let (percent_as_read, percent_without_noise) = means(mean_percent);
        Some(Self { as_read_deg, without_noise_deg, percent_as_read, percent_without_noise, noise_alone })
    }
}

/// Whether readings of nothing but noise would be spread as far in more than [`NOISE_ALONE`] of cases.
fn explained_by_noise(readings: &[(f64, f64)]) -> bool {
    if readings.iter().any(|(_, sd)| *sd <= 0.0) {
        return false;
    }
    let sum: f64 = readings.iter().map(|(t, sd)| (axis_difference(0.0, *t) / sd).powi(2)).sum();
    sum <= 0.0 || gamma_ur(readings.len() as f64 / 2.0, sum / 2.0) > NOISE_ALONE
}

/// Mean of [`residual_percent`] where the misalignment is normal, degrees: by the midpoint rule.
fn mean_percent(mean_deg: f64, sd_deg: f64) -> f64 {
    if sd_deg <= 0.0 {
        return residual_percent(mean_deg);
    }
    let step = 2.0 * REACH / f64::from(POINTS);
    let (mut sum, mut weights) = (0.0, 0.0);
    for k in 0..POINTS {
        let z = (f64::from(k) + 0.5) * step - REACH;
        let weight = (-z * z / 2.0).exp();
        sum += weight * residual_percent(mean_deg + z * sd_deg);
        weights += weight;
    }
    sum / weights
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, Normal};
    use std::f64::consts::PI;

    fn close(got: f64, expected: f64, within: f64) {
        assert!((got - expected).abs() <= within, "{got} is not {expected}");
    }

    /// `runs` runs of `count` readings of angles drawn by `angle`; means over the runs, and how many noise alone explains.
    fn drawn(angle: impl Fn(&mut ChaCha8Rng) -> f64, noise: f64, count: usize, runs: usize) -> (MeanSize, f64) {
        let mut random = ChaCha8Rng::seed_from_u64(77);
        let error = Normal::new(0.0, noise).unwrap();
        let found: Vec<MeanSize> = (0..runs)
            .map(|_| {
                let readings: Vec<_> =
                    (0..count).map(|_| (angle(&mut random) + error.sample(&mut random), noise)).collect();
                MeanSize::of(&readings).unwrap()
            })
            .collect();
        let over = |of: fn(&MeanSize) -> f64| found.iter().map(of).sum::<f64>() / runs as f64;
        let means = MeanSize {
            as_read_deg: over(|m| m.as_read_deg),
            without_noise_deg: over(|m| m.without_noise_deg),
            percent_as_read: over(|m| m.percent_as_read),
            percent_without_noise: over(|m| m.percent_without_noise),
            noise_alone: false,
        };
        (means, found.iter().filter(|m| m.noise_alone).count() as f64 / runs as f64)
    }

    /// Repeated readings of a lens in its place; the mean of the folded normal (0, 1.5) recomputed twice with scipy.
    #[test]
    fn reading_noise_alone_is_no_misalignment() {
        let (in_place, alone) = drawn(|_| 0.0, 1.5, 25, 1_000);
        close(in_place.as_read_deg, 1.196827, 0.02);
        close(in_place.percent_as_read, 1.196827 * 200.0 * 1_f64.to_radians(), 0.07);
        // Noise alone explains 95 of 100 runs, which give 0 then.
        close(alone, 0.95, 0.02);
        assert!(in_place.without_noise_deg < 0.06 && in_place.percent_without_noise < 0.2, "{in_place:?}");
        // In the long run nothing is left without a test too: the parabola of 0.8 sd sqrt(1 + noise) is exact.
        let (long, _) = drawn(|_| 0.0, 1.5, 100_000, 1);
        assert!(long.without_noise_deg < 0.15, "{long:?}");
    }

    /// Repeated readings of a lens 3 degrees off; the mean of the folded normal (3, 2) recomputed twice with scipy.
    #[test]
    fn a_lens_that_is_off() {
        let (off, alone) = drawn(|_| 3.0, 2.0, 200, 100);
        close(off.as_read_deg, 3.117227, 0.02);
        assert!((2.76..3.0).contains(&off.without_noise_deg), "{off:?}");
        assert_eq!(alone, 0.0);
        let (off, _) = drawn(|_| 3.0, 1.0, 200, 100);
        close(off.without_noise_deg, 3.0, 0.03);
        close(off.percent_without_noise, 10.4672, 0.1);
    }

    /// Many lenses: what is left is the mean of their own |t|.
    #[test]
    fn the_mean_of_many_lenses() {
        for (mean, spread, noise) in [(0.0, 3.0, 1.0), (1.0, 2.5, 1.5), (2.0, 1.0, 0.8), (0.0, 4.0, 4.0)] {
            let angle = Normal::new(mean, spread).unwrap();
            let (found, _) = drawn(|random| angle.sample(random), noise, 200, 200);
            close(found.without_noise_deg, folded_mean(mean, spread), 0.03 * folded_mean(mean, spread));
            assert!(found.as_read_deg > 1.01 * folded_mean(mean, spread));
        }
        // One lens far off among others does not make noise of them.
        let mut readings = vec![(1.0, 0.5), (-2.0, 0.5), (2.5, 0.5), (-1.5, 0.5), (-30.0, 0.5)];
        let found = MeanSize::of(&readings).unwrap();
        close(found.as_read_deg, 7.4, 1e-12);
        close(found.without_noise_deg, 7.4, 0.03);
        readings.pop();
        assert!(MeanSize::of(&readings).unwrap().without_noise_deg <= 1.75);
    }

    /// A table value; and the Fourier series of |sin| under wrapped normal moments, 2/pi - 4/pi sum exp(-2 k^2 s^2) cos(2 k m)
    /// / (4 k^2 - 1).
    #[test]
    fn mean_cost() {
        close(mean_percent(10.0, 0.0), 34.7296, 5e-5);
        for (mean, sd) in [(20.0_f64, 30.0_f64), (-7.0, 10.0), (3.0, 2.0)] {
            let (m, s) = (mean.to_radians(), sd.to_radians());
            let term = |k: f64| (-2.0 * k * k * s * s).exp() * (2.0 * k * m).cos() / (4.0 * k * k - 1.0);
            let series = 2.0 / PI - 4.0 / PI * (1..400).map(|k| term(f64::from(k))).sum::<f64>();
            close(mean_percent(mean, sd), 200.0 * series, 5e-3);
        }
        close(mean_percent(0.0, 1.5), 1.196827 * 200.0 * 1_f64.to_radians(), 2e-3);
    }

    #[test]
    fn little_to_go_by() {
        assert_eq!(MeanSize::of(&[]), None);
        let exact = MeanSize::of(&[(-3.0, 0.0), (177.0, 0.0)]).unwrap();
        assert!(!exact.noise_alone);
        close(exact.as_read_deg, 3.0, 1e-12);
        close(exact.without_noise_deg, 3.0, 1e-12);
        let nothing = MeanSize::of(&[(0.5, 1.0)]).unwrap();
        assert_eq!((nothing.noise_alone, nothing.without_noise_deg, nothing.percent_without_noise), (true, 0.0, 0.0));
    }
}
