//! Cumulative sums: does a sequence leave its level?
//!
//! Source: Page (1954), Biometrika 41:100-115; run lengths by the integral equation of Van Dobben de Bruyn (1968) on
//! Gauss-Legendre points (from memory).

use super::distributions::normal_cdf;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::{PI, TAU};

/// Points on which the integral equation is solved: run lengths to more digits than any table prints.
const POINTS: usize = 48;

/// Both sums after each value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sums {
    /// Against a rise.
    pub up: f64,
    /// Against a fall; not negative.
    pub down: f64,
}

/// The two one-sided sums max(0, S + x - k) and max(0, S - x - k) of standardized values.
///
/// - `allowance`: k, half of the shift that is to be found soon, in standard deviations
pub fn sums(standardized: &[f64], allowance: f64) -> Vec<Sums> {
    let (mut up, mut down) = (0.0_f64, 0.0_f64);
    let mut step = |x: &f64| {
        up = (up + x - allowance).max(0.0);
        down = (down - x - allowance).max(0.0);
        Sums { up, down }
    };
    standardized.iter().map(&mut step).collect()
}

/// Mean number of values until either sum passes `limit`, both starting at 0, for independent normal values of unit spread whose
/// mean is `shift`. `None` unless `limit` > 0.
///
/// - `allowance`: k; `limit`: h; in standard deviations
pub fn average_run_length(allowance: f64, limit: f64, shift: f64) -> Option<f64> {
    let up = one_sided_run_length(allowance, limit, shift)?;
    let down = one_sided_run_length(allowance, limit, -shift)?;
    Some(1.0 / (1.0 / up + 1.0 / down))
}

/// L(z) = 1 + L(0) F(k - z - m) + integral over 0..h of L(x) f(x + k - z - m) dx, at z = 0.
fn one_sided_run_length(allowance: f64, limit: f64, shift: f64) -> Option<f64> {
    if limit.is_nan() || limit <= 0.0 {
        return None;
    }
    let nodes: Vec<(f64, f64)> =
        gauss_legendre(POINTS).into_iter().map(|(x, w)| ((x + 1.0) * limit / 2.0, w * limit / 2.0)).collect();
    let density = |z: f64| (-z * z / 2.0).exp() / TAU.sqrt();
    // Unknowns: L at 0, then at the nodes.
    let place = |at: usize| if at == 0 { 0.0 } else { nodes[at - 1].0 };
    let size = POINTS + 1;
    let matrix = DMatrix::from_fn(size, size, |row, column| {
        let from = allowance - place(row) - shift;
        let part = if column == 0 {
            normal_cdf(from)
        } else {
            let (x, weight) = nodes[column - 1];
            weight * density(x + from)
        };
        f64::from(u8::from(row == column)) - part
    });
    matrix.lu().solve(&DVector::from_element(size, 1.0)).map(|lengths| lengths[0])
}

/// Points and weights on [-1, 1]: roots of the Legendre polynomial by Newton's method.
fn gauss_legendre(count: usize) -> Vec<(f64, f64)> {
    let n = count as f64;
    (1..=count)
        .map(|i| {
            let mut x = (PI * (i as f64 - 0.25) / (n + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..50 {
                let (mut before, mut value) = (1.0, x);
                for k in 2..=count {
                    let k = k as f64;
                    (before, value) = (value, ((2.0 * k - 1.0) * x * value - (k - 1.0) * before) / k);
                }
                slope = n * (x * value - before) / (x * x - 1.0);
                let step = value / slope;
                x -= step;
                if step.abs() < 1e-15 {
                    break;
                }
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}
