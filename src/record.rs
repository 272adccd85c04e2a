//! The measurement record: the public contract of what is known of one still.
//!
//! One line of JSON a still, in input order. A JSON Schema of it is printed by `stillaxis schema`. What a record does
//! not know is `null`; nothing stands in for it.

mod case;
pub mod columns;
mod cost;

pub use crate::alignment::VarianceParts;
pub use case::{CASE_SCHEMA_VERSION, CaseEstimate, CaseRecord, CaseStill, CaseView};
pub use cost::{
    AstigmatismSource, BestAxis, Cylinder, InducedAstigmatism, JCovariance, LeftOut, Placed, Refraction, Sense,
    TurnBack, ValueSource, VectorAnalysis,
};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Version of the record's form.
pub const SCHEMA_VERSION: u32 = 1;

/// All that is known of one still.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Record {
    /// Version of the record's form.
    pub schema: u32,
    /// The picture measured, and where it came from.
    pub still: Still,
    /// The row of the case sheet: every column as written, those that stillaxis does not know among them.
    pub case: BTreeMap<String, String>,
    /// How it ended.
    pub outcome: Outcome,
    /// Why no angle is given; empty for a measured still.
    pub refusals: Vec<Refusal>,
    /// What a reader should know of a figure that is given all the same.
    pub warnings: Vec<String>,
    /// The limbus, where one was found.
    pub limbus: Option<Limbus>,
    /// The reference marks that were chosen; none where the choice was refused.
    pub reference_marks: Vec<ReferenceMark>,
    /// The lens marks found.
    pub lens_marks: Vec<LensMark>,
    /// The alignment, for a measured still.
    pub alignment: Option<Alignment>,
    /// What the misalignment costs in cylinder, for a measured still.
    pub cylinder: Option<Cylinder>,
    /// The turn that would bring the lens to its intended axis, and what it would win, for a measured still.
    #[serde(default)]
    pub turn_back: Option<TurnBack>,
    /// Where the present lens would leave the least cylinder, for a measured still whose sheet gives a refraction after surgery.
    #[serde(default)]
    pub best_axis: Option<BestAxis>,
    /// Vector analysis of the eye, where the sheet gives its astigmatism before and its refraction after surgery; no
    /// picture is needed for it.
    #[serde(default)]
    pub vector_analysis: Option<VectorAnalysis>,
    /// Results of a measured still that the sheet has too little for, and the columns that would give them.
    #[serde(default)]
    pub left_out: Vec<LeftOut>,
    /// The program that made the record.
    pub program: Program,
}

impl Record {
    /// The record of a still of which nothing is known yet, by this version of the program with its defaults.
    pub fn new(still: Still, case: BTreeMap<String, String>, outcome: Outcome) -> Self {
        Self {
            schema: SCHEMA_VERSION,
            still,
            case,
            outcome,
            refusals: Vec::new(),
            warnings: Vec::new(),
            limbus: None,
            reference_marks: Vec::new(),
            lens_marks: Vec::new(),
            alignment: None,
            cylinder: None,
            turn_back: None,
            best_axis: None,
            vector_analysis: None,
            left_out: Vec::new(),
            program: Program { version: env!("CARGO_PKG_VERSION").into(), settings: String::new() },
        }
    }
}

/// How the measurement of a still ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Outcome {
    /// An alignment error is given.
    Measured,
    /// The picture was read, but no angle can be answered for.
    Refused,
    /// The file could not be read as a picture.
    Unreadable,
}

/// The picture measured.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Still {
    /// Path as given, with `/` between folders.
    pub path: String,
    /// SHA-256 of the file's bytes, hexadecimal; empty where it could not be read.
    pub sha256: String,
    /// Width of the upright picture, px.
    pub width_px: u32,
    /// Height of the upright picture, px.
    pub height_px: u32,
    /// EXIF orientation, 1 to 8, that was undone.
    pub exif_orientation: u8,
    /// Whether the recording was declared mirrored; undone before measuring.
    pub mirrored: bool,
    /// Pixel width over height.
    pub pixel_aspect: f64,
    /// When the still was taken, as its metadata say.
    pub taken_at: Option<String>,
}

