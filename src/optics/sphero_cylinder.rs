//! Sphere, cylinder and axis: the notation of the trade.

use super::PowerVector;
use crate::geometry::Axis;
use std::fmt;

/// A sphero-cylindrical power.
///
/// The meridian along the axis has the power `sphere_d`, the one across it `sphere_d + cylinder_d`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpheroCylinder {
    /// Sphere, D.
    pub sphere_d: f64,
    /// Cylinder, D; its sign says which of the two forms this is.
    pub cylinder_d: f64,
    /// Axis of the cylinder, in the eye's notation.
    pub axis: Axis,
}

impl SpheroCylinder {
    /// Sphere (D), cylinder (D) and axis.
    pub fn new(sphere_d: f64, cylinder_d: f64, axis: Axis) -> Self {
        Self { sphere_d, cylinder_d, axis }
    }

    /// Astigmatism of `magnitude_d` (D), *steep* at `steep`, as the lens that corrects it: the plus cylinder whose axis is the
    /// steep meridian. So is a toric lens described whose marks lie at `steep`.
    pub fn correcting(magnitude_d: f64, steep: Axis) -> Self {
        Self::new(0.0, magnitude_d, steep)
    }

    /// Powers of a surface (D) along its flat and its steep meridian, steep at `steep`: a cornea from keratometry.
    ///
    /// The surface is strongest along `steep`, so its plus cylinder has its axis across it.
    pub fn of_surface(flat_d: f64, steep_d: f64, steep: Axis) -> Self {
        Self::new(flat_d, steep_d - flat_d, steep.turned(90.0))
    }

    /// The same power in the other form: S + C / -C x A + 90.
    ///
    /// Source: follows from sin^2 + cos^2 = 1.
    pub fn transposed(&self) -> Self {
        Self::new(self.sphere_d + self.cylinder_d, -self.cylinder_d, self.axis.turned(90.0))
    }

    /// The form with a cylinder that is not positive.
    pub fn minus_form(&self) -> Self {
        if self.cylinder_d > 0.0 { self.transposed() } else { *self }
    }

    /// The form with a cylinder that is not negative.
    pub fn plus_form(&self) -> Self {
        if self.cylinder_d < 0.0 { self.transposed() } else { *self }
    }

    /// Spherical equivalent, D: S + C/2.
    pub fn spherical_equivalent_d(&self) -> f64 {
        self.sphere_d + self.cylinder_d / 2.0
    }

    /// Each principal power (D) passed through `carry`, axis and form kept: how a power goes from plane to plane.
    pub fn carried(&self, carry: impl Fn(f64) -> f64) -> Self {
        let along = carry(self.sphere_d);
        Self::new(along, carry(self.sphere_d + self.cylinder_d) - along, self.axis)
    }
}

/// In minus-cylinder form, which is how refractions are written.
impl From<PowerVector> for SpheroCylinder {
    /// C = -2 sqrt(J0^2 + J45^2), S = M - C/2, A = atan2(J45, J0) / 2. Without a cylinder the axis is 0.
    ///
    /// Source: Thibos, Wheeler & Horner (1997), Optom Vis Sci 74:367-375.
    fn from(power: PowerVector) -> Self {
        let cylinder_d = -power.cylinder_d();
        let axis = power.minus_axis().unwrap_or(Axis::ZERO);
        Self::new(power.m_d - cylinder_d / 2.0, cylinder_d, axis)
    }
}

/// As in `+1.00/-2.50 x 125`.
impl fmt::Display for SpheroCylinder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let axis = (self.axis.degrees().round() - 1.0).rem_euclid(180.0) + 1.0;
        write!(f, "{:+.2}/{:+.2} x {axis:.0}", self.sphere_d, self.cylinder_d)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn axis(degrees: f64) -> Axis {
        Axis::from_degrees(degrees).unwrap()
    }

    /// Common practice: the textbook rule of transposition.
    #[test]
    fn transposition_keeps_the_power() {
        let power = SpheroCylinder::new(1.0, -2.5, axis(125.0));
        let other = power.transposed();
        assert_eq!((other.sphere_d, other.cylinder_d, other.axis.degrees()), (-1.5, 2.5, 35.0));
        assert_eq!(other.minus_form(), power);
        assert_eq!(power.plus_form(), other);
        assert_eq!(power.spherical_equivalent_d(), -0.25);
        assert_eq!(other.spherical_equivalent_d(), -0.25);
    }

    #[test]
    fn written_as_the_trade_writes_it() {
        assert_eq!(SpheroCylinder::new(1.0, -2.5, axis(125.2)).to_string(), "+1.00/-2.50 x 125");
        assert_eq!(SpheroCylinder::new(0.0, -0.5, axis(0.2)).to_string(), "+0.00/-0.50 x 180");
        assert_eq!(SpheroCylinder::new(-0.25, -0.5, axis(179.8)).to_string(), "-0.25/-0.50 x 180");
    }

    /// A cornea steep at 90 is corrected by a plus cylinder at 90: surface and correction add up to a sphere.
    #[test]
    fn the_correction_of_a_surface_cancels_its_cylinder() {
        let cornea = PowerVector::from(SpheroCylinder::of_surface(43.0, 45.0, axis(100.0)));
        let lens = PowerVector::from(SpheroCylinder::correcting(2.0, axis(100.0)));
        assert!((cornea + lens).cylinder_d() < 1e-12);
        assert!(((cornea + lens).m_d - 45.0).abs() < 1e-12);
    }
}
