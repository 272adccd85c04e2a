//! What a misalignment costs one eye: all that a record says of it, from numbers.

use super::angle_size::size_interval95;
use super::rotation::{along_intended_d, oblique_d, residual_d, residual_refraction};
use super::turn_back::TurnBack;
use super::vergence::cornea_to_spectacles;
use super::{PowerVector, SpheroCylinder};
use crate::geometry::{Axis, Matrix, axis_difference};
use crate::normal::Z95;

/// The axis of a residual is given where its 95 % interval is no wider than this either way, degrees: half of the way
/// to where the axis would be as wrong as right.
const AXIS_MEANS_SOMETHING_DEG: f64 = 22.5;
/// Steps in which the axis is followed over the interval of the angle.
const AXIS_STEPS: u32 = 32;
/// A gain below this, D, is none: rounding of the sums, not optics.
const NO_GAIN_D: f64 = 1e-9;

/// An eye, its plan and its lens. Axes in the eye's notation; where the eye's 0 is unknown, from any 0, and so are
/// the axes that come out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plan {
    /// Astigmatism to be corrected, at the corneal plane, D, not negative.
    pub astigmatism_d: f64,
    /// Its steep meridian.
    pub steep: Axis,
    /// Cylinder of the lens at the corneal plane, D, not negative.
    pub lens_at_cornea_d: f64,
    /// Axis at which the lens was to stand.
    pub intended: Axis,
    /// Spherical equivalent of the refraction at the corneal plane, D: it belongs to the sphere of the lens.
    pub spherical_equivalent_d: f64,
    /// Spectacle plane before the cornea, mm.
    pub vertex_mm: f64,
}

/// What is left with the lens at a given axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Residual {
    /// Cylinder left at the corneal plane, D, not negative.
    pub cylinder_d: f64,
    /// The same at the spectacle plane, D, not negative.
    pub spectacle_cylinder_d: f64,
    /// Power of the lens along the intended meridian, at the corneal plane, D.
    pub along_intended_d: f64,
    /// Oblique power of the lens, at the corneal plane, D.
    pub oblique_d: f64,
    /// Refraction at the corneal plane, as a vector.
    pub power: PowerVector,
    /// Refraction at the corneal plane, in minus-cylinder form.
    pub at_cornea: SpheroCylinder,
    /// Refraction at the spectacle plane, in minus-cylinder form.
    pub at_spectacles: SpheroCylinder,
}

/// What a misalignment that was read with noise costs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MisalignmentCost {
    /// With the lens as it was read to stand.
    pub now: Residual,
    /// With the lens at its intended axis: what is left then is the plan's, not the placing's.
    pub placed: Residual,
    /// 95 % interval of the cylinder left at the corneal plane, D.
    pub cylinder_interval95_d: [f64; 2],
    /// 95 % interval of the cylinder left at the spectacle plane, D.
    pub spectacle_interval95_d: [f64; 2],
    /// Minus-cylinder axis that corrects the rest (the same in both planes), where the interval of the angle leaves it
    /// a meaning: not where it holds 0 and lens and cornea match, since the axis jumps by 90 degrees there.
    pub axis: Option<Axis>,
    /// Covariance of (J0, J45) at the corneal plane, D^2, by the angle's noise. Of use also where the axis has none.
    pub covariance_d2: Matrix,
    /// The turn that brings the lens to its intended axis.
    pub turn_back: TurnBack,
    /// Cylinder at the corneal plane that this turn would win, D; negative where it would lose.
    pub gain_d: f64,
    /// Its 95 % interval, D.
    pub gain_interval95_d: [f64; 2],
    /// Whether that interval includes no gain.
    pub may_gain_nothing: bool,
}

