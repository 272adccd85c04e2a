//! Intervals of quantiles by the order of the values, whatever distribution they come from.

use statrs::distribution::{Binomial, DiscreteCDF};

/// Interval of the value that `share` of all lie below, each end being one of the values and beyond that one with a probability
/// of at most (1 - `coverage`) / 2. An end is `None` where no value is far enough out: of fewer than 72 the largest is no upper
/// end for a share of 0.95 at a coverage of 0.95.
///
/// - `ordered`: independent values, rising
///
/// How many of n values lie below is binomial, B: the k-th is a lower end where P(B < k), an upper one where P(B >= k) is
/// small enough.
///
/// Source: Hahn & Meeker (1991), Statistical Intervals, 5.2 (from memory).
pub fn quantile_interval(ordered: &[f64], share: f64, coverage: f64) -> [Option<f64>; 2] {
    let tail = (1.0 - coverage) / 2.0;
    let Ok(below) = Binomial::new(share, ordered.len() as u64) else { return [None; 2] };
    let so_many = |are: &dyn Fn(u64) -> bool| (0..ordered.len() as u64).take_while(|k| are(*k)).count();
    let low = so_many(&|k| below.cdf(k) <= tail).checked_sub(1);
    let high = so_many(&|k| below.sf(k) > tail);
    [low.map(|k| ordered[k]), ordered.get(high).copied()]
}
