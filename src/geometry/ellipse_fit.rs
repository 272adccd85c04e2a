//! Ellipse of least orthogonal distance, with covariance.

use super::circle_fit::{FitError, fit_circle};
use super::{Ellipse, Matrix, PixelPoint, Vector};
use nalgebra::{Matrix5, SMatrix, Vector5};

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

/// Axis ratio below which an ellipse is taken for a line: points on a line fit an ever flatter one.
const FLATTEST: f64 = 1e-3;

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

/// Ellipse minimising the weighted sum of squared orthogonal distances, started from `start`.
///
/// Levenberg-Marquardt on (cx, cy, E11, E12, E22). The derivative of an orthogonal distance is minus the outward
/// normal times the motion of the foot at fixed parameter, since the foot's own slide is tangential.
///
/// - `points`: px; `weights`: one a point, 1 / variance up to a common factor
///
/// # Errors
/// [`FitError::TooFewPoints`] under 5 points of positive weight, [`FitError::Degenerate`] where the points do not
/// determine it, [`FitError::NotConverged`].
pub fn refine_ellipse(points: &[PixelPoint], weights: &[f64], start: &Ellipse) -> Result<EllipseFit, FitError> {
    const STEPS: u32 = 200;
    let used = weights.iter().filter(|w| **w > 0.0).count();
    if used < 5 || points.len() != weights.len() {
        return Err(FitError::TooFewPoints { got: used, need: 5 });
    }
    let evaluate = |e: &Ellipse| {
        let mut normal = Matrix5::zeros();
        let mut gradient = Vector5::zeros();
        let mut sum = 0.0;
        for (p, &w) in points.iter().zip(weights) {
            if w > 0.0 {
                let (distance, u) = e.signed_distance(p);
                let row = normal_derivative(e, &u);
                normal += row * row.transpose() * w;
                gradient += row * (distance * w);
                sum += w * distance * distance;
            }
        }
        (normal, gradient, sum)
    };
    let scale = start.radius_px();
    let mut ellipse = *start;
    let (mut normal, mut gradient, mut sum) = evaluate(&ellipse);
    let mut damping = 1e-3;
    let mut last_step = f64::INFINITY;
    for _ in 0..STEPS {
        let mut damped = normal;
        for i in 0..5 {
            damped[(i, i)] += damping * normal[(i, i)].max(1e-12);
        }
        let step = damped.cholesky().ok_or(FitError::Degenerate)?.solve(&gradient);
        let trial = from_parameters(&(parameters(&ellipse) + step)).map(|e| (e, evaluate(&e)));
        match trial {
            Some((e, (n, g, s))) if s <= sum => {
                last_step = step.norm();
                let settled = last_step <= 1e-11 * scale && damping < 1e-6;
                (ellipse, normal, gradient, sum) = (e, n, g, s);
                damping = (damping * 0.2).max(1e-12);
                if settled {
                    break;
                }
            }
            _ => {
                damping *= 8.0;
                if damping > 1e9 {
                    // No downhill step is left within rounding: this is the minimum.
                    last_step = 0.0;
                    break;
                }
            }
        }
    }
    if last_step > 1e-5 * scale {
        return Err(FitError::NotConverged { iterations: STEPS, step_px: last_step });
    }
    let [longer, shorter] = ellipse.semi_axes_px();
    if shorter < FLATTEST * longer {
        return Err(FitError::Degenerate);
    }
    let unit_covariance = normal.try_inverse().ok_or(FitError::Degenerate)?;
    Ok(EllipseFit { ellipse, sum_of_squares: sum, unit_covariance })
}

/// Ellipse of least orthogonal distance from points alone: the best of several starts, since the sum of squares has
/// local minima where points are few.
///
/// Source of the problem and of the check values: Gander, Golub & Strebel (1994), BIT 34:558-578.
///
/// # Errors
/// As [`refine_ellipse`]; the last one met where no start leads to an ellipse.
pub fn fit_ellipse(points: &[PixelPoint]) -> Result<EllipseFit, FitError> {
    if points.len() < 5 {
        return Err(FitError::TooFewPoints { got: points.len(), need: 5 });
    }
    let weights = vec![1.0; points.len()];
    let mut best: Result<EllipseFit, FitError> = Err(FitError::Degenerate);
    for start in starts(points) {
        match refine_ellipse(points, &weights, &start) {
            Ok(fit) => {
                if best.as_ref().map_or(true, |b| fit.sum_of_squares < b.sum_of_squares) {
                    best = Ok(fit);
                }
            }
            Err(e) => {
                if best.is_err() {
                    best = Err(e);
                }
            }
        }
    }
    best
}

/// Starts for [`fit_ellipse`]: the algebraic ellipse, the second moments, and a circle squeezed along several directions.
fn starts(points: &[PixelPoint]) -> Vec<Ellipse> {
    let mut list = Vec::new();
    let count = points.len() as f64;
    let mean = PixelPoint::from(points.iter().fold(Vector::zeros(), |s, p| s + p.coords) / count);
    let mut moment = Matrix::zeros();
    for p in points {
        let d = p - mean;
        moment += d * d.transpose() * (2.0 / count);
    }
    let eigen = moment.symmetric_eigen();
    let root = eigen.eigenvectors
        * Matrix::from_diagonal(&eigen.eigenvalues.map(|v| v.max(1e-12).sqrt()))
        * eigen.eigenvectors.transpose();
    list.extend(Ellipse::from_matrix(mean, (root + root.transpose()) / 2.0));
    list.extend(algebraic(points));
    let circle = fit_circle(points).ok().map_or((mean, moment.trace().sqrt()), |c| (c.center, c.radius_px));
    for angle in [0.0, 45.0, 90.0, 135.0] {
        for squeeze in [1.0, 0.6] {
            list.extend(Ellipse::from_axes(circle.0, [circle.1, circle.1 * squeeze], angle));
        }
    }
    list
}

