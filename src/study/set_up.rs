//! What a set-up can be expected to give, from stills of known truth: for choosing camera, marks and number of eyes before
//! a study.

use crate::statistics::bootstrap::{Bootstrapped, Settings, bootstrap};
use crate::statistics::order_statistics::quantile_interval;
use crate::statistics::power::{eyes_needed, mean_power, spread_power};
use crate::statistics::proportion::wilson;
use crate::statistics::{COVERAGE, Interval};
use serde::Serialize;

/// Power and level that eyes are counted for.
pub(super) const POWER: f64 = 0.8;
/// The level.
pub(super) const LEVEL: f64 = 0.05;
/// Difference of two groups' means, degrees, and ratio of their spreads that a study may want to tell.
pub const SHIFT_DEG: f64 = 1.0;
/// The ratio.
pub const RATIO: f64 = 1.5;
/// Error beyond which a figure does harm, degrees (common practice: a reader repeats to 1 to 2 degrees).
pub const HARM_DEG: f64 = 3.0;

/// One still of known truth that was measured, or not.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trial {
    /// Error of the figure, degrees, half of its 95 % interval, degrees; `None` where the still was refused.
    pub figure: Option<(f64, f64)>,
}

/// A value with its 95 % Monte-Carlo interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Value {
    /// The value; `None` where nothing tells it.
    pub value: Option<f64>,
    /// Its interval: where it may lie with any number of stills. Without an upper end where the stills are too few to tell one.
    pub interval95: Option<(f64, Option<f64>)>,
}

/// What to expect of one form of marks.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Expected {
    /// Form of the marks.
    pub form: String,
    /// Stills drawn.
    pub stills: usize,
    /// Stills measured.
    pub measured: usize,
    /// Stills refused, percent.
    pub refused_percent: Value,
    /// Root mean square error of reading, degrees.
    pub rms_error_deg: Value,
    /// 95 % of the errors are smaller, degrees.
    pub p95_error_deg: Value,
    /// Mean half-width of the 95 % interval that a still is given, degrees.
    pub half_width_deg: Value,
    /// Intervals that hold the truth, percent.
    pub held_percent: Value,
    /// Figures more than [`HARM_DEG`] off.
    pub wrong: usize,
    /// Eyes to photograph in each of two groups to tell means [`SHIFT_DEG`] apart, refused ones among them.
    pub eyes_for_shift: Option<u32>,
    /// Eyes to photograph in each of two groups to tell spreads by a ratio of [`RATIO`].
    pub eyes_for_ratio: Option<u32>,
}

/// Sum up the stills of one form.
///
/// - `spread_deg`: standard deviation between eyes of what the study is about, degrees
/// - `seed`: of the bootstrap
pub fn expected(form: &str, trials: &[Trial], spread_deg: f64, seed: u64) -> Expected {
    let figures: Vec<(f64, f64)> = trials.iter().filter_map(|t| t.figure).collect();
    let stills = trials.len();
    let share = |count: usize, of: usize| Value {
        value: (of > 0).then(|| 100.0 * count as f64 / of as f64),
        interval95: wilson(count as f64 / of.max(1) as f64, of as f64, COVERAGE)
            .map(Interval::percent)
            .map(|i| (i.low, Some(i.high))),
    };
    let held = figures.iter().filter(|(error, half)| error.abs() <= *half).count();
    let settings = Settings { seed, ..Settings::default() };
    let drawn = bootstrap(
        &vec![0; figures.len()],
        2,
        |weights, out| {
            let total: f64 = weights.iter().sum();
            let mean = |of: &dyn Fn(&(f64, f64)) -> f64| {
                figures.iter().zip(weights).map(|(f, w)| w * of(f)).sum::<f64>() / total
            };
            out[0] = mean(&|f| f.0 * f.0).sqrt();
            out[1] = mean(&|f| f.1);
        },
        &settings,
    );
    let of = |b: &Bootstrapped| Value {
        value: b.value.is_finite().then_some(b.value),
        interval95: b.percentile.map(|i| (i.low.max(0.0), Some(i.high))),
    };
    let [rms, half] = [0, 1].map(|k| if figures.is_empty() { NOTHING } else { of(&drawn[k]) });
    // What is read adds to what is between eyes; refused eyes have to be photographed as well.
    let reading = rms.value.unwrap_or(0.0);
    let whole = spread_deg.hypot(reading);
    // The spreads that a study compares have the same reading in them.
    let ratio = (spread_deg * RATIO).hypot(reading) / whole;
    let photographed = |eyes: Option<u32>| {
        let kept = figures.len() as f64 / stills.max(1) as f64;
        eyes.filter(|_| kept > 0.0).map(|eyes| (f64::from(eyes) / kept).ceil() as u32)
    };
    Expected {
        form: form.to_owned(),
        stills,
        measured: figures.len(),
        refused_percent: share(stills - figures.len(), stills),
        rms_error_deg: rms,
        p95_error_deg: p95(figures.iter().map(|(error, _)| error.abs()).collect()),
        half_width_deg: half,
        held_percent: share(held, figures.len()),
        wrong: figures.iter().filter(|(error, _)| error.abs() > HARM_DEG).count(),
        eyes_for_shift: photographed(eyes_needed(POWER, |eyes| mean_power(SHIFT_DEG / whole, eyes, LEVEL))),
        eyes_for_ratio: photographed(eyes_needed(POWER, |eyes| spread_power(ratio, eyes, LEVEL))),
    }
}

