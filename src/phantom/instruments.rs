//! Instruments over the eye, and bubbles on it.

use super::canvas::{Canvas, Rgb, Stroke, along, linear, mix, smoothstep, times};
use super::lids::rod;
use super::noise;
use super::scene::{Bubble, Instrument, InstrumentKind};
use crate::geometry::Vector;

/// How far instruments reach, limbus radii.
const FAR: f64 = 6.0;

/// Draw an instrument.
pub fn draw(canvas: &mut Canvas, i: &Instrument, seed: u32) {
    let tip = Vector::new(i.tip_r[0], i.tip_r[1]);
    let u = along(i.direction_deg);
    let n = Vector::new(-u.y, u.x);
    let w = i.width_r;
    let body = linear(&i.colour);
    match i.kind {
        InstrumentKind::Cannula => {
            let points = vec![
                (tip, w * 0.3),
                (tip + u * 0.12 + n * 0.03, w * 0.34),
                (tip + u * 0.6 + n * 0.09, w * 0.38),
                (tip + u * 1.6 + n * 0.12, w * 0.5),
                (tip + u * FAR + n * 0.3, w * 0.8),
            ];
            metal(canvas, points, body, 0.8, seed);
        }
        InstrumentKind::Forceps => {
            for side in [-1.0, 1.0] {
                let points = vec![
                    (tip, w * 0.22),
                    (tip + u * 0.4 + n * (side * w * 0.7), w * 0.3),
                    (tip + u * 1.6 + n * (side * w * 1.6), w * 0.55),
                    (tip + u * FAR + n * (side * w * 2.6), w * 0.9),
                ];
                metal(canvas, points, body, 0.75, seed ^ u32::from(side > 0.0));
            }
        }
        InstrumentKind::Knife => {
            let widest = tip + u * (w * 3.2);
            let facets =
                vec![(tip, 0.003), (widest, w), (widest + u * (w * 1.6), w * 0.95), (widest + u * (w * 3.6), w * 0.45)];
            canvas.stroke(&Stroke { points: facets, softness: 0.0 }, |canvas, index, near| {
                let facet = if near.across > 0.1 { [0.75, 0.78, 0.72] } else { [0.32, 0.42, 0.38] };
                let edge = smoothstep(0.75, 0.95, f64::from(near.across.abs())) as f32;
                let grain = noise::value(f64::from(near.along) * 14.0, f64::from(near.across) * 3.0, seed);
                let tone = times(mix(facet, [0.1, 0.12, 0.11], edge * 0.5), 0.6 + 0.5 * grain);
                canvas.lay_over(index, tone, near.coverage);
            });
            let handle = widest + u * (w * 3.4);
            metal(canvas, vec![(handle, w * 0.45), (handle + u * FAR, w * 0.9)], body, 0.6, seed);
        }
        InstrumentKind::HandPiece => {
            let sleeve = vec![(tip + u * (w * 1.2), w * 0.75), (tip + u * 0.9, w), (tip + u * 1.5, w * 1.3)];
            canvas.stroke(&Stroke { points: sleeve, softness: 0.01 }, |canvas, index, near| {
                let rim = near.across.abs().powi(3).min(1.0);
                let colour = mix(body, [0.9, 0.95, 0.95], 0.35 + 0.4 * rim);
                canvas.lay_over(index, colour, near.coverage * (0.35 + 0.35 * rim));
            });
            metal(canvas, vec![(tip, w * 0.5), (tip + u * 1.4, w * 0.55)], [0.16, 0.17, 0.17], 0.9, seed);
            let grip = vec![(tip + u * 1.4, w * 1.4), (tip + u * 2.0, w * 2.2), (tip + u * FAR, w * 2.6)];
            metal(canvas, grip, body, 0.45, seed ^ 9);
        }
        InstrumentKind::Swab => {
            let points = vec![(tip + u * (w * 1.5), w * 1.4), (tip + u * (w * 4.0), w * 1.6), (tip + u * FAR, w * 1.9)];
            canvas.stroke(&Stroke { points, softness: 0.02 }, |canvas, index, near| {
                let fluff = noise::clouds(f64::from(near.along) * 40.0, f64::from(near.across) * 4.0, 3, seed);
                let round = 1.0 - 0.45 * near.across * near.across;
                canvas.lay_over(index, times(body, (0.72 + 0.4 * fluff) * round), near.coverage);
            });
        }
        InstrumentKind::Shaft => {
            let points = vec![(tip, w * 0.35), (tip + u * 0.05, w * 0.5), (tip + u * (2.0 * FAR), w * 0.5)];
            canvas.stroke(&Stroke { points, softness: 0.003 }, |canvas, index, near| {
                let round = 1.0 - 0.5 * near.across * near.across;
                let lively = 0.8 + 0.2 * noise::value(f64::from(near.along) * 60.0, 0.5, seed);
                canvas.lay_over(index, times(body, round * lively), near.coverage * 0.95);
            });
        }
    }
}

fn metal(canvas: &mut Canvas, points: Vec<(Vector, f64)>, body: Rgb, gleam: f32, seed: u32) {
    let stroke = Stroke { points, softness: 0.0 };
    // A shadow a little aside gives it height over the eye.
    let shadow = Stroke {
        points: stroke.points.iter().map(|(p, w)| (p + Vector::new(0.03, -0.05), w * 1.15)).collect(),
        softness: 0.05,
    };
    canvas.stroke(&shadow, |canvas, index, near| {
        canvas.pixels[index] = times(canvas.pixels[index], 1.0 - 0.35 * near.coverage);
    });
    canvas.stroke(&stroke, |canvas, index, near| {
        let lively = noise::value(f64::from(near.along) * 17.0, f64::from(near.across), seed);
        canvas.lay_over(index, rod(near.across, body, gleam * (0.25 + 0.9 * lively * lively)), near.coverage);
    });
}

/// Draw a bubble: a dark rim with a bright line in it, and one or two lamps mirrored inside.
pub fn draw_bubble(canvas: &mut Canvas, bubble: &Bubble, seed: u32) {
    let center = Vector::new(bubble.center_r[0], bubble.center_r[1]);
    let r = bubble.radius_r;
    let lamp = along(360.0 * f64::from(noise::hash(1, 2, seed)));
    let px = 1.0 / canvas.px_per_radius();
    let line = (r * 0.07).max(px * 0.8);
    let strength = bubble.strength as f32;
    canvas.visit(&center, r * 1.2, |canvas, index, eye| {
        let arm = eye - center;
        let away = arm.norm();
        let dark = smoothstep(line * 2.0, 0.0, (away - r + line).abs()) as f32;
        let bright = smoothstep(line, 0.0, (away - r + line * 2.6).abs()) as f32;
        let facing = (0.4 + 0.6 * (arm.dot(&lamp) / away.max(1e-9)).abs()) as f32;
        canvas.lay(index, [0.05, 0.035, 0.02], dark * 0.75 * strength);
        canvas.lay(index, [0.95, 0.9, 0.75], bright * facing * 0.6 * strength);
        if away < r {
            canvas.lay(index, [0.9, 0.88, 0.8], 0.06 * strength);
        }
        for at in [lamp * (r * 0.32), lamp * (r * -0.1) + Vector::new(r * 0.12, 0.0)] {
            let spot = smoothstep(r * 0.16 + px, r * 0.07, (arm - at).norm()) as f32;
            canvas.lay(index, [1.6, 1.6, 1.5], spot * strength);
        }
        let cover = (dark * 0.75).max(bright * facing * 0.6) * strength;
        canvas.cover[index] += (1.0 - canvas.cover[index]) * cover;
    });
}
