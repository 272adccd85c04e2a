//! The white of the eye: its tone, vessels and blood.

use super::canvas::{Canvas, Rgb, Stroke, along, linear, mix, smoothstep, times};
use super::noise;
use super::scene::{Blood, Dye, Sclera};
use crate::geometry::Vector;
use rand::RngExt;
use rand_chacha::ChaCha8Rng;

/// Light that blood lets through, red, green and blue.
const BLOOD: Rgb = [0.26, 0.012, 0.014];

/// Painter of the white.
pub struct White<'a> {
    sclera: &'a Sclera,
    seed: u32,
    base: Rgb,
    pink: Rgb,
    zone: Rgb,
    red_side: Vector,
    /// Absorption by vessels, canvas pixel by pixel, 0 to 1.
    vessels: Vec<f32>,
}

impl<'a> White<'a> {
    /// Lay the vessels and get ready.
    pub fn new(canvas: &mut Canvas, sclera: &'a Sclera, seed: u32, rng: &mut ChaCha8Rng) -> Self {
        let vessels = vessels(canvas, sclera, rng);
        let base = linear(&sclera.colour);
        let pink = [base[0] * 0.95, base[1] * 0.52, base[2] * 0.48];
        Self {
            sclera,
            seed,
            base,
            pink,
            zone: linear(&sclera.limbus_colour),
            red_side: along(rng.random_range(0.0..360.0)),
            vessels,
        }
    }

    /// Light of the white at a place.
    ///
    /// - `index`: canvas pixel
    /// - `eye`: its place in the eye frame
    /// - `level`: 1 on the limbus
    pub fn colour(&self, index: usize, eye: &Vector, level: f64) -> Rgb {
        let s = self.sclera;
        let tint = noise::clouds(eye.x * 1.7 + 5.0, eye.y * 1.7, 3, self.seed);
        let grain = noise::value(eye.x * 26.0, eye.y * 26.0, self.seed ^ 77);
        let patch = ((tint - 0.35) * 1.6).clamp(0.0, 1.0);
        // One side is redder than the other, the more so away from the limbus.
        let sided = (eye.dot(&self.red_side) - 0.4).clamp(0.0, 1.2) as f32 * 0.7;
        let red = ((patch * 0.8 + sided) * s.redness as f32).min(1.0);
        let mut colour = mix(self.base, self.pink, red);
        // The white turns away from the light as the eye rounds off.
        let round = 1.0 - 0.16 * ((level - 1.0).max(0.0).powi(2)).min(2.5);
        colour = times(colour, (0.97 + 0.03 * grain + 0.16 * (tint - 0.5)) * round as f32);
        // Next to the limbus the white is thin and takes the grey of the zone.
        let near = smoothstep(1.0 + 2.2 * s.limbus_zone_r + 0.03, 1.0, level) as f32;
        colour = mix(colour, self.zone, near * 0.45 * s.limbus_strength as f32);
        let vein = self.vessels[index] * smoothstep(0.96, 1.03, level) as f32;
        [0, 1, 2].map(|c| colour[c] * (1.0 - vein * [0.28, 0.78, 0.76][c]))
    }

    /// Colour of the grey zone.
    pub fn zone(&self) -> Rgb {
        self.zone
    }
}

/// Paths of vessels as absorption per pixel.
fn vessels(canvas: &mut Canvas, sclera: &Sclera, rng: &mut ChaCha8Rng) -> Vec<f32> {
    let mut strokes = Vec::new();
    for _ in 0..sclera.vessels {
        let meridian = rng.random_range(0.0..360.0);
        let radial = rng.random_bool(sclera.radial_share);
        let start = along(meridian) * rng.random_range(1.25..2.3);
        let heading = meridian + 180.0 + if radial { 0.0 } else { rng.random_range(-65.0..65.0) };
        let width = rng.random_range(0.004..0.013_f64) * if rng.random_bool(0.15) { 1.6 } else { 1.0 };
        grow(&mut strokes, start, heading, width, if radial { 0.25 } else { 1.0 }, 3, rng);
    }
    // The arcade: many short twigs that end at the limbus.
    for _ in 0..2 * sclera.vessels {
        let meridian = rng.random_range(0.0..360.0);
        let mut point = along(meridian) * rng.random_range(1.04..1.2);
        let mut heading = meridian + 180.0 + rng.random_range(-35.0..35.0);
        let width = rng.random_range(0.0015..0.004);
        let mut points = Vec::new();
        for _ in 0..8 {
            points.push((point, width));
            heading += rng.random_range(-25.0..25.0);
            point += along(heading) * 0.018;
        }
        strokes.push(Stroke { points, softness: 0.004 });
    }
    let mut absorption = vec![0.0_f32; canvas.pixels.len()];
    for stroke in &strokes {
        let depth = rng.random_range(0.3..0.95_f32);
        canvas.stroke(stroke, |_, index, near| {
            let a = &mut absorption[index];
            *a = a.max(near.coverage * depth * (1.0 - 0.35 * near.along));
        });
    }
    absorption
}

