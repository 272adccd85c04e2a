//! Lids and drape, and what comes in the way: instruments, bubbles, reflections.

use super::dice::Dice;
use crate::geometry::Vector;
use crate::phantom::canvas::along;
use crate::phantom::scene::{
    Bubble, Colour, Instrument, InstrumentKind, Reflection, ReflectionKind, Scene, Speculum, Surroundings,
};

/// Tries to find a place that leaves the marks free.
const TRIES: usize = 40;

pub fn around(d: &mut Dice) -> Surroundings {
    let low = d.fault(0.13, "lid over the limbus");
    let both = low && d.chance(0.25);
    let skin_drape = d.fault(0.12, "skin-coloured drape");
    let drape = if skin_drape {
        d.pick(&[[214.0, 160.0, 125.0], [205.0, 140.0, 90.0], [225.0, 185.0, 150.0]])
    } else {
        d.pick(&[
            [45.0, 95.0, 95.0],
            [60.0, 95.0, 140.0],
            [55.0, 110.0, 70.0],
            [90.0, 105.0, 95.0],
            [35.0, 60.0, 60.0],
            [200.0, 130.0, 60.0],
            [150.0, 160.0, 160.0],
        ])
    };
    let iodine = d.fault(0.25, "iodine");
    Surroundings {
        upper_lid_r: if low { d.range(0.52, 0.95) } else { d.range(1.12, 1.75) },
        lower_lid_r: if both { d.range(0.8, 1.0) } else { d.range(1.15, 1.75) },
        half_width_r: d.range(1.9, 3.0),
        skin: d.pick(&[[214.0, 165.0, 140.0], [190.0, 135.0, 105.0], [140.0, 92.0, 66.0], [224.0, 180.0, 158.0]]),
        drape: d.vary(drape, 0.1),
        skin_width_r: if d.chance(0.4) { d.range(0.05, 0.25) } else { d.range(0.3, 1.2) },
        plastic: if d.chance(0.6) { d.range(0.3, 1.0) } else { 0.0 },
        iodine: if iodine { d.range(0.5, 1.0) } else { 0.0 },
        lashes: if d.chance(0.6) { d.below(45) as u32 } else { 0 },
        speculum: d.pick(&[Speculum::Wires, Speculum::Wires, Speculum::Wires, Speculum::Blades, Speculum::None]),
    }
}

/// Where the marks are, eye frame: reference marks first, lens marks after. Near enough for keeping them free.
fn mark_places(scene: &Scene) -> Vec<Vector> {
    let mut places: Vec<Vector> =
        scene.reference_marks.iter().map(|m| along(m.meridian_deg) * ((m.inner_r + m.outer_r) / 2.0)).collect();
    if let Some((lens, marks)) = scene.lens.as_ref().and_then(|l| Some((l, l.marks.as_ref()?))) {
        let to_r = 2.0 * lens.magnification / scene.view.white_to_white_mm;
        let center = Vector::new(lens.center_mm[0], lens.center_mm[1]);
        places.extend([0.0, 180.0].map(|side| (center + along(lens.axis_deg + side) * marks.radius_mm) * to_r));
    }
    places
}

/// Add instruments, bubbles and reflections; lids and picture edges make way for the marks as a rule.
pub fn put_in_the_way(d: &mut Dice, scene: &mut Scene) {
    let places = mark_places(scene);
    let marks = scene.reference_marks.len();
    if !d.fault(0.015, "lid over a mark") {
        for p in &places[..marks] {
            // The lids bow down towards their corners; a mark aside of the middle needs more room.
            let bow = (1.0 - (p.x / scene.surroundings.half_width_r).powi(2)).max(0.1).powf(0.62);
            let room = 0.24;
            scene.surroundings.upper_lid_r = scene.surroundings.upper_lid_r.max((p.y + room) / bow);
            scene.surroundings.lower_lid_r = scene.surroundings.lower_lid_r.max((room - p.y) / bow);
        }
    }
    let one_hidden = d.fault(0.06, "a lens mark hidden").then_some(places.last().copied()).flatten();
    instruments(d, scene, &places, one_hidden);
    bubbles(d, scene, &places);
    reflections(d, scene, &places);
}

