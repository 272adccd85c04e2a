//! How figures are put to people, alike in every output.

use crate::optics::mean_size::MeanSize;
use crate::record::{Alignment, Cylinder, Outcome, Record, Refraction, RefusalCode, Sense, TurnBack};
use crate::study::figures::decimal;

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

/// The mean error, whichever way turned: `3.0°; 2.9° with reading noise taken out`.
pub fn mean_in_words(mean: &MeanSize) -> String {
    let noise = without_noise(mean, &format!("{:.1}°", mean.without_noise_deg));
    format!("{:.1}°{noise}", mean.as_read_deg)
}

/// Its mean cost: `10.2 % of the cylinder; 9.9 % with reading noise taken out`.
pub fn mean_cost_in_words(mean: &MeanSize) -> String {
    let noise = without_noise(mean, &format!("{:.1} %", mean.percent_without_noise));
    format!("{:.1} % of the cylinder{noise}", mean.percent_as_read)
}

fn without_noise(mean: &MeanSize, left: &str) -> String {
    if mean.noise_alone {
        ", no more than reading noise".into()
    } else {
        format!("; {left} with reading noise taken out")
    }
}

/// The turn to the intended axis: `9.1° clockwise`.
pub fn turn_in_words(turn: &TurnBack) -> String {
    let sense = match turn.sense {
        Sense::Clockwise => "clockwise",
        Sense::CounterClockwise => "counter-clockwise",
    };
    format!("{:.1}° {sense}", turn.by_deg)
}

/// Whether the interval of the error leaves open which way the lens is turned.
pub fn may_be_in_place(alignment: &Alignment) -> bool {
    let [low, high] = alignment.interval95_deg;
    low <= 0.0 && high >= 0.0
}

/// What the turn would win: `would win 0.59 D (95 % interval 0.41 to 0.77 D)`; in percent of the cylinder where no dioptres are known.
/// An interval that includes no gain is said to.
pub fn gain_in_words(turn: &TurnBack, cylinder: &Cylinder) -> String {
    let no_gain = if turn.may_gain_nothing { "; this includes no gain" } else { "" };
    let (Some(gain), Some([low, high])) = (turn.gain_d, turn.gain_interval95_d) else {
        let [low, high] = cylinder.residual_interval95_percent;
        let gain = cylinder.residual_percent;
        return format!("would win {gain:.1} % of the cylinder (95 % interval {low:.1} to {high:.1} %{no_gain})");
    };
    let (verb, gain, low, high) =
        if gain < 0.0 { ("would lose", -gain, -high, -low) } else { ("would win", gain, low, high) };
    let little = if high < WORTH_A_WORD_D { "; less than a refraction shows" } else { "" };
    let [gain, low, high] = [gain, low, high].map(hundredths);
    let place = if cylinder.plane == "lens" { plane_in_words(cylinder) } else { "" };
    format!("{verb} {gain:.2} D{place} (95 % interval {low:.2} to {high:.2} D{no_gain}){little}")
}

/// Half of the smallest step in which cylinders are prescribed, D: what is less is no difference to a person.
const WORTH_A_WORD_D: f64 = 0.125;

/// As the trade writes a refraction: `+0.43/−0.86 × 126`.
pub fn refraction_in_words(refraction: &Refraction) -> String {
    let [sphere, cylinder] = [refraction.sphere_d, refraction.cylinder_d].map(hundredths);
    let sphere = signed(sphere, 2);
    if cylinder == 0.0 {
        return format!("{sphere} D");
    }
    match refraction.axis_deg {
        Some(axis) => format!("{sphere}/{} × {}", signed(cylinder, 2), axis_in_words(axis)),
        None => format!("{sphere}/{}, axis not sure", signed(cylinder, 2)),
    }
}

/// An axis to whole degrees, 1 to 180.
pub fn axis_in_words(axis_deg: f64) -> String {
    format!("{:.0}", (axis_deg.round() - 1.0).rem_euclid(180.0) + 1.0)
}

/// With its sign, 0 as positive: `+0.43`, `−0.86`.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = decimal(value, decimals);
    if text.starts_with('−') { text } else { format!("+{text}") }
}

/// A distance to the right (`left` where negative) and one up (`down`), mm: `0.17 mm left, 0.07 mm down`. Each may have a
/// standard deviation: `0.17 ± 0.05 mm left`.
pub fn place_in_words(right_up_mm: [f64; 2], sd_mm: Option<[f64; 2]>) -> String {
    let words = [["left", "right"], ["down", "up"]];
    let parts = [0, 1].map(|axis| {
        // What rounds to 0 counts as right, and as up.
        let mm = hundredths(right_up_mm[axis]);
        let sd = sd_mm.map(|sd| format!(" ± {:.2}", sd[axis])).unwrap_or_default();
        format!("{:.2}{sd} mm {}", mm.abs(), words[axis][usize::from(mm >= 0.0)])
    });
    parts.join(", ")
}

/// To 0.01, without a negative zero.
fn hundredths(value: f64) -> f64 {
    (value * 100.0).round() / 100.0 + 0.0
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
        RefusalCode::FarFromPlan => "lens too far from its plan to be believed",
        RefusalCode::IntervalTooWide => "interval too wide",
    }
}

/// What a reader has to know of a picture that is not as it was recorded: turns and clocks are those of the picture.
pub fn mirrored_back(record: &Record) -> Option<&'static str> {
    let shown = record.still.mirrored && record.outcome != Outcome::Unreadable;
    shown.then_some(
        "the recording is mirrored, and shown mirrored back: left and right, and the way to turn, are opposite to those \
         on the recording",
    )
}

/// File name of a still's path, which has `/` between folders.
pub fn file_name(path: &str) -> &str {
    path.rsplit('/').find(|part| !part.is_empty()).unwrap_or(path)
}

/// To 0.1, without a negative zero.
fn tenths(value: f64) -> f64 {
    (value * 10.0).round() / 10.0 + 0.0
}
