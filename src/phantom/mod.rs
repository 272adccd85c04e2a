//! A scene of known truth, drawn to pixels. Shares no code with `vision`.
//!
//! [`Scene`] holds everything a still shows; [`Scene::random`] makes one up from a seed; [`draw`] paints it and
//! [`truth`] says what a perfect reader would find.

mod camera;
mod canvas;
mod eye;
mod instruments;
mod iris;
mod lens;
mod lids;
mod light;
mod mark_truth;
mod marks;
mod noise;
mod pupil;
mod random;
pub mod scene;
mod sclera;
mod series;
mod set_up;
#[cfg(test)]
mod tests;
mod truth;
mod view;
mod views;

pub use camera::encode;
pub use mark_truth::MarkTruth;
pub use marks::ink_centroid;
pub use random::{AxisPlan, Difficulty, Forms, MarksShown, Wanted};
pub use scene::Scene;
pub use series::{SeriesStill, series};
pub use set_up::{MarkForm, SetUp, recorded_by};
pub use truth::{LimbusTruth, MarkVisibility, Truth, Visibility, truth};
pub use view::View;
pub use views::views;

use canvas::Canvas;
use image::RgbImage;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

/// A finished still, and how well its marks can be seen.
#[derive(Clone, Debug)]
pub struct Drawing {
    /// The picture.
    pub picture: RgbImage,
    /// What is visible in it.
    pub visibility: Visibility,
}

/// Paint a scene; `None` where its view describes no ellipse.
pub fn draw(scene: &Scene) -> Option<Drawing> {
    let view = View::new(&scene.view)?;
    let (width, height) = (scene.view.width_px, scene.view.height_px);
    let mut canvas = Canvas::new(&view, width, height, scene.camera.resolution);
    let mut rng = ChaCha8Rng::seed_from_u64(scene.texture_seed);
    let seed = scene.texture_seed as u32 ^ (scene.texture_seed >> 32) as u32;
    let canvas_ref = &mut canvas;
    eye::draw(canvas_ref, scene, seed, &mut rng);
    for (k, blood) in scene.sclera.blood.iter().enumerate() {
        sclera::draw_blood(canvas_ref, blood, seed ^ (100 + k as u32));
    }
    for (k, dye) in scene.sclera.dye.iter().enumerate() {
        sclera::draw_dye(canvas_ref, dye, seed ^ (150 + k as u32));
    }
    let mut lens_traces = Vec::new();
    if let Some(lens) = &scene.lens {
        lens::draw(canvas_ref, lens, seed ^ 200, &mut rng);
        if let Some(marks) = &lens.marks {
            lens_traces.extend(lens::draw_marks(canvas_ref, lens, marks));
        }
    }
    pupil::Opening::new(&scene.pupil, seed ^ 0x9e37).draw_device(canvas_ref);
    let mark_traces: Vec<_> = scene.reference_marks.iter().map(|m| marks::draw(canvas_ref, m)).collect();
    for (k, bubble) in scene.bubbles.iter().enumerate() {
        instruments::draw_bubble(canvas_ref, bubble, seed ^ (300 + k as u32));
    }
    lids::draw(canvas_ref, &scene.surroundings, seed ^ 400, &mut rng);
    for (k, instrument) in scene.instruments.iter().enumerate() {
        instruments::draw(canvas_ref, instrument, seed ^ (500 + k as u32));
    }
    light::shine(canvas_ref, &scene.light);
    for (k, reflection) in scene.reflections.iter().enumerate() {
        light::reflect(canvas_ref, reflection, &scene.light.gain, seed ^ (600 + k as u32));
    }
    let visibility = truth::visibility(&canvas, scene, &mark_traces, &lens_traces);
    let picture = camera::record(&canvas, &scene.camera, width, height, &mut rng);
    Some(Drawing { picture, visibility })
}
