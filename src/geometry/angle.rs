//! Axes (modulo 180) and meridians (modulo 360), in degrees counter-clockwise as seen.

use super::Vector;

/// Direction of a displacement given in a y-down frame: degrees in [0, 360), counter-clockwise as seen, 0 to the right.
///
/// A null displacement has no direction: `None`.
pub fn ccw_degrees(displacement: &Vector) -> Option<f64> {
    let finite = displacement.x.is_finite() && displacement.y.is_finite();
    (finite && displacement.norm_squared() > 0.0)
        .then(|| wrap(-displacement.y.atan2(displacement.x).to_degrees(), 360.0))
}

/// Unit displacement (y down) that points along `degrees`, counter-clockwise as seen: the inverse of [`ccw_degrees`].
pub fn direction_of(degrees: f64) -> Vector {
    let (sin, cos) = degrees.to_radians().sin_cos();
    Vector::new(cos, -sin)
}

/// Signed turn from axis `from` to axis `to`, both in degrees: in [-90, 90), positive counter-clockwise.
pub fn axis_difference(from: f64, to: f64) -> f64 {
    let turned = wrap(to - from + 90.0, 180.0);
    turned - 90.0
}

/// Signed turn from direction `from` to direction `to`, both in degrees: in [-180, 180), positive counter-clockwise.
pub fn direction_difference(from: f64, to: f64) -> f64 {
    wrap(to - from + 180.0, 360.0) - 180.0
}

/// Whether two directions, degrees, are opposite, to within rounding.
pub fn are_opposite(a: f64, b: f64) -> bool {
    direction_difference(a + 180.0, b).abs() < 1e-6
}

/// `value` modulo `period`, in [0, period) also where rounding would reach `period`.
pub fn wrap(value: f64, period: f64) -> f64 {
    let wrapped = value.rem_euclid(period);
    if wrapped < period { wrapped } else { 0.0 }
}

/// An undirected axis: degrees in [0, 180), counter-clockwise as seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Axis(f64);

impl Axis {
    /// The axis at 0, which the trade writes 180.
    pub const ZERO: Self = Self(0.0);

    /// Any finite angle in degrees, taken modulo 180; `None` otherwise.
    pub fn from_degrees(degrees: f64) -> Option<Self> {
        degrees.is_finite().then(|| Self(wrap(degrees, 180.0)))
    }

    /// Axis of a displacement given y down; `None` for a null one.
    pub fn of(displacement: &Vector) -> Option<Self> {
        ccw_degrees(displacement).and_then(Self::from_degrees)
    }

    /// Degrees in [0, 180).
    pub fn degrees(self) -> f64 {
        self.0
    }

    /// Degrees in (0, 180]: the way the trade writes an axis, 180 and not 0 (ISO 8429).
    pub fn notation_degrees(self) -> f64 {
        if self.0 == 0.0 { 180.0 } else { self.0 }
    }

    /// Signed turn from this axis to `other`: degrees in [-90, 90), positive counter-clockwise.
    pub fn turn_to(self, other: Self) -> f64 {
        axis_difference(self.0, other.0)
    }

    /// This axis turned by `degrees` counter-clockwise.
    pub fn turned(self, degrees: f64) -> Self {
        Self(wrap(self.0 + degrees, 180.0))
    }
}

/// A directed meridian: degrees in [0, 360), counter-clockwise as seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Meridian(f64);

impl Meridian {
    /// Any finite angle in degrees, taken modulo 360; `None` otherwise.
    pub fn from_degrees(degrees: f64) -> Option<Self> {
        degrees.is_finite().then(|| Self(wrap(degrees, 360.0)))
    }

    /// Meridian of a displacement given y down; `None` for a null one.
    pub fn of(displacement: &Vector) -> Option<Self> {
        ccw_degrees(displacement).and_then(Self::from_degrees)
    }

    /// Degrees in [0, 360).
    pub fn degrees(self) -> f64 {
        self.0
    }

    /// The axis this meridian lies on.
    pub fn axis(self) -> Axis {
        Axis(wrap(self.0, 180.0))
    }

    /// Signed turn from this meridian to `other`: degrees in [-180, 180), positive counter-clockwise.
    pub fn turn_to(self, other: Self) -> f64 {
        wrap(other.0 - self.0 + 180.0, 360.0) - 180.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every whole degree, against the plain definition of a turn by counting steps on a circle of 180.
    #[test]
    fn axis_turns_at_every_degree() {
        for from in 0..180_i32 {
            for to in 0..180_i32 {
                let mut expected = to - from;
                if expected < -90 {
                    expected += 180;
                }
                if expected >= 90 {
                    expected -= 180;
                }
                let a = Axis::from_degrees(f64::from(from) - 360.0).unwrap();
                let b = Axis::from_degrees(f64::from(to) + 540.0).unwrap();
                assert!((a.turn_to(b) - f64::from(expected)).abs() < 1e-9, "{from} -> {to}");
                assert!((a.turned(a.turn_to(b)).degrees() - f64::from(to)).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn directions_round_trip_at_every_degree() {
        for degrees in 0..360_i32 {
            let d = f64::from(degrees);
            let back = ccw_degrees(&direction_of(d)).unwrap();
            let turn = Meridian::from_degrees(back).unwrap().turn_to(Meridian::from_degrees(d).unwrap());
            assert!(turn.abs() < 1e-9, "{degrees} came back as {back}");
        }
    }

    #[test]
    fn up_in_the_picture_is_ninety() {
        assert_eq!(ccw_degrees(&Vector::new(0.0, -3.0)), Some(90.0));
        assert_eq!(Meridian::of(&Vector::new(-2.0, 0.0)).unwrap().degrees(), 180.0);
        assert_eq!(Meridian::of(&Vector::new(0.0, 2.0)).unwrap().degrees(), 270.0);
    }

    #[test]
    fn rounding_never_reaches_the_period() {
        assert_eq!(Axis::from_degrees(-1e-17).unwrap().degrees(), 0.0);
        assert_eq!(Meridian::from_degrees(-1e-17).unwrap().degrees(), 0.0);
        assert_eq!(Axis::from_degrees(180.0).unwrap().notation_degrees(), 180.0);
        assert_eq!(axis_difference(0.0, 90.0), -90.0);
    }

    #[test]
    fn what_has_no_direction_is_none() {
        assert_eq!(ccw_degrees(&Vector::zeros()), None);
        assert!(Axis::from_degrees(f64::NAN).is_none());
        assert!(Meridian::from_degrees(f64::INFINITY).is_none());
    }
}
