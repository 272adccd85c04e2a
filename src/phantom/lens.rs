//! The lens: edge of its optic, capsule, haptics, axis marks.

use super::canvas::{Canvas, Stroke, along, smoothstep};
use super::marks::{Trace, paint};
use super::noise;
use super::scene::{Haptics, Lens, LensMarkKind, LensMarks, StretchLine};
use super::view::View;
use crate::geometry::Vector;
use rand::RngExt;
use rand_chacha::ChaCha8Rng;

/// Places of the pieces (dots or lines) of both groups, eye frame, as seen.
pub fn mark_groups(view: &View, lens: &Lens, marks: &LensMarks) -> [Vec<Vector>; 2] {
    [0.0, 180.0].map(|side| {
        pieces(marks)
            .into_iter()
            .map(|(s, n)| {
                let axis = along(lens.axis_deg + side);
                let place = Vector::new(lens.center_mm[0], lens.center_mm[1])
                    + axis * (marks.radius_mm + s)
                    + Vector::new(-axis.y, axis.x) * n;
                view.lens_place(lens, &place)
            })
            .collect()
    })
}

/// Offsets (along, across; mm) of a group's pieces from its middle.
fn pieces(marks: &LensMarks) -> Vec<(f64, f64)> {
    match marks.kind {
        LensMarkKind::Dots { count, pitch_mm } => {
            (0..count).map(|k| ((f64::from(k) - (f64::from(count) - 1.0) / 2.0) * pitch_mm, 0.0)).collect()
        }
        LensMarkKind::Dash { .. } => vec![(0.0, 0.0)],
        LensMarkKind::PairedLines { gap_mm, .. } => vec![(0.0, gap_mm / 2.0), (0.0, -gap_mm / 2.0)],
    }
}

/// Middle of both groups, eye frame, as seen.
pub fn group_centers(view: &View, lens: &Lens, marks: &LensMarks) -> [Vector; 2] {
    mark_groups(view, lens, marks).map(|group| group.iter().sum::<Vector>() / group.len() as f64)
}

/// Draw the axis marks; returns the trace of each group.
pub fn draw_marks(canvas: &mut Canvas, lens: &Lens, marks: &LensMarks) -> [Trace; 2] {
    let colour = super::canvas::linear(&marks.colour);
    let to_r = lens.magnification / canvas.view.mm_per_radius();
    let half_width = marks.width_mm / 2.0 * to_r;
    let half_length = match marks.kind {
        LensMarkKind::Dots { .. } => 0.0,
        LensMarkKind::Dash { length_mm } | LensMarkKind::PairedLines { length_mm, .. } => length_mm / 2.0 * to_r,
    };
    let axis = along(lens.axis_deg);
    let groups = mark_groups(canvas.view, lens, marks);
    groups.map(|group| {
        let mut trace = Trace::new();
        for place in group {
            let opacity = |eye: &Vector| {
                let arm = eye - place;
                let s = (arm.dot(&axis).abs() - half_length).max(0.0);
                let n = axis.x * arm.y - axis.y * arm.x;
                let soft = half_width * 0.35;
                marks.opacity * smoothstep(-soft, soft, half_width - s.hypot(n))
            };
            trace.extend(paint(canvas, &place, half_length + half_width * 1.5, opacity, colour, true));
        }
        trace
    })
}

/// Draw the lens without its marks.
pub fn draw(canvas: &mut Canvas, lens: &Lens, seed: u32, rng: &mut ChaCha8Rng) {
    let to_r = lens.magnification / canvas.view.mm_per_radius();
    let center_mm = Vector::new(lens.center_mm[0], lens.center_mm[1]);
    let center = canvas.view.lens_place(lens, &center_mm);
    let optic = lens.optic_radius_mm * to_r;
    let opening = lens.capsule_opening_mm * to_r;
    let px = 1.0 / canvas.px_per_radius();
    let line = (0.006_f64).max(px);
    let lit = rng.random_range(0.0..360.0_f64);
    canvas.visit(&center, optic * 1.1, |canvas, index, eye| {
        let inside = canvas.pupil[index];
        if inside <= 0.0 {
            return;
        }
        let arm = eye - center;
        let (away, angle) = (arm.norm(), arm.y.atan2(arm.x));
        // The edge shines where it faces the lamp and its opposite, and is dark elsewhere.
        let facing = 0.35 + 0.65 * ((angle - lit.to_radians()).cos().powi(2)) as f32;
        let ring = smoothstep(line * 1.6, 0.0, (away - optic).abs()) as f32 * lens.edge_reflection as f32 * inside;
        let shade = smoothstep(line * 2.5, 0.0, (away - optic + line * 2.5).abs()) as f32 * 0.25 * inside;
        canvas.lay(index, [0.02, 0.012, 0.01], shade * lens.edge_reflection as f32);
        canvas.lay(index, [0.85, 0.75, 0.55], ring * facing * 0.8);
        if away < optic {
            let glow = 0.04 * inside * smoothstep(optic, optic * 0.9, away) as f32;
            canvas.lay(index, [0.8, 0.7, 0.6], glow);
        }
        if opening > 0.0 {
            let turns = angle / std::f64::consts::TAU;
            let radius = opening * (0.94 + 0.12 * f64::from(noise::value_around(turns * 9.0, 0.3, 9, seed)));
            let rim = smoothstep(line * 1.8, 0.0, (away - radius).abs()) as f32 * inside;
            let varied = noise::value_around(turns * 23.0, 2.3, 23, seed) * 0.5;
            canvas.lay(index, if varied > 0.25 { [0.7, 0.6, 0.5] } else { [0.05, 0.03, 0.02] }, rim * varied);
            if away > radius && away < optic * 1.1 {
                canvas.lay(index, [0.5, 0.42, 0.36], 0.05 * inside);
            }
        }
    });
    draw_folds(canvas, lens, &center, optic, rng);
    for line in &lens.stretch_lines {
        draw_stretch_line(canvas, line, &center);
    }
    draw_haptics(canvas, lens, &center, optic);
}

