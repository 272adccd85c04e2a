//! What several stills of one case come to: one line of cases.ndjson a case and stage.

use super::{Outcome, Program};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Version of the case record's form.
pub const CASE_SCHEMA_VERSION: u32 = 1;

/// What the stills of one case come to. Stills belong together by `patient`, `eye`, `case` and `stage`: between two stages the
/// lens may have been turned.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CaseRecord {
    /// Version of the record's form.
    pub schema: u32,
    /// Name of the case, as the sheet has it.
    pub case: String,
    /// Pseudonym of the patient; empty where the sheet has none.
    pub patient: String,
    /// Eye, as the sheet has it; empty where it does not say.
    pub eye: String,
    /// Stage of the operation; empty where the sheet does not say.
    pub stage: String,
    /// Its stills, in the order measured.
    pub stills: Vec<CaseStill>,
    /// What a reader should know of the estimate.
    pub warnings: Vec<String>,
    /// The estimate; `null` where no still was measured.
    pub estimate: Option<CaseEstimate>,
    /// What the change of view tells; `null` where fewer than two stills give an offset of the lens.
    pub view: Option<CaseView>,
    /// The program that made the record.
    pub program: Program,
}

/// A still of a case.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CaseStill {
    /// Path as given.
    pub path: String,
    /// How its measurement ended.
    pub outcome: Outcome,
    /// Its error, degrees, for a measured still.
    pub error_deg: Option<f64>,
    /// Its weight in the estimate, 0 to 1; 0 for one that stands apart from the others or has no figure.
    pub weight: f64,
    /// What keeps a measured still out of the estimate; `null` where it is in it.
    pub left_out: Option<String>,
}

/// The alignment of a case.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CaseEstimate {
    /// Measured stills, those left out among them.
    pub measured: u32,
    /// Stills that the estimate rests on.
    pub used: u32,
    /// Lens axis less intended axis, degrees, [-90, 90); positive is counter-clockwise as seen in the picture.
    pub error_deg: f64,
    /// Standard deviation of the error, degrees.
    pub sd_deg: f64,
    /// 95 % interval of the error, degrees; unwrapped, so that it may leave [-90, 90). Where the stills differ by more than their own
    /// errors allow (`inflation` above 1) it is Student's, and wider than `sd_deg` says: so few had to tell their scatter.
    pub interval95_deg: [f64; 2],
    /// The part of `sd_deg` that further stills would lessen, degrees; of one still 0.02 at the least.
    pub own_sd_deg: f64,
    /// The part that all stills share and that no further still lessens, degrees: the oval of the limbus, the depth of the
    /// lens, the marks' own form.
    pub shared_sd_deg: f64,
    /// Standard deviation of the stills used among themselves, degrees; `null` for one.
    pub spread_sd_deg: Option<f64>,
    /// What it would be by their own errors of reading alone, degrees.
    pub expected_spread_sd_deg: f64,
    /// Probability of stills that differ as much or more, if their own errors are as stated, to three digits; `null` for one.
    pub agreement_p: Option<f64>,
    /// Factor by which their own errors were enlarged because they differ by more; 1 where they agree.
    pub inflation: f64,
    /// What the placing leaves, percent of the cylinder: 200 |sin error|.
    pub residual_percent: f64,
    /// Its 95 % interval, percent.
    pub residual_interval95_percent: [f64; 2],
}

/// What the change of view between the stills tells. Directions are those of the first still used: x right, y up as seen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CaseView {
    /// Stills with an offset of the lens.
    pub stills: u32,
    /// Mean apparent offset of the lens from the centre of the limbus, mm on the limbus scale.
    pub offset_apparent_mm: [f64; 2],
    /// Likely change of tilt between the two views that differ most, degrees.
    pub tilt_change_deg: f64,
    /// Depth of the lens behind the plane of the limbus, mm; `null` where the views do not tell it.
    pub depth_mm: Option<f64>,
    /// Standard deviation of the depth, mm.
    pub depth_sd_mm: Option<f64>,
    /// Decentration of the lens, mm, with parallax and the cornea's magnification taken out; `null` where the views do not tell
    /// it better than one alone would.
    pub decentration_mm: Option<[f64; 2]>,
    /// Standard deviation of the decentration along each direction, mm.
    pub decentration_sd_mm: Option<[f64; 2]>,
}
