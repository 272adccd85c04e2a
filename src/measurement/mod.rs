//! One still, all the way: pixels and plan to a record.

mod after;
mod alignment;
mod attempt;
#[cfg(test)]
mod cost_tests;
mod cylinder;
mod eye;
mod far_from_plan;
mod interval_limits;
mod lens_marks;
mod limbus;
mod mark_form;
mod reference_marks;
mod refusals;

use self::attempt::{Attempt, by_marks};
use self::refusals::refusal;
use crate::geometry::EyeMap;
use crate::record::{Alignment, Outcome, Record, RefusalCode, Still};
use crate::stills::sheet::Case;
use crate::vision::Picture;
use crate::vision::limbus::{LimbusFinding, LimbusSearch};

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
