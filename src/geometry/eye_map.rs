//! From the picture to the plane of the limbus.

use super::{Ellipse, Matrix, PixelPoint, Vector};

/// What is held of the limbus's height over its width.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OvalPrior {
    /// Height over width, along the eye's 90-270 and 0-180 meridians.
    pub height_over_width: f64,
    /// Its standard deviation.
    pub sd: f64,
}

impl OvalPrior {
    /// A limbus of unknown height where the eye's 0 meridian is known: 0.94 +- 0.03 (from memory; textbooks print
    /// 10.6 over 11.7 mm, from old sources).
    pub const AVERAGE: Self = Self { height_over_width: 0.94, sd: 0.03 };
    /// Where nothing tells the eye's 0 meridian, the oval may lie any way: round, with the spread that this means.
    pub const UNKNOWN_DIRECTION: Self = Self { height_over_width: 1.0, sd: 0.06 };
}

/// The map between the plane of the limbus (mm from its centre, y down) and the picture (px).
///
/// `picture = center + S eye`, with S the one symmetric positive matrix for which S N^2 S = E^2: E is the fitted
/// ellipse, N the limbus as it is in this eye, an oval `width` wide along the eye's 0-180 meridian and
/// `height_over_width` times that high. S holds tilt and squeezed pixels; it turns nothing about its own axes.
#[derive(Clone, Copy, Debug)]
pub struct EyeMap {
    center: PixelPoint,
    to_picture: Matrix,
    to_eye: Matrix,
}

impl EyeMap {
    /// Map of a limbus.
    ///
    /// - `ellipse`: the fitted limbus, px
    /// - `width_mm`: its width along 0-180 (the white-to-white distance)
    /// - `height_over_width`: of the limbus
    /// - `zero_deg`: direction of the eye's 0 meridian in the plane of the limbus, degrees counter-clockwise as seen;
    ///   modulo 180 is enough
    ///
    /// `None` unless width and ratio are positive and finite.
    pub fn new(ellipse: &Ellipse, width_mm: f64, height_over_width: f64, zero_deg: f64) -> Option<Self> {
        if !(width_mm > 0.0 && height_over_width > 0.0) {
            return None;
        }
        let half = width_mm / 2.0;
        let limbus = Ellipse::from_axes(PixelPoint::origin(), [half, half * height_over_width], -zero_deg)?;
        let n = *limbus.matrix();
        let n_inverse = n.try_inverse()?;
        let e = ellipse.matrix();
        let root = symmetric_root(&(n * e * e * n))?;
        let s = n_inverse * root * n_inverse;
        let to_picture = (s + s.transpose()) / 2.0;
        Some(Self { center: ellipse.center(), to_picture, to_eye: to_picture.try_inverse()? })
    }

    /// Place in the plane of the limbus, mm from its centre, y down.
    pub fn to_eye(&self, point: &PixelPoint) -> Vector {
        self.to_eye * (point - self.center)
    }

    /// A displacement in the picture (px) as one in the plane of the limbus (mm).
    pub fn displacement_to_eye(&self, displacement: &Vector) -> Vector {
        self.to_eye * displacement
    }

    /// Place in the picture of a place in the plane of the limbus (mm, y down).
    pub fn to_picture(&self, eye: &Vector) -> PixelPoint {
        self.center + self.to_picture * eye
    }

    /// The symmetric matrix S, px per mm.
    pub fn matrix(&self) -> &Matrix {
        &self.to_picture
    }

    /// Its inverse, mm per px.
    pub fn inverse_matrix(&self) -> &Matrix {
        &self.to_eye
    }

    /// Geometric mean scale, mm per px.
    pub fn mm_per_px(&self) -> f64 {
        self.to_eye.determinant().sqrt()
    }
}

