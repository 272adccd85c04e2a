//! What a misaligned cylinder leaves: thin crossed cylinders in one plane.
//!
//! The cornea has an astigmatism C, steep at the intended axis; a lens of cylinder L, given at the same plane, stands with its
//! marks t degrees from there, counter-clockwise positive. All of it repeats every 180 degrees of t, and sizes
//! depend on |t| alone, growing from 0 to 90 degrees.

use super::{PowerVector, SpheroCylinder};
use crate::geometry::{Axis, axis_difference};

/// Cylinders smaller than this, D, have no axis worth the name: far below what any refraction shows.
const NO_CYLINDER_D: f64 = 1e-9;

/// |t| in degrees, wrapped into [0, 90]: 95 degrees one way is 85 the other.
pub fn wrapped_size_deg(misalignment_deg: f64) -> f64 {
    axis_difference(0.0, misalignment_deg).abs()
}

/// Residual in percent of the cylinder where lens and cornea match: 200 |sin t|.
///
/// Source: crossed cylinders, the case C = L of [`residual_d`]. The trade's rule of thumb, 3.3 % a degree, is the chord
/// from 0 to 30 degrees, where nothing is left of the correction.
pub fn residual_percent(misalignment_deg: f64) -> f64 {
    200.0 * misalignment_deg.to_radians().sin().abs()
}

/// Residual cylinder, D, not negative: sqrt(C^2 + L^2 - 2 C L cos 2t), which is 2 C |sin t| where L = C.
///
/// - `astigmatism_d`, `lens_d`: C and L, D, at one plane
///
/// Source: the law of cosines in the double-angle plane. Written as sqrt((C - L)^2 + 4 C L sin^2 t), which keeps its
/// digits near 0.
pub fn residual_d(astigmatism_d: f64, lens_d: f64, misalignment_deg: f64) -> f64 {
    let sin = misalignment_deg.to_radians().sin();
    ((astigmatism_d - lens_d).powi(2) + 4.0 * astigmatism_d * lens_d * sin * sin).max(0.0).sqrt()
}

/// Power of the lens along the intended meridian, D: L cos 2t.
pub fn along_intended_d(lens_d: f64, misalignment_deg: f64) -> f64 {
    lens_d * (2.0 * misalignment_deg).to_radians().cos()
}

/// Oblique power of the lens, 45 degrees from the intended meridian, D: L sin 2t.
pub fn oblique_d(lens_d: f64, misalignment_deg: f64) -> f64 {
    lens_d * (2.0 * misalignment_deg).to_radians().sin()
}

/// The refraction left, D: C at its steep meridian less L at the axis of the marks.
///
/// The spherical equivalent is left at 0: it belongs to the sphere of the lens, and turning does not change it.
///
/// - `steep`: steep meridian of the astigmatism
/// - `lens_axis`: axis of the lens's marks
pub fn residual_refraction(astigmatism_d: f64, steep: Axis, lens_d: f64, lens_axis: Axis) -> PowerVector {
    let needed = PowerVector::from(SpheroCylinder::correcting(astigmatism_d, steep));
    let given = PowerVector::from(SpheroCylinder::correcting(lens_d, lens_axis));
    PowerVector { m_d: 0.0, ..needed - given }
}

/// Minus-cylinder axis that corrects the rest, as a turn from the intended axis: degrees in [-90, 90), `None`
/// where nothing is left.
///
/// t/2 + 45 for t > 0 and t/2 - 45 for t < 0 where L = C. Source: direction of the difference of the two cylinders.
pub fn residual_axis_deg(astigmatism_d: f64, lens_d: f64, misalignment_deg: f64) -> Option<f64> {
    let left = residual_refraction(astigmatism_d, Axis::ZERO, lens_d, Axis::ZERO.turned(misalignment_deg));
    let axis = left.minus_axis().filter(|_| left.cylinder_d() > NO_CYLINDER_D)?;
    Some(Axis::ZERO.turn_to(axis))
}

/// Misalignment, degrees in [0, 90), beyond which a lens leaves more than no lens would: cos 2t = L / 2C.
///
/// 30 degrees where L = C. `None` where L is 2 C or more: such a lens wins nothing at any angle; and where either
/// is not positive.
///
/// Source: [`residual_d`] set to C; Felipe et al. (2011) give the same rule (from memory).
pub fn nothing_won_deg(astigmatism_d: f64, lens_d: f64) -> Option<f64> {
    let ratio = lens_d / (2.0 * astigmatism_d);
    (astigmatism_d > 0.0 && ratio > 0.0 && ratio < 1.0).then(|| ratio.acos().to_degrees() / 2.0)
}

