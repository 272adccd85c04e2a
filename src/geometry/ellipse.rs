//! An ellipse in the picture, as a symmetric matrix.

use super::eye_map::symmetric_root;
use super::{Matrix, PixelPoint, Vector, wrap};

/// An ellipse: the points `center + E u` with `|u| = 1`, `E` symmetric and positive definite.
///
/// `E` squared has the squared semi-axes as its eigenvalues. Because `E` is symmetric it turns nothing by itself:
/// `u` is the same direction as in the picture but for the stretch.
///
/// # Units
/// Pixels; x right, y down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ellipse {
    center: PixelPoint,
    matrix: Matrix,
    inverse: Matrix,
}

impl Ellipse {
    /// Ellipse of a centre and its matrix `E`; `None` unless finite, symmetric and positive definite.
    pub fn from_matrix(center: PixelPoint, matrix: Matrix) -> Option<Self> {
        let symmetric = (matrix.m12 - matrix.m21).abs() <= 1e-9 * matrix.norm();
        let finite = center.x.is_finite() && center.y.is_finite() && matrix.iter().all(|v| v.is_finite());
        if !(finite && symmetric && matrix.m11 > 0.0 && matrix.determinant() > 0.0) {
            return None;
        }
        let inverse = matrix.try_inverse()?;
        Some(Self { center, matrix, inverse })
    }

    /// Ellipse of its two semi-axes (px); `angle_deg` is the direction of the first, from x right towards y *down*.
    /// `None` unless both are positive and all is finite.
    pub fn from_axes(center: PixelPoint, semi_axes_px: [f64; 2], angle_deg: f64) -> Option<Self> {
        let (sin, cos) = angle_deg.to_radians().sin_cos();
        let [a, b] = semi_axes_px;
        if !(a > 0.0 && b > 0.0) {
            return None;
        }
        let off = (a - b) * sin * cos;
        let matrix = Matrix::new(a * cos * cos + b * sin * sin, off, off, a * sin * sin + b * cos * cos);
        Self::from_matrix(center, matrix)
    }

    /// Image of the unit circle under `center + linear u` (px); `None` unless `linear` is finite and invertible.
    pub fn image_of_circle(center: PixelPoint, linear: &Matrix) -> Option<Self> {
        linear.try_inverse()?;
        let root = symmetric_root(&(linear * linear.transpose()))?;
        Self::from_matrix(center, (root + root.transpose()) / 2.0)
    }

    /// A circle (px).
    pub fn circle(center: PixelPoint, radius_px: f64) -> Option<Self> {
        Self::from_axes(center, [radius_px, radius_px], 0.0)
    }

    /// Centre, px.
    pub fn center(&self) -> PixelPoint {
        self.center
    }

    /// The symmetric matrix `E`, px.
    pub fn matrix(&self) -> &Matrix {
        &self.matrix
    }

    /// Semi-axes in px, the longer first.
    pub fn semi_axes_px(&self) -> [f64; 2] {
        let half_trace = self.matrix.trace() / 2.0;
        let root = ((self.matrix.m11 - self.matrix.m22) / 2.0).hypot(self.matrix.m12);
        [half_trace + root, half_trace - root]
    }

    /// Direction of the longer semi-axis: degrees in [0, 180), from x right towards y *down*. 0 for a circle.
    pub fn angle_deg(&self) -> f64 {
        let twice = (2.0 * self.matrix.m12).atan2(self.matrix.m11 - self.matrix.m22);
        wrap(twice.to_degrees() / 2.0, 180.0)
    }

    /// Mean radius sqrt(a b), px.
    pub fn radius_px(&self) -> f64 {
        self.matrix.determinant().sqrt()
    }

    /// Where `u` lands in the picture; `|u| = 1` is on the ellipse.
    pub fn at(&self, u: &Vector) -> PixelPoint {
        self.center + self.matrix * u
    }

    /// Place on the ellipse at `phi` radians of the unit circle (counter-clockwise as seen), scaled by `rho`.
    pub fn at_polar(&self, rho: f64, phi: f64) -> PixelPoint {
        self.at(&Vector::new(rho * phi.cos(), -rho * phi.sin()))
    }

    /// The inverse of [`Ellipse::at`].
    pub fn unit(&self, point: &PixelPoint) -> Vector {
        self.inverse * (point - self.center)
    }

    /// 1 on the ellipse, below 1 inside, above 1 outside.
    pub fn level(&self, point: &PixelPoint) -> f64 {
        self.unit(point).norm()
    }

    /// The same ellipse with its size multiplied by `factor` about its own centre.
    pub fn scaled(&self, factor: f64) -> Option<Self> {
        Self::from_matrix(self.center, self.matrix * factor)
    }

    /// The ellipse in a picture whose coordinates are `factor` times these, pixel *areas* covering one another
    /// (so that a centre at x lands at `(x + 1/2) factor - 1/2`).
    pub fn resampled(&self, factor: f64) -> Option<Self> {
        let shift = |v: f64| (v + 0.5) * factor - 0.5;
        Self::from_matrix(PixelPoint::new(shift(self.center.x), shift(self.center.y)), self.matrix * factor)
    }

