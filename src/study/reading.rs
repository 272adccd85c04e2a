//! Lines of measurements.ndjson to stills. A line that cannot be used is counted under its reason; none is dropped silently.
//!
//! Only the fields that are needed are read, so that records with further ones are read alike.

use super::figures::{Inclusion, Why};
use crate::case_estimate::combine::Reading;
use crate::record::columns::{cell, is_excluded};
use crate::record::{SCHEMA_VERSION, VarianceParts};
use rayon::prelude::*;
use serde::Deserialize;
use serde_json::Value;
use std::collections::{BTreeMap, HashSet};
use std::sync::Arc;

/// Largest size of an error, degrees.
pub(super) const RIGHT_ANGLE_DEG: f64 = 90.0;

/// Code of a still that was refused because the lens would stand too far from its plan.
const FAR_FROM_PLAN: &str = "far_from_plan";

/// Messages of one kind that are shown, so that a file of another form does not fill the screen.
pub(super) const MESSAGES_OF_A_KIND: usize = 3;

/// The row of the case sheet, shared by the stills of an eye.
pub type Columns = Arc<BTreeMap<String, String>>;

/// A still that counts.
#[derive(Clone, Debug)]
pub struct StillRead {
    /// Path as the record has it.
    pub path: String,
    /// Columns of the case sheet.
    pub columns: Columns,
    /// What was measured, or the code of the first refusal.
    pub result: Result<Measure, String>,
    /// Whether it was refused, among other reasons or for this alone, because the lens would stand too far from its plan.
    pub far_from_plan: bool,
    /// Quality of the reference marks, also of a refused still.
    pub marks: MarkQuality,
    /// Program and settings that made the record.
    pub program: String,
}

impl StillRead {
    /// When in the operation it was taken; empty where the sheet does not say.
    pub fn stage(&self) -> &str {
        cell(&self.columns, "stage")
    }
}

/// What was measured in a still.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measure {
    /// Error, with its variance that is the still's own and that which all stills of the eye share.
    pub reading: Reading,
    /// Lens axis in the eye's notation, degrees.
    pub lens_axis_deg: Option<f64>,
    /// What is left of the cylinder, where the sheet tells the toric power.
    pub dioptres: Option<Dioptres>,
}

/// Residual cylinder in dioptres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dioptres {
    /// Its power, D, not negative.
    pub residual_d: f64,
    /// J0 and J45 of the residual refraction, D; `None` where the eye's 0 is unknown. The lens is taken to match its eye then, so
    /// that the power goes by the error alone.
    pub power_vector_d: Option<[f64; 2]>,
    /// Whether they hold at the cornea, not in the plane of the lens.
    pub at_cornea: bool,
}

/// Quality of the reference marks of a still; `None` where nothing tells it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct MarkQuality {
    /// Mean size of the lean from the radial direction, degrees.
    pub lean_deg: Option<f64>,
    /// Mean length, mm.
    pub length_mm: Option<f64>,
    /// Mean width, mm.
    pub width_mm: Option<f64>,
    /// Mean angle that the width subtends at the centre of the limbus, degrees.
    pub width_deg: Option<f64>,
    /// Mean contrast.
    pub contrast: Option<f64>,
    /// How far two marks are from opposite, degrees, as a size.
    pub opposition_deg: Option<f64>,
    /// Standard deviation of reading them, degrees: root of their part of the variance.
    pub reading_sd_deg: Option<f64>,
}

/// What the files held.
#[derive(Clone, Debug, Default)]
pub struct Read {
    /// Stills that count, in the order read.
    pub stills: Vec<StillRead>,
    /// Paths of the stills that were left out because the case sheet or the choice says so.
    pub set_aside: Vec<String>,
    /// What became of every record.
    pub inclusions: Vec<Inclusion>,
    /// What was wrong, with file and line, for people; a few of each kind.
    pub messages: Vec<String>,
}

#[derive(Deserialize)]
struct Line {
    schema: Option<Value>,
    still: Option<LineStill>,
    #[serde(default)]
    case: BTreeMap<String, Value>,
    outcome: Option<String>,
    #[serde(default)]
    refusals: Vec<LineRefusal>,
    #[serde(default)]
    reference_marks: Vec<LineMark>,
    alignment: Option<LineAlignment>,
    cylinder: Option<LineCylinder>,
    program: Option<LineProgram>,
}

#[derive(Deserialize)]
struct LineStill {
    #[serde(default)]
    path: String,
    #[serde(default)]
    sha256: String,
}

#[derive(Deserialize)]
struct LineRefusal {
    #[serde(default)]
    code: String,
}

#[derive(Deserialize)]
struct LineMark {
    length_mm: Option<f64>,
    width_mm: Option<f64>,
    width_deg: Option<f64>,
    lean_deg: Option<f64>,
    contrast: Option<f64>,
}

#[derive(Deserialize)]
struct LineAlignment {
    error_deg: Option<f64>,
    sd_deg: Option<f64>,
    lens_axis_in_eye_deg: Option<f64>,
    marks_opposition_deg: Option<f64>,
    variance_parts_deg2: Option<Parts>,
}

