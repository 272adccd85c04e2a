//! One still, all the way: pixels and plan to a record.

mod after;
#[cfg(test)]
mod cost_tests;
mod cylinder;
mod eye;
mod far_from_plan;
mod interval_limits;
mod mark_form;

use self::cylinder::Placing;
use self::far_from_plan::too_far;
use self::interval_limits::{Marks, too_wide};
use self::mark_form::{Ground, Mark};
use crate::alignment::{self, Aligned, AlignmentError, LensReading, LimbusReading, MarkReading, Plan};
use crate::geometry::{Axis, EyeMap, Meridian, Vector};
use crate::record::{Alignment, LensMark, Limbus, MmSource, Outcome, Record, Refusal, RefusalCode, Still};
use crate::stills::sheet::Case;
use crate::vision::Picture;
use crate::vision::lens_marks::{LensFinding, LensRefusal, find_lens_marks};
use crate::vision::limbus::{LimbusFinding, LimbusRefusal, find_limbus};
use crate::vision::reference_marks::choose::{ChoiceRefusal, Reading, choose};
use crate::vision::reference_marks::size::measure_size;
use crate::vision::reference_marks::{MarkFinding, find_reference_marks};
use nalgebra::Matrix5;

/// Shortest side of a picture in which a limbus and its marks can be told, px.
pub const LEAST_SIDE_PX: u32 = 120;

/// A record, and what a drawing of it needs besides.
#[derive(Clone, Debug)]
pub struct Measured {
    /// The record.
    pub record: Record,
    /// The map between picture and plane of the limbus that the angles were taken in; `None` without a limbus.
    pub map: Option<EyeMap>,
    /// The alignment as found, also where the limits on its interval or its size led to a refusal: for judging these limits,
    /// never for a reader.
    pub found: Option<Alignment>,
}

/// Measure an upright picture.
///
/// - `still`: provenance, copied into the record
/// - `case`: the sheet's row for this still; [`Case::default`] where there is none
pub fn measure(picture: &Picture, still: Still, case: &Case) -> Measured {
    let mut record = Record::new(still, case.columns.clone(), Outcome::Refused);
    let map = fill(&mut record, picture, case);
    match after::vector_analysis(case) {
        Ok(analysis) => record.vector_analysis = Some(analysis),
        Err(left_out) => record.left_out.push(left_out),
    }
    if record.refusals.is_empty() {
        record.outcome = Outcome::Measured;
    }
    let found = record.alignment.clone();
    if record.outcome != Outcome::Measured {
        record.alignment = None;
        record.cylinder = None;
        record.turn_back = None;
        record.best_axis = None;
        record.left_out.clear();
    }
    Measured { record, map, found }
}

/// What the sheet says of the eye and the plan.
fn plan_of(case: &Case) -> Plan {
    Plan {
        intended_axis_deg: case.intended_axis_deg,
        marks_denote_meridians: !case.marks_denote_deg.is_empty(),
        white_to_white_mm: case.white_to_white_mm,
        limbus_height_mm: case.limbus_height_mm,
    }
}

fn refusal(code: RefusalCode, message: impl ToString, hint: &str) -> Refusal {
    Refusal { code, message: message.to_string(), hint: hint.into() }
}