/// The sizes |t| (degrees, within [0, 90]) that an interval of t holds, unwrapped as it may be.
///
/// Not symmetric: where the interval holds 0 (or 180) the least size is 0, where it holds 90 the largest is 90. What grows
/// with |t|, as all residuals do, has its interval between its values at the two ends.
pub fn sizes_in_interval(interval_deg: [f64; 2]) -> [f64; 2] {
    let [low, high] = interval_deg;
    let holds = |place: f64| ((low - place) / 180.0).ceil() <= ((high - place) / 180.0).floor();
    let (a, b) = (wrapped_size_deg(low), wrapped_size_deg(high));
    [if holds(0.0) { 0.0 } else { a.min(b) }, if holds(90.0) { 90.0 } else { a.max(b) }]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(got: f64, expected: f64, within: f64) {
        assert!((got - expected).abs() < within, "{got} is not {expected}");
    }

    /// Recomputed twice with numpy. 3.3 % a degree up to 100 % at 30 is common practice.
    #[test]
    fn table_of_rotation() {
        for (t, percent, along) in [
            (1.0, 3.4905, 99.9391),
            (3.0, 10.4672, 99.4522),
            (5.0, 17.4311, 98.4808),
            (10.0, 34.7296, 93.9693),
            (15.0, 51.7638, 86.6025),
            (20.0, 68.4040, 76.6044),
            (30.0, 100.0, 50.0),
            (45.0, 141.4214, 0.0),
            (90.0, 200.0, -100.0),
        ] {
            for t in [t, -t, t + 180.0] {
                close(residual_percent(t), percent, 5e-5);
                close(residual_d(100.0, 100.0, t), percent, 5e-5);
                close(along_intended_d(100.0, t), along, 5e-5);
            }
        }
        close(oblique_d(2.0, 15.0), 1.0, 1e-12);
        close(oblique_d(2.0, -15.0), -1.0, 1e-12);
    }

    /// Recomputed twice with numpy: cornea 2.00 steep at 90.
    #[test]
    fn unmatched_lenses() {
        let steep = Axis::from_degrees(90.0).unwrap();
        for (lens, t, left, axis) in
            [(1.6, 10.0, 0.738896, 156.108), (2.4, 10.0, 0.859622, 126.363), (2.4, 0.0, 0.4, 90.0)]
        {
            close(residual_d(2.0, lens, t), left, 5e-7);
            let refraction = residual_refraction(2.0, steep, lens, steep.turned(t));
            close(refraction.cylinder_d(), left, 5e-7);
            close(refraction.minus_axis().unwrap().degrees(), axis, 5e-4);
            close(90.0 + residual_axis_deg(2.0, lens, t).unwrap(), axis, 5e-4);
        }
    }

    /// The axis of the rest, from the geometry of two equal cylinders.
    #[test]
    fn axis_of_the_rest() {
        for t in [1.0, 10.0, 60.0] {
            close(residual_axis_deg(2.0, 2.0, t).unwrap(), t / 2.0 + 45.0, 1e-9);
            close(residual_axis_deg(2.0, 2.0, -t).unwrap(), -t / 2.0 - 45.0, 1e-9);
        }
        assert_eq!(residual_axis_deg(2.0, 2.0, 0.0), None);
        assert_eq!(residual_axis_deg(2.0, 2.0, 180.0), None);
    }

    /// Recomputed twice with numpy; rule of Felipe et al. (2011), from memory.
    #[test]
    fn where_nothing_is_won() {
        for (ratio, angle) in [(0.8, 33.210911), (1.0, 30.0), (1.2, 26.565051), (1.5, 20.704811)] {
            close(nothing_won_deg(2.0, 2.0 * ratio).unwrap(), angle, 5e-7);
            close(residual_d(2.0, 2.0 * ratio, angle), 2.0, 1e-6);
        }
        assert_eq!(nothing_won_deg(2.0, 4.0), None);
        assert_eq!(nothing_won_deg(0.0, 1.0), None);
    }

    /// By hand: images of intervals under |t| wrapped at 90.
    #[test]
    fn images_of_intervals() {
        for (interval, sizes) in [
            ([2.0, 5.0], [2.0, 5.0]),
            ([-5.0, -2.0], [2.0, 5.0]),
            ([-1.0, 4.0], [0.0, 4.0]),
            ([85.0, 92.0], [85.0, 90.0]),
            ([86.0, 89.0], [86.0, 89.0]),
            ([178.0, 183.0], [0.0, 3.0]),
            ([-100.0, -95.0], [80.0, 85.0]),
            ([-20.0, 100.0], [0.0, 90.0]),
            ([0.0, 3.0], [0.0, 3.0]),
        ] {
            let got = sizes_in_interval(interval);
            close(got[0], sizes[0], 1e-9);
            close(got[1], sizes[1], 1e-9);
        }
    }
}
