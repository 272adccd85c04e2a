//! Everything a drawn still shows, as numbers with a meaning.
//!
//! # Frames and units
//! *Eye frame*: origin in the centre of the limbus, x towards the eye's 0 meridian, y towards its 90, one unit the
//! half width of the limbus along 0-180 (the field names end in `_r`). Angles are degrees counter-clockwise, in the
//! eye's own notation. *Picture*: pixels of the finished still, centres at integers, x right, y down. Colours are
//! sRGB display values, 0 to 255, as a well-lit white-balanced picture would show them.

use super::random::Difficulty;
use serde::{Deserialize, Serialize};

/// sRGB display value, 0 to 255 each.
pub type Colour = [f64; 3];

/// A still's whole content.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Scene {
    /// Seed of all texture: grain, fibres, paths of vessels, sensor noise.
    pub texture_seed: u64,
    /// How the eye stands before the camera.
    pub view: ViewParameters,
    /// What was planned, and what the marks stand for.
    pub plan: Plan,
    /// The white of the eye and the limbus.
    pub sclera: Sclera,
    /// The iris.
    pub iris: Iris,
    /// The pupil and what shines through it.
    pub pupil: Pupil,
    /// The lens, its marks included; `None`: no lens in the eye.
    pub lens: Option<Lens>,
    /// Marks at the limbus.
    pub reference_marks: Vec<ReferenceMark>,
    /// Lids, lashes, speculum, drape.
    pub surroundings: Surroundings,
    /// Instruments over the eye, the lowest first.
    pub instruments: Vec<Instrument>,
    /// Bubbles in the fluid on the eye.
    pub bubbles: Vec<Bubble>,
    /// Reflections of the lamps.
    pub reflections: Vec<Reflection>,
    /// The light.
    pub light: Light,
    /// Optics, sensor and recorder.
    pub camera: Camera,
    /// What is hard about this still, in short words; for sorting results.
    pub difficulties: Vec<String>,
    /// How hard a still was asked for; `None` for one that was not drawn by chance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub difficulty: Option<Difficulty>,
}

/// How the eye stands before the camera.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ViewParameters {
    /// Width of the picture, px.
    pub width_px: u32,
    /// Height of the picture, px.
    pub height_px: u32,
    /// Centre of the limbus, px.
    pub limbus_center_px: [f64; 2],
    /// Half the width of the limbus along 0-180, seen squarely and in square pixels, px.
    pub limbus_half_width_px: f64,
    /// Direction in the picture of the eye's 0 meridian, seen squarely: degrees counter-clockwise.
    pub turn_deg: f64,
    /// Angle between the plane of the limbus and the plane of the picture, degrees.
    pub tilt_deg: f64,
    /// Direction in the picture in which the tilt shortens, degrees counter-clockwise; what lies behind the limbus
    /// slides this way.
    pub tilt_direction_deg: f64,
    /// Pixel width over height; 1 square. Below 1 the picture looks stretched sideways.
    pub pixel_aspect: f64,
    /// White-to-white distance, mm.
    pub white_to_white_mm: f64,
    /// Height over width of the limbus.
    pub limbus_height_over_width: f64,
}

/// What was planned, and what the marks stand for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// Intended axis in the eye, degrees.
    pub intended_axis_deg: f64,
    /// Meridians of the eye that the marks were meant for, in the order of [`Scene::reference_marks`], degrees.
    pub marks_meant_deg: Vec<f64>,
    /// Whether the case sheet says what the marks denote; if not, they stand on the intended axis.
    pub sheet_has_meridians: bool,
    /// Rough direction of the eye's 0 for the case sheet, degrees; `None` leaves it out.
    pub zero_direction_deg: Option<f64>,
}

/// The white of the eye and the limbus.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sclera {
    /// Colour of the white.
    pub colour: Colour,
    /// Redness of the conjunctiva, 0 white to 1 bloodshot.
    pub redness: f64,
    /// Number of vessels that come from the outside.
    pub vessels: u32,
    /// Share of the vessels that run radially and straight, like a mark.
    pub radial_share: f64,
    /// Width of the grey zone between cornea and white, limbus radii; its middle is the limbus.
    pub limbus_zone_r: f64,
    /// Colour of the grey zone.
    pub limbus_colour: Colour,
    /// How much of the grey zone's colour shows, 0 to 1.
    pub limbus_strength: f64,
    /// Blood on the surface.
    pub blood: Vec<Blood>,
    /// Stains of the dye that marks were made with.
    pub dye: Vec<Dye>,
}

