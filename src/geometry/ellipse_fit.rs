//! Ellipse of least orthogonal distance, with covariance.

use super::{Ellipse, Matrix, PixelPoint, Vector};
use crate::least_squares::{End, Search, Singular, SumOfSquares};
use nalgebra::{Matrix5, Vector5};

/// A fitted ellipse. The covariance is over (cx, cy, E11, E12, E22): smooth also where the ellipse is a circle and
/// the direction of its axes means nothing.
#[derive(Clone, Copy, Debug)]
pub struct EllipseFit {
    /// The ellipse, px.
    pub ellipse: Ellipse,
    /// Weighted sum of squared orthogonal distances, px^2.
    pub sum_of_squares: f64,
    /// Covariance of (cx, cy, E11, E12, E22) for points of unit variance and the given weights, in px^2:
    /// the inverse normal matrix. Multiply by the variance of one point's distance.
    pub unit_covariance: Matrix5<f64>,
}

/// Why no ellipse could be fitted.
#[derive(Debug, thiserror::Error, PartialEq)]
pub enum FitError {
    /// Fewer points than unknowns.
    #[error("{got} points, need at least {need}")]
    TooFewPoints {
        /// Points of positive weight.
        got: usize,
        /// Points needed.
        need: usize,
    },
    /// The points do not determine the ellipse: they lie on a line, or on a short arc.
    #[error("the points do not determine the ellipse")]
    Degenerate,
    /// The search did not come to rest.
    #[error("the fit still moved by {step_px:.3} px after {steps} steps")]
    NotConverged {
        /// Steps taken.
        steps: usize,
        /// Length of the last step over the five parameters, px.
        step_px: f64,
    },
}

impl From<Singular> for FitError {
    fn from(_: Singular) -> Self {
        Self::Degenerate
    }
}

/// Axis ratio below which an ellipse is taken for a line: points on a line fit an ever flatter one.
const FLATTEST: f64 = 1e-3;
/// Number of parameters.
const COUNT: usize = 5;
const SEARCH: Search = Search { steps: 200, damping: 1e-3, most_damping: 1e9 };
/// Length of a step, in radii, below which it is the last one, and the damping up to which its length tells so.
const SETTLED: f64 = 1e-11;
const FULL_STEP: f64 = 1e-6;
/// Length of the last step, in radii, beyond which a search that ran out of steps has not converged.
const STILL_MOVING: f64 = 1e-5;

/// Derivative of the place `center + E u` along the outward normal, with respect to (cx, cy, E11, E12, E22).
pub fn normal_derivative(ellipse: &Ellipse, u: &Vector) -> Vector5<f64> {
    let n = ellipse.normal(u);
    Vector5::new(n.x, n.y, n.x * u.x, n.x * u.y + n.y * u.x, n.y * u.y)
}

/// The ellipse of five parameters (cx, cy, E11, E12, E22); `None` where `E` is not positive definite.
pub fn from_parameters(p: &Vector5<f64>) -> Option<Ellipse> {
    Ellipse::from_matrix(PixelPoint::new(p[0], p[1]), Matrix::new(p[2], p[3], p[3], p[4]))
}

/// The five parameters (cx, cy, E11, E12, E22) of an ellipse, px.
pub fn parameters(e: &Ellipse) -> Vector5<f64> {
    Vector5::new(e.center().x, e.center().y, e.matrix().m11, e.matrix().m12, e.matrix().m22)
}