/// Whether a straight instrument leaves all places free.
fn misses(places: &[Vector], tip: Vector, direction_deg: f64, room: f64) -> bool {
    let u = along(direction_deg);
    places.iter().all(|p| {
        let t = (p - tip).dot(&u).max(0.0);
        (p - tip - u * t).norm() > room
    })
}

fn instrument_width(d: &mut Dice, kind: InstrumentKind) -> f64 {
    match kind {
        InstrumentKind::Cannula => d.range(0.05, 0.1),
        InstrumentKind::Forceps => d.range(0.08, 0.13),
        InstrumentKind::Knife => d.range(0.08, 0.18),
        InstrumentKind::HandPiece => d.range(0.09, 0.16),
        InstrumentKind::Swab => d.range(0.1, 0.16),
        InstrumentKind::Shaft => d.range(0.016, 0.035),
    }
}

fn instrument_colour(d: &mut Dice, kind: InstrumentKind) -> Colour {
    match kind {
        InstrumentKind::Swab => [232.0, 230.0, 222.0],
        InstrumentKind::HandPiece => d.pick(&[[120.0, 170.0, 175.0], [150.0, 150.0, 150.0], [70.0, 150.0, 185.0]]),
        InstrumentKind::Shaft => d.vary([225.0, 215.0, 195.0], 0.12),
        _ => d.pick(&[[110.0, 118.0, 115.0], [70.0, 95.0, 90.0], [150.0, 150.0, 142.0]]),
    }
}

fn instruments(d: &mut Dice, scene: &mut Scene, places: &[Vector], hidden: Option<Vector>) {
    let count = if hidden.is_some() || d.fault(0.28, "instrument") { 1 + usize::from(d.chance(0.3)) } else { 0 };
    let over_mark = count > 0 && d.fault(0.06, "instrument over a mark");
    let below = 270.0;
    for k in 0..count {
        let kind = d.pick(&[
            InstrumentKind::Cannula,
            InstrumentKind::Cannula,
            InstrumentKind::Forceps,
            InstrumentKind::Knife,
            InstrumentKind::HandPiece,
            InstrumentKind::Swab,
        ]);
        let width_r = instrument_width(d, kind);
        let room = match kind {
            InstrumentKind::HandPiece => width_r * 2.4 + 0.05,
            InstrumentKind::Swab => width_r * 2.0 + 0.1,
            _ => width_r * 1.3 + 0.16,
        };
        let free: Vec<Vector> = places.iter().copied().filter(|p| Some(*p) != hidden).collect();
        for _ in 0..TRIES {
            let outside = matches!(kind, InstrumentKind::Swab | InstrumentKind::Knife) || d.chance(0.25);
            let mut tip = along(d.range(0.0, 360.0)) * if outside { d.range(0.95, 1.4) } else { d.range(0.0, 0.6) };
            let mut direction = below + d.range(-110.0, 110.0);
            if let (0, Some(target)) = (k, hidden) {
                tip = target - along(direction) * d.range(0.05, 0.3);
                direction += d.normal(3.0);
            }
            let aimless = outside && tip.dot(&along(direction)) < 0.0;
            if !aimless && (over_mark || misses(&free, tip, direction, room)) {
                scene.instruments.push(Instrument {
                    kind,
                    tip_r: [tip.x, tip.y],
                    direction_deg: direction,
                    width_r,
                    colour: instrument_colour(d, kind),
                });
                break;
            }
        }
    }
}

