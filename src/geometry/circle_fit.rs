//! Circle of least orthogonal distance.

use super::PixelPoint;
use nalgebra::{Matrix3, Vector3};

/// Fitted circle with the covariance of (centre x, centre y, radius), px^2, from what the points scatter.
#[derive(Clone, Copy, Debug)]
pub struct CircleFit {
    /// Centre, px.
    pub center: PixelPoint,
    /// Radius, px.
    pub radius_px: f64,
    /// Sum of squared orthogonal distances, px^2.
    pub sum_of_squares: f64,
    /// Covariance of (x, y, r) in px^2: residual variance (n - 3 degrees of freedom) times the inverse normal matrix.
    pub covariance: Matrix3<f64>,
}

/// Why no circle or ellipse could be fitted.
#[derive(Debug, thiserror::Error, PartialEq)]
pub enum FitError {
    /// Fewer points than unknowns.
    #[error("{got} points, need at least {need}")]
    TooFewPoints {
        /// Points given.
        got: usize,
        /// Points needed.
        need: usize,
    },
    /// The points do not determine the curve: they lie on a line, or on a short arc.
    #[error("the points do not determine the curve")]
    Degenerate,
    /// The iteration did not come to rest.
    #[error("the fit still moved by {step_px:.3} px after {iterations} steps")]
    NotConverged {
        /// Steps taken.
        iterations: u32,
        /// Length of the last step, px.
        step_px: f64,
    },
}

/// Circle minimising the sum of squared orthogonal distances to `points` (px).
///
/// Gauss-Newton from an algebraic start, with halved steps where the sum would grow. Coordinates are centred first:
/// raw second moments of places far from the origin lose half their digits.
///
/// Source: Gander, Golub & Strebel (1994), BIT 34:558-578, section 3 (geometric fit).
///
/// # Errors
/// [`FitError::TooFewPoints`] under 3, [`FitError::Degenerate`] where all lie on a line, [`FitError::NotConverged`].
pub fn fit_circle(points: &[PixelPoint]) -> Result<CircleFit, FitError> {
    const STEPS: u32 = 200;
    if points.len() < 3 {
        return Err(FitError::TooFewPoints { got: points.len(), need: 3 });
    }
    let count = points.len() as f64;
    let mean = points.iter().fold(nalgebra::Vector2::zeros(), |sum, p| sum + p.coords) / count;
    let local: Vec<_> = points.iter().map(|p| p.coords - mean).collect();

    // Algebraic start: x^2 + y^2 = 2 c.x + k, linear in (c, k).
    let mut normal = Matrix3::zeros();
    let mut right = Vector3::zeros();
    for p in &local {
        let row = Vector3::new(p.x, p.y, 1.0);
        normal += row * row.transpose();
        right += row * p.norm_squared();
    }
    let solution = normal.lu().solve(&right).ok_or(FitError::Degenerate)?;
    let mut state = Vector3::new(solution.x / 2.0, solution.y / 2.0, 0.0);
    let square = solution.z + state.x * state.x + state.y * state.y;
    if !square.is_finite() || square <= 0.0 {
        return Err(FitError::Degenerate);
    }
    state.z = square.sqrt();

    let cost = |s: &Vector3<f64>| local.iter().map(|p| ((p - s.xy()).norm() - s.z).powi(2)).sum::<f64>();
    let scale = state.z;
    let mut current = cost(&state);
    let mut last_step = f64::INFINITY;
    for iteration in 0..=STEPS {
        let mut normal = Matrix3::zeros();
        let mut gradient = Vector3::zeros();
        for p in &local {
            let d = p - state.xy();
            let distance = d.norm().max(1e-300);
            let row = Vector3::new(-d.x / distance, -d.y / distance, -1.0);
            normal += row * row.transpose();
            gradient += row * (distance - state.z);
        }
        let inverse = normal.try_inverse().ok_or(FitError::Degenerate)?;
        if last_step <= 1e-12 * scale || iteration == STEPS {
            if last_step > 1e-6 * scale {
                return Err(FitError::NotConverged { iterations: STEPS, step_px: last_step });
            }
            let freedom = (count - 3.0).max(1.0);
            return Ok(CircleFit {
                center: PixelPoint::from(state.xy() + mean),
                radius_px: state.z,
                sum_of_squares: current,
                covariance: inverse * (current / freedom),
            });
        }
        let mut step = -(inverse * gradient);
        let mut next = cost(&(state + step));
        while next > current && step.norm() > 1e-13 * scale {
            step /= 2.0;
            next = cost(&(state + step));
        }
        state += step;
        current = next;
        last_step = step.norm();
        if !last_step.is_finite() || state.z > 1e6 * scale {
            return Err(FitError::Degenerate);
        }
    }
    unreachable!("the loop returns in its last round")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(list: &[(f64, f64)]) -> Vec<PixelPoint> {
        list.iter().map(|&(x, y)| PixelPoint::new(x, y)).collect()
    }

    /// Gander, Golub & Strebel (1994), BIT 34:558-578: geometric circle through six points (values from memory,
    /// recomputed independently with scipy). The algebraic fits of the same points lie elsewhere.
    #[test]
    fn published_six_points() {
        let fit = fit_circle(&points(&[(1., 7.), (2., 6.), (5., 8.), (7., 7.), (9., 5.), (3., 7.)])).unwrap();
        assert!((fit.center.x - 4.7397824105).abs() < 1e-8);
        assert!((fit.center.y - 2.9835326904).abs() < 1e-8);
        assert!((fit.radius_px - 4.7142260447).abs() < 1e-8);
        assert!((fit.sum_of_squares - 1.2275990782).abs() < 1e-9);
        assert!((fit.covariance.m11.sqrt() - 0.477593).abs() < 1e-6);
        assert!((fit.covariance.m22.sqrt() - 1.542913).abs() < 1e-6);
        assert!((fit.covariance.m33.sqrt() - 1.224319).abs() < 1e-6);
        assert!((fit.covariance.m12 - 0.288609).abs() < 1e-6);
    }

    #[test]
    fn a_line_has_no_circle() {
        assert_eq!(fit_circle(&points(&[(0., 0.), (1., 1.), (2., 2.)])).unwrap_err(), FitError::Degenerate);
        assert_eq!(fit_circle(&points(&[(0., 0.), (1., 1.)])).unwrap_err(), FitError::TooFewPoints { got: 2, need: 3 });
    }
}