/// A patch of blood on or beside the limbus.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Blood {
    /// Centre in the eye frame, limbus radii.
    pub center_r: [f64; 2],
    /// Half its size along and across, limbus radii.
    pub size_r: [f64; 2],
    /// Direction of its length, degrees.
    pub direction_deg: f64,
    /// Opacity, 0 to 1.
    pub opacity: f64,
    /// Share broken up into spots, 0 to 1.
    pub ragged: f64,
}

/// A soft stain of dye on the eye.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Dye {
    /// Centre in the eye frame, limbus radii.
    pub center_r: [f64; 2],
    /// Half its size along and across, limbus radii.
    pub size_r: [f64; 2],
    /// Direction of its length, degrees.
    pub direction_deg: f64,
    /// Opacity at its middle, 0 to 1.
    pub opacity: f64,
    /// Colour.
    pub colour: Colour,
}

/// The iris.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Iris {
    /// Colour near the limbus.
    pub outer_colour: Colour,
    /// Colour near the pupil.
    pub inner_colour: Colour,
    /// Contrast of the radial fibres, 0 to 1.
    pub fibres: f64,
    /// Contrast of blotches and crypts, 0 to 1.
    pub blotches: f64,
    /// Darkness of a ring just inside the limbus, 0 to 1.
    pub dark_ring: f64,
    /// Haze of the cornea over its outer part, 0 to 1.
    pub haze: f64,
}

/// The pupil and what shines through it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pupil {
    /// Centre in the eye frame, limbus radii.
    pub center_r: [f64; 2],
    /// Mean radius, limbus radii.
    pub radius_r: f64,
    /// Exponent of the opening's outline: 2 round, towards 1 a square whose corners are pulled out.
    pub squareness: f64,
    /// Direction of one corner, degrees.
    pub corner_deg: f64,
    /// Irregularity of the edge, share of the radius.
    pub irregular: f64,
    /// Softness of the edge, limbus radii.
    pub edge_r: f64,
    /// Darkness of a ruff along the edge, 0 to 1.
    pub ruff: f64,
    /// What holds it open.
    pub device: PupilDevice,
    /// The light from behind.
    pub reflex: Reflex,
}

/// What holds a pupil open.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PupilDevice {
    /// Nothing.
    None,
    /// Four hooks through the limbus, one at each corner.
    Hooks,
    /// A ring along the edge.
    Ring,
}

/// The light that comes back through the pupil.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reflex {
    /// Colour on the bright side.
    pub bright: Colour,
    /// Colour on the dull side.
    pub dull: Colour,
    /// Direction from dull to bright, degrees.
    pub direction_deg: f64,
    /// How sharply the one goes over into the other, 0 evenly across the pupil to 1 in a narrow band.
    pub steepness: f64,
    /// Where they meet, limbus radii from the pupil's centre along the direction.
    pub meeting_r: f64,
    /// Cloudiness and remains of cortex, 0 to 1.
    pub clouds: f64,
}

/// The lens.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Lens {
    /// Its axis in the eye, degrees.
    pub axis_deg: f64,
    /// Centre in the lens plane, eye frame, mm.
    pub center_mm: [f64; 2],
    /// Depth behind the plane of the limbus, mm.
    pub depth_mm: f64,
    /// Magnification by the cornea.
    pub magnification: f64,
    /// Tilt of the lens against the plane of the limbus, degrees.
    pub tilt_deg: f64,
    /// Direction in which that tilt shortens, eye frame, degrees.
    pub tilt_direction_deg: f64,
    /// Radius of the optic, mm.
    pub optic_radius_mm: f64,
    /// Brightness of the reflection along its edge, 0 to 1.
    pub edge_reflection: f64,
    /// Radius of the opening in the capsule, mm; 0 for none to be seen.
    pub capsule_opening_mm: f64,
    /// Number of folds in the capsule.
    pub folds: u32,
    /// Straight lines in the capsule where it is stretched.
    #[serde(default)]
    pub stretch_lines: Vec<StretchLine>,
    /// Form of the haptics.
    pub haptics: Haptics,
    /// Direction of the haptics against the axis, degrees.
    pub haptics_deg: f64,
    /// The axis marks; `None`: a lens without.
    pub marks: Option<LensMarks>,
}

