//! What a perfect reader would find in a drawn still.
//!
//! Directions are taken from the marks as drawn (centroid of their ink), in the plane of the limbus by the contract's
//! symmetric map with the eye's true oval; faults of the marks are therefore in the truth.

use super::camera;
use super::canvas::Canvas;
use super::lens::group_centers;
use super::light;
use super::mark_truth::{MarkTruth, form};
use super::marks::{Ink, Trace};
use super::random::Difficulty;
use super::scene::{LensMarkKind, ReferenceMarkKind, Scene};
use super::view::View;
use crate::geometry::{Meridian, Vector, axis_difference};
use serde::{Deserialize, Serialize};

/// Mean contrast (8-bit levels) below which a careful person does not see a mark.
const LEAST_CONTRAST: f64 = 7.0;
/// Signal over noise of the whole mark below which a person does not make it out: Rose, "The sensitivity performance of
/// the human eye on an absolute scale", J. Opt. Soc. Am. 38 (1948) 196 (from memory).
const LEAST_SIGNAL_TO_NOISE: f64 = 5.0;
/// Share of a mark that must be free.
const LEAST_SHARE: f64 = 0.4;
/// Share of a group of lens marks that must be free where it alone has to show the axis: two dots of three are less.
const LEAST_SHARE_ALONE: f64 = 0.7;
/// Share of the limbus that must be seen.
const LEAST_LIMBUS: f64 = 0.4;

/// The truth of one still.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// File name of the still.
    pub still: String,
    /// Lens axis less intended axis, degrees, counter-clockwise as seen; left out where a kind of mark is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub alignment_error_deg: Option<f64>,
    /// Direction of the reference marks (of the first pair, or of the first mark), degrees, [0, 180).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reference_deg: Option<f64>,
    /// Direction of the lens axis, degrees, [0, 180).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lens_deg: Option<f64>,
    /// Height over width of the limbus.
    pub limbus_height_over_width: f64,
    /// Form of the reference marks.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reference_kind: Option<String>,
    /// Form of each reference mark that can be seen.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reference_marks: Vec<MarkTruth>,
    /// Form of the lens marks.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lens_kind: Option<String>,
    /// Which kind of mark is missing: `reference`, `lens` or `both`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub missing: Option<String>,
    /// The limbus.
    pub limbus: LimbusTruth,
    /// Share of the limbus that can be seen, 0 to 1.
    pub limbus_visible: f64,
    /// Whether a careful person could read the alignment off the still.
    pub readable: bool,
    /// What is hard about the still.
    pub difficulties: Vec<String>,
    /// How hard a still was asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub difficulty: Option<Difficulty>,
}

/// The limbus in the picture.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LimbusTruth {
    /// Centre, px.
    pub center_px: [f64; 2],
    /// Semi-axes, px, the longer first.
    pub semi_axes_px: [f64; 2],
    /// Direction of the first, degrees from x right towards y down.
    pub angle_deg: f64,
}

/// What can be seen of the marks and the limbus.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Visibility {
    /// Share of the limbus, 0 to 1.
    pub limbus: f64,
    /// Of each reference mark.
    pub reference_marks: Vec<MarkVisibility>,
    /// Of each group of lens marks.
    pub lens_groups: Vec<MarkVisibility>,
}

/// What can be seen of one mark.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct MarkVisibility {
    /// Share of its ink that nothing covers and that lies in the picture, 0 to 1.
    pub share: f64,
    /// Mean contrast of that share in the finished picture, 8-bit levels.
    pub contrast_levels: f64,
    /// That contrast, over the whole share, against the noise of the sensor.
    pub signal_to_noise: f64,
}

impl MarkVisibility {
    fn is_readable(&self) -> bool {
        self.share >= LEAST_SHARE
            && self.contrast_levels >= LEAST_CONTRAST
            && self.signal_to_noise >= LEAST_SIGNAL_TO_NOISE
    }

    /// Hidden so well that the still counts as one without it.
    fn is_hidden(&self) -> bool {
        self.share < 0.1 || self.contrast_levels < 2.0
    }
}

/// Whether a group of marks is one dot: where the other is hidden, nothing has a direction.
fn is_lone_dot(kind: &LensMarkKind) -> bool {
    matches!(kind, LensMarkKind::Dots { count: 1, .. })
}

/// Whether enough is seen of the lens marks to read an axis.
fn axis_is_readable(scene: &Scene, visibility: &Visibility) -> bool {
    let groups = &visibility.lens_groups;
    let alone = |group: &MarkVisibility| group.is_readable() && group.share >= LEAST_SHARE_ALONE;
    scene.lens.as_ref().and_then(|l| l.marks.as_ref()).is_some_and(|marks| {
        groups.iter().all(MarkVisibility::is_readable) || (!is_lone_dot(&marks.kind) && groups.iter().any(alone))
    })
}