impl Plan {
    /// What is left with the lens `misalignment_deg` from its intended axis: lens and cornea crossed as thin cylinders at the
    /// corneal plane. That is exact where they match, and within 0.03 D of vergence matrices through the whole eye
    /// ([`ToricEye`](super::toric_lens::ToricEye)) for lenses of 0.7 to 1.4 of what the cornea has.
    ///
    /// - `misalignment_deg`: of the lens from its intended axis, counter-clockwise positive
    pub fn residual(&self, misalignment_deg: f64) -> Residual {
        let (cylinder, lens) = (self.astigmatism_d, self.lens_at_cornea_d);
        let astigmatic = residual_refraction(cylinder, self.steep, lens, self.intended.turned(misalignment_deg));
        let power = PowerVector { m_d: self.spherical_equivalent_d, ..astigmatic };
        let at_cornea = SpheroCylinder::from(power);
        let at_spectacles = cornea_to_spectacles(&at_cornea, self.vertex_mm);
        Residual {
            cylinder_d: residual_d(cylinder, lens, misalignment_deg + self.planned_off_deg()),
            spectacle_cylinder_d: at_spectacles.cylinder_d.abs(),
            along_intended_d: along_intended_d(lens, misalignment_deg),
            oblique_d: oblique_d(lens, misalignment_deg),
            power,
            at_cornea,
            at_spectacles,
        }
    }

    /// What a misalignment costs that was read as `misalignment_deg` with normal noise of `sd_deg`.
    ///
    /// All residual cylinders grow with the size of the angle between lens and steep meridian, so that its interval,
    /// [`size_interval95`], carries over end by end: never below 0, and of the same coverage. The noise is the
    /// angle's alone: powers and planned axes are taken as they are given.
    pub fn cost(&self, misalignment_deg: f64, sd_deg: f64) -> MisalignmentCost {
        let now = self.residual(misalignment_deg);
        let placed = self.residual(0.0);
        let planned_off_deg = self.planned_off_deg();
        let ends = size_interval95(misalignment_deg + planned_off_deg, sd_deg)
            .map(|size| self.residual(size - planned_off_deg));
        let gain_interval95_d = ends.map(|end| end.cylinder_d - placed.cylinder_d);
        MisalignmentCost {
            now,
            placed,
            cylinder_interval95_d: ends.map(|end| end.cylinder_d),
            spectacle_interval95_d: ends.map(|end| end.spectacle_cylinder_d),
            axis: now.power.minus_axis().filter(|_| self.axis_means_something(misalignment_deg, sd_deg)),
            covariance_d2: self.covariance_d2(misalignment_deg, sd_deg),
            turn_back: TurnBack::of_misalignment(misalignment_deg),
            gain_d: now.cylinder_d - placed.cylinder_d,
            gain_interval95_d,
            may_gain_nothing: gain_interval95_d[0] <= NO_GAIN_D,
        }
    }

    /// How far the plan puts the lens from the steep meridian, degrees: a planning error.
    fn planned_off_deg(&self) -> f64 {
        self.steep.turn_to(self.intended)
    }

    /// Whether the axis of the rest, followed over the 95 % interval of the angle, stays near its middle.
    fn axis_means_something(&self, misalignment_deg: f64, sd_deg: f64) -> bool {
        let axis_at = |angle: f64| self.residual(angle).power.minus_axis().map(Axis::degrees);
        let Some(middle) = axis_at(misalignment_deg) else { return false };
        (0..=AXIS_STEPS).all(|step| {
            let z = Z95 * (2.0 * f64::from(step) / f64::from(AXIS_STEPS) - 1.0);
            axis_at(misalignment_deg + z * sd_deg)
                .is_some_and(|axis| axis_difference(middle, axis).abs() <= AXIS_MEANS_SOMETHING_DEG)
        })
    }

    /// (L/2)^2 times the covariance of (cos p, sin p), p = twice the lens axis, normal with standard deviation s = 2 sd.
    ///
    /// Source: moments of the wrapped normal distribution, E cos kp = exp(-k^2 s^2 / 2) cos k(mean); exact, not linearised.
    fn covariance_d2(&self, misalignment_deg: f64, sd_deg: f64) -> Matrix {
        let (sin, cos) = (2.0 * self.intended.turned(misalignment_deg).degrees()).to_radians().sin_cos();
        let variance = (2.0 * sd_deg).to_radians().powi(2);
        // Along the lens's own double-angle direction and across it: var = (1 - r)^2 / 2 and (1 - r^2) / 2, r = exp(-s^2).
        let (along, across) = (-(-variance).exp_m1(), -(-2.0 * variance).exp_m1());
        let (along, across) = (along * along / 2.0, across / 2.0);
        let half_squared = (self.lens_at_cornea_d / 2.0).powi(2);
        Matrix::new(
            along * cos * cos + across * sin * sin,
            (along - across) * sin * cos,
            (along - across) * sin * cos,
            along * sin * sin + across * cos * cos,
        ) * half_squared
    }
}
