//! Axes: angles modulo 180 degrees. They are doubled, taken as directions, and halved again.
//!
//! Sources: Fisher (1993), Statistical Analysis of Circular Data; Mardia & Jupp (2000), Directional Statistics (both from
//! memory).

use super::Interval;
use super::distributions::normal_quantile;
use crate::geometry::{axis_difference, wrap};

/// Resultants shorter than this have no direction.
const NO_DIRECTION: f64 = 1e-12;

/// Mean and spread of axes, degrees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AxialSummary {
    /// Mean axis, [0, 180).
    pub mean_deg: f64,
    /// Length of the mean vector of the doubled angles, 0 to 1.
    pub resultant: f64,
    /// Circular standard deviation on the scale of the axes, sqrt(-2 ln R) / 2, degrees.
    pub circular_sd_deg: f64,
    /// Length of the mean vector of the angles doubled twice: for the interval.
    second_resultant: f64,
    count: usize,
}

impl AxialSummary {
    /// Of axes in degrees, any wrap; `None` of nothing, or where the axes have no mean (two at right angles).
    pub fn of(axes_deg: &[f64]) -> Option<Self> {
        let (mean_deg, resultant) = weighted_mean(axes_deg.iter().map(|axis| (*axis, 1.0)))?;
        let (cos, sin) = axes_deg.iter().fold((0.0, 0.0), |(c, s), axis| {
            let (sin, cos) = (4.0 * axis).to_radians().sin_cos();
            (c + cos, s + sin)
        });
        Some(Self {
            mean_deg,
            resultant,
            circular_sd_deg: (-2.0 * resultant.min(1.0).ln()).max(0.0).sqrt().to_degrees() / 2.0,
            second_resultant: f64::hypot(cos, sin) / axes_deg.len() as f64,
            count: axes_deg.len(),
        })
    }

    /// Half-width of the interval of the mean at `coverage`, degrees, for independent axes: asin(z sd), sd^2 the circular
    /// dispersion (1 - R2) / 2 R^2 over n (Fisher 1993, 4.4.4: for 25 axes or more). `None` where the axes scatter so
    /// that any mean is possible.
    pub fn half_width_deg(&self, coverage: f64) -> Option<f64> {
        let dispersion = (1.0 - self.second_resultant) / (2.0 * self.resultant * self.resultant);
        let sine = normal_quantile(0.5 + coverage / 2.0) * (dispersion / self.count as f64).sqrt();
        (sine <= 1.0).then(|| sine.asin().to_degrees() / 2.0)
    }

    /// Interval of the mean at `coverage`, degrees, unwrapped about it.
    pub fn interval_deg(&self, coverage: f64) -> Option<Interval> {
        let half = self.half_width_deg(coverage)?;
        Some(Interval { low: self.mean_deg - half, high: self.mean_deg + half })
    }
}

/// Mean axis, degrees in [0, 180), and length of the mean vector of the doubled angles, from axes in degrees with weights
/// that are not negative. `None` without weight, or without a direction.
pub fn weighted_mean(axes: impl Iterator<Item = (f64, f64)>) -> Option<(f64, f64)> {
    let (cos, sin, total) = axes.fold((0.0, 0.0, 0.0), |(c, s, t), (axis, weight)| {
        let (sin, cos) = (2.0 * axis).to_radians().sin_cos();
        (c + weight * cos, s + weight * sin, t + weight)
    });
    mean_of_sums(cos, sin, total)
}

/// The same from sums of weighted cosines and sines of doubled angles, and of the weights.
pub fn mean_of_sums(cos: f64, sin: f64, total: f64) -> Option<(f64, f64)> {
    let resultant = cos.hypot(sin) / total;
    let mean = wrap(sin.atan2(cos).to_degrees() / 2.0, 180.0);
    (resultant > NO_DIRECTION).then_some((mean, resultant))
}

/// Mean of signed differences of axes, degrees in [-90, 90): the axial mean on the scale of an error. `None` as above.
pub fn mean_difference(differences_deg: &[f64]) -> Option<f64> {
    let (mean, _) = weighted_mean(differences_deg.iter().map(|d| (*d, 1.0)))?;
    Some(axis_difference(0.0, mean))
}

/// `angles_deg` moved by whole turns of 180 to within 90 of `about_deg`: ordinary numbers, as long as none of them is
/// nearly at right angles to it.
pub fn unwrapped(angles_deg: &[f64], about_deg: f64) -> Vec<f64> {
    angles_deg.iter().map(|angle| about_deg + axis_difference(about_deg, *angle)).collect()
}

/// Concentration of a von Mises distribution of the doubled angles by maximum likelihood, I1(k) / I0(k) = R.
/// `None` unless 0 <= R < 1.
pub fn concentration(resultant: f64) -> Option<f64> {
    if !(0.0..1.0).contains(&resultant) {
        return None;
    }
    let (mut low, mut high) = (0.0, 1.0);
    while bessel_ratio(high) < resultant {
        high *= 2.0;
    }
    for _ in 0..100 {
        let middle = f64::midpoint(low, high);
        if bessel_ratio(middle) < resultant { low = middle } else { high = middle }
    }
    Some(f64::midpoint(low, high))
}

/// I1(k) / I0(k), by its continued fraction from behind: I(n) / I(n - 1) = 1 / (2 n / k + I(n + 1) / I(n)).
fn bessel_ratio(kappa: f64) -> f64 {
    if kappa <= 0.0 {
        return 0.0;
    }
    let depth = 40 + 2 * kappa.min(1e6).sqrt() as u32 * 10;
    (1..=depth).rev().fold(0.0, |ratio, n| 1.0 / (2.0 * f64::from(n) / kappa + ratio))
}