/// Ellipse minimising the weighted sum of squared orthogonal distances, searched from `start`: where points are few the
/// sum has several minima, and the one about the start is found.
///
/// Levenberg-Marquardt on (cx, cy, E11, E12, E22). The derivative of an orthogonal distance is minus the outward
/// normal times the motion of the foot at fixed parameter, since the foot's own slide is tangential.
///
/// - `points`: px; `weights`: one a point, 1 / variance up to a common factor
///
/// Source of the problem and of the check values: Gander, Golub & Strebel (1994), BIT 34:558-578.
///
/// # Errors
/// [`FitError::TooFewPoints`] under 5 points of positive weight, [`FitError::Degenerate`] where the points do not
/// determine it, [`FitError::NotConverged`].
pub fn fit_ellipse(points: &[PixelPoint], weights: &[f64], start: &Ellipse) -> Result<EllipseFit, FitError> {
    let used = weights.iter().filter(|w| **w > 0.0).count();
    if used < COUNT || points.len() != weights.len() {
        return Err(FitError::TooFewPoints { got: used, need: COUNT });
    }
    let problem = Distances { points, weights, scale: start.radius_px() };
    let start = problem.about(*start, f64::INFINITY, f64::INFINITY);
    let (found, end) = SEARCH.run(&problem, start)?;
    if end == End::OutOfSteps && found.step_px > STILL_MOVING * problem.scale {
        return Err(FitError::NotConverged { steps: SEARCH.steps, step_px: found.step_px });
    }
    let [longer, shorter] = found.ellipse.semi_axes_px();
    if shorter < FLATTEST * longer {
        return Err(FitError::Degenerate);
    }
    let unit_covariance = found.normal.try_inverse().ok_or(FitError::Degenerate)?;
    Ok(EllipseFit { ellipse: found.ellipse, sum_of_squares: found.sum, unit_covariance })
}

/// Orthogonal distances of points from an ellipse.
struct Distances<'a> {
    points: &'a [PixelPoint],
    weights: &'a [f64],
    /// Radius of the start, px.
    scale: f64,
}

/// An ellipse, the distances about it to first order, and the step that led there.
struct About {
    ellipse: Ellipse,
    normal: Matrix5<f64>,
    gradient: Vector5<f64>,
    sum: f64,
    step_px: f64,
    damping: f64,
}

impl Distances<'_> {
    fn about(&self, ellipse: Ellipse, step_px: f64, damping: f64) -> About {
        let mut normal = Matrix5::zeros();
        let mut gradient = Vector5::zeros();
        let mut sum = 0.0;
        for (p, &w) in self.points.iter().zip(self.weights) {
            if w > 0.0 {
                let (distance, u) = ellipse.signed_distance(p);
                let row = normal_derivative(&ellipse, &u);
                normal += row * row.transpose() * w;
                gradient += row * (distance * w);
                sum += w * distance * distance;
            }
        }
        About { ellipse, normal, gradient, sum, step_px, damping }
    }
}

