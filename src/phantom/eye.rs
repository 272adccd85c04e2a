//! The eye itself: white, grey zone, iris and pupil in one pass over the picture.

use super::canvas::{Canvas, mix, smoothstep, times};
use super::iris::Stroma;
use super::noise;
use super::pupil::Opening;
use super::scene::Scene;
use super::sclera::White;
use rand_chacha::ChaCha8Rng;

/// Draw the eye without lens, marks and what lies over it.
pub fn draw(canvas: &mut Canvas, scene: &Scene, seed: u32, rng: &mut ChaCha8Rng) {
    let white = White::new(canvas, &scene.sclera, seed, rng);
    let stroma = Stroma::new(&scene.iris, seed ^ 0x51ab);
    let opening = Opening::new(&scene.pupil, seed ^ 0x9e37);
    let px = 1.0 / canvas.px_per_radius();
    let zone = scene.sclera.limbus_zone_r;
    let half = zone / 2.0 + px / 2.0;
    for row in 0..canvas.height {
        for column in 0..canvas.width {
            let index = row * canvas.width + column;
            let eye = canvas.eye_at(column as f64, row as f64);
            let level = canvas.view.level(&eye);
            let mut inner = None;
            if level < 1.0 + half {
                let turns = eye.y.atan2(eye.x) / std::f64::consts::TAU;
                let (inside, edge) = opening.inside(&eye);
                let share = opening.share(inside, px) as f32;
                canvas.pupil[index] = share;
                let depth = (-inside / (1.0 - edge).max(0.05)).clamp(0.0, 1.0);
                let mut colour = [0.0; 3];
                if share < 1.0 {
                    colour = times(stroma.colour(&eye, level, turns, depth, white.zone()), opening.ruff(inside));
                }
                if share > 0.0 {
                    colour = mix(colour, opening.colour(&eye, inside), share);
                }
                inner = Some((colour, turns));
            }
            canvas.pixels[index] = match inner {
                None => white.colour(index, &eye, level),
                Some((colour, turns)) => {
                    // The zone's middle wavers by a little about the limbus.
                    let waver = (f64::from(noise::value_around(turns * 13.0, 0.5, 13, seed ^ 21)) - 0.5) * 0.2 * zone;
                    let out = smoothstep(1.0 - half, 1.0 + half, level + waver) as f32;
                    let strength = scene.sclera.limbus_strength as f32 * 4.0 * out * (1.0 - out) * 0.6;
                    let mixed =
                        if out > 0.0 { mix(colour, white.colour(index, &eye, level.max(1.0)), out) } else { colour };
                    mix(mixed, white.zone(), strength)
                }
            };
        }
    }
}
