//! What each thing that speaks for or against a reading of the reference marks is worth, natural logarithms of odds.
//!
//! Made by `tests/reference/mark_weights/fit.py` from 1420 drawn stills (seeds 9 to 12, 41 and 42 with marks, 21 to 24
//! without); no frame of a real operation was used. Judged by weights from two thirds of them, the remaining third was read
//! at a least probability of 0.60 in 92.9 %, 3 of 840 wrongly, and marks were invented in 5 of 580; at 0.70 in 91.9 %, 2
//! wrongly, 1 invented. A lens must be read too, and stand near the axis, before anything is reported.

use super::likeness;

/// A mark.
pub const MARK: f64 = 3.35;
/// Its traits, in the order of [`likeness::Traits`].
pub const TRAITS: [f64; likeness::COUNT] = [
    -0.64, -0.53, -0.90, -0.91, -0.93, -0.77, -1.83, -0.80, -1.15, -1.01, -3.24, -3.07, 0.48, -0.64, -0.88, -1.02,
    1.42, -0.65, 0.33, 0.85, -2.04, -0.65, 1.11,
];
/// Of the whole: each mark beyond the first; difference in width; difference in distance from the limbus; deviation from
/// the pattern; a single mark; lead over other candidates; how many others are like these.
pub const SET: [f64; 7] = [2.46, -0.52, -0.87, -0.63, -1.37, 0.48, -2.64];

/// All of them, in the order of [`super::choose::Reading::terms`].
pub fn all() -> impl Iterator<Item = f64> {
    std::iter::once(MARK).chain(TRAITS).chain(SET)
}
