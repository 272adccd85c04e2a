//! Lids, lashes, speculum, skin and drape around the eye.

use super::canvas::{Canvas, Rgb, Stroke, along, linear, mix, smoothstep, times};
use super::noise;
use super::scene::{Speculum, Surroundings};
use crate::geometry::Vector;
use rand::RngExt;
use rand_chacha::ChaCha8Rng;

/// Height of the corners of the lids against the centre of the limbus, limbus radii.
const CORNER: f64 = -0.08;
/// How the lids bow from corner to corner: 1/2 an ellipse, 1 a parabola.
const BOW: f64 = 0.62;
/// Light of a dark metal.
const STEEL: Rgb = [0.05, 0.07, 0.07];

/// Draw all that surrounds the eye.
pub fn draw(canvas: &mut Canvas, s: &Surroundings, seed: u32, rng: &mut ChaCha8Rng) {
    let skin = Skin { s, seed, skin: linear(&s.skin), drape: linear(&s.drape) };
    for row in 0..canvas.height {
        for column in 0..canvas.width {
            let index = row * canvas.width + column;
            let eye = canvas.eye_at(column as f64, row as f64);
            let depth = skin.depth(&eye);
            if depth < -0.5 {
                continue;
            }
            // The lid's edge stands off the eye and throws a shadow on it.
            let shadow = 1.0 - 0.38 * smoothstep(-0.30, 0.0, depth);
            canvas.pixels[index] = times(canvas.pixels[index], shadow as f32);
            let px = 1.0 / canvas.px_per_radius();
            let share = smoothstep(-px - 0.012, px + 0.012, depth) as f32;
            if share > 0.0 {
                canvas.lay_over(index, skin.colour(&eye, depth), share);
            }
        }
    }
    lashes(canvas, &skin, rng);
    match s.speculum {
        Speculum::None => {}
        Speculum::Wires => wires(canvas, &skin, rng),
        Speculum::Blades => blades(canvas, &skin),
    }
}

/// The opening between the lids, and what lies beyond.
struct Skin<'a> {
    s: &'a Surroundings,
    seed: u32,
    skin: Rgb,
    drape: Rgb,
}

impl Skin<'_> {
    /// Heights of the upper and the lower lid's edge at `x`.
    fn edges(&self, x: f64) -> (f64, f64) {
        let bow = (1.0 - (x / self.s.half_width_r).powi(2)).max(0.0).powf(BOW);
        (CORNER + (self.s.upper_lid_r - CORNER) * bow, CORNER - (self.s.lower_lid_r + CORNER) * bow)
    }

    /// Distance beyond the lid's edge, limbus radii; negative on the eye. Good near the edge, and smooth everywhere.
    fn depth(&self, eye: &Vector) -> f64 {
        let waver = f64::from(noise::clouds(eye.x * 1.1, eye.y * 1.1, 2, self.seed ^ 3)) - 0.5;
        let rise = eye.y - CORNER;
        let height = if rise > 0.0 { self.s.upper_lid_r - CORNER } else { self.s.lower_lid_r + CORNER };
        let (x, y) = (eye.x / self.s.half_width_r, rise.abs() / height);
        // The edges are where x^2 + y^(1 / BOW) = 1.
        let bent = y.powf(1.0 / BOW - 1.0);
        let level = (x * x + y * bent).sqrt();
        let slope = (x / self.s.half_width_r).hypot(bent / (2.0 * BOW * height)) / level.max(1e-6);
        (level - 1.0) / slope.max(1e-6) + waver * 0.16
    }

    fn colour(&self, eye: &Vector, depth: f64) -> Rgb {
        let s = self.s;
        let soft = noise::clouds(eye.x * 1.3, eye.y * 1.3, 3, self.seed);
        let fine = noise::clouds(eye.x * 9.0, eye.y * 9.0, 2, self.seed ^ 1);
        let mut skin = times(self.skin, 0.6 + 0.5 * soft + 0.2 * (fine - 0.5));
        if s.iodine > 0.0 {
            let blot = noise::clouds(eye.x * 1.6, eye.y * 2.6, 4, self.seed ^ 2);
            let stain = (smoothstep(0.35, 0.65, f64::from(blot)) * s.iodine) as f32;
            skin = mix(skin, [skin[0] * 0.72, skin[1] * 0.28, skin[2] * 0.06], stain);
        }
        // The moist edge of the lid: paler, rounded, with broken highlights along it.
        let margin = smoothstep(0.16, 0.02, depth) as f32;
        skin = mix(skin, [0.5, 0.3, 0.24], margin * 0.5);
        skin = times(skin, (0.55 + 0.45 * smoothstep(0.0, 0.06, depth) - 0.2 * smoothstep(0.12, 0.3, depth)) as f32);
        let along_edge = noise::clouds(eye.x * 4.0 + eye.y * 4.0, depth * 11.0, 2, self.seed ^ 4);
        let wet = smoothstep(0.62, 0.72, f64::from(along_edge)) as f32 * smoothstep(0.2, 0.05, depth) as f32;
        skin = mix(skin, [1.1, 1.1, 1.0], wet * 0.4);
        let waver = 0.25 * (f64::from(soft) - 0.5);
        let covered = smoothstep(-0.02, 0.02, depth - s.skin_width_r + waver) as f32;
        if covered <= 0.0 {
            return skin;
        }
        let weave = noise::value(eye.x * 40.0, eye.y * 40.0, self.seed ^ 5);
        let fold = noise::clouds(eye.x * 0.9 + 0.6 * eye.y, eye.y * 0.7, 2, self.seed ^ 6);
        let mut drape = times(self.drape, 0.22 + 0.65 * fold + 0.1 * weave);
        if s.plastic > 0.0 {
            let lie = along(360.0 * f64::from(noise::hash(3, 7, self.seed)));
            let (u, v) = (eye.dot(&lie), lie.x * eye.y - lie.y * eye.x);
            let crease = noise::creases(u * 1.2, v * 1.2, self.seed ^ 7);
            let sheen = noise::creases(v * 2.1 + 0.8 * u, u * 2.1, self.seed ^ 8);
            drape = mix(drape, [0.85, 0.88, 0.8], (crease * 0.4 + sheen * 0.3) * s.plastic as f32);
        }
        mix(skin, drape, covered)
    }
}

