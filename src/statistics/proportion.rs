//! Shares with their intervals.

use super::Interval;
use super::distributions::{beta_quantile, normal_quantile};

/// Wilson's score interval of a share at `coverage`; `None` without trials.
///
/// - `share`: observed, 0 to 1
/// - `trials`: how many independent ones stand behind it; a fraction where they were not independent and an effective
///   number is meant
///
/// Source: Wilson (1927); Newcombe (1998), Stat Med 17:857-872, method 3.
pub fn wilson(share: f64, trials: f64, coverage: f64) -> Option<Interval> {
    if trials.is_nan() || trials <= 0.0 {
        return None;
    }
    let z = normal_quantile(0.5 + coverage / 2.0);
    let scale = 1.0 + z * z / trials;
    let middle = (share + z * z / (2.0 * trials)) / scale;
    let half = z * (share * (1.0 - share) / trials + z * z / (4.0 * trials * trials)).sqrt() / scale;
    // At 0 and 1 the ends meet the share but for rounding.
    let low = if share <= 0.0 { 0.0 } else { (middle - half).max(0.0) };
    let high = if share >= 1.0 { 1.0 } else { (middle + half).min(1.0) };
    Some(Interval { low, high })
}

/// Interval of a difference of two independent shares, first less second, from their own; it does not close up where both are 0 or 1,
/// as a bootstrap does.
///
/// - each: the share, and its [`wilson`] interval
///
/// Source: Newcombe (1998), Stat Med 17:873-890, method 10.
pub fn difference(first: (f64, Interval), second: (f64, Interval)) -> Interval {
    let ((a, of_a), (b, of_b)) = (first, second);
    Interval { low: a - b - (a - of_a.low).hypot(of_b.high - b), high: a - b + (of_a.high - a).hypot(b - of_b.low) }
}

/// The interval of Clopper & Pearson (1934) at `coverage`: never too narrow, mostly too wide. `None` without trials.
pub fn clopper_pearson(hits: u64, trials: u64, coverage: f64) -> Option<Interval> {
    if trials == 0 || hits > trials {
        return None;
    }
    let tail = (1.0 - coverage) / 2.0;
    let (x, n) = (hits as f64, trials as f64);
    let low = if hits == 0 { 0.0 } else { beta_quantile(tail, x, n - x + 1.0) };
    let high = if hits == trials { 1.0 } else { beta_quantile(1.0 - tail, x + 1.0, n - x) };
    Some(Interval { low, high })
}
