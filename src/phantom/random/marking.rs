//! The plan, the reference marks and the lens.

use super::dice::Dice;
use super::{AxisPlan, Forms, MarksShown, Wanted};
use crate::phantom::scene::{
    Haptics, Lens, LensMarkKind, LensMarks, Plan, ReferenceMark, ReferenceMarkKind, Scene, StretchLine,
};

pub fn plan(d: &mut Dice, wanted: &Wanted, turn_deg: f64) -> Plan {
    let intended = (d.range(0.0, 180.0)).round().max(1.0);
    let rough = (turn_deg + d.range(-20.0, 20.0)).rem_euclid(360.0).round();
    let several = d.fault(if wanted.axis == AxisPlan::Anywhere { 0.2 } else { 0.04 }, "several marks");
    let single = !several && d.fault(0.05, "single mark");
    let base = if wanted.axis == AxisPlan::Anywhere { 0.0 } else { intended };
    let full = |offsets: &[f64]| offsets.iter().map(|o| (base + o).rem_euclid(360.0)).collect::<Vec<_>>();
    let (meant, zero) = if several {
        (if d.chance(0.5) { full(&[0.0, 180.0, 270.0]) } else { full(&[0.0, 180.0, 90.0, 270.0]) }, Some(rough))
    } else if single {
        (full(&[if d.chance(0.5) { 0.0 } else { 180.0 }]), None)
    } else {
        (full(&[0.0, 180.0]), None)
    };
    // Who puts one mark only may say so, or leave the sheet as it is.
    let said = single && d.chance(0.5);
    Plan {
        intended_axis_deg: intended,
        sheet_has_meridians: several || said || wanted.axis == AxisPlan::Anywhere,
        marks_meant_deg: meant,
        zero_direction_deg: zero,
    }
}

/// Put the marks and the lens into the scene.
pub fn mark(d: &mut Dice, wanted: &Wanted, scene: &mut Scene) {
    let (reference, lens) = match wanted.marks {
        MarksShown::Both => (true, true),
        MarksShown::ReferenceOnly => (true, false),
        MarksShown::LensOnly => (false, true),
        MarksShown::None => (false, false),
    };
    let px_r = 1.0 / scene.view.limbus_half_width_px;
    let marks = reference_marks(d, wanted.forms, &scene.plan, px_r);
    let error = if d.chance(0.12) { d.range(-30.0, 30.0) } else { d.normal(5.0) };
    let axis_deg = scene.plan.intended_axis_deg + error;
    let implant = self::lens(d, wanted.forms, scene, axis_deg, px_r);
    if reference {
        scene.reference_marks = marks;
    } else {
        scene.plan.marks_meant_deg.clear();
    }
    scene.lens = match (lens, d.chance(0.6)) {
        (true, _) => Some(implant),
        (false, true) => Some(Lens { marks: None, ..implant }),
        (false, false) => None,
    };
}

fn reference_marks(d: &mut Dice, forms: Forms, plan: &Plan, px_r: f64) -> Vec<ReferenceMark> {
    let several = plan.marks_meant_deg.len() > 2;
    let turned = d.normal(2.0);
    let uneven = if several {
        0.3
    } else if d.fault(0.12, "marks not opposite") {
        3.5
    } else {
        1.0
    };
    let leaning = d.fault(0.12, "leaning marks");
    let faint = d.fault(0.09, "faint marks");
    let broken = d.fault(0.08, "broken marks");
    let ink = d.pick(&[
        [28.0, 28.0, 34.0],
        [45.0, 42.0, 60.0],
        [78.0, 45.0, 115.0],
        [48.0, 60.0, 135.0],
        [58.0, 66.0, 150.0],
        [25.0, 88.0, 98.0],
        [40.0, 75.0, 130.0],
    ]);
    let ink = d.vary(ink, 0.15);
    let (kind, width) = match forms {
        Forms::Usual => usual_reference_form(d, px_r),
        Forms::Any => any_reference_form(d, px_r),
    };
    let round = matches!(kind, ReferenceMarkKind::Dot | ReferenceMarkKind::Blot);
    let middle = if round { d.range(0.96, 1.12) } else { d.range(0.99, 1.12) };
    let length = d.range(0.13, 0.32);
    let opacity = match forms {
        Forms::Any => d.range(0.25, 0.95),
        Forms::Usual if faint => d.range(0.25, 0.45),
        Forms::Usual => d.range(0.6, 0.95),
    };
    // A needle is set down, or lifted, at either end.
    let (least_taper, inner_end_tapers) = match forms {
        Forms::Any => (0.05, d.chance(0.5)),
        Forms::Usual => (0.45, false),
    };
    let meant = plan.marks_meant_deg.clone();
    meant
        .iter()
        .map(|m| {
            let middle = middle + d.normal(0.015);
            let length = length * d.range(0.8, 1.2);
            let tapered = width * d.range(least_taper, 1.0);
            ReferenceMark {
                meridian_deg: (m + turned + d.normal(uneven)).rem_euclid(360.0),
                kind,
                inner_r: (middle - length / 2.0).max(0.85),
                outer_r: (middle + length / 2.0).min(1.27),
                width_r: match (round, inner_end_tapers) {
                    (true, _) => [width; 2],
                    (false, true) => [tapered, width],
                    (false, false) => [width, tapered],
                },
                lean_deg: d.normal(if leaning { 8.0 } else { 1.5 }),
                softness_r: match kind {
                    // Up to a blot that is nowhere as dark as in its middle.
                    ReferenceMarkKind::Blot if forms == Forms::Any => width / 2.0 * d.range(0.2, 1.0),
                    ReferenceMarkKind::Blot => d.range(0.012, 0.03),
                    _ => d.range(0.002, 0.007),
                },
                opacity: opacity * d.range(0.85, 1.05).min(1.0),
                fading: d.range(0.0, 0.35),
                broken: if broken && !round { d.range(0.15, 0.4) } else { 0.0 },
                ink,
                seed: d.seed() as u32,
            }
        })
        .collect()
}

