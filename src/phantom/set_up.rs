//! Stills as a given camera would record them.

use super::random::{AxisPlan, Difficulty, Forms, MarksShown, Wanted};
use super::scene::{ReferenceMarkKind, Scene};
use serde::{Deserialize, Serialize};

/// Softness of colour that the recorder of a set-up has, px: an ordinary one. It neither sharpens nor compresses: blur and noise are
/// those of the recorded still.
const CHROMA_BLUR_PX: f64 = 1.0;
/// Faults of a camera, which a given one has or has not: they are left out of what makes a still difficult.
const CAMERA_FAULTS: [&str; 6] = ["upscaled", "defocus", "motion", "noise", "strong compression", "squeezed pixels"];
/// Scenes of a still that are looked through for one of the wanted form.
const SCENES: u64 = 500;

/// A camera on a microscope.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SetUp {
    /// Width of the picture, px.
    pub width_px: u32,
    /// Height of the picture, px.
    pub height_px: u32,
    /// Half the width of the limbus in it, px: how far the microscope is zoomed in.
    pub limbus_radius_px: f64,
    /// Standard deviation of the blur, px.
    pub blur_px: f64,
    /// Standard deviation of the noise of luma at middle grey, 8-bit levels.
    pub noise_levels: f64,
}

/// Form of reference marks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MarkForm {
    /// A fine dark line: a scratch with dye.
    Line,
    /// A broad stroke of ink.
    Stroke,
    /// A round dot.
    Dot,
    /// A blot with soft edges.
    Blot,
    /// Two lines that cross.
    Crossed,
    /// Two lines side by side.
    Doubled,
}

impl MarkForm {
    /// All forms.
    pub const ALL: [Self; 6] = [Self::Line, Self::Stroke, Self::Dot, Self::Blot, Self::Crossed, Self::Doubled];

    /// Name for tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::Line => "line",
            Self::Stroke => "stroke",
            Self::Dot => "dot",
            Self::Blot => "blot",
            Self::Crossed => "crossed",
            Self::Doubled => "doubled",
        }
    }

    fn is(self, kind: &ReferenceMarkKind) -> bool {
        matches!(
            (self, kind),
            (Self::Line, ReferenceMarkKind::Line)
                | (Self::Stroke, ReferenceMarkKind::Stroke)
                | (Self::Dot, ReferenceMarkKind::Dot)
                | (Self::Blot, ReferenceMarkKind::Blot)
                | (Self::Crossed, ReferenceMarkKind::Crossed { .. })
                | (Self::Doubled, ReferenceMarkKind::Doubled { .. })
        )
    }
}

/// A still of two marks of one form on the intended axis, recorded by a set-up; `None` where no scene of this number has marks
/// of the form.
pub fn recorded_by(set_up: &SetUp, form: MarkForm, difficulty: Difficulty, seed: u64, still: u64) -> Option<Scene> {
    let wanted = Wanted { difficulty, marks: MarksShown::Both, axis: AxisPlan::OnMarks, forms: Forms::Usual };
    let scenes = (0..SCENES).map(|k| Scene::random(seed, still * SCENES + k, &wanted));
    let fits = |scene: &Scene| scene.reference_marks.len() == 2 && form.is(&scene.reference_marks[0].kind);
    scenes.into_iter().find(fits).map(|scene| refitted(scene, set_up))
}

/// The same eye and light, seen by the set-up: everything given in pixels follows the size of the limbus.
fn refitted(mut scene: Scene, set_up: &SetUp) -> Scene {
    let view = &mut scene.view;
    let scale = set_up.limbus_radius_px / view.limbus_half_width_px;
    let old = [f64::from(view.width_px) / 2.0, f64::from(view.height_px) / 2.0];
    let new = [f64::from(set_up.width_px) / 2.0, f64::from(set_up.height_px) / 2.0];
    let moved = |place: [f64; 2]| [0, 1].map(|k| new[k] + (place[k] - old[k]) * scale);
    let mut center = moved(view.limbus_center_px);
    for k in [0, 1] {
        // The surgeon centres the eye: it leaves the picture by no more than it did.
        let before = (view.limbus_center_px[k] - old[k]).abs() + view.limbus_half_width_px - old[k];
        let room = new[k] - set_up.limbus_radius_px + before.max(0.0) * scale;
        center[k] = center[k].clamp(new[k] - room.max(0.0), new[k] + room.max(0.0));
    }
    let shift = [0, 1].map(|k| center[k] - moved(view.limbus_center_px)[k]);
    let field = moved(scene.light.field_center_px);
    scene.light.field_center_px = [0, 1].map(|k| field[k] + shift[k]);
    scene.light.field_radius_px *= scale;
    view.limbus_center_px = center;
    view.limbus_half_width_px = set_up.limbus_radius_px;
    (view.width_px, view.height_px, view.pixel_aspect) = (set_up.width_px, set_up.height_px, 1.0);
    let camera = &mut scene.camera;
    (camera.resolution, camera.motion_px, camera.sharpening) = (1.0, 0.0, 0.0);
    (camera.blur_px, camera.noise_levels) = (set_up.blur_px, set_up.noise_levels / LUMA_NOISE);
    (camera.chroma_blur_px, camera.jpeg_quality) = (CHROMA_BLUR_PX, None);
    scene.difficulties.retain(|fault| !CAMERA_FAULTS.contains(&fault.as_str()));
    scene
}

/// Noise of luma over the noise of each channel at middle grey: root of the squares of the weights of red, green and blue,
/// times what the drawing's noise has there.
const LUMA_NOISE: f64 = 0.6686 * 0.92;

#[cfg(test)]
mod tests {
    use super::*;

    /// Size, limbus and form are those asked for, and eye and plan those of the scene.
    #[test]
    fn stills_of_a_set_up() {
        let set_up = SetUp { width_px: 800, height_px: 600, limbus_radius_px: 150.0, blur_px: 1.2, noise_levels: 2.0 };
        for form in MarkForm::ALL {
            let scene = recorded_by(&set_up, form, Difficulty::Mixed, 1, 3).unwrap();
            assert!(scene.reference_marks.iter().all(|mark| form.is(&mark.kind)));
            let view = &scene.view;
            assert_eq!((view.width_px, view.height_px), (800, 600));
            assert_eq!(view.limbus_half_width_px, 150.0);
            assert!(view.limbus_center_px[0] > 0.0 && view.limbus_center_px[0] < 800.0);
            assert_eq!(scene.camera.blur_px, 1.2);
            let drawing = crate::phantom::draw(&scene).unwrap();
            assert_eq!(drawing.picture.dimensions(), (800, 600));
        }
    }
}