/// Find all there is to find; each thing that is missing is a refusal of its own.
fn fill(record: &mut Record, picture: &Picture, case: &Case) -> Option<EyeMap> {
    let plan = plan_of(case);
    let (width, height) = picture.dimensions();
    if width.min(height) < LEAST_SIDE_PX {
        record.refusals.push(refusal(
            RefusalCode::PictureTooSmall,
            format!("the picture is {width} x {height} px, need at least {LEAST_SIDE_PX} px on the shorter side"),
            "use the still as the recorder wrote it, not a thumbnail",
        ));
        return None;
    }
    let limbus = match find_limbus(picture) {
        Ok(finding) => finding,
        Err(cause) => {
            let message = cause.to_string();
            match cause {
                LimbusRefusal::NotFound { .. } => record.refusals.push(refusal(
                    RefusalCode::LimbusNotFound,
                    message,
                    "use a still in which the whole cornea is in the picture, in focus and not covered",
                )),
                LimbusRefusal::TooLittleVisible { finding, .. } => {
                    record.refusals.push(refusal(
                        RefusalCode::LimbusTooLittleVisible,
                        message,
                        "use a still in which lids, instruments and the picture's edge leave more of the limbus free",
                    ));
                    return describe_limbus(record, &finding, &plan, case);
                }
            }
            return None;
        }
    };
    let map = describe_limbus(record, &limbus, &plan, case);

    let findings = find_reference_marks(picture, &limbus.ellipse);
    let marks = chosen_marks(record, &findings, &limbus, case);
    let lens = found_lens(record, picture, &limbus);
    let Some(ChosenMarks { marks, spread_deg, probability }) = marks else { return map };
    let reading = LimbusReading { ellipse: limbus.ellipse, covariance: limbus.covariance };
    let Some(lens) = lens else {
        if let Some(map) = &map {
            let meridians = marks
                .iter()
                .map(|(_, reading)| Some((Meridian::of(&map.to_eye(&reading.place))?, reading_sd_deg(map, reading))));
            if let Some(meridians) = meridians.collect::<Option<Vec<_>>>() {
                describe_marks(record, picture, &reading, &plan, &marks, &meridians, 0.0);
            }
        }
        return map;
    };
    let mark_readings: Vec<MarkReading> = marks.iter().map(|(_, reading)| reading.clone()).collect();
    let lens_reading = LensReading { ends: lens.ends, both_groups: lens.groups_seen == 2 };
    match alignment::align(&reading, &mark_readings, &lens_reading, &plan) {
        Ok(mut aligned) => {
            aligned.parts.reference_marks += spread_deg * spread_deg;
            let zero = match aligned.lens_axis_in_eye {
                Some(axis) => aligned.lens.degrees() - axis.degrees(),
                None => aligned.reference.degrees(),
            };
            describe_marks(record, picture, &reading, &plan, &marks, &aligned.meridians, zero);
            describe_alignment(record, &aligned, &lens, Marks::of(&mark_readings, &plan), &limbus.covariance);
            record.refusals.extend(too_far(aligned.error_deg, probability, lens.score).map(|far| {
                let hint = "see in the overlay what was taken for marks; if the lens was not yet turned into place, use a later still";
                let code = if far.rather_lens_marks {
                    RefusalCode::LensMarksAmbiguous
                } else {
                    RefusalCode::ReferenceMarksAmbiguous
                };
                refusal(code, far, hint)
            }));
            describe_cost(record, &Placing::from(&aligned), case);
            Some(aligned.map)
        }
        Err(cause) => {
            let (code, hint) = match cause {
                AlignmentError::NoIntendedAxis { .. } => {
                    (RefusalCode::IntendedAxisMissing, "give intended_axis_deg in the case sheet")
                }
                AlignmentError::Degenerate => (RefusalCode::ReferenceMarksMissing, "use another still of the case"),
            };
            record.refusals.push(refusal(code, cause, hint));
            map
        }
    }
}

/// Put the limbus into the record; the map is that of an eye whose 0 is not known yet.
fn describe_limbus(record: &mut Record, finding: &LimbusFinding, plan: &Plan, case: &Case) -> Option<EyeMap> {
    let ellipse = &finding.ellipse;
    let width = plan.white_to_white_mm.unwrap_or(alignment::AVERAGE_WIDTH_MM);
    let map = EyeMap::new(ellipse, width, alignment::oval_prior(plan).height_over_width, 0.0)?;
    let covariance = &finding.covariance;
    // d sqrt(det E) = (E22 dE11 + E11 dE22 - 2 E12 dE12) / (2 sqrt(det E))
    let e = ellipse.matrix();
    let slope = nalgebra::Vector3::new(e.m22, -2.0 * e.m12, e.m11) / (2.0 * ellipse.radius_px());
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

/// The marks that stand as the sheet says they should, each with what it denotes.
fn chosen_marks<'a>(
    record: &mut Record,
    findings: &'a [MarkFinding],
    limbus: &LimbusFinding,
    case: &Case,
) -> Option<ChosenMarks<'a>> {
    let on_axis = [0.0, 180.0];
    let pattern: &[f64] = if case.marks_denote_deg.is_empty() { &on_axis } else { &case.marks_denote_deg };
    let hint = match (case.marks_denote_deg.is_empty(), case.zero_direction_deg, case.intended_axis_deg) {
        (false, zero, _) => zero,
        (true, Some(zero), Some(axis)) => Some(zero + axis),
        _ => None,
    };
    let reading = match choose(findings, &limbus.ellipse, pattern, hint) {
        Ok(reading) => reading,
        Err(cause) => {
            let (code, hint) = match &cause {
                ChoiceRefusal::Missing { .. } => (
                    RefusalCode::ReferenceMarksMissing,
                    "use a still in which the marks on the limbus are in focus and not covered; faint marks show best \
                     when they are dried",
                ),
                ChoiceRefusal::Ambiguous { .. } => (
                    RefusalCode::ReferenceMarksAmbiguous,
                    "say in the case sheet what the marks denote (marks_denote_deg) and roughly where the eye's 0 lies \
                     in the picture (zero_direction_deg), or use a still that shows all marks",
                ),
            };
            record.refusals.push(refusal(code, cause, hint));
            return None;
        }
    };
    let marks = marks_of(&reading, findings, pattern);
    if marks.len() == 1 && pattern.len() > 1 {
        record.warnings.push("one reference mark only: the angle rests on the centre of the limbus".into());
    }
    Some(ChosenMarks { marks, spread_deg: reading.spread_deg, probability: reading.probability })
}