impl SumOfSquares for Distances<'_> {
    type Place = About;

    fn sum(&self, place: &About) -> f64 {
        place.sum
    }

    fn step(&self, from: &About, damping: f64) -> Result<Option<About>, Singular> {
        let mut damped = from.normal;
        for i in 0..COUNT {
            damped[(i, i)] += damping * from.normal[(i, i)].max(1e-12);
        }
        let step = damped.cholesky().ok_or(Singular)?.solve(&from.gradient);
        let ellipse = from_parameters(&(parameters(&from.ellipse) + step));
        Ok(ellipse.map(|e| self.about(e, step.norm(), damping)))
    }

    fn settled(&self, _: &About, to: &About) -> bool {
        to.step_px <= SETTLED * self.scale && to.damping < FULL_STEP
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{PI, TAU};

    fn points(list: &[(f64, f64)]) -> Vec<PixelPoint> {
        list.iter().map(|&(x, y)| PixelPoint::new(x, y)).collect()
    }

    fn fit(points: &[PixelPoint], [cx, cy, a, b, angle_deg]: [f64; 5]) -> Result<EllipseFit, FitError> {
        let start = Ellipse::from_axes(PixelPoint::new(cx, cy), [a, b], angle_deg).unwrap();
        fit_ellipse(points, &vec![1.0; points.len()], &start)
    }

    /// Gander, Golub & Strebel (1994), BIT 34:558-578, ellipse through eight points (from memory, recomputed
    /// independently with scipy): centre, semi-axes, angle and residual norm.
    #[test]
    fn published_eight_points() {
        let data = [(1., 7.), (2., 6.), (5., 8.), (7., 7.), (9., 5.), (3., 7.), (6., 2.), (8., 4.)];
        let fit = fit(&points(&data), [5.0, 5.0, 4.0, 4.0, 0.0]).unwrap();
        let [a, b] = fit.ellipse.semi_axes_px();
        assert!((fit.ellipse.center().x - 2.699612).abs() < 1e-5);
        assert!((fit.ellipse.center().y - 3.815957).abs() < 1e-5);
        assert!((a - 6.518722).abs() < 1e-5 && (b - 3.031886).abs() < 1e-5);
        assert!((fit.ellipse.angle_deg().to_radians() - 0.359624).abs() < 1e-5);
        assert!((fit.sum_of_squares.sqrt() - 1.171881).abs() < 1e-6);
    }

    /// Eight points with two minima (computed with scipy): from a start about them the lower one, of norm 1.2049415702, is found, not
    /// that of a long flat ellipse far off (1.2590).
    #[test]
    fn a_start_about_the_points_comes_to_the_lower_of_two_minima() {
        let data = points(&[(1., 7.), (2., 6.), (5., 8.), (7., 7.), (9., 5.), (6., 7.), (3., 2.), (8., 4.)]);
        let fit = fit(&data, [4.0, 5.0, 5.0, 3.0, 0.0]).unwrap();
        let [a, b] = fit.ellipse.semi_axes_px();
        assert!((fit.sum_of_squares.sqrt() - 1.2049415702).abs() < 1e-8);
        assert!((fit.ellipse.center() - PixelPoint::new(3.5325985, 4.6230705)).norm() < 1e-5);
        assert!((a - 5.5885419).abs() < 1e-5 && (b - 2.4907166).abs() < 1e-5);
        assert!((fit.ellipse.angle_deg().to_radians() - 0.2073955).abs() < 1e-5);
    }

    /// Standard deviations of (cx, cy, a, b, angle) for 200 points at equal eccentric angle on semi-axes 300 and 282
    /// with unit error: the bound of Kanatani and Chernov, computed with numpy.
    #[test]
    fn covariance_meets_the_bound() {
        let whole = [0.101583, 0.0984886, 0.123771, 0.121244, std::f64::consts::FRAC_1_PI];
        let half = [1.062393, 0.184963, 1.132364, 0.243364, 0.600698];
        for (from, to, ends, expected) in [(0.0, TAU, false, whole), (-PI / 2.0, PI / 2.0, true, half)] {
            let steps = if ends { 199.0 } else { 200.0 };
            let data: Vec<_> = (0..200)
                .map(|k| {
                    let t = from + (to - from) * f64::from(k) / steps;
                    PixelPoint::new(300.0 * t.cos(), 282.0 * t.sin())
                })
                .collect();
            let fit = fit(&data, [0.0, 0.0, 295.0, 295.0, 0.0]).unwrap();
            let base = parameters(&fit.ellipse);
            let read = |p: &Vector5<f64>| {
                let e = from_parameters(p).unwrap();
                let [a, b] = e.semi_axes_px();
                let angle = (e.angle_deg() + 90.0).rem_euclid(180.0) - 90.0;
                Vector5::new(e.center().x, e.center().y, a, b, angle)
            };
            let mut jacobian = Matrix5::zeros();
            for k in 0..5 {
                let mut up = base;
                let mut down = base;
                up[k] += 1e-3;
                down[k] -= 1e-3;
                jacobian.set_column(k, &((read(&up) - read(&down)) / 2e-3));
            }
            let covariance = jacobian * fit.unit_covariance * jacobian.transpose();
            for (k, want) in expected.iter().enumerate() {
                let got = covariance[(k, k)].sqrt();
                assert!((got / want - 1.0).abs() < 1e-4, "parameter {k}: {got}, expected {want}");
            }
        }
    }

    #[test]
    fn too_little_is_refused() {
        assert!(matches!(
            fit(&points(&[(0., 0.), (1., 0.), (1., 1.), (0., 1.)]), [0.5, 0.5, 0.7, 0.7, 0.0]),
            Err(FitError::TooFewPoints { got: 4, need: 5 })
        ));
        let line: Vec<_> = (0..9).map(|k| PixelPoint::new(f64::from(k), f64::from(k))).collect();
        assert_eq!(fit(&line, [4.0, 4.0, 5.0, 1.0, 45.0]).unwrap_err(), FitError::Degenerate);
    }
}