/// A winding vessel that thins, and its branches.
fn grow(
    strokes: &mut Vec<Stroke>,
    start: Vector,
    heading_deg: f64,
    width: f64,
    winding: f64,
    generations: u32,
    rng: &mut ChaCha8Rng,
) {
    let steps = rng.random_range(12..40);
    let step = rng.random_range(0.018..0.04);
    let (mut point, mut heading, mut bend) = (start, heading_deg, 0.0);
    let mut points = Vec::new();
    for k in 0..steps {
        let thin = width * (1.0 - 0.6 * f64::from(k) / f64::from(steps));
        points.push((point, thin / 2.0));
        bend = 0.6 * bend + winding * rng.random_range(-22.0..22.0);
        heading += bend + (heading_deg - heading) * 0.08;
        point += along(heading) * step;
        if point.norm() < 0.99 {
            break;
        }
        if generations > 0 && rng.random_bool(0.06) {
            let aside = heading + rng.random_range(25.0..60.0) * if rng.random_bool(0.5) { 1.0 } else { -1.0 };
            grow(strokes, point, aside, thin * 0.7, winding, generations - 1, rng);
        }
    }
    strokes.push(Stroke { points, softness: 0.004 });
}

/// Draw a patch of blood.
pub fn draw_blood(canvas: &mut Canvas, blood: &Blood, seed: u32) {
    let center = Vector::new(blood.center_r[0], blood.center_r[1]);
    let length = along(blood.direction_deg);
    let reach = blood.size_r[0].max(blood.size_r[1]) * 1.5;
    canvas.visit(&center, reach, |canvas, index, eye| {
        let arm = eye - center;
        let (s, n) = (arm.dot(&length) / blood.size_r[0], (length.x * arm.y - length.y * arm.x) / blood.size_r[1]);
        let uneven = f64::from(noise::clouds(eye.x * 11.0, eye.y * 11.0, 3, seed));
        let away = s.hypot(n) + (uneven - 0.5) * (0.7 + blood.ragged);
        let body = smoothstep(1.0, 0.72, away);
        if body <= 0.0 {
            return;
        }
        let spots = f64::from(noise::clouds(s * 2.5 + 3.0, n * 7.0, 3, seed ^ 5));
        let kept = 1.0 - blood.ragged * smoothstep(0.42, 0.62, spots);
        let alpha = (body * kept * blood.opacity) as f32;
        let seen = canvas.pixels[index];
        let stained = [0, 1, 2].map(|c| seen[c] * [0.5, 0.06, 0.05][c] + BLOOD[c] * 0.5);
        canvas.lay(index, stained, alpha);
    });
}

/// Draw a stain of dye: soft, uneven, and the ground shows through.
pub fn draw_dye(canvas: &mut Canvas, dye: &Dye, seed: u32) {
    let center = Vector::new(dye.center_r[0], dye.center_r[1]);
    let length = along(dye.direction_deg);
    let colour = linear(&dye.colour);
    canvas.visit(&center, dye.size_r[0].max(dye.size_r[1]) * 1.8, |canvas, index, eye| {
        let arm = eye - center;
        let (s, n) = (arm.dot(&length) / dye.size_r[0], (length.x * arm.y - length.y * arm.x) / dye.size_r[1]);
        let uneven = f64::from(noise::clouds(eye.x * 8.0, eye.y * 8.0, 3, seed));
        let body = smoothstep(1.4, 0.2, s.hypot(n) + (uneven - 0.5) * 0.9);
        let seen = canvas.pixels[index];
        let stained = [0, 1, 2].map(|c| seen[c] * (0.35 + 0.65 * colour[c]) * 0.5 + colour[c] * 0.5);
        canvas.lay(index, stained, (body * dye.opacity) as f32);
    });
}
