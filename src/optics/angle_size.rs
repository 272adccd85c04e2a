//! The size |t| of an angle that is read with noise: its interval, and what noise alone adds to its mean.

use super::rotation::wrapped_size_deg;
use crate::normal::{COVERAGE, Z95, cdf, root};
use statrs::function::erf::erf;
use std::f64::consts::{FRAC_2_PI, SQRT_2};

/// Brackets of the half-width of an acceptance region, in standard deviations: it runs from 1.645 (one side cut off by
/// the fold) to 1.960.
const HALF_WIDTHS: [f64; 2] = [1.64, 1.97];

/// 95 % interval of |t|, degrees within [0, 90], from a reading of t with normal noise.
///
/// - `reading_deg`: the reading of t, any wrap
/// - `sd_deg`: standard deviation of the reading, degrees, not negative
///
/// It holds the true |t| with probability 0.95 whatever it is, also next to 0, where the mere image of
/// [t - 1.96 sd, t + 1.96 sd] under |.| would hold it in up to 97.5 %. Its lower end is 0 exactly where the interval of t
/// holds 0, and far from 0 it is the interval of t itself. At 90, where sizes fold too, the same in the mirror.
///
/// How: |reading| is folded-normal; for each |t| = m the readings within m +- c are accepted, c such that their
/// probability is 0.95; the interval is all m whose acceptance holds the reading (Neyman 1937, Philos Trans A 236:333-380, from
/// memory). Two folds at once are beyond it: true for sd below about 20 degrees.
pub fn size_interval95(reading_deg: f64, sd_deg: f64) -> [f64; 2] {
    let size = wrapped_size_deg(reading_deg);
    if sd_deg <= 0.0 {
        return [size, size];
    }
    let from_fold = size.min(90.0 - size);
    let [low, high] = folded_interval95(from_fold / sd_deg).map(|end| (end * sd_deg).min(90.0));
    if size <= 45.0 { [low, high] } else { [90.0 - high, 90.0 - low] }
}

/// The interval of |t| in units of the standard deviation, `x` being the size of the reading in the same.
fn folded_interval95(x: f64) -> [f64; 2] {
    let [narrow, wide] = HALF_WIDTHS;
    let low = if x <= Z95 {
        0.0
    } else {
        // The end m has x = m + c; the probability falls as m comes nearer.
        root((x - wide).max(0.0), x - narrow, |m| COVERAGE - acceptance(m, x - m))
    };
    [low, root(x + narrow, x + wide, |m| acceptance(m, m - x) - COVERAGE)]
}

/// Probability that the size of a reading lies within `c` of `m`, the true size; in units of the standard deviation.
fn acceptance(m: f64, c: f64) -> f64 {
    let below = |size: f64| cdf(size - m) - cdf(-size - m);
    below(m + c) - below((m - c).max(0.0))
}

/// Mean of |t| where t is normal, in the unit of its arguments: the mean of the folded normal distribution.
///
/// sd sqrt(2/pi) exp(-mean^2 / 2 sd^2) + mean erf(mean / (sd sqrt 2)): noise about 0 looks like misalignment, 0.8 sd of it.
///
/// Source: Leone, Nelson & Nottingham (1961), Technometrics 3:543-550 (from memory).
pub fn folded_mean(mean: f64, sd: f64) -> f64 {
    if sd <= 0.0 {
        return mean.abs();
    }
    let z = mean / sd;
    sd * FRAC_2_PI.sqrt() * (-z * z / 2.0).exp() + mean * erf(z / SQRT_2)
}

/// Size of the true angle of one lens from the mean of |t| over repeated readings of it: what reading noise adds is
/// taken out. In the unit of its arguments.
///
/// - `mean_size`: mean of |t| over the readings, not negative
/// - `reading_sd`: standard deviation of one reading
///
/// The m for which [`folded_mean`]`(m, reading_sd)` is `mean_size`; 0 where noise alone explains it.
pub fn size_without_noise(mean_size: f64, reading_sd: f64) -> f64 {
    if mean_size <= folded_mean(0.0, reading_sd) {
        return 0.0;
    }
    root(0.0, mean_size, |m| folded_mean(m, reading_sd) - mean_size)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::rotation::sizes_in_interval;

    fn close(got: f64, expected: f64, within: f64) {
        assert!((got - expected).abs() < within, "{got} is not {expected}");
    }

    /// Folded normal, recomputed twice with scipy.
    #[test]
    fn noise_looks_like_misalignment() {
        close(folded_mean(0.0, 1.5), 1.196827, 5e-7);
        close(folded_mean(3.0, 2.0), 3.117227, 5e-7);
        close(folded_mean(-3.0, 2.0), 3.117227, 5e-7);
        close(size_without_noise(3.117227, 2.0), 3.0, 5e-6);
        assert_eq!(size_without_noise(1.19, 1.5), 0.0);
        assert_eq!(size_without_noise(2.5, 0.0), 2.5);
    }

    /// The mean of |t| over drawn readings of one lens, corrected, is the lens's own |t|.
    #[test]
    fn drawn_readings_are_corrected() {
        use rand::SeedableRng;
        use rand_distr::{Distribution, Normal};
        for (truth, sd) in [(0.0, 1.5), (1.0, 1.5), (-3.0, 2.0), (6.0, 1.0)] {
            let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(5);
            let readings = Normal::new(truth, sd).unwrap().sample_iter(&mut random).take(200_000);
            let mean = readings.map(f64::abs).sum::<f64>() / 200_000.0;
            close(mean, folded_mean(truth, sd), 0.01);
            // Flat at 0: there the correction tells |t| to a fraction of the noise only.
            close(size_without_noise(mean, sd), truth.abs(), if truth == 0.0 { 0.12 } else { 0.02 });
        }
    }

    /// Far from the folds the interval is that of t; it begins at 0 exactly where that of t holds 0.
    #[test]
    fn agrees_with_the_interval_of_the_angle() {
        let half = Z95 * 1.5;
        for reading in [-40.0_f64, -8.0, 12.0, 44.0, 46.0, 80.0] {
            let [low, high] = size_interval95(reading, 1.5);
            close(low, reading.abs() - half, 3e-3);
            close(high, reading.abs() + half, 3e-3);
        }
        for k in 0..400 {
            let reading = f64::from(k - 200) / 20.0;
            let image = sizes_in_interval([reading - half, reading + half]);
            let [low, high] = size_interval95(reading, 1.5);
            assert_eq!(low == 0.0, image[0] == 0.0, "{reading}");
            assert!(low >= image[0] - 1e-9 && high <= image[1] + 1e-9 && low <= high);
        }
    }

    /// The ends that can be had by hand: at a reading of 0 the upper end cuts 5 % off one side (and 4e-7 off the other).
    #[test]
    fn ends_at_a_fold() {
        close(size_interval95(0.0, 1.0)[1], 1.644_854, 1e-5);
        close(size_interval95(180.0, 1.0)[1], 1.644_854, 1e-5);
        close(size_interval95(-90.0, 1.0)[0], 90.0 - 1.644_854, 1e-5);
        assert_eq!(size_interval95(-90.0, 1.0)[1], 90.0);
        assert_eq!(size_interval95(-7.0, 0.0), [7.0, 7.0]);
    }
}
