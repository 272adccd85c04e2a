//! What each thing that speaks for or against a reading of the reference marks is worth, natural logarithms of odds.
//!
//! Made by `tests/reference/mark_weights/fit.py` from 555 drawn stills (seeds 9 and 10 with marks, 21 and 22 without); no
//! frame of a real operation was used. Judged by weights from two thirds of them, the remaining third was read at a
//! least probability of 0.60 in 90.3 %, with no wrong and no invented reading; at 0.50 in 92.1 %, with three invented.

use super::likeness;

/// A mark.
pub const MARK: f64 = 2.55;
/// Its traits, in the order of [`likeness::Traits`].
pub const TRAITS: [f64; likeness::COUNT] =
    [-1.02, -0.85, -1.15, -0.45, -0.73, -0.83, -1.07, -0.65, -0.95, -1.18, -0.76, -0.95, 0.46, -1.11, -0.84, -0.39];
/// Of the whole: each mark beyond the first; difference in width; difference in distance from the limbus; deviation from
/// the pattern; a single mark; lead over other candidates; how many others are like these.
pub const SET: [f64; 7] = [2.15, -0.04, -0.70, -0.80, -1.70, 0.67, -2.29];

/// All of them, in the order of [`super::choose::Reading::terms`].
pub fn all() -> impl Iterator<Item = f64> {
    std::iter::once(MARK).chain(TRAITS).chain(SET)
}
