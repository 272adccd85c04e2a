//! How many eyes the next study needs, and what a number of eyes can tell.

use super::distributions::{f_cdf, f_quantile, f_upper, normal_cdf, t_quantile};
use statrs::function::gamma::ln_gamma;

/// Eyes a group beyond which no answer is sought.
const MOST: u32 = 1_000_000;
/// Intervals of the integral over the chance of the estimated spread; even.
const SLICES: u32 = 2000;

/// Power of the two-sided F test of two spreads, normal values.
///
/// - `ratio`: of the standard deviations, more than 0
/// - `eyes`: independent ones a group, more than 1; may be a fraction
/// - `level`: of the test
pub fn spread_power(ratio: f64, eyes: f64, level: f64) -> f64 {
    let freedom = eyes - 1.0;
    let high = f_quantile(1.0 - level / 2.0, freedom, freedom);
    let square = ratio * ratio;
    f_upper(high / square, freedom, freedom) + f_cdf(1.0 / (high * square), freedom, freedom)
}

/// Power of the two-sided t test of two means, normal values of equal spread.
///
/// - `shift`: difference of the means in standard deviations
/// - `eyes`: independent ones a group, more than 1; may be a fraction
/// - `level`: of the test
///
/// The chance of passing the critical value, averaged over that of the estimated spread (Simpson's rule): the non-central t
/// distribution.
pub fn mean_power(shift: f64, eyes: f64, level: f64) -> f64 {
    let freedom = 2.0 * eyes - 2.0;
    let critical = t_quantile(1.0 - level / 2.0, freedom);
    let center = shift * (eyes / 2.0).sqrt();
    // Density of s = sqrt(chi squared / freedom), in logarithms.
    let constant = (freedom / 2.0) * freedom.ln() - (freedom / 2.0 - 1.0) * 2.0_f64.ln() - ln_gamma(freedom / 2.0);
    let density = |s: f64| (constant + (freedom - 1.0) * s.ln() - freedom * s * s / 2.0).exp();
    let reach = 10.0 / (2.0 * freedom).sqrt();
    let (low, high) = ((1.0 - reach).max(1e-9), 1.0 + reach);
    let width = (high - low) / f64::from(SLICES);
    let passing = |s: f64| normal_cdf(center - critical * s) + normal_cdf(-center - critical * s);
    let sum: f64 = (0..=SLICES)
        .map(|k| {
            let s = low + f64::from(k) * width;
            let weight = match k {
                0 | SLICES => 1.0,
                k if k % 2 == 1 => 4.0,
                _ => 2.0,
            };
            weight * density(s) * passing(s)
        })
        .sum();
    (sum * width / 3.0).clamp(0.0, 1.0)
}

/// Least number of independent eyes a group with which `power` reaches `wanted`; `None` beyond a million.
///
/// - `power`: of a number of eyes, rising with it
pub fn eyes_needed(wanted: f64, power: impl Fn(f64) -> f64) -> Option<u32> {
    let mut high = 2_u32;
    while power(f64::from(high)) < wanted {
        if high == MOST {
            return None;
        }
        high = (2 * high).min(MOST);
    }
    let mut low = high / 2;
    while high - low > 1 {
        let middle = u32::midpoint(low, high);
        if middle >= 2 && power(f64::from(middle)) >= wanted { high = middle } else { low = middle }
    }
    Some(high)
}

/// Eyes for the same precision where each patient gives `eyes_a_patient` that are correlated: n (1 + (m - 1) r).
///
/// - `correlation`: of two eyes of a patient; below 0 it is taken as 0
pub fn with_both_eyes(independent: u32, eyes_a_patient: f64, correlation: f64) -> u32 {
    (f64::from(independent) * (1.0 + (eyes_a_patient - 1.0) * correlation.max(0.0))).ceil() as u32
}
