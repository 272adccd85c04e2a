//! Refusals as they stand in a record.

use crate::alignment::AlignmentError;
use crate::record::{ALTERNATIVE_LETTERS, Alternative, Refusal, RefusalCode};

/// A refusal that leaves no choice.
pub(super) fn refusal(code: RefusalCode, message: impl ToString, hint: &str) -> Refusal {
    Refusal { code, message: message.to_string(), hint: hint.into(), alternatives: Vec::new() }
}

/// A refusal that leaves the choice between directions of `what`.
pub(super) fn refusal_between(
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

/// A refusal where all was found and yet no error follows.
pub(super) fn undetermined(cause: &AlignmentError) -> Refusal {
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
