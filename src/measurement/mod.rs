//! One still, all the way: pixels and plan to a record.

mod after;
mod attempt;
#[cfg(test)]
mod cost_tests;
mod cylinder;
mod eye;
mod far_from_plan;
mod interval_limits;
mod mark_form;

use self::attempt::{Attempt, by_marks};
use self::cylinder::Placing;
use self::interval_limits::{Marks, too_wide};
use self::mark_form::{Ground, Mark};
use crate::alignment::{self, Aligned, AlignmentError, MarkReading, Plan};
use crate::geometry::{Axis, Ellipse, EyeMap, Meridian, Vector, ccw_degrees};
use crate::record::{
    ALTERNATIVE_LETTERS, Alignment, Alternative, LensMark, Limbus, MmSource, Outcome, Record, Refusal, RefusalCode,
    Still,
};
use crate::stills::sheet::Case;
use crate::vision::Picture;
use crate::vision::lens_marks::{LensFinding, LensRefusal, find_lens_marks};
use crate::vision::limbus::{LimbusFinding, LimbusSearch};
use crate::vision::reference_marks::MarkFinding;
use crate::vision::reference_marks::choose::{ChoiceRefusal, choose};
use crate::vision::reference_marks::size::measure_size;
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
    /// The limbus that the record speaks of; `None` without one.
    pub limbus: Option<LimbusFinding>,
    /// The alignment as found, also where the limits on its interval or its size led to a refusal: for judging these limits,
    /// never for a reader.
    pub found: Option<Alignment>,
}

/// Measure an upright picture.
///
/// - `still`: provenance, copied into the record
/// - `case`: the sheet's row for this still; [`Case::default`] where there is none
pub fn measure(picture: &Picture, still: Still, case: &Case) -> Measured {
    let blank = Record::new(still, case.columns.clone(), Outcome::Refused);
    let Attempt { mut record, map, limbus, .. } = attempt_of(blank, picture, case);
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
    Measured { record, map, limbus, found }
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
    Refusal { code, message: message.to_string(), hint: hint.into(), alternatives: Vec::new() }
}

/// Find all there is to find; each thing that is missing is a refusal of its own, and what is found goes into the record
/// whatever is missing after it.
fn attempt_of(mut blank: Record, picture: &Picture, case: &Case) -> Attempt {
    let (width, height) = picture.dimensions();
    if width.min(height) < LEAST_SIDE_PX {
        blank.refusals.push(refusal(
            RefusalCode::PictureTooSmall,
            format!("the picture is {width} x {height} px, need at least {LEAST_SIDE_PX} px on the shorter side"),
            "use the still as the recorder wrote it, not a thumbnail",
        ));
        return Attempt::of_nothing(blank);
    }
    let search = LimbusSearch::of(picture);
    let about = |limbus: LimbusFinding| Attempt::about(limbus, &blank, picture, case);
    let by_looks = match search.found() {
        Ok(limbus) => about(limbus),
        Err(cause) => Attempt::without_limbus(cause, &blank, case),
    };
    if !by_looks.lacks_something() {
        return by_looks;
    }
    by_marks(search.in_doubt().into_iter().map(about)).unwrap_or(by_looks)
}

/// How far marks are from opposite before it is said: twice what they differ by in the stills of real operations (2.4 rms).
const OPPOSITION_TOLD_DEG: f64 = 5.0;

/// A refusal where all was found and yet no error follows.
fn undetermined(cause: &AlignmentError) -> Refusal {
    let (code, hint) = match cause {
        AlignmentError::NoIntendedAxis { .. } => {
            (RefusalCode::IntendedAxisMissing, "give intended_axis_deg in the case sheet")
        }
        AlignmentError::MarksWithoutDirection => (
            RefusalCode::ReferenceMarksMissing,
            "see in the overlay what was taken for marks, and use another still of the case",
        ),
        AlignmentError::LensWithoutDirection => (
            RefusalCode::LensMarksMissing,
            "see in the overlay what was taken for marks, and use another still of the case",
        ),
    };
    refusal(code, cause, hint)
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

/// Reference marks with what they denote.
struct ChosenMarks<'a> {
    /// As found, and in the same order as they count.
    findings: Vec<&'a MarkFinding>,
    readings: Vec<MarkReading>,
    /// What is uncertain about where each stands besides its place as read, sd in degrees.
    doubts_sd_deg: Vec<f64>,
    /// How many more the sheet has.
    missing: usize,
    /// What their choice leaves the axis uncertain by, sd in degrees.
    spread_deg: f64,
    /// Probability that they are the marks, by their looks.
    probability: f64,
}