    /// Orthogonal foot on the ellipse for `point`, as the unit vector `u` with the foot at [`Ellipse::at`]`(u)`.
    ///
    /// Newton steps on the standard secular equation in the frame of the principal axes, started so that they
    /// converge monotonically from one side.
    ///
    /// Source: Eberly, "Distance from a point to an ellipse" (Geometric Tools), the equation only.
    pub fn foot(&self, point: &PixelPoint) -> Vector {
        let angle = self.angle_deg().to_radians();
        let (sin, cos) = angle.sin_cos();
        let d = point - self.center;
        let (x, y) = (cos * d.x + sin * d.y, -sin * d.x + cos * d.y);
        let [a, b] = self.semi_axes_px();
        let (px, py) = (x.abs(), y.abs());
        // Foot: (a^2 px / (t + a^2), b^2 py / (t + b^2)); F(t) = (a px/(t+a^2))^2 + (b py/(t+b^2))^2 - 1 = 0.
        let (fx, fy) = if py > 0.0 || px > (a * a - b * b) / a {
            let mut t = (b * py - b * b).max(a * px - a * a);
            for _ in 0..100 {
                let (qx, qy) = (a * px / (t + a * a), b * py / (t + b * b));
                let value = qx * qx + qy * qy - 1.0;
                let slope = -2.0 * (qx * qx / (t + a * a) + qy * qy / (t + b * b));
                let step = value / slope;
                if !step.is_finite() {
                    break;
                }
                t -= step;
                if step.abs() <= 1e-14 * (a * a) {
                    break;
                }
            }
            (a * px / (t + a * a), b * py / (t + b * b))
        } else {
            let fx = a * px / (a * a - b * b);
            (fx, (1.0 - fx * fx).max(0.0).sqrt())
        };
        let (ux, uy) = (fx.copysign(x), fy.copysign(y));
        // `u` in the frame of the principal axes is (cos, sin) of the eccentric angle; turned back it is E's `u`.
        let u = Vector::new(cos * ux - sin * uy, sin * ux + cos * uy);
        let norm = u.norm();
        if norm > 0.0 { u / norm } else { Vector::new(1.0, 0.0) }
    }

    /// Signed orthogonal distance (px, positive outside) and the foot's `u`.
    pub fn signed_distance(&self, point: &PixelPoint) -> (f64, Vector) {
        let u = self.foot(point);
        let normal = self.normal(&u);
        ((point - self.at(&u)).dot(&normal), u)
    }

    /// Outward unit normal at the place of `u`.
    pub fn normal(&self, u: &Vector) -> Vector {
        (self.inverse * u).normalize()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_and_matrix_agree() {
        for angle in [0.0, 17.0, 45.0, 90.0, 133.0, 179.0] {
            let e = Ellipse::from_axes(PixelPoint::new(3.0, -2.0), [9.0, 4.0], angle).unwrap();
            let [a, b] = e.semi_axes_px();
            assert!((a - 9.0).abs() < 1e-12 && (b - 4.0).abs() < 1e-12);
            assert!((e.angle_deg() - angle).abs() < 1e-9);
            let (sin, cos) = angle.to_radians().sin_cos();
            assert!((e.level(&PixelPoint::new(3.0 + 9.0 * cos, -2.0 + 9.0 * sin)) - 1.0).abs() < 1e-12);
        }
    }

    /// The foot against a slow scan of the whole ellipse.
    #[test]
    fn foot_is_the_nearest_point() {
        let e = Ellipse::from_axes(PixelPoint::new(10.0, 5.0), [8.0, 3.0], 30.0).unwrap();
        for k in 0..60 {
            let t = f64::from(k) * 0.37;
            let p = PixelPoint::new(10.0 + 11.0 * t.sin() * (0.3 * t).cos(), 5.0 + 9.0 * (1.7 * t).cos());
            let scanned = (0..200_000)
                .map(|i| (p - e.at_polar(1.0, f64::from(i) * std::f64::consts::TAU / 200_000.0)).norm())
                .fold(f64::INFINITY, f64::min);
            let (distance, _) = e.signed_distance(&p);
            assert!((distance.abs() - scanned).abs() < 1e-6, "{p:?}: {distance} against {scanned}");
            assert_eq!(distance > 0.0, e.level(&p) > 1.0);
        }
    }

    #[test]
    fn foot_from_the_centre_and_the_long_axis() {
        let e = Ellipse::from_axes(PixelPoint::origin(), [8.0, 3.0], 0.0).unwrap();
        assert!((e.signed_distance(&PixelPoint::origin()).0 + 3.0).abs() < 1e-12);
        assert!((e.signed_distance(&PixelPoint::new(7.9, 0.0)).0 + 0.1).abs() < 1e-9);
        let circle = Ellipse::circle(PixelPoint::origin(), 2.0).unwrap();
        assert!((circle.signed_distance(&PixelPoint::new(0.0, 5.0)).0 - 3.0).abs() < 1e-12);
    }

    #[test]
    fn impossible_ellipses_are_refused() {
        let o = PixelPoint::origin();
        assert!(Ellipse::from_axes(o, [1.0, 0.0], 0.0).is_none());
        assert!(Ellipse::from_axes(o, [f64::NAN, 1.0], 0.0).is_none());
        assert!(Ellipse::from_matrix(o, Matrix::new(1.0, 2.0, 2.0, 1.0)).is_none());
    }

    /// A linear map carries the unit circle onto its image ellipse, point by point.
    #[test]
    fn image_of_a_circle_holds_every_image_point() {
        let linear = Matrix::new(120.0, 35.0, -20.0, 80.0);
        let center = PixelPoint::new(10.0, -5.0);
        let e = Ellipse::image_of_circle(center, &linear).unwrap();
        for k in 0..36 {
            let t = f64::from(k * 10).to_radians();
            assert!((e.level(&(center + linear * Vector::new(t.cos(), t.sin()))) - 1.0).abs() < 1e-12);
        }
        assert!(Ellipse::image_of_circle(center, &Matrix::new(1.0, 2.0, 2.0, 4.0)).is_none());
    }
}
