//! From a refraction after surgery: the axis at which the present lens would leave the least cylinder.

use super::{PowerVector, SpheroCylinder};
use crate::geometry::{Axis, axis_difference};
use crate::normal::Z95;

/// Steps in which the interval of the lens axis is gone through.
const STEPS: u32 = 32;

/// The present lens, what it leaves now and at its best.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BestAxis {
    /// The astigmatism that the eye has without the cylinder of its lens, at the corneal plane, D: all of it, that of the posterior
    /// cornea, the incision and a tilt of the lens among it.
    pub astigmatism_d: f64,
    /// Steep meridian of that, onto which the lens belongs; `None` without an astigmatism, where all axes are alike.
    pub axis: Option<Axis>,
    /// Turn of the lens from where it stands to that axis: degrees in [-90, 90), counter-clockwise positive.
    pub turn_deg: Option<f64>,
    /// Cylinder that is left now, at the corneal plane, D.
    pub now_d: f64,
    /// Cylinder that would be left there, D.
    pub left_d: f64,
    lens_at_cornea_d: f64,
    spherical_equivalent_d: f64,
}

/// What the doubt in the axis of a lens makes of its best axis: 95 % intervals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Doubt {
    /// Of the turn, degrees, unwrapped; `None` where an astigmatism may be missing.
    pub turn_interval95_deg: Option<[f64; 2]>,
    /// Of the cylinder that would be left, D.
    pub left_interval95_d: [f64; 2],
}

impl BestAxis {
    /// From the refraction and the lens as it stands.
    ///
    /// - `refraction`: at the corneal plane, D
    /// - `lens_at_cornea_d`: cylinder of the lens at the corneal plane, D, as plus
    /// - `lens_axis`: of its marks now
    ///
    /// What the eye needs without the lens is T = refraction + L at its axis; the lens leaves |T - L| at any axis, and
    /// least, ||T| - |L||, where the two lie alike. The spherical equivalent does not change.
    ///
    /// Source: crossed cylinders as vectors, Thibos, Wheeler & Horner (1997).
    pub fn find(refraction: PowerVector, lens_at_cornea_d: f64, lens_axis: Axis) -> Self {
        let needed = refraction + PowerVector::from(SpheroCylinder::correcting(lens_at_cornea_d, lens_axis));
        let axis = needed.plus_axis();
        Self {
            astigmatism_d: needed.cylinder_d(),
            axis,
            turn_deg: axis.map(|best| lens_axis.turn_to(best)),
            now_d: refraction.cylinder_d(),
            left_d: (needed.cylinder_d() - lens_at_cornea_d).abs(),
            lens_at_cornea_d,
            spherical_equivalent_d: refraction.m_d,
        }
    }

    /// Cylinder left with the lens at `axis`, at the corneal plane, D: the curve whose least value is `left_d`.
    pub fn residual_at(&self, axis: Axis) -> f64 {
        let from_best = self.axis.map_or(0.0, |best| best.turn_to(axis));
        super::rotation::residual_d(self.astigmatism_d, self.lens_at_cornea_d, from_best)
    }
    /// The refraction with the lens at its best axis, at the corneal plane.
    pub fn power_at_best(&self) -> PowerVector {
        let axis = self.axis.unwrap_or(Axis::ZERO);
        let left = super::rotation::residual_refraction(self.astigmatism_d, axis, self.lens_at_cornea_d, axis);
        PowerVector { m_d: self.spherical_equivalent_d, ..left }
    }
}

/// [`BestAxis::find`] over the 95 % interval of a lens axis that was read with normal noise of `sd_deg`.
///
/// The refraction is taken as it is. A lens that is read wrong by d has its best axis read wrong by nearly d as well,
/// so that the turn between them is hardly touched. The intervals are the images of that of the lens axis: they hold the truth with
/// probability 0.95 at least.
pub fn doubt(refraction: PowerVector, lens_at_cornea_d: f64, lens_axis: Axis, sd_deg: f64) -> Doubt {
    let middle = BestAxis::find(refraction, lens_at_cornea_d, lens_axis);
    let mut turn = middle.turn_deg.map(|turn| [turn, turn]);
    let mut left = [middle.left_d, middle.left_d];
    for step in 0..=STEPS {
        let z = Z95 * (2.0 * f64::from(step) / f64::from(STEPS) - 1.0);
        let there = BestAxis::find(refraction, lens_at_cornea_d, lens_axis.turned(z * sd_deg));
        left = [left[0].min(there.left_d), left[1].max(there.left_d)];
        turn = turn.zip(middle.turn_deg).zip(there.turn_deg).map(|(([low, high], middle), turn)| {
            let unwrapped = middle + axis_difference(middle, turn);
            [low.min(unwrapped), high.max(unwrapped)]
        });
    }
    Doubt { turn_interval95_deg: turn, left_interval95_d: left }
}