/// The truth of a scene.
///
/// - `still`: its file name
/// - `visibility`: from the drawing
///
/// `None` where the scene's view describes no ellipse.
pub fn truth(scene: &Scene, still: &str, visibility: &Visibility) -> Option<Truth> {
    let view = View::new(&scene.view)?;
    let seen = |v: &[MarkVisibility]| v.iter().any(|m| !m.is_hidden());
    let reference = Reference::of(scene, &view).filter(|_| seen(&visibility.reference_marks));
    let lens_marks = scene.lens.as_ref().and_then(|l| Some((l, l.marks.as_ref()?)));
    let lens_marks = lens_marks.filter(|(_, marks)| {
        let mut groups = visibility.lens_groups.iter().map(|g| !g.is_hidden());
        if is_lone_dot(&marks.kind) { groups.all(|seen| seen) } else { groups.any(|seen| seen) }
    });
    let lens_deg = lens_marks.and_then(|(lens, marks)| {
        let [a, b] = group_centers(&view, lens, marks);
        view.axis_through(&b, &a).map(|axis| axis.degrees())
    });
    let missing = match (&reference, lens_deg) {
        (Some(_), Some(_)) => None,
        (None, Some(_)) => Some("reference"),
        (Some(_), None) => Some("lens"),
        (None, None) => Some("both"),
    };
    let alignment_error_deg = match (&reference, lens_deg) {
        (Some(r), Some(lens)) => Some(axis_difference(r.zero_deg + scene.plan.intended_axis_deg, lens)),
        _ => None,
    };
    let limbus = view.limbus();
    let readable = alignment_error_deg.is_some()
        && visibility.limbus >= LEAST_LIMBUS
        && visibility.reference_marks.iter().all(MarkVisibility::is_readable)
        && axis_is_readable(scene, visibility);
    Some(Truth {
        still: still.to_owned(),
        alignment_error_deg,
        reference_deg: reference.as_ref().map(|r| r.direction_deg),
        lens_deg,
        limbus_height_over_width: scene.view.limbus_height_over_width,
        reference_kind: reference.map(|_| reference_kind(scene)),
        reference_marks: scene
            .reference_marks
            .iter()
            .zip(&visibility.reference_marks)
            .filter(|(_, seen)| seen.is_readable())
            .filter_map(|(mark, _)| form(mark, &view))
            .collect(),
        lens_kind: lens_marks.map(|(_, m)| lens_kind(&m.kind)),
        missing: missing.map(str::to_owned),
        limbus: LimbusTruth {
            center_px: [limbus.center().x, limbus.center().y],
            semi_axes_px: limbus.semi_axes_px(),
            angle_deg: limbus.angle_deg(),
        },
        limbus_visible: visibility.limbus,
        readable,
        difficulties: scene.difficulties.clone(),
        difficulty: scene.difficulty,
    })
}

/// What the reference marks say of the eye's orientation.
struct Reference {
    /// Direction of the eye's 0 by the marks as they stand and what they were meant for, degrees.
    zero_deg: f64,
    /// Direction of the first pair or mark, degrees, [0, 180).
    direction_deg: f64,
}

impl Reference {
    /// Two marks meant to be opposite give the chord between them, single ones their meridian. They are averaged by
    /// what each is worth: a chord across the limbus fixes the turn twice as well (in variance) as one mark does.
    fn of(scene: &Scene, view: &View) -> Option<Self> {
        let centroids: Vec<Vector> = scene.reference_marks.iter().map(|m| Ink::new(m).centroid()).collect();
        let meant = &scene.plan.marks_meant_deg;
        let mut used = vec![false; centroids.len()];
        let mut turns: Vec<(f64, f64, f64)> = Vec::new();
        for i in 0..centroids.len() {
            if used[i] {
                continue;
            }
            let opposite = (i + 1..centroids.len())
                .find(|&j| !used[j] && (axis_difference(meant[i], meant[j])).abs() < 1e-9 && meant[i] != meant[j]);
            let (direction, weight) = match opposite {
                Some(j) => {
                    used[j] = true;
                    (view.direction_deg(&(centroids[i] - centroids[j]))?, 2.0)
                }
                None => (view.direction_deg(&centroids[i])?, 1.0),
            };
            turns.push((direction, direction - meant[i], weight));
        }
        let (direction_deg, first, _) = *turns.first()?;
        let first = Meridian::from_degrees(first)?;
        let total: f64 = turns.iter().map(|t| t.2).sum();
        let mut mean = 0.0;
        for (_, turn, weight) in &turns {
            mean += weight * first.turn_to(Meridian::from_degrees(*turn)?) / total;
        }
        Some(Self { zero_deg: first.degrees() + mean, direction_deg: direction_deg.rem_euclid(180.0) })
    }
}

fn reference_kind(scene: &Scene) -> String {
    let name = match scene.reference_marks[0].kind {
        ReferenceMarkKind::Line => "line",
        ReferenceMarkKind::Stroke => "stroke",
        ReferenceMarkKind::Dot => "dot",
        ReferenceMarkKind::Blot => "blot",
        ReferenceMarkKind::Crossed { .. } => "crossed",
        ReferenceMarkKind::Doubled { .. } => "doubled",
    };
    match scene.reference_marks.len() {
        2 => name.to_owned(),
        n => format!("{name}x{n}"),
    }
}

