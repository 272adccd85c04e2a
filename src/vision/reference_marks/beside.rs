//! Whether a line like it stands beside a mark: the other half of a double mark, which the outline left out.

use super::blob::Blob;
use super::ring::Ring;

/// Farthest that the lines of a double mark stand apart, degrees.
const APART_DEG: f64 = 7.0;
/// Least and greatest contrast of the other line over that of the mark.
const ALIKE: (f64, f64) = (0.4, 2.5);

/// How far beside the axis of a region, degrees, a line of about its contrast and at least most of its length stands;
/// 0 where none does.
pub(super) fn line_beside(ring: &Ring, blob: &Blob) -> f64 {
    let reach = ring.columns_of(APART_DEG).round() as isize + 3;
    let profile: Vec<f64> = (-reach..=reach).map(|offset| -mean_along(ring, blob, offset as f64)).collect();
    let smooth: Vec<f64> = profile.windows(3).map(|w| w.iter().sum::<f64>() / 3.0).collect();
    let middle = smooth.len() / 2;
    let own = (blob.width / 2.0 + 1.0).ceil() as usize;
    let near = middle.saturating_sub(own)..=(middle + own).min(smooth.len() - 1);
    let contrast = smooth[near.clone()].iter().copied().fold(f64::MIN, f64::max) - ground(&smooth);
    let mut beside: f64 = 0.0;
    for k in 1..smooth.len() - 1 {
        let top = smooth[k] > smooth[k - 1] && smooth[k] >= smooth[k + 1];
        if !top || near.contains(&k) {
            continue;
        }
        let depth = smooth[k]
            - valley(&smooth, k, middle).max(valley(&smooth, k, if k < middle { 0 } else { smooth.len() - 1 }));
        if (ALIKE.0..ALIKE.1).contains(&(depth / contrast)) {
            beside = beside.max(k.abs_diff(middle) as f64);
        }
    }
    beside * 360.0 / ring.columns as f64
}

/// Lower quartile: what most of the profile lies at or above.
fn ground(profile: &[f64]) -> f64 {
    let mut sorted = profile.to_vec();
    let quarter = sorted.len() / 4;
    *sorted.select_nth_unstable_by(quarter, f64::total_cmp).1
}

/// Lowest value between two places.
fn valley(profile: &[f64], a: usize, b: usize) -> f64 {
    profile[a.min(b)..=a.max(b)].iter().copied().fold(f64::MAX, f64::min)
}

/// Mean of log red beside the axis over the rows of a region; the brightest, as it were, where a part of it is unlit.
fn mean_along(ring: &Ring, blob: &Blob, offset: f64) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for row in blob.rows[0]..=blob.rows[1] {
        let column = blob.axis + blob.slope * (row as f64 - blob.middle_row()) + offset;
        let at = ring.at(row, column.round() as isize);
        if !ring.lit[at] {
            return 0.0;
        }
        sum += f64::from(ring.log[0][at]);
        count += 1.0;
    }
    sum / count
}