/// Folds of the capsule: thin bright and dark lines across the pupil.
fn draw_folds(canvas: &mut Canvas, lens: &Lens, center: &Vector, optic: f64, rng: &mut ChaCha8Rng) {
    for _ in 0..lens.folds {
        let direction = rng.random_range(0.0..360.0);
        let start = center + along(rng.random_range(0.0..360.0)) * (optic * rng.random_range(0.0..0.8));
        let length = optic * rng.random_range(0.15..0.8);
        let bend = rng.random_range(-40.0..40.0);
        let width = rng.random_range(0.003..0.009);
        let mut point = start;
        let mut points = Vec::new();
        for k in 0..12 {
            let t = f64::from(k) / 11.0;
            points.push((point, width * (1.0 - (2.0 * t - 1.0).powi(2)).max(0.05)));
            point += along(direction + bend * t) * (length / 11.0);
        }
        let strength = rng.random_range(0.1..0.55_f32);
        let colour = if rng.random_bool(0.6) { [0.95, 0.75, 0.5] } else { [0.06, 0.02, 0.02] };
        let stroke = Stroke { points, softness: width };
        canvas.stroke(&stroke, |canvas, index, near| {
            let alpha = near.coverage * strength * canvas.pupil[index];
            canvas.lay(index, colour, alpha);
        });
    }
}

fn draw_stretch_line(canvas: &mut Canvas, line: &StretchLine, center: &Vector) {
    let direction = along(line.direction_deg);
    let nearest = center + Vector::new(-direction.y, direction.x) * line.aside_r;
    let half = line.width_r / 2.0;
    let colour = super::canvas::linear(&line.colour);
    for (sign, outer) in [(1.0, line.outer_r[0]), (-1.0, line.outer_r[1])] {
        let points = [line.inner_r, outer].map(|r| (nearest + direction * (sign * r), half)).to_vec();
        canvas.stroke(&Stroke { points, softness: half / 2.0 }, |canvas, index, near| {
            canvas.lay(index, colour, near.coverage * line.opacity as f32 * canvas.pupil[index]);
        });
    }
}

/// Haptics, where the pupil lets them be seen.
fn draw_haptics(canvas: &mut Canvas, lens: &Lens, center: &Vector, optic: f64) {
    let base = lens.axis_deg + lens.haptics_deg;
    let strokes: Vec<Stroke> = match lens.haptics {
        Haptics::Hidden => Vec::new(),
        Haptics::Arms => [0.0, 180.0]
            .into_iter()
            .map(|side| {
                let points = (0..20)
                    .map(|k| {
                        let t = f64::from(k) / 19.0;
                        let radius = optic * (0.97 + 0.75 * t.powf(0.8));
                        (center + along(base + side + 85.0 * t) * radius, 0.022)
                    })
                    .collect();
                Stroke { points, softness: 0.004 }
            })
            .collect(),
        Haptics::Plate => [(0.0, -1.0), (0.0, 1.0), (180.0, -1.0), (180.0, 1.0)]
            .into_iter()
            .map(|(side, edge)| {
                let root = center + along(base + side + edge * 32.0) * (optic * 0.98);
                let points = vec![(root, 0.05), (root + along(base + side + edge * 14.0) * (optic * 0.7), 0.035)];
                Stroke { points, softness: 0.004 }
            })
            .collect(),
    };
    for stroke in strokes {
        canvas.stroke(&stroke, |canvas, index, near| {
            let inside = canvas.pupil[index] * near.coverage;
            let rim = near.across.abs().powi(4);
            canvas.lay(index, [0.75, 0.62, 0.45], inside * (0.08 + 0.4 * rim.min(1.0)));
        });
    }
}
