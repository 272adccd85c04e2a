//! What each thing that speaks for or against a reading of the lens marks is worth, natural logarithms of odds.

use super::terms::TERMS;

/// In the order of [`super::terms`].
pub const WEIGHTS: [f64; TERMS] = [
    1.27, 0.30, 2.47, 1.80, -0.47, -0.47, -0.19, -0.22, -0.28, -1.05, -0.81, -4.09, -3.83, 0.10, 2.36, -0.90, -1.10,
    1.39, 0.19, 0.32, 0.00, 0.00, 0.44, 1.03, -0.81, -2.30, -0.90, -0.94, -6.50, -0.65, -1.09, -1.35, -0.78, 0.56,
    -0.54, 2.42, 1.66, 0.00, -2.85, -1.20, -2.15, 0.00, 0.00,
];
