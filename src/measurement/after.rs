//! What a refraction after surgery says: the best axis of the present lens, and the vector analysis of the eye.

use super::cylinder::{Placing, columns_for, refraction};
use super::eye;
use crate::geometry::Axis;
use crate::optics::SpheroCylinder;
use crate::optics::best_axis;
use crate::optics::vector_analysis::{self, Astigmatism};
use crate::optics::vergence::cornea_to_spectacles;
use crate::record::{BestAxis, InducedAstigmatism, LeftOut, VectorAnalysis};
use crate::stills::sheet::Case;

/// The axis of least residual cylinder.
///
/// # Errors
/// The columns that would give it.
pub(super) fn best_axis(placing: &Placing, case: &Case) -> Result<BestAxis, LeftOut> {
    let (lens, power) = (eye::lens_at_cornea(case), eye::refraction(case));
    let (Ok(lens_d), Ok(power), Some(lens_axis)) = (&lens, &power, placing.lens_in_eye) else {
        let mut columns = [power.err(), lens.err()].into_iter().flatten().flatten().collect::<Vec<_>>();
        if placing.lens_in_eye.is_none() {
            columns.push("intended_axis_deg");
        }
        return Err(columns_for("axis of least residual cylinder", columns));
    };
    let best = best_axis::BestAxis::find(*power, *lens_d, lens_axis);
    let doubt = best_axis::doubt(*power, *lens_d, lens_axis, placing.sd_deg);
    let (vertex_mm, _) = eye::vertex(case);
    let at_spectacles = cornea_to_spectacles(&SpheroCylinder::from(best.power_at_best()), vertex_mm);
    let axis_now = power.minus_axis().map(Axis::notation_degrees);
    Ok(BestAxis {
        refraction: refraction(&SpheroCylinder::from(*power), axis_now),
        astigmatism_d: best.astigmatism_d,
        axis_deg: best.axis.map(Axis::notation_degrees),
        turn_deg: best.turn_deg,
        turn_interval95_deg: doubt.turn_interval95_deg,
        lens_d: *lens_d,
        lens_axis_deg: lens_axis.notation_degrees(),
        now_d: best.now_d,
        left_d: best.left_d,
        left_interval95_d: doubt.left_interval95_d,
        left_spectacle_d: at_spectacles.cylinder_d.abs(),
    })
}

/// The eye's vector analysis.
///
/// # Errors
/// The columns that would give it.
pub(super) fn vector_analysis(case: &Case) -> Result<VectorAnalysis, LeftOut> {
    let (before, after) = (eye::before_surgery(case), eye::refraction(case));
    let (Ok((before, before_source)), Ok(after)) = (&before, &after) else {
        let columns = [before.err(), after.err()].into_iter().flatten().flatten().collect();
        return Err(columns_for("vector analysis", columns));
    };
    let none = Astigmatism::new(0.0, Axis::ZERO);
    let eye = vector_analysis::VectorAnalysis::new(*before, none, Astigmatism::from(*after));
    let induced = |change: Astigmatism| InducedAstigmatism {
        magnitude_d: change.magnitude_d(),
        axis_deg: change.steep().map(Axis::notation_degrees),
    };
    Ok(VectorAnalysis {
        before_source: *before_source,
        target_induced: induced(eye.target_induced),
        surgically_induced: induced(eye.surgically_induced),
        difference: induced(eye.difference),
        magnitude_error_d: eye.magnitude_error_d,
        angle_error_deg: eye.angle_error_deg,
        correction_index: eye.correction_index,
        success_index: eye.success_index,
    })
}
