//! The light on the eye, its field, and the reflections of the lamps.

use super::canvas::{Canvas, Rgb, along, smoothstep};
use super::noise;
use super::scene::{Light, Reflection, ReflectionKind};
use crate::geometry::Vector;

/// Light up everything drawn so far.
pub fn shine(canvas: &mut Canvas, light: &Light) {
    for index in 0..canvas.pixels.len() {
        let factor = factor(canvas, light, index);
        let p = &mut canvas.pixels[index];
        *p = [0, 1, 2].map(|c| p[c] * factor[c]);
    }
}

/// Light on a canvas pixel: factor on red, green and blue.
pub fn factor(canvas: &Canvas, light: &Light, index: usize) -> Rgb {
    let (column, row) = (index % canvas.width, index / canvas.width);
    let place = canvas.picture_point(column as f64, row as f64);
    let [x, y] = light.field_center_px;
    let away = (place.x - x).hypot(place.y - y) / light.field_radius_px;
    let soft = if light.hard_rim { 0.05 } else { light.field_softness };
    let fall = smoothstep(1.0 + soft, 1.0 - soft, away);
    let field = light.outside + (1.0 - light.outside) * fall;
    let slope = along(light.slope_deg) * light.slope;
    let uneven = (1.3 * slope.dot(&canvas.view.eye_of(&place))).clamp(-3.0, 0.4).exp();
    light.gain.map(|g| (g * light.exposure * field * uneven) as f32)
}

/// Draw a reflection; lids and instruments hide it, and it hides what lies under it.
pub fn reflect(canvas: &mut Canvas, reflection: &Reflection, gain: &[f64; 3], seed: u32) {
    let center = Vector::new(reflection.center_r[0], reflection.center_r[1]);
    let length = along(reflection.direction_deg);
    let [a, b] = reflection.size_r;
    let reach = match reflection.kind {
        ReflectionKind::Veil => a.max(b) * 2.2,
        ReflectionKind::Ring => a.max(b) * 1.6,
        ReflectionKind::Blob => a.max(b) * 5.0,
    };
    let tint = gain.map(|g| (0.7 + 0.3 * g) as f32);
    canvas.visit(&center, reach, |canvas, index, eye| {
        let arm = eye - center;
        let (s, n) = (arm.dot(&length) / a, (length.x * arm.y - length.y * arm.x) / b);
        let away = s.hypot(n);
        let strength = match reflection.kind {
            ReflectionKind::Blob => {
                let uneven = f64::from(noise::value(eye.x * 30.0, eye.y * 30.0, seed)) * 0.3;
                smoothstep(1.0, 0.7, away + uneven) + 0.05 * (-(away / 2.2).powi(2)).exp()
            }
            ReflectionKind::Ring => {
                let lamps = 0.55 + 0.45 * (8.0 * n.atan2(s)).cos();
                smoothstep(0.28, 0.12, (away - 0.8).abs()) * lamps
            }
            ReflectionKind::Veil => 0.5 * (-2.0 * away * away).exp(),
        };
        let free = 1.0 - canvas.cover[index];
        let light = (strength * reflection.brightness) as f32 * free;
        if light > 0.0 {
            let p = &mut canvas.pixels[index];
            *p = [0, 1, 2].map(|c| p[c] + light * tint[c]);
            if reflection.kind != ReflectionKind::Veil {
                canvas.cover[index] += ((strength * 1.2 - 0.1).clamp(0.0, 1.0) as f32) * free;
            }
        }
    });
}
