//! How figures are put to people, alike in every output.

use crate::record::{Alignment, Cylinder, Outcome, RefusalCode};

/// What is printed wherever a result can be acted upon.
pub const CAUTION: &str = "A figure from one still is not a reason to operate. Judgement rests with the licensed \
     surgeon, who checks it against the eye itself, refraction and the lens's own labelling, under local rules. \
     Not a medical device.";

/// A signed angle to 0.1 degrees: `+2.4°`, `−2.4°`, `0.0°`.
pub fn signed_degrees(degrees: f64) -> String {
    let tenths = tenths(degrees);
    let sign = match tenths {
        t if t > 0.0 => "+",
        t if t < 0.0 => "−",
        _ => "",
    };
    format!("{sign}{:.1}°", tenths.abs())
}

/// The alignment error in words, to 0.1 degrees: `2.4° counter-clockwise of the intended axis`.
pub fn error_in_words(error_deg: f64) -> String {
    let tenths = tenths(error_deg);
    match tenths {
        // At a right angle the sense is a matter of notation.
        t if t.abs() >= 90.0 => "90.0° across the intended axis".to_owned(),
        t if t > 0.0 => format!("{t:.1}° counter-clockwise of the intended axis"),
        t if t < 0.0 => format!("{:.1}° clockwise of the intended axis", -t),
        _ => "0.0° from the intended axis".to_owned(),
    }
}

/// The error's interval: `+1.1° to +3.7°`.
pub fn interval_in_words(alignment: &Alignment) -> String {
    let [low, high] = alignment.interval95_deg;
    format!("{} to {}", signed_degrees(low), signed_degrees(high))
}

/// The residual: `8.4 % of the cylinder (95 % interval 3.8 to 12.9 %)`.
pub fn residual_in_words(cylinder: &Cylinder) -> String {
    let [low, high] = cylinder.residual_interval95_percent;
    format!("{:.1} % of the cylinder (95 % interval {low:.1} to {high:.1} %)", cylinder.residual_percent)
}

/// The residual in dioptres, where it is known: `0.21 D at the cornea (95 % interval 0.10 to 0.33 D)`.
pub fn residual_dioptres_in_words(cylinder: &Cylinder) -> Option<String> {
    let residual = cylinder.residual_d?;
    let place = plane_in_words(cylinder);
    let interval = cylinder
        .residual_interval95_d
        .map(|[low, high]| format!(" (95 % interval {low:.2} to {high:.2} D)"))
        .unwrap_or_default();
    Some(format!("{residual:.2} D{place}{interval}"))
}

/// Where the dioptres of the residual are to be read, with a space before: ` at the cornea`.
pub fn plane_in_words(cylinder: &Cylinder) -> &'static str {
    match cylinder.plane.as_str() {
        "cornea" => " at the cornea",
        "lens" => " in the plane of the lens",
        _ => "",
    }
}

/// An outcome as one word for a reader.
pub fn outcome_in_words(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Measured => "measured",
        Outcome::Refused => "refused",
        Outcome::Unreadable => "unreadable",
    }
}

/// The cause of a refusal in plain words.
pub fn cause_in_words(code: RefusalCode) -> &'static str {
    match code {
        RefusalCode::Unreadable => "file cannot be read as a picture",
        RefusalCode::PictureTooSmall => "picture too small",
        RefusalCode::LimbusNotFound => "limbus not found",
        RefusalCode::LimbusTooLittleVisible => "too little of the limbus visible",
        RefusalCode::ReferenceMarksMissing => "reference marks missing",
        RefusalCode::ReferenceMarksAmbiguous => "reference marks ambiguous",
        RefusalCode::IntendedAxisMissing => "intended axis not given",
        RefusalCode::LensMarksMissing => "lens marks missing",
        RefusalCode::LensMarksAmbiguous => "lens marks ambiguous",
        RefusalCode::IntervalTooWide => "interval too wide",
    }
}

/// File name of a still's path, which has `/` between folders.
pub fn file_name(path: &str) -> &str {
    path.rsplit('/').find(|part| !part.is_empty()).unwrap_or(path)
}

/// To 0.1, without a negative zero.
fn tenths(value: f64) -> f64 {
    (value * 10.0).round() / 10.0 + 0.0
}
