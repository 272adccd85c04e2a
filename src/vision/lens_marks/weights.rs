//! What each thing that speaks for or against a reading of the lens marks is worth, natural logarithms of odds.
//!
//! Made by `tests/reference/lens_weights/fit.py` from 2869 drawn stills (seeds 1001 to 1012 with marks, 1021 to 1027 with reference
//! marks only, 1031 with none); no frame of a real operation was used. Judged by weights from two thirds of them, the
//! remaining third was read at a least probability of 0.80 in 95.6 % of 1694, none wrongly, and marks were invented in 1 of 1175
//! (an instrument's shaft); at 0.60 in 97.1 %, 2 wrongly, 4 invented.

use super::terms::TERMS;

/// In the order of [`super::terms`].
pub const WEIGHTS: [f64; TERMS] = [
    0.62, 0.90, 3.79, 1.39, -0.48, -0.54, -0.16, 0.03, 0.02, -0.74, -0.69, -3.47, -5.61, 0.07, 0.41, -0.88, -0.82,
    1.42, 0.16, -0.02, -0.55, 0.16, 0.21, 0.62, -0.63, -1.65, -0.80, -0.74, -6.35, -0.60, -1.81, -1.08, -0.81, 0.34,
    -0.18, 1.54, 2.09, -1.00, -2.69, -1.48, -1.40, -0.27, 1.29,
];
