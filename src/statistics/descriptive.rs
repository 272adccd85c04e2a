//! Means, spreads and order statistics, stable for large values with small differences.

use crate::normal::MEDIAN_SIZE;

/// Mean; `None` of nothing. Taken about the first value, then corrected once by the mean of what is left: exact to
/// rounding also where the values are large and alike.
pub fn mean(values: &[f64]) -> Option<f64> {
    let first = *values.first()?;
    let count = values.len() as f64;
    let rough = first + values.iter().map(|v| v - first).sum::<f64>() / count;
    Some(rough + values.iter().map(|v| v - rough).sum::<f64>() / count)
}

/// Variance with divisor n - 1, in the square of the values' unit; `None` of fewer than two.
///
/// Two passes, the second corrected for the rounding of the mean: Chan, Golub & LeVeque (1983), Am Stat 37:242-247,
/// eq. 1.7 (from memory).
pub fn variance(values: &[f64]) -> Option<f64> {
    let count = values.len() as f64;
    if values.len() < 2 {
        return None;
    }
    let mean = mean(values)?;
    let (squares, rest) = values.iter().fold((0.0, 0.0), |(squares, rest), value| {
        let d = value - mean;
        (squares + d * d, rest + d)
    });
    Some((squares - rest * rest / count) / (count - 1.0))
}

/// Standard deviation with divisor n - 1; `None` of fewer than two.
pub fn standard_deviation(values: &[f64]) -> Option<f64> {
    variance(values).map(f64::sqrt)
}

/// The values in rising order.
pub fn sorted(values: &[f64]) -> Vec<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted
}

/// Quantile at `share` (0 to 1) of values in rising order, linear between order statistics: Hyndman & Fan's type 7
/// (1996, Am Stat 50:361-365), the default of NumPy and R. `None` of nothing.
pub fn quantile_of_sorted(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let place = share.clamp(0.0, 1.0) * last as f64;
    let below = (place.floor() as usize).min(last);
    let above = (below + 1).min(last);
    Some(sorted[below] + (place - below as f64) * (sorted[above] - sorted[below]))
}

/// Median; `None` of nothing.
pub fn median(values: &[f64]) -> Option<f64> {
    quantile_of_sorted(&sorted(values), 0.5)
}

/// Mean of what is left when `share` (below 0.5) of the values is cut off at either end, whole values only, as
/// `scipy.stats.trim_mean` does. `None` of nothing.
pub fn trimmed_mean(values: &[f64], share: f64) -> Option<f64> {
    let cut = (share * values.len() as f64) as usize;
    mean(sorted(values).get(cut..values.len().checked_sub(cut)?)?)
}

/// Median of the distances from the median, times 1.4826: the standard deviation of normal values, unmoved by a few
/// wild ones. `None` of nothing.
pub fn scaled_median_deviation(values: &[f64]) -> Option<f64> {
    let middle = median(values)?;
    median(&values.iter().map(|v| (v - middle).abs()).collect::<Vec<_>>()).map(|mad| mad / MEDIAN_SIZE)
}
