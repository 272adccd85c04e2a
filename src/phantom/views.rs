//! One eye seen several times, as it tilts before the camera.

use super::random::{AxisPlan, Difficulty, Forms, MarksShown, Wanted};
use super::scene::Scene;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Tilts of the views, degrees.
const TILT_DEG: std::ops::Range<f64> = 2.0..15.0;
/// How far the eye turns and shifts between views, degrees and px either way: the noise of the sensor falls elsewhere on it.
const TURN_DEG: f64 = 4.0;
const SHIFT_PX: f64 = 12.0;
/// Pictures are no wider, so that drawing takes seconds, px.
const WIDEST_PX: u32 = 1024;

/// `count` views of one eye with two marks and a lens; eyes are numbered. The same arguments give the same views.
pub fn views(seed: u64, number: u64, count: usize) -> Vec<Scene> {
    let wanted =
        Wanted { difficulty: Difficulty::Easy, marks: MarksShown::Both, axis: AxisPlan::OnMarks, forms: Forms::Usual };
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(number);
    let eye = (0..)
        .map(|k| Scene::random(seed, number * 1000 + k, &wanted))
        .find(|scene| scene.reference_marks.len() == 2 && scene.view.width_px <= WIDEST_PX && scene.lens.is_some());
    let eye = eye.unwrap_or_else(|| Scene::random(seed, number, &wanted));
    (0..count)
        .map(|_| {
            let mut scene = eye.clone();
            let view = &mut scene.view;
            view.tilt_deg = rng.random_range(TILT_DEG);
            view.tilt_direction_deg = rng.random_range(0.0..360.0);
            view.turn_deg = (view.turn_deg + rng.random_range(-TURN_DEG..TURN_DEG)).rem_euclid(360.0);
            for c in &mut view.limbus_center_px {
                *c += rng.random_range(-SHIFT_PX..SHIFT_PX);
            }
            scene
        })
        .collect()
}
