//! View, light and camera.

use super::dice::Dice;
use crate::geometry::Vector;
use crate::phantom::canvas::along;
use crate::phantom::scene::{Camera, Light, Scene, ViewParameters};
use crate::phantom::view::View;

/// Common sizes of stills, px.
const SIZES: [[u32; 2]; 10] = [
    [1024, 768],
    [1024, 768],
    [1024, 768],
    [1280, 720],
    [1920, 1080],
    [640, 480],
    [720, 576],
    [800, 600],
    [1280, 960],
    [854, 480],
];

pub fn view(d: &mut Dice) -> ViewParameters {
    let [width_px, height_px] = d.pick(&SIZES);
    let (width, height) = (f64::from(width_px), f64::from(height_px));
    let least = 80.0_f64.max(height * 0.16);
    let half_width = if d.fault(0.08, "small limbus") {
        d.range(least, height * 0.2)
    } else {
        d.range(height * 0.21, height * 0.38)
    }
    .clamp(80.0, 420.0);
    let off = d.fault(0.09, "limbus leaves the picture");
    let mut center = [width / 2.0 + d.normal(width * 0.03), height / 2.0 + d.normal(height * 0.03)];
    let aspect = if d.fault(0.08, "squeezed pixels") {
        let r = d.range(0.6, 0.9);
        if d.chance(0.5) { r } else { 1.0 / r }
    } else if d.chance(0.12) {
        d.range(0.9, 1.1)
    } else {
        1.0
    };
    if off {
        let beyond = half_width * d.range(0.1, 0.5);
        match d.below(4) {
            0 => center[0] = half_width - beyond,
            1 => center[0] = width - half_width + beyond,
            2 => center[1] = half_width - beyond,
            _ => center[1] = height - half_width + beyond,
        }
    } else {
        for (c, side) in center.iter_mut().zip([width, height]) {
            let room = (side / 2.0 - half_width * 1.3).max(0.0);
            *c += d.range(-0.5, 0.5) * room;
        }
    }
    let turned = d.chance(0.35);
    let tilt_deg = if d.fault(0.08, "tilted eye") { d.range(6.0, 12.0) } else { d.normal(2.5).abs().min(6.0) };
    ViewParameters {
        width_px,
        height_px,
        limbus_center_px: center,
        limbus_half_width_px: half_width,
        turn_deg: if turned { d.range(0.0, 360.0) } else { d.pick(&[0.0, 180.0]) + d.normal(10.0) }.rem_euclid(360.0),
        tilt_deg,
        tilt_direction_deg: d.range(0.0, 360.0),
        pixel_aspect: aspect,
        white_to_white_mm: 11.7 + d.normal(0.4).clamp(-1.0, 1.0),
        limbus_height_over_width: 0.94 + d.normal(0.03).clamp(-0.09, 0.09),
    }
}

pub fn light(d: &mut Dice, view: &ViewParameters) -> Light {
    let tints = [[1.0, 1.0, 1.0], [1.04, 1.0, 0.9], [1.05, 1.0, 0.74], [0.97, 1.03, 0.92]];
    let gain = if d.fault(0.16, "coloured light") {
        d.pick(&[[0.82, 1.06, 0.72], [0.82, 0.98, 1.2], [1.25, 0.85, 0.48], [1.1, 1.0, 0.55], [0.7, 0.95, 1.05]])
    } else {
        d.pick(&tints)
    };
    let half_width = view.limbus_half_width_px;
    let narrow = d.fault(0.14, "narrow light");
    let flat = !narrow && d.chance(0.25);
    let field = if narrow {
        d.range(1.15, 1.7)
    } else if flat {
        d.range(4.0, 8.0)
    } else {
        d.range(1.4, 2.6)
    };
    let half_shade = d.fault(0.08, "half in shade");
    let dim = d.fault(0.08, "dim light");
    let hard_rim = !flat && d.fault(0.06, "rim of the light");
    let shift = if narrow { 0.2 } else { 0.35 };
    Light {
        gain,
        exposure: if dim { d.range(0.12, 0.4) } else { d.range(0.7, 1.45) },
        field_center_px: [0, 1].map(|k| view.limbus_center_px[k] + d.normal(shift) * half_width),
        field_radius_px: half_width * if hard_rim { field.max(1.5) } else { field },
        field_softness: d.range(0.3, 0.65),
        outside: if flat { d.range(0.1, 0.6) } else { d.range(0.005, 0.06) },
        slope: if half_shade { d.range(0.45, 0.75) } else { d.range(0.0, 0.22) },
        slope_deg: d.range(0.0, 360.0),
        hard_rim,
    }
}

pub fn camera(d: &mut Dice, half_width_px: f64) -> Camera {
    let soft = d.fault(0.12, "upscaled");
    let resolution: f64 = if soft { d.range(0.45, 0.8) } else { 1.0 };
    let defocus = d.fault(0.10, "defocus");
    let motion = d.fault(0.07, "motion");
    let noisy = d.fault(0.10, "noise");
    let size = half_width_px / 200.0;
    Camera {
        resolution: resolution.max(60.0 / half_width_px).min(1.0),
        blur_px: if defocus { d.range(1.6, 3.2) * size } else { d.range(0.5, 1.2) * size.max(0.7) },
        motion_px: if motion { d.range(3.0, 8.0) * size } else { 0.0 },
        motion_deg: d.range(0.0, 180.0),
        noise_levels: if noisy { d.range(4.0, 9.0) } else { d.range(0.7, 3.0) },
        chroma_blur_px: d.range(0.6, 2.5),
        sharpening: if d.chance(0.5) { d.range(0.2, 0.8) } else { 0.0 },
        gamma: d.range(1.0, 1.25),
        contrast: d.range(0.95, 1.25),
        saturation: d.range(0.75, 1.35),
        black: d.pick(&[[0.0, 0.0, 0.0], [0.0, 8.0, 3.0], [4.0, 18.0, 10.0], [10.0, 10.0, 12.0]]),
        jpeg_quality: if d.chance(0.1) {
            None
        } else if d.fault(0.1, "strong compression") {
            Some(45 + d.below(20) as u8)
        } else {
            Some(75 + d.below(22) as u8)
        },
    }
}

/// Where the picture's edge cuts a reference mark off, turn the eye so that it does not, if a turn can help.
pub fn turn_marks_into_picture(d: &mut Dice, scene: &mut Scene) {
    let ends: Vec<Vector> = scene
        .reference_marks
        .iter()
        .flat_map(|m| [m.inner_r, m.outer_r].map(|r| along(m.meridian_deg) * (r + 0.03)))
        .collect();
    for _ in 0..30 {
        let Some(view) = View::new(&scene.view) else { return };
        let inside = |e: &Vector| {
            let p = view.picture_of(e);
            p.x > 0.0 && p.y > 0.0 && p.x < f64::from(scene.view.width_px) && p.y < f64::from(scene.view.height_px)
        };
        if ends.iter().all(inside) {
            return;
        }
        let turn = d.range(0.0, 360.0);
        scene.view.turn_deg = (scene.view.turn_deg + turn).rem_euclid(360.0);
        if let Some(zero) = &mut scene.plan.zero_direction_deg {
            *zero = (*zero + turn).round().rem_euclid(360.0);
        }
    }
}
