//! One row of a prediction.

use super::inputs::Inputs;
use crate::geometry::Axis;
use crate::optics::misalignment_cost::Plan;
use crate::optics::rotation::{residual_axis_deg, residual_percent};
use serde::Serialize;

/// What a misalignment costs. `None` where an option is missing that would tell.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(super) struct Row {
    /// As asked for.
    pub(super) misalignment_deg: f64,
    /// The corneal astigmatism that this lens would cancel, D.
    pub(super) at_cornea_d: Option<f64>,
    /// Cylinder left at the corneal plane, D.
    pub(super) residual_d: Option<f64>,
    /// The same in percent of the astigmatism to be corrected.
    pub(super) residual_percent: Option<f64>,
    /// Power of the lens along the intended meridian, at the corneal plane, D.
    pub(super) along_intended_d: Option<f64>,
    /// Its oblique power, D.
    pub(super) oblique_d: Option<f64>,
    /// Minus-cylinder axis that corrects the rest, from the intended axis, degrees in [-90, 90).
    pub(super) residual_axis_deg: Option<f64>,
    /// Cylinder left at the spectacle plane, D.
    pub(super) spectacle_d: Option<f64>,
}

impl Inputs {
    /// Sums for one misalignment, degrees.
    pub(super) fn row(&self, misalignment_deg: f64) -> Row {
        let at_cornea_d = self.at_cornea_d();
        let left = at_cornea_d.map(|lens_at_cornea_d| self.plan(lens_at_cornea_d).residual(misalignment_deg));
        // Matched, percent and axis do not depend on the dioptres.
        let (residual_percent, residual_axis_deg) = match (self.target_d, at_cornea_d) {
            (None, _) => (Some(residual_percent(misalignment_deg)), residual_axis_deg(1.0, 1.0, misalignment_deg)),
            (Some(target_d), Some(lens_d)) => (
                left.filter(|_| target_d > 0.0).map(|left| 100.0 * left.cylinder_d / target_d),
                residual_axis_deg(target_d, lens_d, misalignment_deg),
            ),
            (Some(_), None) => (None, None),
        };
        Row {
            misalignment_deg,
            at_cornea_d,
            residual_d: left.map(|left| left.cylinder_d),
            residual_percent,
            along_intended_d: left.map(|left| left.along_intended_d),
            oblique_d: left.map(|left| left.oblique_d),
            residual_axis_deg,
            spectacle_d: left.map(|left| left.spectacle_cylinder_d),
        }
    }

    /// The eye in the frame of the intended axis; the sphere of the lens is taken to leave no spherical equivalent.
    fn plan(&self, lens_at_cornea_d: f64) -> Plan {
        Plan {
            astigmatism_d: self.target_d.unwrap_or(lens_at_cornea_d),
            steep: Axis::ZERO,
            lens_at_cornea_d,
            intended: Axis::ZERO,
            spherical_equivalent_d: 0.0,
            vertex_mm: self.vertex_mm,
        }
    }
}
