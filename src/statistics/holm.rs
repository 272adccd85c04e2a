//! Correction for several comparisons.

/// P-values corrected by Holm's step-down method, in the order given: with them the chance of even one false claim
/// among all comparisons is at most the level. NaN is passed through and not counted.
///
/// Source: Holm (1979), Scand J Stat 6:65-70.
pub fn corrected(p_values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p_values.len()).filter(|at| !p_values[*at].is_nan()).collect();
    order.sort_by(|a, b| p_values[*a].total_cmp(&p_values[*b]));
    let mut corrected = p_values.to_vec();
    let mut largest = 0.0_f64;
    for (rank, at) in order.iter().enumerate() {
        largest = largest.max(p_values[*at] * (order.len() - rank) as f64).min(1.0);
        corrected[*at] = largest;
    }
    corrected
}
