//! The intended axis, the lens axis, the angle between them, and the degree scale around the limbus.

use super::eye::{Eye, Notation, lens_middle};
use super::font::Text;
use super::ink::{ANGLE, CARRIED, INTENDED, Ink, LENS, Patch, Place, SCALE, area_of};
use super::marks::Marks;
use super::room::Room;
use crate::geometry::Vector;
use crate::record::{Alignment, Record};
use crate::report::wording::{interval_in_words, signed_degrees};

/// Ends of the axes, and where the scale stands, in radii of the limbus.
const AXIS_END: f64 = 1.13;
const SCALE_START: f64 = 1.03;
/// The bar of the interval stands so far inside the limbus and the marks, the angle so far inside the bar.
const INTERVAL_INSIDE: f64 = 0.06;
const ANGLE_INSIDE: f64 = 0.08;
/// Marks that reach further in than this are drawn across.
const INTERVAL_LEAST: f64 = 0.70;

/// The two axes as lines.
pub fn draw_axes(record: &Record, alignment: &Alignment, ink: &mut Ink, eye: &Eye, patches: &[Patch]) {
    let intended = alignment.intended_deg;
    ink.line(eye.around(intended + 180.0, AXIS_END), eye.around(intended, AXIS_END), &INTENDED, patches);
    if let Some((from, to)) = lens_line(record, alignment, eye) {
        ink.line(from, to, &LENS, patches);
    }
}

fn lens_line(record: &Record, alignment: &Alignment, eye: &Eye) -> Option<(Place, Place)> {
    let middle = lens_middle(record)?;
    let end = |degrees: f64| eye.along(&middle, degrees, eye.reach_mm(&middle, degrees, AXIS_END)?);
    Some((end(alignment.lens_deg + 180.0)?, end(alignment.lens_deg)?))
}

/// The half of the lens axis, 0 or 180 degrees on, that has more of the picture around it: the angle is drawn there.
pub fn roomier_half(alignment: &Alignment, eye: &Eye, size: [f64; 2]) -> f64 {
    let room = |turn: f64| {
        let end = eye.around(alignment.lens_deg + turn, 1.3);
        // Lettering is wider than high.
        ((size[0] / 2.0 - (end.x - size[0] / 2.0).abs()) / 2.0).min(size[1] / 2.0 - (end.y - size[1] / 2.0).abs())
    };
    if room(0.0) >= room(180.0) { 0.0 } else { 180.0 }
}

/// Direction of the half of the intended axis from which the lens axis's `half` is reached by turning by the error:
/// directions of axes wrap at 180 degrees, and the angle must not be drawn across.
fn intended_half(alignment: &Alignment, half: f64) -> f64 {
    alignment.lens_deg + half - alignment.error_deg
}

/// The angle from the intended to the lens axis as an arc about the middle of the lens, and the bar of its interval.
pub fn draw_angle(
    record: &Record,
    alignment: &Alignment,
    half: f64,
    marks: &Marks,
    ink: &mut Ink,
    eye: &Eye,
) -> Option<()> {
    let unit = ink.unit;
    let middle = lens_middle(record)?;
    let (start, error) = (intended_half(alignment, half), alignment.error_deg);
    let marks_end = marks.reach(eye, start)[0].min(marks.reach(eye, start + error)[0]);
    let interval_at = (marks_end - INTERVAL_INSIDE).max(INTERVAL_LEAST);
    let radius_mm = eye.reach_mm(&middle, start + error, interval_at - ANGLE_INSIDE)?;
    let at = |degrees: f64, mm: f64| eye.along(&middle, degrees, mm);

    // A lens off the intended axis carries a parallel of it along, from which the angle is laid off.
    let center = eye.center();
    let (direction, offset) = (eye.direction(start), at(start, 0.0)? - center);
    if (offset.x * direction.y - offset.y * direction.x).abs() > 2.0 * unit {
        ink.line(at(start, 0.55 * radius_mm)?, at(start, 1.06 * radius_mm)?, &CARRIED, &[]);
    }

    let px_per_degree = radius_mm * eye.px_per_mm(start)? * 1_f64.to_radians();
    let arc = |from: f64, to: f64, mm: f64| -> Vec<Place> {
        (0..=60).filter_map(|k| at(from + (to - from) * f64::from(k) / 60.0, mm)).collect()
    };
    let heading = |degrees: f64, sense: f64| -> Option<Vector> {
        Some((at(degrees + sense * 0.1, radius_mm)? - at(degrees, radius_mm)?).normalize())
    };
    let sense = if error < 0.0 { -1.0 } else { 1.0 };
    let (end, head) = (start + error, 9.0 * unit / px_per_degree);
    if error.abs() > 2.5 * head {
        ink.curve(&arc(start, end - sense * head, radius_mm), &ANGLE, &[]);
        ink.arrow_head(at(end, radius_mm)?, heading(end, sense)?, &ANGLE);
    } else {
        // Too narrow to hold an arrow: two from outside, as on a drawing of a narrow part.
        let tail = 26.0 * unit / px_per_degree;
        for (tip, side) in [(start, -sense), (end, sense)] {
            ink.curve(&arc(tip + side * tail, tip + side * head, radius_mm), &ANGLE, &[]);
            ink.arrow_head(at(tip, radius_mm)?, heading(tip, -side)?, &ANGLE);
        }
    }

    let bar_mm = eye.reach_mm(&middle, end, interval_at)?;
    let [low, high] = alignment.interval95_deg.map(|bound| start + bound.clamp(error - 180.0, error + 180.0));
    ink.curve(&arc(low, high, bar_mm), &ANGLE, &[]);
    for bound in [low, high] {
        let (foot, out) = (at(bound, bar_mm)?, eye.direction(bound) * (4.0 * unit));
        ink.line(foot - out, foot + out, &ANGLE, &[]);
    }
    Some(())
}

