//! What each thing that speaks for or against a reading of the reference marks is worth, natural logarithms of odds.
//!
//! Made by `tests/reference/mark_weights/fit.py` from 1281 drawn stills (seeds 9 to 13 with marks, 21 to 24 without); no
//! frame of a real operation was used. Judged by weights from two thirds of them, the remaining third was read at a
//! least probability of 0.60 in 91.4 %, 5 of 701 wrongly, and marks were invented in 3 of 580; at 0.70 in 89.3 %, 3
//! wrongly, 2 invented. A lens must be read too, and stand near the axis, before anything is reported.

use super::likeness;

/// A mark.
pub const MARK: f64 = 2.77;
/// Its traits, in the order of [`likeness::Traits`].
pub const TRAITS: [f64; likeness::COUNT] =
    [-1.10, -0.52, -0.88, -0.69, -0.61, -0.62, -1.21, -0.79, -0.94, -1.13, -0.46, -0.95, 0.54, -1.12, -0.60, -0.82];
/// Of the whole: each mark beyond the first; difference in width; difference in distance from the limbus; deviation from
/// the pattern; a single mark; lead over other candidates; how many others are like these.
pub const SET: [f64; 7] = [2.46, -0.29, -1.11, -0.77, -1.57, 0.48, -2.47];

/// All of them, in the order of [`super::choose::Reading::terms`].
pub fn all() -> impl Iterator<Item = f64> {
    std::iter::once(MARK).chain(TRAITS).chain(SET)
}