fn lens_kind(kind: &LensMarkKind) -> String {
    match kind {
        LensMarkKind::Dots { count: 1, .. } => "dot".to_owned(),
        LensMarkKind::Dots { count, .. } => format!("dots{count}"),
        LensMarkKind::Dash { .. } => "dash".to_owned(),
        LensMarkKind::PairedLines { .. } => "paired".to_owned(),
    }
}

/// Judge what can be seen on the finished canvas.
pub(super) fn visibility(canvas: &Canvas, scene: &Scene, references: &[Trace], groups: &[Trace]) -> Visibility {
    let blur = scene.camera.blur_px.hypot(scene.camera.motion_px / 3.5) * canvas.scale;
    let to_px = canvas.px_per_radius();
    let reference_marks = scene
        .reference_marks
        .iter()
        .zip(references)
        .map(|(m, trace)| {
            let width = ((m.width_r[0] + m.width_r[1]) / 2.0 + m.softness_r) * to_px;
            let round = matches!(m.kind, ReferenceMarkKind::Dot | ReferenceMarkKind::Blot);
            mark_visibility(canvas, scene, trace, kept(width, blur, round), Ink::new(m).reach() * to_px)
        })
        .collect();
    let lens_groups = match scene.lens.as_ref().and_then(|l| Some((l, l.marks.as_ref()?))) {
        None => Vec::new(),
        Some((lens, marks)) => {
            let width = marks.width_mm * lens.magnification / canvas.view.mm_per_radius() * to_px;
            let round = matches!(marks.kind, LensMarkKind::Dots { .. });
            let kept = kept(width, blur, round);
            groups.iter().map(|trace| mark_visibility(canvas, scene, trace, kept, 0.0)).collect()
        }
    };
    Visibility { limbus: limbus_share(canvas, scene), reference_marks, lens_groups }
}

/// Share of its contrast that blur leaves a mark `width` wide: of a line across it, of a dot both ways.
fn kept(width: f64, blur: f64, round: bool) -> f64 {
    let across = width / width.hypot(3.0 * blur);
    if round { across * across } else { across }
}

/// Noise of lightness over that of each channel: the root of the squared weights of red, green and blue (ITU-R BT.601).
const NOISE_IN_LIGHTNESS: f64 = 0.67;
/// No picture has less noise than that of its 8 bits: the sd of rounding to whole levels, 1 / sqrt(12).
const QUANTIZATION: f64 = 0.29;

/// - `kept`: share of the contrast that blur leaves
/// - `reach_px`: half the length of the mark; where the canvas ends within it, some is cut off
fn mark_visibility(canvas: &Canvas, scene: &Scene, trace: &Trace, kept: f64, reach_px: f64) -> MarkVisibility {
    let (mut ink, mut free, mut contrast) = (0.0, 0.0, 0.0);
    let mut cut = false;
    for pixel in trace {
        let index = pixel.index;
        let shown = f64::from(pixel.ink * pixel.shown);
        let (column, row) = (index % canvas.width, index / canvas.width);
        cut |= reach_px > 0.0 && (column == 0 || row == 0 || column + 1 == canvas.width || row + 1 == canvas.height);
        let open = f64::from(1.0 - canvas.cover[index]);
        ink += f64::from(pixel.ink);
        free += shown * open;
        let lit = light::factor(canvas, &scene.light, index);
        let now = canvas.pixels[index];
        // What the ink took away, under the light as it is, given back: what later came over it stays.
        let opened = [0, 1, 2].map(|c| now[c] + pixel.taken[c] * lit[c] * open as f32);
        let (with, without) = (camera::tone(now, &scene.camera), camera::tone(opened, &scene.camera));
        let step = (0..3).map(|c| f64::from((with[c] - without[c]).abs())).sum::<f64>() / 3.0;
        contrast += shown * open * step * 255.0 * kept;
    }
    if ink <= 0.0 || free <= 0.0 {
        return MarkVisibility::default();
    }
    let share = free / ink * if cut { 0.5 } else { 1.0 };
    let contrast_levels = contrast / free;
    let noise = NOISE_IN_LIGHTNESS * scene.camera.noise_levels;
    MarkVisibility { share, contrast_levels, signal_to_noise: contrast_levels * free.sqrt() / noise.max(QUANTIZATION) }
}

/// Share of the limbus that lies in the picture, is lit and not covered.
fn limbus_share(canvas: &Canvas, scene: &Scene) -> f64 {
    const RAYS: u32 = 360;
    let seen = (0..RAYS).filter(|&k| {
        let p = canvas.view.limbus().at_polar(1.0, f64::from(k).to_radians());
        let (column, row) = ((p.x + 0.5) * canvas.scale - 0.5, (p.y + 0.5) * canvas.scale - 0.5);
        if !(column >= 0.0 && row >= 0.0 && column < canvas.width as f64 - 0.5 && row < canvas.height as f64 - 0.5) {
            return false;
        }
        let index = row.round() as usize * canvas.width + column.round() as usize;
        let lit = light::factor(canvas, &scene.light, index);
        canvas.cover[index] < 0.5 && lit[1] > 0.08
    });
    seen.count() as f64 / f64::from(RAYS)
}