/// Variance by source, degrees squared.
type Parts = BTreeMap<String, Option<f64>>;

#[derive(Deserialize)]
struct LineCylinder {
    #[serde(default)]
    plane: String,
    residual_d: Option<f64>,
    j0_d: Option<f64>,
    j45_d: Option<f64>,
}

#[derive(Deserialize)]
struct LineProgram {
    #[serde(default)]
    version: String,
    #[serde(default)]
    settings: String,
}

/// A refusal code as a phrase.
pub fn in_words(code: &str) -> String {
    code.replace('_', " ")
}

/// What a line is.
enum Parsed {
    Still {
        still: Box<StillRead>,
        identity: String,
        excluded: Option<String>,
    },
    /// Reason, and detail for the message.
    Unusable(&'static str, String),
}

/// How a still is left out on wish.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Choice {
    /// Stage that counts; all where `None`.
    pub stage: Option<String>,
}

/// Read files: their names for messages, and their bytes.
pub fn read(files: &[(String, Vec<u8>)], choice: &Choice) -> Read {
    let mut tally = Tally::default();
    let mut seen = HashSet::new();
    let (mut stills, mut set_aside) = (Vec::new(), Vec::new());
    for (name, bytes) in files {
        let lines: Vec<(usize, &[u8])> = bytes
            .split(|byte| *byte == b'\n')
            .enumerate()
            .filter(|(_, line)| !line.trim_ascii().is_empty())
            .map(|(at, line)| (at + 1, line))
            .collect();
        let parsed: Vec<Parsed> = lines.par_iter().map(|(_, line)| parse(line)).collect();
        for ((at, _), parsed) in lines.iter().zip(parsed) {
            tally.records += 1;
            let place = format!("{name}: line {at}");
            match parsed {
                Parsed::Unusable(reason, detail) => tally.leave_out(Why::Unusable, reason, &place, &detail),
                Parsed::Still { still, identity, excluded } => {
                    if !seen.insert(identity) {
                        let reason = "the same still again: the first record counts";
                        tally.leave_out(Why::Unusable, reason, &place, &still.path);
                    } else if let Some(reason) = excluded {
                        let reason = format!("left out by the case sheet: {reason}");
                        tally.leave_out(Why::Asked, &reason, &place, &still.path);
                        set_aside.push(still.path);
                    } else if choice.stage.as_deref().is_some_and(|wanted| wanted != still.stage()) {
                        tally.leave_out(Why::Asked, "of another stage", &place, &still.path);
                        set_aside.push(still.path);
                    } else {
                        stills.push(*still);
                    }
                }
            }
        }
    }
    let mut inclusions = vec![Inclusion::new("records read", tally.records)];
    inclusions.extend(
        tally
            .left_out
            .iter()
            .map(|((reason, why), count)| Inclusion::left_out(format!("left out: {reason}"), *count, *why)),
    );
    let measured = stills.iter().filter(|still| still.result.is_ok()).count();
    inclusions.push(Inclusion::new("counted: measured", measured));
    let mut refused: BTreeMap<&str, usize> = BTreeMap::new();
    for code in stills.iter().filter_map(|still| still.result.as_ref().err()) {
        *refused.entry(code).or_default() += 1;
    }
    inclusions.extend(
        refused.iter().map(|(code, count)| Inclusion::new(format!("counted: refused, {}", in_words(code)), *count)),
    );
    Read { stills, set_aside, inclusions, messages: tally.messages }
}

#[derive(Default)]
struct Tally {
    records: usize,
    left_out: BTreeMap<(String, Why), usize>,
    messages: Vec<String>,
}

impl Tally {
    fn leave_out(&mut self, why: Why, reason: &str, place: &str, detail: &str) {
        let count = self.left_out.entry((reason.to_owned(), why)).or_default();
        *count += 1;
        if *count <= MESSAGES_OF_A_KIND {
            self.messages.push(format!("{place}: {reason}: {detail}"));
        } else if *count == MESSAGES_OF_A_KIND + 1 {
            self.messages.push(format!("{reason}: further records like this are counted in the report"));
        }
    }
}

