//! Sphero-cylinders as vectors, in which crossed cylinders add.

use super::SpheroCylinder;
use crate::geometry::Axis;
use nalgebra::Matrix2;
use std::ops::{Add, Mul, Neg, Sub};

/// A power as (M, J0, J45), D.
///
/// M = S + C/2, J0 = -(C/2) cos 2A, J45 = -(C/2) sin 2A. Adding two is crossing the lenses, thin and in contact.
///
/// Source: Thibos, Wheeler & Horner (1997), Optom Vis Sci 74:367-375.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PowerVector {
    /// Spherical equivalent, D.
    pub m_d: f64,
    /// Jackson crossed cylinder at 0 and 90, D.
    pub j0_d: f64,
    /// Jackson crossed cylinder at 45 and 135, D.
    pub j45_d: f64,
}

impl PowerVector {
    /// M, J0 and J45, D.
    pub fn new(m_d: f64, j0_d: f64, j45_d: f64) -> Self {
        Self { m_d, j0_d, j45_d }
    }

    /// Size of the cylinder, D, not negative: 2 sqrt(J0^2 + J45^2).
    pub fn cylinder_d(&self) -> f64 {
        2.0 * self.j0_d.hypot(self.j45_d)
    }

    /// Length of the vector, D: sqrt(M^2 + J0^2 + J45^2), the strength of the blur.
    pub fn strength_d(&self) -> f64 {
        self.m_d.hypot(self.j0_d).hypot(self.j45_d)
    }

    /// Axis in minus-cylinder form, atan2(J45, J0) / 2; `None` without a cylinder.
    pub fn minus_axis(&self) -> Option<Axis> {
        let none = self.j0_d == 0.0 && self.j45_d == 0.0;
        (!none).then(|| Axis::from_degrees(self.j45_d.atan2(self.j0_d).to_degrees() / 2.0)).flatten()
    }

    /// Axis in plus-cylinder form, which is the steep meridian of the astigmatism that this power corrects; `None`
    /// without a cylinder.
    pub fn plus_axis(&self) -> Option<Axis> {
        self.minus_axis().map(|axis| axis.turned(90.0))
    }

    /// The same lens turned by `degrees` counter-clockwise.
    pub fn turned(&self, degrees: f64) -> Self {
        let (sin, cos) = (2.0 * degrees).to_radians().sin_cos();
        Self::new(self.m_d, self.j0_d * cos - self.j45_d * sin, self.j0_d * sin + self.j45_d * cos)
    }

    /// The dioptric power matrix, D, over (x, y): [[M + J0, J45], [J45, M - J0]].
    ///
    /// Source: Long (1976), Am J Optom Physiol Opt 53:525-533, S + C sin^2 A, -C sin A cos A, S + C cos^2 A, written in (M, J0,
    /// J45) (from memory).
    pub fn matrix(&self) -> Matrix2<f64> {
        Matrix2::new(self.m_d + self.j0_d, self.j45_d, self.j45_d, self.m_d - self.j0_d)
    }

    /// The power whose dioptric matrix this is; of an asymmetric one the symmetric part.
    pub fn from_matrix(matrix: &Matrix2<f64>) -> Self {
        Self::new(
            matrix.trace() / 2.0,
            (matrix[(0, 0)] - matrix[(1, 1)]) / 2.0,
            (matrix[(0, 1)] + matrix[(1, 0)]) / 2.0,
        )
    }
}

impl From<SpheroCylinder> for PowerVector {
    /// M = S + C/2, J0 = -(C/2) cos 2A, J45 = -(C/2) sin 2A.
    fn from(power: SpheroCylinder) -> Self {
        let (sin, cos) = (2.0 * power.axis.degrees()).to_radians().sin_cos();
        let half = power.cylinder_d / 2.0;
        Self::new(power.sphere_d + half, -half * cos, -half * sin)
    }
}

