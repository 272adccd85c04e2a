//! The lens marks in a record.

use super::refusals::{refusal, refusal_between};
use crate::geometry::{Axis, Ellipse, Matrix, Vector, ccw_degrees};
use crate::record::{Alternative, LensMark, Record, RefusalCode};
use crate::vision::Picture;
use crate::vision::lens_marks::{LensFinding, LensRefusal, find_lens_marks};

/// The lens by its marks, which go into the record; refused there if they cannot be told.
pub(super) fn found_lens(record: &mut Record, picture: &Picture, limbus: &Ellipse) -> Option<LensFinding> {
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
                LensRefusal::Missing { .. } | LensRefusal::Tip => refusal(
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

fn across_sd_px(covariance: Matrix, lens: &LensFinding) -> f64 {
    let along = lens.ends[1].0 - lens.ends[0].0;
    let across = Vector::new(-along.y, along.x).try_normalize(0.0).unwrap_or_else(Vector::x);
    across.dot(&(covariance * across)).max(0.0).sqrt()
}
