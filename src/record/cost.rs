//! What a record says of dioptres and axes.
//!
//! Axes are in the eye's own notation, (0, 180], counter-clockwise as the examiner facing the eye sees it; `null` where the eye's
//! 0 is unknown. Sums are paraxial; cornea, lens and spectacles are thin. Intervals hold the reading of the picture, and
//! take powers and planned axes as the sheet gives them.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What the misalignment costs.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Cylinder {
    /// Plane of the dioptres: `cornea`, or `lens` where the sheet lacks what carries them to the cornea; empty without dioptres.
    pub plane: String,
    /// What the placing leaves, in percent of the cylinder: 200 |sin t|, where lens and cornea match. Planning is not in it.
    pub residual_percent: f64,
    /// Its 95 % interval, percent.
    pub residual_interval95_percent: [f64; 2],
    /// Cylinder that is left of the eye's astigmatism (`astigmatism_source`), D: of placing and planning.
    pub residual_d: Option<f64>,
    /// Its 95 % interval, D; never below 0, and not symmetric near 0.
    pub residual_interval95_d: Option<[f64; 2]>,
    /// Minus-cylinder axis that corrects the residual; `null` where the interval of the error leaves it no meaning (where lens and
    /// cornea match: where that includes 0).
    pub residual_axis_deg: Option<f64>,
    /// J0 of the residual refraction, D.
    pub j0_d: Option<f64>,
    /// J45 of the residual refraction, D.
    pub j45_d: Option<f64>,
    /// Covariance of the two by the angle's noise; of use also where the axis has no meaning.
    #[serde(default)]
    pub j_covariance: Option<JCovariance>,
    /// The residual as a sphero-cylinder. Its spherical equivalent is that of the refraction after surgery, which turning does
    /// not change, and 0 where the sheet gives none.
    #[serde(default)]
    pub refraction: Option<Refraction>,
    /// Toric power of the lens in `plane`, D, as plus.
    #[serde(default)]
    pub lens_d: Option<f64>,
    /// Power of the lens along the intended meridian, D.
    #[serde(default)]
    pub along_intended_d: Option<f64>,
    /// Oblique power of the lens, 45 degrees from there, D; positive where the lens stands counter-clockwise.
    #[serde(default)]
    pub oblique_d: Option<f64>,
    /// Astigmatism that the residual is counted from, in `plane`, D.
    #[serde(default)]
    pub astigmatism_d: Option<f64>,
    /// Its steep meridian.
    #[serde(default)]
    pub astigmatism_axis_deg: Option<f64>,
    /// Where that astigmatism is from.
    #[serde(default)]
    pub astigmatism_source: Option<AstigmatismSource>,
    /// Residual cylinder at the spectacle plane, D.
    #[serde(default)]
    pub spectacle_d: Option<f64>,
    /// Its 95 % interval, D.
    #[serde(default)]
    pub spectacle_interval95_d: Option<[f64; 2]>,
    /// The residual at the spectacle plane as a sphero-cylinder.
    #[serde(default)]
    pub spectacle_refraction: Option<Refraction>,
    /// Spectacle plane before the cornea, mm.
    #[serde(default)]
    pub vertex_mm: Option<f64>,
    /// Where `vertex_mm` is from.
    #[serde(default)]
    pub vertex_source: Option<ValueSource>,
    /// What a lens at its intended axis would leave: the plan's error, apart from the placing's. `null` where the sheet
    /// does not tell the eye's astigmatism, and the lens is taken to match it.
    #[serde(default)]
    pub placed: Option<Placed>,
}

/// Covariance of J0 and J45, D^2.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct JCovariance {
    /// Variance of J0.
    pub j0_d2: f64,
    /// Variance of J45.
    pub j45_d2: f64,
    /// Covariance of J0 with J45.
    pub j0_j45_d2: f64,
}

/// A refraction in minus-cylinder form.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Refraction {
    /// Sphere, D.
    pub sphere_d: f64,
    /// Cylinder, D, not positive.
    pub cylinder_d: f64,
    /// Axis of the minus cylinder; `null` where it has no meaning or the eye's 0 is unknown.
    pub axis_deg: Option<f64>,
}

/// Where the eye's astigmatism is from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum AstigmatismSource {
    /// `target_cylinder_d` and `target_axis_deg` of the sheet.
    Target,
    /// Keratometry of the sheet, with the incision's astigmatism added where the sheet gives it.
    Keratometry,
    /// Not given: the lens is taken to cancel all of it at the intended axis.
    Matched,
}

/// Where a value is from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum ValueSource {
    /// The case sheet.
    Case,
    /// What is usual.
    Assumed,
}