/// A straight line in a stretched capsule, on both sides of the middle of the lens or through it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StretchLine {
    /// Direction, eye frame, degrees.
    pub direction_deg: f64,
    /// How far it passes beside the middle of the lens, counter-clockwise of its direction, limbus radii.
    pub aside_r: f64,
    /// Where it begins on either side, from the place nearest to the middle, limbus radii; 0 for one line through.
    pub inner_r: f64,
    /// Where it ends: along its direction and against it, limbus radii.
    pub outer_r: [f64; 2],
    /// Width, limbus radii.
    pub width_r: f64,
    /// Opacity in the middle of its width, 0 to 1.
    pub opacity: f64,
    /// Colour, sRGB 0 to 255.
    pub colour: [f64; 3],
}

/// Form of a lens's haptics.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Haptics {
    /// Two curved arms.
    Arms,
    /// Four corners of a plate.
    Plate,
    /// Hidden behind the iris.
    Hidden,
}

/// The axis marks of a lens: two groups alike, opposite each other.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LensMarks {
    /// Form of each group.
    pub kind: LensMarkKind,
    /// Distance of a group's middle from the centre of the lens, mm.
    pub radius_mm: f64,
    /// Diameter of a dot, width of a line, mm.
    pub width_mm: f64,
    /// Opacity, 0 to 1.
    pub opacity: f64,
    /// Colour: dark on a bright ground, or bright on a dark one.
    pub colour: Colour,
}

/// Form of a group of lens marks.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LensMarkKind {
    /// A row of dots along the axis.
    Dots {
        /// How many.
        count: u32,
        /// From dot to dot, mm.
        pitch_mm: f64,
    },
    /// A short line along the axis.
    Dash {
        /// Its length, mm.
        length_mm: f64,
    },
    /// Two thin lines beside each other along the axis.
    PairedLines {
        /// Their length, mm.
        length_mm: f64,
        /// From line to line, mm.
        gap_mm: f64,
    },
}

/// A mark at the limbus.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReferenceMark {
    /// Meridian of its middle, eye frame, degrees.
    pub meridian_deg: f64,
    /// Form.
    pub kind: ReferenceMarkKind,
    /// Inner end, limbus radii.
    pub inner_r: f64,
    /// Outer end, limbus radii.
    pub outer_r: f64,
    /// Width at the inner and at the outer end (diameter of a dot), limbus radii.
    pub width_r: [f64; 2],
    /// Lean of its direction from the radial one, degrees counter-clockwise.
    pub lean_deg: f64,
    /// Softness of the edges, limbus radii.
    pub softness_r: f64,
    /// Opacity, 0 to 1.
    pub opacity: f64,
    /// Loss of opacity towards the outer end, 0 to 1.
    pub fading: f64,
    /// Share of its length that is missing in gaps, 0 to 1.
    pub broken: f64,
    /// Colour of the ink.
    pub ink: Colour,
    /// Seed of its gaps and grain.
    pub seed: u32,
}

/// Form of a reference mark.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ReferenceMarkKind {
    /// A fine dark line: a scratch with dye.
    Line,
    /// A broad stroke of ink.
    Stroke,
    /// A round dot.
    Dot,
    /// A blot with soft edges and an uneven outline.
    Blot,
    /// Two lines that cross.
    Crossed {
        /// Angle between them, degrees.
        angle_deg: f64,
    },
    /// Two lines side by side.
    Doubled {
        /// From line to line, limbus radii.
        gap_r: f64,
    },
}

/// Lids, lashes, speculum, drape.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Surroundings {
    /// Height of the upper lid's edge over the limbus's centre, limbus radii.
    pub upper_lid_r: f64,
    /// Depth of the lower lid's edge under it, limbus radii.
    pub lower_lid_r: f64,
    /// Half the width of the opening between the lids, limbus radii.
    pub half_width_r: f64,
    /// Colour of skin.
    pub skin: Colour,
    /// Colour of the drape.
    pub drape: Colour,
    /// How far from the lid's edge the drape begins, limbus radii.
    pub skin_width_r: f64,
    /// Gloss and creases of a plastic drape, 0 to 1.
    pub plastic: f64,
    /// Stain by iodine, 0 to 1.
    pub iodine: f64,
    /// Number of lashes.
    pub lashes: u32,
    /// Speculum.
    pub speculum: Speculum,
}