fn lashes(canvas: &mut Canvas, skin: &Skin, rng: &mut ChaCha8Rng) {
    for _ in 0..skin.s.lashes {
        let x = rng.random_range(-0.95..0.95) * skin.s.half_width_r;
        let upper = rng.random_bool(0.6);
        let (top, bottom) = skin.edges(x);
        let (y, out) = if upper { (top, 90.0) } else { (bottom, 270.0) };
        // Most are turned out under the drape; some hang in over the eye.
        let inwards = rng.random_bool(0.35);
        let mut heading = if inwards { out + 180.0 } else { out } + rng.random_range(-50.0..50.0);
        let bend = rng.random_range(-12.0..12.0);
        let step = rng.random_range(0.012..0.032);
        let width = rng.random_range(0.006..0.011);
        let mut point = Vector::new(x, y);
        let points = (0..10)
            .map(|k| {
                let here = point;
                heading += bend;
                point += along(heading) * step;
                (here, width * (1.0 - 0.085 * f64::from(k)))
            })
            .collect();
        let stroke = Stroke { points, softness: 0.0 };
        canvas.stroke(&stroke, |canvas, index, near| canvas.lay_over(index, [0.02, 0.014, 0.01], near.coverage * 0.9));
    }
}

/// Light of a round metal rod, by the place across it.
pub fn rod(across: f32, body: Rgb, gleam: f32) -> Rgb {
    let a = across.clamp(-1.0, 1.0);
    let round = (1.0 - a * a).max(0.0).sqrt();
    let lit = times(body, 0.25 + 1.1 * round);
    let spot = (-((a + 0.25) / 0.2).powi(2)).exp() + 0.4 * (-((a - 0.55) / 0.12).powi(2)).exp();
    mix(lit, [1.0, 1.0, 0.95], (spot * gleam).min(1.0))
}

fn wires(canvas: &mut Canvas, skin: &Skin, rng: &mut ChaCha8Rng) {
    let thick = rng.random_range(0.035..0.065);
    let gleam_seed = rng.random::<u32>();
    for upper in [true, false] {
        let shift = rng.random_range(-0.25..0.25);
        let spread = rng.random_range(0.6..1.1);
        for side in [-1.0, 1.0] {
            let x = shift + side * spread;
            let (top, bottom) = skin.edges(x);
            let (edge, out) = if upper { (top, 1.0) } else { (bottom, -1.0) };
            let lean = rng.random_range(-0.15..0.15);
            let turn_in = rng.random_range(0.03..0.14);
            let far = Vector::new(x + lean * 3.0 - side * 0.2, edge + out * 4.0);
            let near = Vector::new(x + lean * 0.5, edge + out * 0.5);
            let hook = Vector::new(x - side * 0.02, edge - out * turn_in);
            let bend = if rng.random_bool(0.3) { rng.random_range(0.9..1.6) } else { 4.0 };
            let mut points = vec![(hook, thick * 0.7), (near, thick)];
            if bend < 4.0 {
                points.push((Vector::new(x + lean, edge + out * bend), thick));
                points.push((Vector::new(x + lean - side * 0.12, edge + out * (bend + 0.12)), thick));
                points.push((Vector::new(x - side * 1.2, edge + out * (bend + 0.2)), thick));
            } else {
                points.push((far, thick));
            }
            canvas.stroke(&Stroke { points, softness: 0.0 }, |canvas, index, near| {
                let lively = noise::value(f64::from(near.along) * 9.0, x, gleam_seed);
                let tip = (1.0 - near.along * 8.0).max(0.0);
                canvas.lay_over(index, rod(near.across, STEEL, lively * 0.35 + tip * 0.7), near.coverage);
            });
        }
    }
}

fn blades(canvas: &mut Canvas, skin: &Skin) {
    for upper in [true, false] {
        let points: Vec<_> = (0..24)
            .map(|k| {
                let x = (f64::from(k) / 23.0 - 0.5) * 1.9;
                let (top, bottom) = skin.edges(x);
                let y = if upper { top + 0.09 } else { bottom - 0.09 };
                (Vector::new(x, y), 0.11)
            })
            .collect();
        canvas.stroke(&Stroke { points, softness: 0.0 }, |canvas, index, near| {
            let lively = noise::value(f64::from(near.along) * 5.0, 0.0, skin.seed ^ 40);
            canvas.lay_over(index, rod(near.across, [0.12, 0.14, 0.14], lively * 0.7), near.coverage);
        });
    }
}