impl Add for PowerVector {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self::new(self.m_d + other.m_d, self.j0_d + other.j0_d, self.j45_d + other.j45_d)
    }
}

impl Sub for PowerVector {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl Neg for PowerVector {
    type Output = Self;
    fn neg(self) -> Self {
        self * -1.0
    }
}

impl Mul<f64> for PowerVector {
    type Output = Self;
    fn mul(self, factor: f64) -> Self {
        Self::new(self.m_d * factor, self.j0_d * factor, self.j45_d * factor)
    }
}

impl Add for SpheroCylinder {
    type Output = Self;
    /// Two thin lenses in contact, in minus-cylinder form.
    fn add(self, other: Self) -> Self {
        (PowerVector::from(self) + PowerVector::from(other)).into()
    }
}

impl Sub for SpheroCylinder {
    type Output = Self;
    /// What is left of one when the other, thin and in contact, is taken away; in minus-cylinder form.
    fn sub(self, other: Self) -> Self {
        (PowerVector::from(self) - PowerVector::from(other)).into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn power(sphere_d: f64, cylinder_d: f64, axis_deg: f64) -> SpheroCylinder {
        SpheroCylinder::new(sphere_d, cylinder_d, Axis::from_degrees(axis_deg).unwrap())
    }

    fn close(got: f64, expected: f64, within: f64) {
        assert!((got - expected).abs() < within, "{got} is not {expected}");
    }

    /// Values recomputed twice with numpy; formulas of Thibos, Wheeler & Horner (1997), from memory.
    #[test]
    fn known_vectors() {
        let v = PowerVector::from(power(-2.0, -1.0, 30.0));
        close(v.m_d, -2.5, 1e-12);
        close(v.j0_d, 0.25, 1e-12);
        close(v.j45_d, 0.433013, 5e-7);
        close(v.strength_d(), 2.549510, 5e-7);
        let v = PowerVector::from(power(1.0, -2.5, 125.0));
        close(v.m_d, -0.25, 1e-12);
        close(v.j0_d, -0.427525, 5e-7);
        close(v.j45_d, -1.174616, 5e-7);
    }

    /// Crossed cylinders; values recomputed twice with numpy.
    #[test]
    fn known_crossings() {
        for (lens_axis, left_axis) in [(35.0, 77.5), (25.0, 162.5)] {
            let left = power(0.0, 2.0, 30.0) + power(0.0, -2.0, lens_axis);
            close(left.sphere_d, 0.174311, 5e-7);
            close(left.cylinder_d, -0.348623, 5e-7);
            close(left.axis.degrees(), left_axis, 1e-9);
        }
        let both = power(1.0, -2.0, 10.0) + power(0.5, -1.5, 70.0);
        close(both.sphere_d, 0.65139, 5e-6);
        close(both.cylinder_d, -1.80278, 5e-6);
        close(both.axis.degrees(), 33.0511, 5e-5);
        assert_eq!(PowerVector::new(1.0, 0.0, 0.0).minus_axis(), None);
    }

    /// The matrix against Long's own form, S + C sin^2 A, -C sin A cos A, S + C cos^2 A (from memory).
    #[test]
    fn matrix_of_a_sphero_cylinder() {
        for k in 0..180 {
            let (s, c, a) = (1.25, -3.5, f64::from(k));
            let m = PowerVector::from(power(s, c, a)).matrix();
            let (sin, cos) = a.to_radians().sin_cos();
            close(m[(0, 0)], s + c * sin * sin, 1e-12);
            close(m[(0, 1)], -c * sin * cos, 1e-12);
            close(m[(1, 1)], s + c * cos * cos, 1e-12);
            let back = SpheroCylinder::from(PowerVector::from_matrix(&m));
            close(back.cylinder_d, c, 1e-12);
            close(back.axis.turn_to(Axis::from_degrees(a).unwrap()), 0.0, 1e-9);
        }
    }
}