/// The angle in figures with its interval at the lens axis, and the name of the intended axis at its other end, or as near
/// as there is room.
pub fn letter_axes(
    alignment: &Alignment,
    half: f64,
    notation: Notation,
    marks: &Marks,
    ink: &mut Ink,
    eye: &Eye,
    room: &mut Room,
) {
    let unit = ink.unit;
    let mut letter = |degrees: f64, lines: &[Text], color: &str| {
        let out = eye.direction(degrees);
        let anchor = eye.around(degrees, marks.reach(eye, degrees)[1].max(AXIS_END)) + out * (6.0 * unit);
        let mut area = area_of(lines);
        area.center = anchor + Vector::new(out.x * area.half[0], out.y * area.half[1]);
        if let Some(area) = room.nearest(&area, ink.strokes()) {
            ink.lettering(lines, &area, color);
            room.take(&area);
        }
    };
    let error = format!("{} ({})", signed_degrees(alignment.error_deg), interval_in_words(alignment));
    let lens = format!("lens axis {}", notation.axis(alignment.lens_deg));
    let intended = format!("intended axis {}", notation.axis(alignment.intended_deg));
    letter(
        alignment.lens_deg + half,
        &[Text::bold(error, 17.0 * unit), Text::regular(lens, 14.0 * unit)],
        LENS.letters,
    );
    letter(intended_half(alignment, half) + 180.0, &[Text::regular(intended, 14.0 * unit)], INTENDED.letters);
}

/// The degree scale: ticks on the oval just outside the limbus, so that they follow its tilt; figures where they hide
/// nothing.
pub fn draw_scale(notation: Notation, ink: &mut Ink, eye: &Eye, patches: &[Patch], room: &Room) {
    let unit = ink.unit;
    let px_per_degree = eye.radius() * 1_f64.to_radians();
    let fits = |step: u32, units: f64| f64::from(step) * px_per_degree >= units * unit;
    let tick_step = [1, 5, 10].into_iter().find(|step| fits(*step, 5.0)).unwrap_or(30);
    let figure_step = [10, 30].into_iter().find(|step| fits(*step, 46.0)).unwrap_or(90);
    let px_a_radius = |degrees: f64| (eye.around(degrees, 1.0) - eye.center()).norm();
    for mark in (0..360).step_by(tick_step as usize) {
        let degrees = notation.direction_deg(f64::from(mark));
        let length = match mark {
            m if m % 30 == 0 => 13.0,
            m if m % 10 == 0 => 9.0,
            m if m % 5 == 0 => 6.0,
            _ => 3.5,
        } * unit;
        let foot = eye.around(degrees, SCALE_START);
        let tip = eye.around(degrees, SCALE_START + length / px_a_radius(degrees));
        ink.line(foot, tip, &SCALE, patches);
        if mark % figure_step == 0 {
            let text = [Text::regular(notation.figure(mark), 12.0 * unit)];
            let mut area = area_of(&text);
            let out = eye.direction(degrees);
            let away = 4.0 * unit + (out.x * area.half[0]).abs() + (out.y * area.half[1]).abs();
            area.center = tip + out * away;
            if room.is_free(&area) {
                ink.lettering(&text, &area, SCALE.letters);
            }
        }
    }
}
