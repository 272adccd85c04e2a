//! The limbus in a record.

use crate::alignment::{Plan, oval_prior};
use crate::geometry::EyeMap;
use crate::record::{Limbus, MmSource, Record};
use crate::stills::sheet::Case;
use crate::vision::limbus::LimbusFinding;
use nalgebra::Vector3;

/// Put the limbus into the record; the map is that of an eye whose 0 is not known yet.
pub(super) fn describe_limbus(
    record: &mut Record,
    finding: &LimbusFinding,
    plan: &Plan,
    case: &Case,
) -> Option<EyeMap> {
    let ellipse = &finding.ellipse;
    let width = plan.width_mm();
    let map = EyeMap::new(ellipse, width, oval_prior(plan).height_over_width, 0.0)?;
    let covariance = &finding.covariance;
    // d sqrt(det E) = (E22 dE11 + E11 dE22 - 2 E12 dE12) / (2 sqrt(det E))
    let e = ellipse.matrix();
    let slope = Vector3::new(e.m22, -2.0 * e.m12, e.m11) / (2.0 * ellipse.radius_px());
    let shape = covariance.fixed_view::<3, 3>(2, 2);
    // Where the ellipse is nearly round, ln(a / b) along and across is (E11 - E22, 2 E12) over its radius.
    let lengthwise = shape[(0, 0)] + shape[(2, 2)] - 2.0 * shape[(0, 2)];
    let axis_ratio_sd = ((lengthwise + 4.0 * shape[(1, 1)]) / 2.0).max(0.0).sqrt() / ellipse.radius_px();
    record.limbus = Some(Limbus {
        center_px: [ellipse.center().x, ellipse.center().y],
        semi_axes_px: ellipse.semi_axes_px(),
        angle_deg: ellipse.angle_deg(),
        radius_px: ellipse.radius_px(),
        radius_sd_px: slope.dot(&(shape * slope)).max(0.0).sqrt(),
        center_sd_px: ((covariance[(0, 0)] + covariance[(1, 1)]) / 2.0).sqrt(),
        axis_ratio_sd: Some(axis_ratio_sd),
        visible_arc_deg: finding.visible_arc_deg,
        mm_per_px: map.mm_per_px(),
        mm_source: if case.white_to_white_mm.is_some() { MmSource::Case } else { MmSource::Assumed },
        score: finding.score,
    });
    Some(map)
}