/// What a lens at its intended axis would leave.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Placed {
    /// Residual cylinder at the corneal plane, D.
    pub residual_d: f64,
    /// The same as a sphero-cylinder.
    pub refraction: Refraction,
    /// Residual cylinder at the spectacle plane, D.
    pub spectacle_d: f64,
    /// The same as a sphero-cylinder.
    pub spectacle_refraction: Refraction,
    /// How far the intended axis lies from the steep meridian of the astigmatism, degrees in [-90, 90), counter-clockwise
    /// positive.
    pub axis_off_deg: f64,
}

/// A sense of turning, as seen in the picture and so by the surgeon through the microscope.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Sense {
    /// As the hands of a clock go.
    Clockwise,
    /// Against them.
    CounterClockwise,
}

/// The shorter turn that would bring the lens to its intended axis. What it is worth is for the surgeon to judge.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TurnBack {
    /// Which way, as seen in the picture.
    pub sense: Sense,
    /// How far, degrees within [0, 90].
    pub by_deg: f64,
    /// Where the upper end of the lens axis stands on the face of a clock laid on the eye, in the plane of the limbus, `h:mm`,
    /// 12:00 at the top: the clock from the surgeon's seat, for a recording that is as upright as the surgeon saw it. In a
    /// squeezed picture a clock laid on the picture would show up to half an hour more or less.
    pub lens_clock: String,
    /// Where the upper end of the intended axis stands there.
    pub intended_clock: String,
    /// Cylinder that the turn would win at the plane of the residual, D; negative where it would lose. Where no dioptres are
    /// known, `residual_percent` of the cylinder.
    pub gain_d: Option<f64>,
    /// Its 95 % interval, D.
    pub gain_interval95_d: Option<[f64; 2]>,
    /// Whether the interval of the gain includes no gain.
    pub may_gain_nothing: bool,
}

/// The axis at which the present lens would leave the least cylinder, by the refraction after surgery. The lens is
/// taken not to have turned between the still and that refraction; where it did, all of this is wrong. Turning does not change the spherical equivalent.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BestAxis {
    /// The refraction after surgery, carried to the corneal plane.
    pub refraction: Refraction,
    /// Astigmatism that the eye has without the cylinder of its lens, at the corneal plane, D.
    pub astigmatism_d: f64,
    /// Its steep meridian, the axis of least residual cylinder; `null` without an astigmatism, where all axes are alike.
    pub axis_deg: Option<f64>,
    /// Turn of the lens to there, degrees in [-90, 90), counter-clockwise positive.
    pub turn_deg: Option<f64>,
    /// What the doubt in the lens axis makes of that turn: 95 % interval, degrees, unwrapped. The refraction's own error
    /// is not in it, and is the larger one as a rule.
    pub turn_interval95_deg: Option<[f64; 2]>,
    /// Toric power of the lens at the corneal plane, D.
    pub lens_d: f64,
    /// Lens axis in the still.
    pub lens_axis_deg: f64,
    /// Cylinder that is left now, at the corneal plane, D.
    pub now_d: f64,
    /// Cylinder that would be left there, D.
    pub left_d: f64,
    /// What the doubt in the lens axis makes of it: 95 % interval, D.
    pub left_interval95_d: [f64; 2],
    /// Cylinder that would be left at the spectacle plane, D.
    pub left_spectacle_d: f64,
}

/// One eye's vector analysis, at the corneal plane; no astigmatism is the target. Formulas and sources:
/// `optics::vector_analysis`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct VectorAnalysis {
    /// Where the astigmatism before surgery is from.
    pub before_source: AstigmatismSource,
    /// The change that was intended.
    pub target_induced: InducedAstigmatism,
    /// The change that came about.
    pub surgically_induced: InducedAstigmatism,
    /// The change still missing.
    pub difference: InducedAstigmatism,
    /// Size of the change that came about less that of the intended one, D: positive is overcorrected.
    pub magnitude_error_d: f64,
    /// Axis of the change that came about less that of the intended one, degrees in [-90, 90): positive is
    /// counter-clockwise.
    pub angle_error_deg: Option<f64>,
    /// Size of the change that came about over that of the intended one: 1 is ideal.
    pub correction_index: Option<f64>,
    /// Size of the change still missing over that of the intended one: 0 is ideal.
    pub success_index: Option<f64>,
}

/// A change of astigmatism.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct InducedAstigmatism {
    /// Size, D.
    pub magnitude_d: f64,
    /// Meridian that is steepened; `null` where nothing changed.
    pub axis_deg: Option<f64>,
}

/// Results that a record has not, for want of columns of the case sheet.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LeftOut {
    /// What is left out.
    pub result: String,
    /// The columns that would give it.
    pub columns: Vec<String>,
}