/// Thin shining shafts across one group of lens marks or both, past the reference marks.
pub fn shafts_across_lens_marks(d: &mut Dice, scene: &mut Scene) {
    let places = mark_places(scene);
    let (references, groups) = places.split_at(scene.reference_marks.len());
    if groups.is_empty() || !d.fault(0.05, "shaft across a lens mark") {
        return;
    }
    let both = d.chance(0.4);
    for group in &groups[..groups.len().min(if both { 2 } else { 1 })] {
        for _ in 0..TRIES {
            let outward = group.y.atan2(group.x).to_degrees();
            let direction_deg = outward + d.range(30.0, 90.0) * if d.chance(0.5) { 1.0 } else { -1.0 };
            let crossing = group + along(d.range(0.0, 360.0)) * d.range(0.0, 0.04);
            let tip = crossing - along(direction_deg) * d.range(0.06, 0.35);
            if misses(references, tip, direction_deg, 0.1) {
                scene.instruments.push(Instrument {
                    kind: InstrumentKind::Shaft,
                    tip_r: [tip.x, tip.y],
                    direction_deg,
                    width_r: instrument_width(d, InstrumentKind::Shaft),
                    colour: instrument_colour(d, InstrumentKind::Shaft),
                });
                break;
            }
        }
    }
}

fn bubbles(d: &mut Dice, scene: &mut Scene, places: &[Vector]) {
    if !d.fault(0.25, "bubbles") {
        return;
    }
    let mut center = along(d.range(0.0, 360.0)) * d.range(0.2, 1.6);
    for _ in 0..1 + d.below(6) {
        let radius_r = d.range(0.015, 0.11) * if d.chance(0.15) { 2.0 } else { 1.0 };
        if d.chance(0.5) {
            center = along(d.range(0.0, 360.0)) * d.range(0.1, 1.7);
        } else {
            center += along(d.range(0.0, 360.0)) * (radius_r * 2.5);
        }
        let clear = places.iter().all(|p| (p - center).norm() > radius_r + 0.12);
        if clear || d.chance(0.1) {
            scene.bubbles.push(Bubble { center_r: [center.x, center.y], radius_r, strength: d.range(0.4, 1.0) });
        }
    }
}

fn reflections(d: &mut Dice, scene: &mut Scene, places: &[Vector]) {
    let mut add = |kind, center: Vector, size_r: [f64; 2], direction_deg, brightness| {
        let reach = size_r[0].max(size_r[1]) + 0.1;
        if kind == ReflectionKind::Veil || places.iter().all(|p| (p - center).norm() > reach) {
            let center_r = [center.x, center.y];
            scene.reflections.push(Reflection { kind, center_r, size_r, direction_deg, brightness });
        }
    };
    let main = Vector::new(d.normal(0.12), d.normal(0.12));
    let direction = d.range(0.0, 180.0);
    if d.fault(0.08, "ring light") {
        let size = d.range(0.12, 0.28);
        add(ReflectionKind::Ring, main, [size, size], 0.0, d.range(1.0, 3.0));
    } else {
        for k in 0..1 + d.below(3) {
            let size = d.range(0.02, 0.075);
            let place = main + along(direction) * (0.11 * k as f64);
            add(ReflectionKind::Blob, place, [size, size * d.range(0.5, 1.0)], direction, d.range(1.5, 4.0));
        }
    }
    if d.chance(0.5) {
        // A second pair of lamps, mirrored near the limbus.
        let place = along(d.range(0.0, 360.0)) * d.range(0.8, 1.2);
        for side in [-1.0, 1.0] {
            let size = d.range(0.015, 0.035);
            add(ReflectionKind::Blob, place + along(direction) * (0.05 * side), [size, size], 0.0, d.range(1.0, 3.0));
        }
    }
    if d.fault(0.2, "wet reflections") {
        for _ in 0..2 + d.below(5) {
            let place = along(d.range(0.0, 360.0)) * d.range(1.05, 1.7);
            let size = d.range(0.02, 0.09);
            let flat = size * d.range(0.2, 0.8);
            add(ReflectionKind::Blob, place, [size, flat], d.range(0.0, 180.0), d.range(0.6, 2.0));
        }
    }
    if d.fault(0.14, "veil") {
        let size = d.range(0.3, 0.9);
        let place = Vector::new(d.normal(0.4), d.normal(0.4));
        add(ReflectionKind::Veil, place, [size, size * d.range(0.4, 1.0)], direction, d.range(0.1, 0.45));
    }
}
