//! What each thing that speaks for or against a reading of the lens marks is worth, natural logarithms of odds.
//!
//! Made by `tests/reference/lens_weights/fit.py` from 2869 drawn stills (seeds 1001 to 1012 with marks, 1021 to 1027 with reference
//! marks only, 1031 with none); no frame of a real operation was used. Judged by weights from two thirds of them, the
//! remaining third was read at a least probability of 0.80 in 95.7 % of 1694, none wrongly, and marks were invented in 1 of 1175
//! (an instrument's shaft); at 0.60 in 97.1 %, 2 wrongly, 4 invented. One is set by hand: that of
//! other spots beside two lone dots. They were made before groups that run on as long lines were left out (`terms::runs_on`).

use super::terms::TERMS;

/// In the order of [`super::terms`].
pub const WEIGHTS: [f64; TERMS] = [
    0.67, 1.09, 3.56, 1.32, -0.47, -0.54, -0.20, 0.02, 0.06, -0.75, -0.69, -3.11, -5.78, 0.03, 0.03, -0.92, -0.86,
    1.47, 0.45, -4.00, -0.52, 0.11, 0.22, 0.51, -0.63, -1.65, -0.80, -0.74, -6.37, -0.60, -1.82, -1.08, -0.81, 0.34,
    -0.19, 1.56, 2.10, -1.00, -2.87, -1.50, -1.40, -0.28, 1.29,
];
