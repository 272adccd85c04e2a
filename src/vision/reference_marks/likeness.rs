//! How a dark region departs from an ideal reference mark, and what it is worth as one.

use super::blob::Blob;
use super::patch::Frame;
use super::ring::Ring;
use nalgebra::Vector3;

/// Scales at which a departure begins to matter. What is far beyond its scale counts little more (see [`departure`]):
/// a vessel that touches a mark, a bubble at its end or a bar across it spoil one trait, not the mark.
mod scale {
    /// Texture of the ground over contrast.
    pub const TEXTURE: f64 = 0.15;
    /// Difference of the two sides over contrast.
    pub const IMBALANCE: f64 = 0.35;
    /// Tangent of the lean against the ray.
    pub const LEAN: f64 = 0.20;
    /// Contrast just past an end over contrast inside, either sign.
    pub const PAST_END: f64 = 0.40;
    /// sd of the middles of the rows, share of the width; half a column of sampling is taken off first.
    pub const WOBBLE: f64 = 0.12;
    /// Distance of the middle from where marks stand, limbus radii.
    pub const PLACE: f64 = 0.09;
    /// Excess of the absorbance that green and blue have in common over that in red: blood takes green and blue,
    /// no ink does. Share of the absorbance in red.
    pub const BLOOD: f64 = 0.15;
    /// Excess of the width over the length, natural logarithm.
    pub const FLATNESS: f64 = 0.25;
    /// Contrast beyond an end, in any colour and either sense, over that inside.
    pub const BEYOND: f64 = 0.40;
    /// Distance by which the whole region stays outside or inside of the limbus, limbus radii.
    pub const CLEAR_OF_LIMBUS: f64 = 0.05;
}
/// Where the middle of a mark stands, limbus radii.
const USUAL_PLACE: f64 = 1.02;
/// Lengths beyond which a mark is unusual, limbus radii: 0.6 and 2 mm.
const USUAL_LENGTH: [f64; 2] = [0.10, 0.35];
/// Width from which a mark is unusual, limbus radii: 0.7 mm.
const USUAL_WIDTH: f64 = 0.12;
/// Stretch past an end in which a region is looked for to go on, limbus radii from the end.
const BEYOND: [f64; 2] = [0.03, 0.14];
/// Rows of the ring that such a stretch must have.
const LEAST_BEYOND: usize = 4;
/// Lengths a mark can have at all, limbus radii: 0.2 to 3.5 mm.
const LENGTH: [f64; 2] = [0.03, 0.60];
/// Widths a mark can have at all, limbus radii: to 1.7 mm.
const WIDTH: [f64; 2] = [0.006, 0.30];
/// A usual width and length, limbus radii: 0.12 and 1.2 mm.
const TYPICAL_WIDTH: f64 = 0.02;
const TYPICAL_LENGTH: f64 = 0.2;
/// Share of its box that a mark fills.
const USUAL_FILL: f64 = 0.9;
/// What inks take of green and blue beyond what they take of red, share of the latter: more is blood, and no ink at all.
const INK_HUE: f64 = 0.4;
/// Absorbance in red below which a colour says nothing.
const LEAST_HUE: f64 = 0.02;
/// Least absorbance in red of anything definite.
const LEAST_RED: f64 = 0.03;

/// What a mark is worth at first sight, and its traits in their order, natural logarithms of odds: from 2287 drawn stills
/// (seeds 9 to 13 and 41 to 46 with marks, 21 to 24, 51 and 53 without), by a conditional logit in which they alone spoke;
/// `tests/reference/mark_weights/fit.py --first-sight` fits them anew.
const MARK: f64 = 3.05;
const TRAIT_WEIGHTS: [f64; COUNT] = [
    -0.67, -0.55, -0.93, -0.33, -0.89, -0.76, -2.00, -0.86, -1.00, -1.14, -3.57, -3.58, 0.55, -0.76, -0.73, -0.36,
    1.59, -0.54, 0.37, 0.61, -2.36, -0.14, 1.14,
];

/// Number of [`Traits`]: of departures, and of measures.
pub const COUNT: usize = 16 + 7;

/// What tells a mark from something else.
///
/// First how a region departs from an ideal mark (a straight dark bar or dot of one dye on even ground, on the ray, closed at
/// both ends, across the limbus), 0 where it does not: texture of the ground; unequal sides; lean; contrast past the inner
/// and the outer end; wobbling middle; distance from the limbus; colour of blood; flat; short; long; wide; wholly outside
/// the limbus; wholly inside; going on inwards; going on outwards.
///
/// Then what it measures, held to the range of inks and marks: absorbance in green and in blue over that in red, less 1; natural
/// logarithms of width and length over the usual; sd of the contrasts of its rows over their mean; share of its box that
/// it fills, less the usual; distance of its middle outwards of where marks stand, fifths of the limbus's radius.
pub type Traits = [f64; COUNT];

