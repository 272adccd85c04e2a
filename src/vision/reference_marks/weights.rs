//! What each thing that speaks for or against a reading of the reference marks is worth, natural logarithms of odds.
//!
//! Made by `tests/reference/mark_weights/fit.py` from 2287 drawn stills (seeds 9 to 13 and 41 to 46 with marks, 21 to 24,
//! 51 and 53 without); no frame of a real operation was used. Judged by weights from two thirds of them, the remaining third
//! was read at a least probability of 0.60 in 92.9 %, 6 of 1413 wrongly, and marks were invented in 12 of 874; at 0.70 in
//! 91.1 %, 3 wrongly, 7 invented. A lens must be read too, and stand near the axis, before anything is reported.

use super::likeness;

/// A mark.
pub const MARK: f64 = 3.05;
/// Its traits, in the order of [`likeness::Traits`].
pub const TRAITS: [f64; likeness::COUNT] = [
    -0.67, -0.55, -0.93, -0.33, -0.89, -0.76, -2.00, -0.86, -1.00, -1.14, -3.57, -3.58, 0.55, -0.76, -0.73, -0.36,
    1.59, -0.54, 0.37, 0.61, -2.36, -0.14, 1.14,
];
/// Of the whole: each mark beyond the first; difference in width; difference in distance from the limbus; in
/// contrast; deviation from
/// the pattern; a single mark; lead over other candidates; how many others are like these.
pub const SET: [f64; 8] = [2.90, -0.31, -0.91, -0.64, -0.52, -1.16, 0.33, -2.54];

/// All of them, in the order of [`super::choose::Reading::terms`].
pub fn all() -> impl Iterator<Item = f64> {
    std::iter::once(MARK).chain(TRAITS).chain(SET)
}