/// Form and width (limbus radii; of a dot its diameter), as often as they are met with.
fn usual_reference_form(d: &mut Dice, px_r: f64) -> (ReferenceMarkKind, f64) {
    let kind = match d.below(100) {
        0..42 => ReferenceMarkKind::Line,
        42..62 => ReferenceMarkKind::Stroke,
        62..78 => ReferenceMarkKind::Dot,
        78..88 => ReferenceMarkKind::Blot,
        88..94 => ReferenceMarkKind::Crossed { angle_deg: d.range(25.0, 90.0) },
        _ => ReferenceMarkKind::Doubled { gap_r: d.range(0.04, 0.08) },
    };
    let width = match kind {
        ReferenceMarkKind::Line => d.range(0.012, 0.028).max(1.3 * px_r),
        ReferenceMarkKind::Stroke => d.range(0.032, 0.075),
        ReferenceMarkKind::Dot => d.range(0.045, 0.09),
        ReferenceMarkKind::Blot => d.range(0.07, 0.13),
        _ => d.range(0.014, 0.026).max(1.3 * px_r),
    };
    (kind, width)
}

/// Form and width, each form as often as any other.
fn any_reference_form(d: &mut Dice, px_r: f64) -> (ReferenceMarkKind, f64) {
    match d.below(6) {
        0 => (ReferenceMarkKind::Line, d.range(0.01, 0.035).max(1.3 * px_r)),
        1 => (ReferenceMarkKind::Stroke, d.range(0.03, 0.09)),
        2 => (ReferenceMarkKind::Dot, d.range(0.04, 0.11)),
        3 => (ReferenceMarkKind::Blot, d.range(0.06, 0.16)),
        4 => (ReferenceMarkKind::Crossed { angle_deg: d.range(25.0, 90.0) }, d.range(0.012, 0.034).max(1.3 * px_r)),
        _ => (ReferenceMarkKind::Doubled { gap_r: d.range(0.035, 0.1) }, d.range(0.012, 0.03).max(1.3 * px_r)),
    }
}

fn lens(d: &mut Dice, forms: Forms, scene: &Scene, axis_deg: f64, px_r: f64) -> Lens {
    let half_mm = scene.view.white_to_white_mm / 2.0;
    let magnification = 1.17;
    let to_mm = half_mm / magnification;
    let (kind, width_r) = match forms {
        Forms::Usual => usual_lens_form(d, to_mm),
        Forms::Any => any_lens_form(d, to_mm),
    };
    let dull = scene.pupil.reflex.dull.iter().chain(&scene.pupil.reflex.bright).sum::<f64>() < 250.0;
    let bright = if forms == Forms::Any { d.chance(0.35) } else { dull && d.chance(0.7) };
    let (least_opacity, bright_colour) = match forms {
        Forms::Usual => (0.65, [205.0, 190.0, 170.0]),
        Forms::Any => (0.35, d.between([205.0, 190.0, 170.0], [255.0, 250.0, 240.0])),
    };
    if bright {
        d.note("bright lens marks");
    }
    let offset = |d: &mut Dice| d.normal(0.16).clamp(-0.45, 0.45);
    Lens {
        axis_deg,
        center_mm: [offset(d), offset(d)],
        depth_mm: d.range(1.6, 2.4),
        magnification,
        tilt_deg: d.normal(2.0).abs().min(6.0),
        tilt_direction_deg: d.range(0.0, 180.0),
        optic_radius_mm: d.range(2.85, 3.1),
        edge_reflection: if d.chance(0.75) { d.range(0.15, 0.8) } else { 0.0 },
        capsule_opening_mm: if d.chance(0.6) { d.range(2.2, 2.75) } else { 0.0 },
        folds: if d.fault(0.2, "capsule folds") { 3 + d.below(7) as u32 } else { d.below(2) as u32 },
        stretch_lines: Vec::new(),
        haptics: d.pick(&[Haptics::Arms, Haptics::Arms, Haptics::Plate, Haptics::Hidden]),
        haptics_deg: d.range(60.0, 120.0),
        marks: Some(LensMarks {
            kind,
            radius_mm: d.range(0.36, 0.47) * to_mm,
            width_mm: width_r.max(1.7 * px_r) * to_mm,
            opacity: d.range(least_opacity, 0.95),
            colour: if bright { bright_colour } else { d.vary([30.0, 22.0, 26.0], 0.3) },
        }),
    }
}

