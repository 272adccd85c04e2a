//! The alignment and what it costs in a record.

use super::after;
use super::cylinder::{self, Placing};
use super::interval_limits::{Marks, too_wide};
use super::refusals::refusal;
use crate::alignment::Aligned;
use crate::geometry::{Axis, EyeMap};
use crate::record::{Alignment, Record, RefusalCode};
use crate::stills::sheet::Case;
use crate::vision::lens_marks::LensFinding;
use nalgebra::Matrix5;

/// How far marks are from opposite before it is said: twice what they differ by in the stills of real operations (2.4 rms).
const OPPOSITION_TOLD_DEG: f64 = 5.0;

/// Put the alignment into the record; refused there where its interval is too wide.
///
/// - `limbus`: covariance of (cx, cy, E11, E12, E22), px^2
pub(super) fn describe_alignment(
    record: &mut Record,
    aligned: &Aligned,
    lens: &LensFinding,
    marks: Marks,
    limbus: &Matrix5<f64>,
) {
    if let Some(part) = too_wide(&aligned.parts, marks) {
        let by_marks = if marks.count == 1 || lens.groups_seen == 1 {
            "use a still that shows all reference marks and both groups of the lens's marks"
        } else {
            "use a sharper or larger still, with the limbus seen squarely"
        };
        record.refusals.push(refusal(
            RefusalCode::IntervalTooWide,
            format!(
                "error {:+.1}° with a 95 % interval of ±{:.2}°{}, wider than ±{:.2}°",
                aligned.error_deg, part.half_deg, part.source, part.widest_deg
            ),
            part.hint.unwrap_or(by_marks),
        ));
    }
    if let Some(opposition) = aligned.marks_opposition_deg
        && opposition.abs() > OPPOSITION_TOLD_DEG
    {
        record.warnings.push(format!("the reference marks are {opposition:+.1}° from opposite"));
    }
    record.alignment = Some(Alignment {
        error_deg: aligned.error_deg,
        sd_deg: aligned.sd_deg(),
        interval95_deg: aligned.interval95_deg(),
        reference_deg: aligned.reference.degrees(),
        intended_deg: aligned.intended.degrees(),
        lens_deg: aligned.lens.degrees(),
        lens_axis_in_eye_deg: aligned.lens_axis_in_eye.map(Axis::notation_degrees),
        marks_opposition_deg: aligned.marks_opposition_deg,
        offset_apparent_mm: aligned.offset_apparent_mm,
        offset_sd_mm: aligned.offset_apparent_mm.map(|_| offset_sd_mm(&aligned.map, lens, limbus)),
        variance_parts_deg2: aligned.parts,
    });
}

/// Standard deviation of the middle of the lens from the centre of the limbus, mm, root mean square over directions.
fn offset_sd_mm(map: &EyeMap, lens: &LensFinding, limbus: &Matrix5<f64>) -> f64 {
    let ends = (lens.ends[0].1 + lens.ends[1].1) / 4.0;
    let in_eye = map.inverse_matrix() * (ends + limbus.fixed_view::<2, 2>(0, 0)) * map.inverse_matrix();
    (in_eye.trace() / 2.0).max(0.0).sqrt()
}

/// Put what a lens so placed costs into the record.
pub(super) fn describe_cost(record: &mut Record, placing: &Placing, case: &Case) {
    let cost = cylinder::cost(placing, case);
    record.cylinder = Some(cost.cylinder);
    record.turn_back = Some(cost.turn_back);
    record.left_out = cost.left_out;
    record.warnings.extend(cost.warnings);
    match after::best_axis(placing, case) {
        Ok(best) => record.best_axis = Some(best),
        Err(left_out) => record.left_out.push(left_out),
    }
}