fn parse(bytes: &[u8]) -> Parsed {
    let line: Line = match serde_json::from_slice(bytes) {
        Ok(line) => line,
        Err(error) => return Parsed::Unusable("not a record", error.to_string()),
    };
    match line.schema.as_ref().and_then(Value::as_u64) {
        Some(schema) if schema == u64::from(SCHEMA_VERSION) => {}
        _ => {
            let found = line.schema.map_or("none".to_owned(), |schema| schema.to_string());
            let detail = format!("found schema {found}, expected {SCHEMA_VERSION}");
            return Parsed::Unusable("a record of another schema version", detail);
        }
    }
    let Some(still) = line.still else {
        return Parsed::Unusable("not a record", "no field \"still\"".to_owned());
    };
    let measure = line.alignment.as_ref().map(|alignment| measure(alignment, line.cylinder.as_ref()));
    let result = match (line.outcome.as_deref(), measure) {
        (Some("measured"), Some(Ok(measure))) => Ok(measure),
        (Some("measured"), Some(Err(detail))) => {
            return Parsed::Unusable("measured, but without a usable angle", detail);
        }
        (Some("measured"), None) => {
            return Parsed::Unusable("measured, but without a usable angle", "no field \"alignment\"".to_owned());
        }
        (Some(outcome @ ("refused" | "unreadable")), _) => {
            Err(line.refusals.first().map_or(outcome, |refusal| refusal.code.as_str()).to_owned())
        }
        (outcome, _) => {
            let found = outcome.unwrap_or("none");
            let detail = format!("outcome {found:?}, expected measured, refused or unreadable");
            return Parsed::Unusable("not a record", detail);
        }
    };
    let far_from_plan = result.is_err() && line.refusals.iter().any(|refusal| refusal.code == FAR_FROM_PLAN);
    let columns: BTreeMap<String, String> = line
        .case
        .into_iter()
        .map(|(column, value)| match value {
            Value::String(text) => (column, text),
            Value::Null => (column, String::new()),
            other => (column, other.to_string()),
        })
        .collect();
    let excluded = is_excluded(&columns).then(|| {
        let reason = cell(&columns, "exclude_reason");
        if reason.is_empty() { "no reason given".to_owned() } else { reason.to_owned() }
    });
    let identity = if still.sha256.is_empty() { still.path.clone() } else { still.sha256 };
    let program = line.program.map_or_else(
        || "stillaxis of unknown version".to_owned(),
        |p| format!("stillaxis {} {}", p.version, p.settings).trim_end().to_owned(),
    );
    let marks = quality(&line.reference_marks, line.alignment.as_ref());
    let still = StillRead { path: still.path, columns: Arc::new(columns), result, far_from_plan, marks, program };
    Parsed::Still { still: Box::new(still), identity, excluded }
}

fn measure(alignment: &LineAlignment, cylinder: Option<&LineCylinder>) -> Result<Measure, String> {
    let error_deg = alignment.error_deg.ok_or("error_deg is null")?;
    if !(-RIGHT_ANGLE_DEG..=RIGHT_ANGLE_DEG).contains(&error_deg) {
        return Err(format!("error_deg is {error_deg}, expected -90 to 90"));
    }
    let sd = alignment.sd_deg.ok_or("sd_deg is null")?;
    if sd < 0.0 {
        return Err(format!("sd_deg is {sd}, expected 0 or more"));
    }
    let dioptres = |c: &LineCylinder| {
        let power_vector_d = c.j0_d.zip(c.j45_d).map(|(j0, j45)| [j0, j45]);
        Some(Dioptres { residual_d: c.residual_d?, power_vector_d, at_cornea: c.plane == "cornea" })
    };
    Ok(Measure {
        reading: reading(error_deg, sd, alignment.variance_parts_deg2.as_ref()),
        lens_axis_deg: alignment.lens_axis_in_eye_deg,
        dioptres: cylinder.and_then(dioptres),
    })
}

/// The reading of a still, its variance by source. Where the record does not give all sources, what those given leave of the whole
/// is taken for the still's own: further stills then lessen it, and no more is taken out of a spread than is known to be reading.
fn reading(error_deg: f64, sd_deg: f64, parts: Option<&Parts>) -> Reading {
    let part = |name: &str| parts?.get(name).copied().flatten().map(|variance| variance.max(0.0));
    let names = ["reference_marks", "lens_marks", "limbus", "oval", "parallax"];
    let [reference_marks, lens_marks, limbus, oval, parallax] = names.map(|name| part(name).unwrap_or(0.0));
    let told = VarianceParts { reference_marks, lens_marks, limbus, oval, parallax };
    let mut reading = Reading::of(error_deg, &told);
    if names.iter().any(|name| part(name).is_none()) {
        reading.own_deg2 += (sd_deg * sd_deg - told.sum()).max(0.0);
    }
    reading
}

fn quality(marks: &[LineMark], alignment: Option<&LineAlignment>) -> MarkQuality {
    let mean = |of: &dyn Fn(&LineMark) -> Option<f64>| {
        let known: Vec<f64> = marks.iter().filter_map(of).collect();
        crate::statistics::descriptive::mean(&known)
    };
    let part = alignment.and_then(|a| a.variance_parts_deg2.as_ref()?.get("reference_marks").copied().flatten());
    MarkQuality {
        lean_deg: mean(&|mark| mark.lean_deg.map(f64::abs)),
        length_mm: mean(&|mark| mark.length_mm),
        width_mm: mean(&|mark| mark.width_mm),
        width_deg: mean(&|mark| mark.width_deg),
        contrast: mean(&|mark| mark.contrast),
        opposition_deg: alignment.and_then(|a| a.marks_opposition_deg).map(f64::abs),
        reading_sd_deg: part.map(|variance| variance.max(0.0).sqrt()),
    }
}