/// What holds the lids.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Speculum {
    /// None to be seen.
    None,
    /// Bent wires.
    Wires,
    /// Solid blades.
    Blades,
}

/// An instrument over the eye.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Instrument {
    /// What it is.
    pub kind: InstrumentKind,
    /// Its tip in the eye frame, limbus radii.
    pub tip_r: [f64; 2],
    /// Direction from the tip to the hand, eye frame, degrees.
    pub direction_deg: f64,
    /// Its width, limbus radii.
    pub width_r: f64,
    /// Colour of its body.
    pub colour: Colour,
}

/// Kinds of instruments.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum InstrumentKind {
    /// A thin bent tube.
    Cannula,
    /// Two arms that meet.
    Forceps,
    /// A pointed blade on a handle.
    Knife,
    /// A thick hand piece with a clear sleeve.
    HandPiece,
    /// A swab or a gloved finger.
    Swab,
    /// A thin straight shaft that shines, as of a hook or a fine needle.
    Shaft,
}

/// A bubble on the eye.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bubble {
    /// Centre in the eye frame, limbus radii.
    pub center_r: [f64; 2],
    /// Radius, limbus radii.
    pub radius_r: f64,
    /// Strength of its rim, 0 to 1.
    pub strength: f64,
}

/// A reflection of a lamp.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reflection {
    /// Form.
    pub kind: ReflectionKind,
    /// Centre in the eye frame, limbus radii.
    pub center_r: [f64; 2],
    /// Half its size along and across, limbus radii.
    pub size_r: [f64; 2],
    /// Direction of its length, degrees.
    pub direction_deg: f64,
    /// Brightness; 1 is the white of a well-lit sheet, and beyond that saturated.
    pub brightness: f64,
}

/// Forms of lamp reflections.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ReflectionKind {
    /// A blob.
    Blob,
    /// A ring of small lamps.
    Ring,
    /// A faint wide veil.
    Veil,
}

/// The light.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Light {
    /// Gain of red, green and blue.
    pub gain: [f64; 3],
    /// Exposure: 1 shows a white sheet as white.
    pub exposure: f64,
    /// Centre of the lit field, px of the picture.
    pub field_center_px: [f64; 2],
    /// Radius at half brightness, px of the picture.
    pub field_radius_px: f64,
    /// Width of its fall-off, share of the radius.
    pub field_softness: f64,
    /// Light left outside it, 0 to 1.
    pub outside: f64,
    /// Uneven light across the eye, share per limbus radius near its centre.
    pub slope: f64,
    /// Direction towards the brighter side, eye frame, degrees.
    pub slope_deg: f64,
    /// Whether the field ends in a hard round rim, as with a mask in the microscope.
    pub hard_rim: bool,
}

/// Optics, sensor and recorder.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Camera {
    /// Resolution at which the sensor saw the eye over that of the finished picture; below 1 the picture is upscaled.
    pub resolution: f64,
    /// Standard deviation of the defocus, px of the picture.
    pub blur_px: f64,
    /// Length of motion blur, px of the picture.
    pub motion_px: f64,
    /// Its direction in the picture, degrees counter-clockwise.
    pub motion_deg: f64,
    /// Standard deviation of the noise at middle grey, 8-bit levels.
    pub noise_levels: f64,
    /// Standard deviation of the softness of colour, px.
    pub chroma_blur_px: f64,
    /// Strength of the recorder's sharpening, 0 to 1.
    pub sharpening: f64,
    /// Gamma over that of sRGB: above 1 darkens the middle.
    pub gamma: f64,
    /// Contrast about the middle, 1 neutral.
    pub contrast: f64,
    /// Saturation, 1 neutral.
    pub saturation: f64,
    /// Black level, 8-bit levels of red, green and blue.
    pub black: [f64; 3],
    /// Quality of JPEG, 1 to 100; `None` for PNG.
    pub jpeg_quality: Option<u8>,
}
