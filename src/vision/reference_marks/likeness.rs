//! How much a dark region is like a reference mark.

use super::blob::Blob;
use super::ring::Ring;

/// What a mark may differ in from the ideal: a dark bar or dot of one dye on even ground, on the ray, closed at both
/// ends, on the limbus. Each is one standard deviation of a penalty, set by hand from what it means, not fitted.
mod tolerance {
    /// Texture of the ground over contrast.
    pub const TEXTURE: f64 = 0.15;
    /// Difference of the two sides over contrast.
    pub const IMBALANCE: f64 = 0.35;
    /// Tangent of the lean against the ray.
    pub const LEAN: f64 = 0.20;
    /// Contrast just past the ends over contrast inside, either sign.
    pub const PAST_ENDS: f64 = 0.40;
    /// sd of the middles of the rows, share of the width; plus half a column of sampling.
    pub const WOBBLE: f64 = 0.12;
    /// sd of the widths of the rows, share of the width.
    pub const RAGGEDNESS: f64 = 0.60;
    /// Distance of the middle from the limbus, limbus radii; the fitted limbus itself is some 3 % off.
    pub const PLACE: f64 = 0.09;
    /// Excess of the absorbance that green and blue have in common over that in red: blood takes green and blue,
    /// no ink does. Share of the absorbance in red.
    pub const BLOOD: f64 = 0.15;
    /// Shortfall of the length below the width, natural logarithm.
    pub const FLATNESS: f64 = 0.25;
    /// Share of the rows whose outline runs into the lateral limit.
    pub const LEAK: f64 = 0.15;
    /// Share of rows missing between the ends.
    pub const GAPS: f64 = 0.15;
}
/// Share of the absorbance in red above which blue is absorbed alike: black ink, but lashes and instruments too.
const NEUTRAL: f64 = 0.80;
/// What a neutral colour costs, in the units of the penalty.
const NEUTRAL_PENALTY: f64 = 2.0;
/// Share of the rows that a bar across a mark may take.
const CROSSED: f64 = 0.15;
/// Length of a mark, limbus radii: 0.3 to 3 mm.
const LENGTH: [f64; 2] = [0.045, 0.55];
/// Width of a mark, limbus radii: up to 1.6 mm.
const WIDTH: [f64; 2] = [0.008, 0.28];

/// Sum of squared deviations from an ideal mark; `None` for what cannot be a mark at all.
pub(super) fn penalty(ring: &Ring, blob: &Blob) -> Option<f64> {
    let [red, green, blue] = blob.absorbance;
    let length = (blob.rows[1] - blob.rows[0] + 1) as f64;
    let middle = ring.rho((blob.rows[0] + blob.rows[1]) as f64 / 2.0);
    let (length_rho, width_rho) = (length * ring.rho_step, blob.width * ring.rho_step * middle);
    let fits = |v: f64, range: [f64; 2]| v >= range[0] && v <= range[1];
    if blob.open || red <= 0.03 || !fits(length_rho, LENGTH) || !fits(width_rho, WIDTH) {
        return None;
    }
    let off_limbus = (middle - 1.02).abs();
    let blood = (green.min(blue) / red - 1.0).max(0.0);
    let terms = [
        (blob.ground_sd / red) / tolerance::TEXTURE,
        (blob.imbalance / red) / tolerance::IMBALANCE,
        blob.slope / tolerance::LEAN,
        blob.past_ends[0] / tolerance::PAST_ENDS,
        blob.past_ends[1] / tolerance::PAST_ENDS,
        (blob.wobble - 0.5).max(0.0) / (tolerance::WOBBLE * blob.width),
        blob.raggedness / tolerance::RAGGEDNESS,
        off_limbus / tolerance::PLACE,
        blood / tolerance::BLOOD,
        (blob.width / length).ln().max(0.0) / tolerance::FLATNESS,
        (blob.leak - CROSSED).max(0.0) / tolerance::LEAK,
        (1.0 - blob.filled) / tolerance::GAPS,
    ];
    let neutral = if blue.min(green) > NEUTRAL * red { NEUTRAL_PENALTY } else { 0.0 };
    Some(terms.iter().map(|t| t * t).sum::<f64>() + neutral)
}

/// Penalty at which the score falls to 1/e.
const PENALTY_SCALE: f64 = 4.0;

/// Score, 0 to 1, of a penalty.
pub(super) fn score(penalty: f64) -> f64 {
    (-penalty / PENALTY_SCALE).exp()
}

/// The inverse of [`score`].
pub(super) fn penalty_of(score: f64) -> f64 {
    -PENALTY_SCALE * score.max(1e-12).ln()
}