/// Why a still was refused.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Refusal {
    /// Short code, for counting.
    pub code: RefusalCode,
    /// What is wrong, with the figures that say so.
    pub message: String,
    /// What to do about it.
    pub hint: String,
    /// Where two readings fit nearly alike: both, the likelier first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub alternatives: Vec<Alternative>,
}

/// Letters by which message and overlay name the readings of [`Refusal::alternatives`], in their order.
pub const ALTERNATIVE_LETTERS: [&str; 2] = ["A", "B"];

/// One of the readings between which a refused still leaves the choice open.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Alternative {
    /// Direction of the lens axis, [0, 180), or of the 0 from which the reference marks are counted, [0, 360): degrees
    /// counter-clockwise in the picture made round by the limbus.
    pub direction_deg: f64,
    /// Probability of this direction among all readings and that there are no marks.
    pub probability: f64,
    /// Centroids of what would be the marks, px.
    pub centers_px: Vec<[f64; 2]>,
}

/// The causes a still can be refused for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum RefusalCode {
    /// The file is missing, empty, cut short, or no picture that can be read.
    Unreadable,
    /// The picture is too small to show a limbus and marks.
    PictureTooSmall,
    /// No limbus was found.
    LimbusNotFound,
    /// Too little of the limbus is visible to place it.
    LimbusTooLittleVisible,
    /// No reference marks are there, or none where the sheet has them, or none that give a direction.
    ReferenceMarksMissing,
    /// Two readings of the reference marks fit nearly alike, or their pattern leaves two answers.
    ReferenceMarksAmbiguous,
    /// The marks denote meridians, and no intended axis is given to lay off from them.
    IntendedAxisMissing,
    /// The lens marks were not found.
    LensMarksMissing,
    /// Two readings of the lens marks fit nearly alike.
    LensMarksAmbiguous,
    /// The lens would stand so far from the intended axis that a misreading or a wrong sheet is likelier.
    FarFromPlan,
    /// An angle was found, but its interval is wider than the limit.
    IntervalTooWide,
}

/// The fitted limbus.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Limbus {
    /// Centre, px: x right, y down, pixel centres at integers.
    pub center_px: [f64; 2],
    /// Semi-axes, px, the longer first.
    pub semi_axes_px: [f64; 2],
    /// Direction of the longer semi-axis in the picture's own frame, degrees from x right towards y *down*, [0, 180).
    pub angle_deg: f64,
    /// sqrt(a b), px.
    pub radius_px: f64,
    /// Standard deviation of the radius, px.
    pub radius_sd_px: f64,
    /// Standard deviation of the centre (root mean square over directions), px.
    pub center_sd_px: f64,
    /// Standard deviation of the natural logarithm of the ratio of the semi-axes.
    #[serde(default)]
    pub axis_ratio_sd: Option<f64>,
    /// How much of the limbus was seen, degrees of arc.
    pub visible_arc_deg: f64,
    /// Millimetres per pixel (geometric mean over directions).
    pub mm_per_px: f64,
    /// Where the millimetres come from.
    pub mm_source: MmSource,
    /// Least margin of its tests over what they ask for, natural logarithms of odds; not a probability. Below 0 where it was taken
    /// for the limbus because of the marks about it.
    pub score: f64,
}

/// Where the scale in millimetres comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum MmSource {
    /// The eye's own white-to-white distance, from the case sheet.
    Case,
    /// The average of 11.7 mm.
    Assumed,
}