/// Reference marks with what they denote.
struct ChosenMarks<'a> {
    marks: Vec<(&'a MarkFinding, MarkReading)>,
    /// What their choice leaves the axis uncertain by, sd in degrees.
    spread_deg: f64,
    /// Probability that they are the marks, by their looks.
    probability: f64,
}

fn marks_of<'a>(
    reading: &Reading,
    findings: &'a [MarkFinding],
    pattern: &[f64],
) -> Vec<(&'a MarkFinding, MarkReading)> {
    reading
        .placed
        .iter()
        .map(|placed| {
            let finding = &findings[placed.finding];
            let mark = MarkReading {
                place: finding.centroid,
                covariance: finding.covariance,
                denotes_deg: pattern[placed.pattern],
            };
            (finding, mark)
        })
        .collect()
}

fn found_lens(record: &mut Record, picture: &Picture, limbus: &LimbusFinding) -> Option<LensFinding> {
    match find_lens_marks(picture, &limbus.ellipse) {
        Ok(finding) => {
            record.lens_marks = finding
                .marks
                .iter()
                .map(|mark| LensMark {
                    center_px: [mark.centroid.x, mark.centroid.y],
                    sd_px: across_sd_px(mark.covariance, &finding),
                    group: mark.group,
                })
                .collect();
            if finding.groups_seen == 1 {
                record
                    .warnings
                    .push("one group of lens marks only: the axis rests on the group's own direction".into());
            }
            Some(finding)
        }
        Err(cause) => {
            let (code, hint) = match &cause {
                LensRefusal::Missing { .. } => (
                    RefusalCode::LensMarksMissing,
                    "use a still in which both groups of the lens's marks are in focus inside the pupil, clear of \
                     reflections and instruments",
                ),
                LensRefusal::Ambiguous { .. } => {
                    (RefusalCode::LensMarksAmbiguous, "use a still in which folds and reflections lie elsewhere")
                }
            };
            record.refusals.push(refusal(code, cause, hint));
            None
        }
    }
}

fn across_sd_px(covariance: crate::geometry::Matrix, lens: &LensFinding) -> f64 {
    let along = lens.ends[1].0 - lens.ends[0].0;
    let across = Vector::new(-along.y, along.x).try_normalize(0.0).unwrap_or_else(Vector::x);
    across.dot(&(covariance * across)).max(0.0).sqrt()
}

fn reading_sd_deg(map: &EyeMap, reading: &MarkReading) -> f64 {
    let eye = map.to_eye(&reading.place);
    let across = Vector::new(-eye.y, eye.x).try_normalize(0.0).unwrap_or_else(Vector::x);
    let spread = map.inverse_matrix() * reading.covariance * map.inverse_matrix();
    (across.dot(&(spread * across)).max(0.0).sqrt() / eye.norm()).to_degrees()
}

/// Put the reference marks into the record.
///
/// - `meridians`: of each, with the sd of its own reading
/// - `zero_deg`: where the eye's 0 lies in the plane of the limbus
fn describe_marks(
    record: &mut Record,
    picture: &Picture,
    limbus: &LimbusReading,
    plan: &Plan,
    marks: &[(&MarkFinding, MarkReading)],
    meridians: &[(Meridian, f64)],
    zero_deg: f64,
) {
    let marks: Vec<Mark> = marks
        .iter()
        .zip(meridians)
        .map(|((finding, reading), meridian)| {
            let size = measure_size(picture, &limbus.ellipse, finding);
            Mark { finding, reading, size, meridian: *meridian }
        })
        .collect();
    record.reference_marks = mark_form::describe(&marks, &Ground { limbus, plan, zero_deg }).unwrap_or_default();
}

fn describe_alignment(record: &mut Record, aligned: &Aligned, lens: &LensFinding, marks: Marks, limbus: &Matrix5<f64>) {
    if let Some(part) = too_wide(&aligned.parts, marks) {
        let by_marks = if marks.count == 1 || lens.groups_seen == 1 {
            "use a still that shows both opposite marks and both groups of the lens's marks"
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
        && opposition.abs() > 5.0
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

fn describe_cost(record: &mut Record, placing: &Placing, case: &Case) {
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