/// Ellipse of least algebraic distance under the constraint 4 A C - B^2 = 1, which only ellipses meet.
///
/// Source: Halir & Flusser (1998), "Numerically stable direct least squares fitting of ellipses", WSCG.
/// `None` where the points do not determine one.
pub fn algebraic(points: &[PixelPoint]) -> Option<Ellipse> {
    if points.len() < 5 {
        return None;
    }
    let count = points.len() as f64;
    let mean = points.iter().fold(Vector::zeros(), |s, p| s + p.coords) / count;
    let spread = (points.iter().map(|p| (p.coords - mean).norm_squared()).sum::<f64>() / count).sqrt();
    if spread <= 0.0 || !spread.is_finite() {
        return None;
    }
    let (mut s1, mut s2, mut s3) = (SMatrix::<f64, 3, 3>::zeros(), SMatrix::zeros(), SMatrix::zeros());
    for p in points {
        let q = (p.coords - mean) / spread;
        let quadratic = nalgebra::Vector3::new(q.x * q.x, q.x * q.y, q.y * q.y);
        let linear = nalgebra::Vector3::new(q.x, q.y, 1.0);
        s1 += quadratic * quadratic.transpose();
        s2 += quadratic * linear.transpose();
        s3 += linear * linear.transpose();
    }
    let t: SMatrix<f64, 3, 3> = -s3.try_inverse()? * s2.transpose();
    let m = s1 + s2 * t;
    // Premultiplied by the inverse of the constraint matrix [[0,0,2],[0,-1,0],[2,0,0]].
    let reduced = SMatrix::<f64, 3, 3>::from_rows(&[m.row(2) / 2.0, -m.row(1), m.row(0) / 2.0]);
    let mut found = None;
    for value in reduced.complex_eigenvalues().iter() {
        if value.im.abs() > 1e-9 * (1.0 + value.re.abs()) {
            continue;
        }
        let shifted = reduced - SMatrix::<f64, 3, 3>::identity() * value.re;
        let svd = shifted.svd(false, true);
        let v_t = svd.v_t?;
        let smallest = (0..3).min_by(|&i, &j| svd.singular_values[i].total_cmp(&svd.singular_values[j]))?;
        let a = v_t.row(smallest).transpose();
        if 4.0 * a[0] * a[2] - a[1] * a[1] > 0.0 {
            let l = t * a;
            found = conic([a[0], a[1], a[2], l[0], l[1], l[2]]);
        }
    }
    let e = found?;
    Ellipse::from_matrix(PixelPoint::from(e.center().coords * spread + mean), e.matrix() * spread)
}

/// The ellipse A x^2 + B x y + C y^2 + D x + E y + F = 0.
fn conic([a, b, c, d, e, f]: [f64; 6]) -> Option<Ellipse> {
    let shape = Matrix::new(a, b / 2.0, b / 2.0, c);
    let center = -shape.try_inverse()? * Vector::new(d, e) / 2.0;
    let level = center.dot(&(shape * center)) - f;
    let form = shape / level;
    let eigen = form.symmetric_eigen();
    if eigen.eigenvalues.iter().any(|v| *v <= 0.0) {
        return None;
    }
    let matrix = eigen.eigenvectors
        * Matrix::from_diagonal(&eigen.eigenvalues.map(|v| 1.0 / v.sqrt()))
        * eigen.eigenvectors.transpose();
    Ellipse::from_matrix(PixelPoint::from(center), (matrix + matrix.transpose()) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{PI, TAU};

    fn points(list: &[(f64, f64)]) -> Vec<PixelPoint> {
        list.iter().map(|&(x, y)| PixelPoint::new(x, y)).collect()
    }

    /// Gander, Golub & Strebel (1994), BIT 34:558-578, ellipse through eight points (from memory, recomputed
    /// independently with scipy): centre, semi-axes, angle and residual norm.
    #[test]
    fn published_eight_points() {
        let data = [(1., 7.), (2., 6.), (5., 8.), (7., 7.), (9., 5.), (3., 7.), (6., 2.), (8., 4.)];
        let fit = fit_ellipse(&points(&data)).unwrap();
        let [a, b] = fit.ellipse.semi_axes_px();
        assert!((fit.ellipse.center().x - 2.699612).abs() < 1e-5);
        assert!((fit.ellipse.center().y - 3.815957).abs() < 1e-5);
        assert!((a - 6.518722).abs() < 1e-5 && (b - 3.031886).abs() < 1e-5);
        assert!((fit.ellipse.angle_deg().to_radians() - 0.359624).abs() < 1e-5);
        assert!((fit.sum_of_squares.sqrt() - 1.171881).abs() < 1e-6);
    }

    /// Eight points with two minima (computed with scipy): the lower one has norm 1.2049415702, the other 1.2590.
    #[test]
    fn the_lower_of_two_minima() {
        let data = [(1., 7.), (2., 6.), (5., 8.), (7., 7.), (9., 5.), (6., 7.), (3., 2.), (8., 4.)];
        let fit = fit_ellipse(&points(&data)).unwrap();
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
            let fit = fit_ellipse(&data).unwrap();
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
            fit_ellipse(&points(&[(0., 0.), (1., 0.), (1., 1.), (0., 1.)])),
            Err(FitError::TooFewPoints { got: 4, need: 5 })
        ));
        let line: Vec<_> = (0..9).map(|k| (f64::from(k), f64::from(k))).collect();
        assert!(fit_ellipse(&points(&line)).is_err());
    }
}
