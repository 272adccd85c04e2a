//! From a refraction after surgery: the axis at which the present lens would leave the least cylinder.

use super::{PowerVector, SpheroCylinder};
use crate::geometry::Axis;

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
        }
    }

    /// Cylinder left with the lens at `axis`, at the corneal plane, D: the curve whose least value is `left_d`.
    pub fn residual_at(&self, axis: Axis) -> f64 {
        let from_best = self.axis.map_or(0.0, |best| best.turn_to(axis));
        super::rotation::residual_d(self.astigmatism_d, self.lens_at_cornea_d, from_best)
    }
}