/// Form of the lens marks and their width (limbus radii; of a dot its diameter), as often as they are met with.
fn usual_lens_form(d: &mut Dice, to_mm: f64) -> (LensMarkKind, f64) {
    let kind = match d.below(100) {
        0..18 => LensMarkKind::Dots { count: 1, pitch_mm: 0.0 },
        18..40 => LensMarkKind::Dots { count: 2, pitch_mm: d.range(0.06, 0.085) * to_mm },
        40..62 => LensMarkKind::Dots { count: 3, pitch_mm: d.range(0.052, 0.075) * to_mm },
        62..72 => LensMarkKind::Dots { count: 4, pitch_mm: d.range(0.05, 0.062) * to_mm },
        72..92 => LensMarkKind::Dash { length_mm: d.range(0.09, 0.19) * to_mm },
        _ => LensMarkKind::PairedLines { length_mm: d.range(0.09, 0.16) * to_mm, gap_mm: d.range(0.05, 0.075) * to_mm },
    };
    let width = match kind {
        LensMarkKind::Dots { count: 1, .. } => d.range(0.032, 0.05),
        LensMarkKind::Dots { .. } => d.range(0.026, 0.038),
        LensMarkKind::Dash { .. } => d.range(0.02, 0.036),
        LensMarkKind::PairedLines { .. } => d.range(0.014, 0.022),
    };
    (kind, width)
}

/// Form and width, each form as often as any other. Dots are apart by more than their width.
fn any_lens_form(d: &mut Dice, to_mm: f64) -> (LensMarkKind, f64) {
    let dots = |count, pitch_r: f64| LensMarkKind::Dots { count, pitch_mm: pitch_r * to_mm };
    match d.below(6) {
        0 => (dots(1, 0.0), d.range(0.028, 0.055)),
        1 => (dots(2, d.range(0.055, 0.09)), d.range(0.024, 0.042)),
        2 => (dots(3, d.range(0.048, 0.08)), d.range(0.022, 0.036)),
        3 => (dots(4, d.range(0.048, 0.07)), d.range(0.022, 0.034)),
        4 => (LensMarkKind::Dash { length_mm: d.range(0.08, 0.2) * to_mm }, d.range(0.016, 0.042)),
        _ => {
            let (length_mm, gap_mm) = (d.range(0.08, 0.2) * to_mm, d.range(0.034, 0.07) * to_mm);
            (LensMarkKind::PairedLines { length_mm, gap_mm }, d.range(0.012, 0.022))
        }
    }
}

/// Straight lines across the capsule: along the haptics that stretch it, or another way.
pub fn stretch_capsule(d: &mut Dice, scene: &mut Scene) {
    let stretched = d.fault(0.07, "stretched capsule");
    let Some(lens) = scene.lens.as_mut().filter(|_| stretched) else {
        return;
    };
    let direction_deg = lens.axis_deg + if d.chance(0.5) { lens.haptics_deg } else { d.range(0.0, 180.0) };
    lens.stretch_lines = (0..=d.below(3))
        .map(|_| StretchLine {
            direction_deg: direction_deg + d.normal(8.0),
            aside_r: d.normal(0.06),
            inner_r: if d.chance(0.4) { 0.0 } else { d.range(0.0, 0.2) },
            outer_r: [d.range(0.4, 0.62), d.range(0.4, 0.62)],
            width_r: d.range(0.01, 0.035),
            opacity: d.range(0.2, 0.8),
            colour: if d.chance(0.6) { [42.0, 26.0, 24.0] } else { [246.0, 226.0, 190.0] },
        })
        .collect();
}