const NOTHING: Value = Value { value: None, interval95: None };

/// What 95 % of the sizes stay below. Its interval is not the bootstrap's, which ends at the largest size drawn.
fn p95(mut sizes: Vec<f64>) -> Value {
    sizes.sort_by(f64::total_cmp);
    let [low, high] = quantile_interval(&sizes, 0.95, COVERAGE);
    let at = (0.95 * sizes.len() as f64 - 1e-9).ceil() as usize;
    Value { value: at.checked_sub(1).map(|k| sizes[k]), interval95: low.map(|low| (low, high)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: errors 1 to 20 in steps of 0.1 degree with intervals of +-1.5 degrees, four stills refused.
    #[test]
    fn a_form_by_hand() {
        let mut trials: Vec<Trial> = (1..=20)
            .map(|k| Trial { figure: Some((if k % 2 == 0 { 0.1 } else { -0.1 } * f64::from(k), 1.5)) })
            .collect();
        trials.extend([Trial { figure: None }; 4]);
        let e = expected("line", &trials, 3.0, 1);
        assert_eq!((e.stills, e.measured, e.wrong), (24, 20, 0));
        assert!((e.refused_percent.value.unwrap() - 100.0 / 6.0).abs() < 1e-9);
        // Mean of the squares of 1 to 20 is 143.5.
        assert!((e.rms_error_deg.value.unwrap() - 1.435_f64.sqrt()).abs() < 1e-9);
        assert!((e.p95_error_deg.value.unwrap() - 1.9).abs() < 1e-9);
        // P(B < 17) is 0.016, P(B < 18) 0.075, and P(B = 20) 0.36 of 20 with a share of 0.95: nothing tells an upper end.
        let (low, high) = e.p95_error_deg.interval95.unwrap();
        assert!((low - 1.7).abs() < 1e-9 && high.is_none(), "{low} {high:?}");
        assert!((e.half_width_deg.value.unwrap() - 1.5).abs() < 1e-9);
        assert!((e.held_percent.value.unwrap() - 75.0).abs() < 1e-9);
        let (low, high) = e.rms_error_deg.interval95.unwrap();
        let high = high.unwrap();
        assert!(low < 1.198 && high > 1.198 && low > 0.8 && high < 1.6);
        // Reading makes a study larger, and so do refusals.
        let clean: Vec<Trial> = (0..24).map(|_| Trial { figure: Some((0.0, 0.1)) }).collect();
        let better = expected("line", &clean, 3.0, 1);
        // 50 eyes a group tell a ratio of 1.5 (two-sided F at 0.05, power 0.8; computed independently).
        assert_eq!(better.eyes_for_ratio, Some(50));
        assert!(e.eyes_for_ratio.unwrap() > 50 && e.eyes_for_shift.unwrap() > better.eyes_for_shift.unwrap());
        let none = expected("dot", &[Trial { figure: None }; 3], 3.0, 1);
        assert!(none.rms_error_deg.value.is_none() && none.eyes_for_shift.is_none());
    }
}