/// A mark on the limbus.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReferenceMark {
    /// Where it stands: direction from the centre of the limbus in the plane of the limbus, degrees counter-clockwise
    /// as seen in the picture, [0, 360).
    pub meridian_deg: f64,
    /// The meridian of the eye it was taken to stand for, where the sheet says what the marks denote.
    pub denotes_deg: Option<f64>,
    /// Standard deviation of the meridian by the mark's own reading, degrees.
    pub sd_deg: f64,
    /// Centroid, px.
    pub center_px: [f64; 2],
    /// Form.
    pub kind: MarkKind,
    /// Length along its own direction (the radial one for a dot), mm, between the places of half depth.
    pub length_mm: f64,
    /// Standard deviation of the length, mm, that of the scale in it; `null` where the mark has no two clear ends and the
    /// length is that of its outline.
    #[serde(default)]
    pub length_sd_mm: Option<f64>,
    /// The length as an angle: of an arc as long on the limbus, degrees, whatever the scale.
    #[serde(default)]
    pub length_deg: Option<f64>,
    /// Standard deviation of that, degrees.
    #[serde(default)]
    pub length_sd_deg: Option<f64>,
    /// Width across it, mm, between the places of half depth: mean over the middle four fifths of a radial mark's length, the
    /// middle quarter of a dot's.
    pub width_mm: f64,
    /// Standard deviation of the width, mm, that of the scale in it; `null` where the mark is no single bar and the width is
    /// that of its outline.
    #[serde(default)]
    pub width_sd_mm: Option<f64>,
    /// The angle that the width subtends at the centre of the limbus, degrees.
    #[serde(default)]
    pub width_deg: Option<f64>,
    /// Standard deviation of that, degrees.
    #[serde(default)]
    pub width_sd_deg: Option<f64>,
    /// Lean of a radial mark from the radial direction, degrees, positive counter-clockwise; `null` for a dot.
    pub lean_deg: Option<f64>,
    /// Standard deviation of the lean, degrees, the waviness of the mark and the centre of the limbus in it; `null` where the
    /// mark is no single bar (lines that cross or lie side by side).
    #[serde(default)]
    pub lean_sd_deg: Option<f64>,
    /// How far its core stands out from its ground, 1 - mark / ground of the channel that shows it best, 0 to 1; negative
    /// where it is brighter.
    pub contrast: f64,
    /// Standard deviation of the contrast, by noise and by how uneven the ground beside it is.
    #[serde(default)]
    pub contrast_sd: Option<f64>,
    /// How far it stands from opposite the mark that denotes the opposite meridian, degrees, positive counter-clockwise;
    /// `null` where there is none.
    #[serde(default)]
    pub from_opposite_deg: Option<f64>,
    /// Standard deviation of that, degrees, that of the centre of the limbus in it.
    #[serde(default)]
    pub from_opposite_sd_deg: Option<f64>,
}

/// Form of a reference mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum MarkKind {
    /// Longer along the radius than across: it has a direction of its own.
    Radial,
    /// About as wide as long: a place without a direction.
    Dot,
}

/// One mark (a dot or a dash) of the lens.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LensMark {
    /// Centroid, px.
    pub center_px: [f64; 2],
    /// Standard deviation of the centroid across the lens axis, px.
    pub sd_px: f64,
    /// 0 or 1: which of the two groups it belongs to.
    pub group: u8,
}

/// The alignment of the lens.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Alignment {
    /// Lens axis less intended axis, degrees, [-90, 90); positive is counter-clockwise as seen in the picture.
    pub error_deg: f64,
    /// Standard deviation of the error, degrees.
    pub sd_deg: f64,
    /// 95 % interval of the error, degrees; unwrapped, so that it may leave [-90, 90).
    pub interval95_deg: [f64; 2],
    /// Direction of the reference marks in the plane of the limbus, degrees, [0, 180).
    pub reference_deg: f64,
    /// Direction of the intended axis there, degrees, [0, 180).
    pub intended_deg: f64,
    /// Direction of the lens axis there, degrees, [0, 180).
    pub lens_deg: f64,
    /// Lens axis in the eye's own notation, (0, 180], to be held against the plan; `null` where the eye's 0 is unknown.
    pub lens_axis_in_eye_deg: Option<f64>,
    /// How far the reference marks are from being opposite, degrees (their meridians' difference less 180);
    /// `null` where there are not two opposite ones.
    pub marks_opposition_deg: Option<f64>,
    /// Midpoint of the lens's two groups from the centre of the limbus, mm on the limbus scale: x right, y up as seen.
    /// *Apparent*: parallax and the cornea's magnification are in it. `null` with one group.
    pub offset_apparent_mm: Option<[f64; 2]>,
    /// Standard deviation of that along each direction (root mean square), mm, by centre and lens marks; `null` with one group.
    #[serde(default)]
    pub offset_sd_mm: Option<f64>,
    /// What each source adds to the variance, degrees squared.
    pub variance_parts_deg2: VarianceParts,
}

/// The program that made a record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Program {
    /// Version of stillaxis.
    pub version: String,
    /// Options that change a figure and differ from their defaults, as `--name value`, separated by spaces. Always empty in this
    /// version: no option of `measure` changes a figure. What does, the case sheet, is in `case`.
    pub settings: String,
}
