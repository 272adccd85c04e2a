//! From a dark region of the ring to a place in the picture with its uncertainty.

use super::MarkFinding;
use super::axis_fit;
use super::beside;
use super::blob::Blob;
use super::cross_fit;
use super::ink_centroid;
use super::likeness;
use super::network;
use super::profile;
use super::ring::Ring;
use crate::geometry::{Ellipse, Matrix, Vector};

/// Length over width above which a region has a direction of its own.
const ELONGATED: f64 = 1.6;
/// Pixels that share their noise in a compressed still, as an area: four, from colour kept at half resolution.
const NOISE_AREA_PX: f64 = 4.0;
/// sd of the centroid across the mark from ragged ink, share of the width: the drawn edge, not the noise, is the limit. With it the
/// errors of 1599 drawn stills of two marks and more speak for 0.78 times the variance that reference marks are given: for that of
/// lines, for less of strokes and blots.
const RAGGED: f64 = 0.005;
/// Variance of the middle of a row whose two ends lie at whole columns, columns^2: each is off by 1 / 12. The axis does not go by them.
const ROW_SAMPLING: f64 = 1.0 / 24.0;
/// sd of the centroid along the mark, share of the length: ink is uneven, and an end may be hidden. With a lean this
/// is felt across the ray.
pub(super) const UNEVEN: f64 = 0.05;

/// The finding of a blob; `None` where it cannot be a mark.
pub(super) fn of(ring: &Ring, limbus: &Ellipse, blob: &Blob) -> Option<MarkFinding> {
    let traits = likeness::traits(ring, blob)?;
    let middle_row = (blob.rows[0] + blob.rows[1]) as f64 / 2.0;
    let phi = ring.phi(blob.axis);
    let place = |row: f64, column: f64| limbus.at_polar(ring.rho(row), ring.phi(column));

    // Contrast, held to what the region has in common so that a knot of ink does not draw the centroid to itself.
    let weights = blob
        .skirt
        .iter()
        .map(|(row, _, contrast)| (f64::from(*contrast) / blob.contrast).clamp(0.0, 1.0) * ring.rho(*row as f64));
    let places = || blob.skirt.iter().map(|(row, column, _)| place(*row as f64, *column as f64));
    let weights: Vec<f64> = weights.collect();
    let total: f64 = weights.iter().sum();
    if total <= 0.0 {
        return None;
    }
    // Across a mark with a direction its axis says more than the cells of its outline do.
    let elongated = (blob.rows[1] - blob.rows[0] + 1) as f64 > ELONGATED * blob.width;
    let axis = if elongated { axis_fit::fit(ring, blob) } else { ink_centroid::of(ring, blob) };
    let centroid = place(axis.row, axis.column + axis.slope * (axis.row - middle_row));
    let spread = places().zip(&weights).fold(Matrix::zeros(), |s, (p, w)| {
        let d = p - centroid;
        s + d * d.transpose() * *w
    }) / total;

    let radial = limbus.at_polar(1.0, phi) - limbus.center();
    let tangent_step = place(middle_row, blob.axis + 0.5) - place(middle_row, blob.axis - 0.5);
    let row_px = radial.norm() * ring.rho_step;
    let length_rows = (blob.rows[1] - blob.rows[0] + 1) as f64;
    // Across the ray, whatever the obliqueness of the tangent there.
    let outward = radial.normalize();
    let column_px = (tangent_step.x * outward.y - tangent_step.y * outward.x).abs();
    let (length_px, width_px) = (length_rows * row_px, blob.width * column_px);

    // The bound for a contrast-weighted centroid: noise of variance s^2 a cell adds s^2 sum(d d') / (sum of contrast)^2.
    let noise = blob.ground_sd / blob.contrast;
    let area_px = blob.cells.len() as f64 * row_px * column_px;
    let independent = (area_px / NOISE_AREA_PX).max(1.0);
    let half = (length_rows - 1.0) / 2.0;
    let end = |s: f64| place(middle_row + s * half, axis.column + s * half * axis.slope);
    let own = if half > 0.0 { (end(1.0) - end(-1.0)).normalize() } else { outward };
    let aside = Vector::new(-own.y, own.x);
    // Rows within one width of each other share their raggedness.
    let rows_apart = (length_px / width_px.max(2.0)).max(1.0);
    let wobble_px = blob.wobble * column_px;
    let swayed = (blob.wobble.powi(2) - ROW_SAMPLING).max(0.0) * column_px.powi(2);
    let across_variance = (RAGGED * width_px).powi(2) + swayed * NOISE_AREA_PX.sqrt() / length_px.max(2.0);
    let covariance = spread * (noise * noise / independent)
        + own * own.transpose() * (UNEVEN * length_px).powi(2)
        + aside * aside.transpose() * across_variance;

    let direction = (length_px > ELONGATED * width_px).then(|| {
        let sd = wobble_px.max(0.25 * column_px) * (12.0 / rows_apart.max(2.0)).sqrt() / length_px;
        (own, sd.to_degrees())
    });
    let profile = profile::of(ring, blob);
    let strongest = blob.absorbance.iter().copied().fold(f64::MIN, f64::max);
    let cross = cross_fit::of(ring, limbus, blob);
    // The line beside one arm of a cross is the other.
    let beside_deg = if cross.is_some() { 0.0 } else { beside::line_beside(ring, blob) };
    let crossed = cross.as_ref().map(|cross| cross.lines);
    let (centroid, covariance) = cross.map_or((centroid, covariance), |cross| (cross.middle, cross.covariance));
    Some(MarkFinding {
        centroid,
        covariance,
        direction,
        length_px,
        width_px,
        contrast: 1.0 - (-strongest).exp(),
        absorbance: blob.absorbance,
        extent: [ring.rho(blob.rows[0] as f64), ring.rho(blob.rows[1] as f64)],
        crossed,
        beside_deg,
        first_odds: likeness::worth(&traits),
        odds: network::log_odds(&traits, &profile),
        profile,
        traits,
    })
}