/// The marks that stand as the sheet says they should, each with what it denotes.
fn chosen_marks<'a>(
    record: &mut Record,
    candidates: &'a [MarkFinding],
    limbus: &Ellipse,
    case: &Case,
) -> Option<ChosenMarks<'a>> {
    let on_axis = [0.0, 180.0];
    let pattern: &[f64] = if case.marks_denote_deg.is_empty() { &on_axis } else { &case.marks_denote_deg };
    // The sheet tells where the eye's 0 lies; the pattern of marks on the intended axis is counted from that axis.
    let zero = match (case.marks_denote_deg.is_empty(), case.zero_direction_deg, case.intended_axis_deg) {
        (false, zero, _) => zero,
        (true, Some(zero), Some(axis)) => Some(zero + axis),
        _ => None,
    };
    let reading = match choose(candidates, limbus, pattern, zero) {
        Ok(reading) => reading,
        Err(cause) => {
            let counted_from = if case.marks_denote_deg.is_empty() { "an axis" } else { "their 0" };
            record.refusals.push(unchosen(&cause, candidates, counted_from));
            return None;
        }
    };
    let findings: Vec<&MarkFinding> = reading.placed.iter().map(|placed| &candidates[placed.finding]).collect();
    let readings = reading.placed.iter().zip(&findings).map(|(placed, finding)| MarkReading {
        place: finding.centroid,
        covariance: finding.covariance,
        denotes_deg: pattern[placed.pattern],
    });
    Some(ChosenMarks {
        readings: readings.collect(),
        findings,
        doubts_sd_deg: reading.placed.iter().map(|placed| placed.doubt_sd_deg).collect(),
        missing: pattern.len() - reading.placed.len(),
        spread_deg: reading.spread_deg,
        probability: reading.probability,
    })
}

/// A refusal where no reference marks could be chosen among `candidates`.
///
/// - `counted_from`: what the direction of a reading is that of
fn unchosen(cause: &ChoiceRefusal, candidates: &[MarkFinding], counted_from: &str) -> Refusal {
    match cause {
        ChoiceRefusal::Missing { .. } => refusal(
            RefusalCode::ReferenceMarksMissing,
            cause,
            "use a still in which the marks on the limbus are in focus and not covered; faint marks show best when they \
             are dried",
        ),
        ChoiceRefusal::Elsewhere { .. } => refusal(
            RefusalCode::ReferenceMarksMissing,
            cause,
            "check zero_direction_deg, intended_axis_deg, marks_denote_deg and mirrored in the case sheet, and see whether the \
             still is of this eye",
        ),
        ChoiceRefusal::Ambiguous { readings } => {
            let alternatives = readings.iter().map(|reading| Alternative {
                direction_deg: reading.zero_deg,
                probability: reading.probability,
                centers_px: reading.placed.iter().map(|p| candidates[p.finding].centroid.into()).collect(),
            });
            let alternatives = alternatives.collect();
            refusal_between(
                RefusalCode::ReferenceMarksAmbiguous,
                cause,
                counted_from,
                alternatives,
                "say in the case sheet what the marks denote (marks_denote_deg) and roughly where the eye's 0 lies in the \
                 picture (zero_direction_deg), or use a still that shows all marks",
            )
        }
    }
}

/// A refusal that leaves the choice between directions of `what`.
fn refusal_between(
    code: RefusalCode,
    cause: impl ToString,
    what: &str,
    alternatives: Vec<Alternative>,
    hint: &str,
) -> Refusal {
    let lettered = alternatives.iter().zip(ALTERNATIVE_LETTERS);
    let each: Vec<String> = lettered
        .map(|(a, letter)| format!("at {:.0}° ({letter}, probability {:.2})", a.direction_deg, a.probability))
        .collect();
    let message = format!("{}: {what} {}, counter-clockwise as seen", cause.to_string(), each.join(" or "));
    Refusal { alternatives, ..refusal(code, message, hint) }
}

fn found_lens(record: &mut Record, picture: &Picture, limbus: &Ellipse) -> Option<LensFinding> {
    match find_lens_marks(picture, limbus) {
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
            record.refusals.push(match &cause {
                LensRefusal::Missing { .. } => refusal(
                    RefusalCode::LensMarksMissing,
                    cause,
                    "use a still in which both groups of the lens's marks are in focus inside the pupil, clear of \
                     reflections and instruments",
                ),
                LensRefusal::Ambiguous { readings } => refusal_between(
                    RefusalCode::LensMarksAmbiguous,
                    &cause,
                    "an axis",
                    readings.iter().filter_map(|reading| lens_alternative(reading, limbus)).collect(),
                    "use a still in which folds and reflections lie elsewhere",
                ),
            });
            None
        }
    }
}

fn lens_alternative(reading: &LensFinding, limbus: &Ellipse) -> Option<Alternative> {
    let [from, to] = [0, 1].map(|k| limbus.unit(&reading.ends[k].0));
    Some(Alternative {
        direction_deg: Axis::from_degrees(ccw_degrees(&(to - from))?)?.degrees(),
        probability: reading.probability,
        centers_px: reading.marks.iter().map(|mark| mark.centroid.into()).collect(),
    })
}

fn across_sd_px(covariance: crate::geometry::Matrix, lens: &LensFinding) -> f64 {
    let along = lens.ends[1].0 - lens.ends[0].0;
    let across = Vector::new(-along.y, along.x).try_normalize(0.0).unwrap_or_else(Vector::x);
    across.dot(&(covariance * across)).max(0.0).sqrt()
}

/// Put the reference marks into the record.
///
/// - `meridians`: of each, with the sd of its own reading
fn describe_marks(
    record: &mut Record,
    picture: &Picture,
    chosen: &ChosenMarks,
    meridians: &[(Meridian, f64)],
    ground: &Ground,
) {
    let each = chosen.findings.iter().zip(&chosen.readings).zip(meridians);
    let marks: Vec<Mark> = each
        .map(|((finding, reading), meridian)| {
            let size = measure_size(picture, &ground.limbus.ellipse, finding);
            Mark { finding, reading, size, meridian: *meridian }
        })
        .collect();
    record.reference_marks = mark_form::describe(&marks, ground).unwrap_or_default();
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
