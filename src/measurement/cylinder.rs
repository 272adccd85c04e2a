//! What the misalignment of one still costs, as far as the sheet says.
//!
//! Lens and cornea are taken to match: the residual is that of a lens which would correct all of the astigmatism if it
//! stood right. Planning errors are not in it.

use crate::alignment::Aligned;
use crate::geometry::Axis;
use crate::optics::angle_size::size_interval95;
use crate::optics::rotation::{residual_axis_deg, residual_percent, residual_refraction};
use crate::optics::vergence::toric_at_cornea;
use crate::record::Cylinder;
use crate::stills::sheet::{Case, CylinderPlane};

/// Toric power of the lens and the plane it is given at, D: carried to the cornea where the sheet gives position and
/// flat corneal power.
fn toric_power(case: &Case) -> Option<(f64, &'static str)> {
    // A cylinder in minus form is the same cylinder, its axis counted from the other meridian.
    let power = case.lens_cylinder_d?.abs();
    Some(match (case.cylinder_plane, case.k_flat_d, case.lens_position_mm) {
        (Some(CylinderPlane::Cornea), _, _) => (power, "cornea"),
        (_, Some(flat), Some(position)) => (toric_at_cornea(flat, power, position), "cornea"),
        _ => (power, "lens"),
    })
}

/// The cost of an alignment error.
pub(super) fn cost(aligned: &Aligned, case: &Case) -> Cylinder {
    let error = aligned.error_deg;
    let sizes = size_interval95(error, aligned.sd_deg());
    let percent = residual_percent(error);
    let interval = sizes.map(residual_percent);
    let Some((power, plane)) = toric_power(case) else {
        return Cylinder {
            plane: String::new(),
            residual_percent: percent,
            residual_interval95_percent: interval,
            residual_d: None,
            residual_interval95_d: None,
            residual_axis_deg: None,
            j0_d: None,
            j45_d: None,
        };
    };
    let in_eye = aligned.lens_axis_in_eye.map(|lens| (lens.turned(-error), lens));
    let refraction = in_eye.map(|(intended, lens)| residual_refraction(power, intended, power, lens));
    // Near 0 the axis jumps by 90 degrees and means nothing.
    let axis = in_eye
        .filter(|_| sizes[0] > 0.0)
        .and_then(|(intended, _)| Some(intended.turned(residual_axis_deg(power, power, error)?)));
    Cylinder {
        plane: plane.into(),
        residual_percent: percent,
        residual_interval95_percent: interval,
        residual_d: Some(power * percent / 100.0),
        residual_interval95_d: Some(interval.map(|p| power * p / 100.0)),
        residual_axis_deg: axis.map(Axis::notation_degrees),
        j0_d: refraction.map(|r| r.j0_d),
        j45_d: refraction.map(|r| r.j45_d),
    }
}