/// The traits of a region; `None` for what cannot be a mark at all.
pub(super) fn traits(ring: &Ring, blob: &Blob) -> Option<Traits> {
    let [red, green, blue] = blob.absorbance;
    let middle = ring.rho(blob.middle_row());
    let (length, width) = (blob.length() * ring.rho_step, blob.width * ring.rho_step * middle);
    let fits = |v: f64, range: [f64; 2]| v >= range[0] && v <= range[1];
    if blob.open || red <= LEAST_RED || !fits(length, LENGTH) || !fits(width, WIDTH) {
        return None;
    }
    let excess = |value: f64, limit: f64| (value / limit).ln().max(0.0);
    let hue = red.max(LEAST_HUE);
    Some([
        departure(blob.ground_sd / red / scale::TEXTURE),
        departure(blob.imbalance / red / scale::IMBALANCE),
        departure(blob.slope / scale::LEAN),
        departure(blob.past_ends[0] / scale::PAST_END),
        departure(blob.past_ends[1] / scale::PAST_END),
        departure((blob.wobble - 0.5).max(0.0) / (scale::WOBBLE * blob.width.max(1.0))),
        departure((middle - USUAL_PLACE) / scale::PLACE),
        departure((green.min(blue) / red - 1.0).max(0.0) / scale::BLOOD),
        departure(excess(blob.width, blob.length()) / scale::FLATNESS),
        excess(USUAL_LENGTH[0], length),
        excess(length, USUAL_LENGTH[1]),
        excess(width, USUAL_WIDTH),
        departure((ring.rho(blob.rows[0] as f64) - 1.0).max(0.0) / scale::CLEAR_OF_LIMBUS),
        departure((1.0 - ring.rho(blob.rows[1] as f64)).max(0.0) / scale::CLEAR_OF_LIMBUS),
        departure(beyond(ring, blob, -1.0) / scale::BEYOND),
        departure(beyond(ring, blob, 1.0) / scale::BEYOND),
        (green / hue - 1.0).clamp(-1.2, INK_HUE),
        (blue / hue - 1.0).clamp(-1.5, INK_HUE),
        (width / TYPICAL_WIDTH).ln().clamp(-1.5, 2.2),
        (length / TYPICAL_LENGTH).ln().clamp(-1.5, 1.1),
        blob.unevenness().min(1.5),
        (blob.cells.len() as f64 / (blob.length() * blob.width)).clamp(0.3, 1.5) - USUAL_FILL,
        ((middle - USUAL_PLACE) / 0.2).clamp(-1.5, 1.5),
    ])
}

/// How strongly the region goes on past its inner (`sign` -1) or outer (1) end, whatever it looks like there: an iris hook
/// is dark on the sclera and bright on the iris. Norm over the colours of the mean contrast, over that inside; 0 where
/// nothing is known.
fn beyond(ring: &Ring, blob: &Blob, sign: f64) -> f64 {
    let end = if sign < 0.0 { blob.rows[0] } else { blob.rows[1] } as f64;
    let row_at = |far: f64| (end + sign * far / ring.rho_step).round().clamp(0.0, (ring.rows - 1) as f64) as usize;
    let [near, far] = BEYOND.map(row_at);
    let (first, last) = (near.min(far), near.max(far));
    let frame = Frame::along(blob);
    let half = (blob.width / 4.0).max(0.5);
    let (mut contrast, mut rows) = (Vector3::<f64>::zeros(), 0);
    for channel in 0..3 {
        let grounds = frame.grounds(ring, channel, [first, last]);
        let known = grounds.iter().zip(first..=last).filter_map(|(ground, row)| Some((ground.as_ref()?.0, row)));
        rows = 0;
        for (level, row) in known {
            let middle = frame.column(row);
            let columns = (middle - half).round() as isize..=(middle + half).round() as isize;
            let count = (columns.end() - columns.start() + 1) as f32;
            let core = columns.map(|column| ring.log[channel][ring.at(row, column)]).sum::<f32>() / count;
            contrast[channel] += f64::from(level - core);
            rows += 1;
        }
    }
    if rows < LEAST_BEYOND {
        return 0.0;
    }
    contrast.norm() / rows as f64 / Vector3::from(blob.absorbance).norm().max(LEAST_RED)
}

/// Minus the logarithm of Cauchy's density up to a constant: near the square for small values, slow beyond.
pub(super) fn departure(value: f64) -> f64 {
    (value * value).ln_1p()
}

/// What a region is worth as a mark by itself, at first sight: natural logarithm of the odds that it is one rather than
/// something else, up to a constant. It puts parts together and candidates in order; [`super::network`] judges them.
pub(super) fn worth(traits: &Traits) -> f64 {
    MARK + traits.iter().zip(&TRAIT_WEIGHTS).map(|(t, w)| t * w).sum::<f64>()
}
