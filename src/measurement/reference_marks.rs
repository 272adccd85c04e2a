//! The reference marks that stand as the sheet says they should.

use super::mark_form::{self, Ground, Mark};
use super::refusals::{refusal, refusal_between};
use crate::alignment::MarkReading;
use crate::geometry::{Ellipse, Meridian};
use crate::record::{Alternative, Record, Refusal, RefusalCode};
use crate::stills::sheet::Case;
use crate::vision::Picture;
use crate::vision::reference_marks::MarkFinding;
use crate::vision::reference_marks::choose::{ChoiceRefusal, choose};
use crate::vision::reference_marks::size::measure_size;

/// Reference marks with what they denote.
pub(super) struct ChosenMarks<'a> {
    /// As found, and in the same order as they count.
    pub findings: Vec<&'a MarkFinding>,
    pub readings: Vec<MarkReading>,
    /// What is uncertain about where each stands besides its place as read, sd in degrees.
    pub doubts_sd_deg: Vec<f64>,
    /// How many more the sheet has.
    pub missing: usize,
    /// What their choice leaves the axis uncertain by, sd in degrees.
    pub spread_deg: f64,
    /// Probability that they are the marks, by their looks.
    pub probability: f64,
}

/// The marks that stand as the sheet says they should, each with what it denotes.
pub(super) fn chosen_marks<'a>(
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

/// Put the reference marks into the record.
///
/// - `meridians`: of each, with the sd of its own reading
pub(super) fn describe_marks(
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
