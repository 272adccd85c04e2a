//! What each thing that speaks for or against a reading of the reference marks is worth, natural logarithms of odds.
//!
//! Made by `tests/reference/mark_weights/fit.py` from 1854 drawn stills (seeds 9 to 13 and 41 to 43 with marks, 21 to 24
//! and 51 without); no frame of a real operation was used. Judged by weights from two thirds of them, the remaining third
//! was read at a least probability of 0.60 in 92.7 %, 5 of 1126 wrongly, and marks were invented in 8 of 728; at 0.70 in
//! 91.4 %, 3 wrongly, 6 invented. A lens must be read too, and stand near the axis, before anything is reported.

use super::likeness;

/// A mark.
pub const MARK: f64 = 3.17;
/// Its traits, in the order of [`likeness::Traits`].
pub const TRAITS: [f64; likeness::COUNT] = [
    -0.71, -0.46, -0.90, -0.60, -0.98, -0.77, -1.93, -0.86, -1.07, -1.41, -3.13, -3.47, 0.52, -0.75, -0.85, -0.71,
    1.35, -0.52, 0.40, 0.58, -2.06, -0.39, 1.13,
];
/// Of the whole: each mark beyond the first; difference in width; difference in distance from the limbus; deviation from
/// the pattern; a single mark; lead over other candidates; how many others are like these.
pub const SET: [f64; 7] = [2.71, -0.44, -1.00, -0.62, -1.29, 0.39, -2.58];

/// All of them, in the order of [`super::choose::Reading::terms`].
pub fn all() -> impl Iterator<Item = f64> {
    std::iter::once(MARK).chain(TRAITS).chain(SET)
}