/// The symmetric positive square root of a symmetric positive matrix, in closed form for 2 x 2:
/// (M + sqrt(det M) I) / sqrt(trace M + 2 sqrt(det M)). `None` where the matrix is not positive.
pub fn symmetric_root(m: &Matrix) -> Option<Matrix> {
    let det_root = m.determinant().sqrt();
    let scale = (m.trace() + 2.0 * det_root).sqrt();
    let root = (m + Matrix::identity() * det_root) / scale;
    root.iter().all(|v| v.is_finite()).then_some(root)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{axis_difference, ccw_degrees, direction_of};

    /// Every map carries its own oval onto the ellipse it was made for.
    #[test]
    fn the_oval_lands_on_the_ellipse() {
        let e = Ellipse::from_axes(PixelPoint::new(400.0, 300.0), [210.0, 150.0], 25.0).unwrap();
        for zero in [0.0, 30.0, 77.0, 150.0] {
            let map = EyeMap::new(&e, 11.7, 0.94, zero).unwrap();
            let (x, y) = (direction_of(zero), direction_of(zero + 90.0));
            for k in 0..36 {
                let t = f64::from(k * 10).to_radians();
                let place = x * (5.85 * t.cos()) + y * (5.85 * 0.94 * t.sin());
                assert!((e.level(&map.to_picture(&place)) - 1.0).abs() < 1e-12);
                assert!((map.to_eye(&map.to_picture(&place)) - place).norm() < 1e-12);
            }
        }
    }

    /// Making an oval of height over width r round turns a direction by up to asin((1-r)/(1+r)): values computed
    /// with numpy. A limbus seen squarely is the oval itself, so the map of the right ratio turns nothing.
    #[test]
    fn false_roundness_turns_directions() {
        for (ratio, most) in [(0.98, 0.578755), (0.94, 1.772317), (0.90, 3.016961)] {
            let e = Ellipse::from_axes(PixelPoint::origin(), [100.0, 100.0 * ratio], 0.0).unwrap();
            let worst = |assumed: f64| {
                let map = EyeMap::new(&e, 11.7, assumed, 0.0).unwrap();
                (0..18_000)
                    .map(|k| {
                        let degrees = f64::from(k) / 100.0;
                        let seen = ccw_degrees(&map.displacement_to_eye(&direction_of(degrees))).unwrap();
                        axis_difference(degrees, seen).abs()
                    })
                    .fold(0.0, f64::max)
            };
            assert!((worst(1.0) - most).abs() < 1e-5, "ratio {ratio}: {}", worst(1.0));
            assert!(worst(ratio) < 1e-9);
        }
    }

    /// Leaving a round limbus tilted by 5, 10, 15, 20 degrees as it is turns a direction by up to these (computed
    /// with numpy); the map undoes it.
    #[test]
    fn tilt_is_undone() {
        for (tilt, most) in [(5.0_f64, 0.1092), (10.0, 0.4386), (15.0, 0.9931), (20.0, 1.7817)] {
            let squeeze = tilt.to_radians().cos();
            let e = Ellipse::from_axes(PixelPoint::origin(), [100.0 * squeeze, 100.0], 0.0).unwrap();
            let map = EyeMap::new(&e, 11.7, 1.0, 0.0).unwrap();
            let (mut left, mut undone) = (0.0_f64, 0.0_f64);
            for k in 0..18_000 {
                let degrees = f64::from(k) / 100.0;
                let d = direction_of(degrees);
                let seen = Vector::new(d.x * squeeze, d.y);
                left = left.max(axis_difference(degrees, ccw_degrees(&seen).unwrap()).abs());
                let back = ccw_degrees(&map.displacement_to_eye(&seen)).unwrap();
                undone = undone.max(axis_difference(degrees, back).abs());
            }
            assert!((left - most).abs() < 1e-4, "{tilt}: {left}");
            assert!(undone < 1e-9);
        }
    }

    #[test]
    fn impossible_limbus_is_refused() {
        let e = Ellipse::circle(PixelPoint::origin(), 10.0).unwrap();
        assert!(EyeMap::new(&e, 0.0, 0.94, 0.0).is_none());
        assert!(EyeMap::new(&e, 11.7, f64::NAN, 0.0).is_none());
    }
}
