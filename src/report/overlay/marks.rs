//! What was found: the limbus, the reference marks, the lens marks.

use super::eye::{Eye, place};
use super::font::Text;
use super::ink::{ALTERNATIVE, Area, Ink, LENS_MARK, LIMBUS, Patch, Place, REFERENCE, area_of};
use super::room::Room;
use crate::geometry::{PixelPoint, Vector};
use crate::record::{ALTERNATIVE_LETTERS, LensMark, MarkKind, Record, ReferenceMark};

/// Patches around the marks, which lines leave free.
pub struct Marks {
    /// One a reference mark, in the record's order.
    pub reference: Vec<Patch>,
    /// One a lens mark.
    pub lens: Vec<Patch>,
}

impl Marks {
    /// The marks of `record`. Their size is the measured one with a margin, so that the frame stands clear of the ink.
    pub fn of(record: &Record, eye: &Eye, unit: f64, factor: f64) -> Self {
        let reference = record.reference_marks.iter().map(|mark| reference_patch(mark, eye, unit, factor)).collect();
        let radius = ring_radius(&record.lens_marks, unit, factor);
        let lens = record.lens_marks.iter().map(|mark| Patch {
            center: place(&mark.center_px.into(), factor),
            along: Vector::new(1.0, 0.0),
            half: [radius, radius],
        });
        Self { reference, lens: lens.collect() }
    }

    /// All patches.
    pub fn all(&self) -> Vec<Patch> {
        self.reference.iter().chain(&self.lens).copied().collect()
    }

    /// From where to where the reference marks near `degrees` reach, in radii of the limbus; 1 to 1 without one.
    pub fn reach(&self, eye: &Eye, degrees: f64) -> [f64; 2] {
        let (center, direction) = (eye.center(), eye.direction(degrees));
        let limbus = (eye.around(degrees, 1.0) - center).norm();
        let near = self.reference.iter().filter(|mark| {
            let d = mark.center - center;
            // Within some 14 degrees: closer than lettering at the end of an axis is wide.
            d.dot(&direction) > 0.97 * d.norm()
        });
        let ends = near.flat_map(Patch::corners).map(|corner| (corner - center).dot(&direction) / limbus);
        ends.fold([1.0, 1.0], |[inner, outer], end| [inner.min(end), outer.max(end)])
    }

    /// What lettering must not cover: frames and rings.
    pub fn frames(&self, record: &Record) -> Vec<Patch> {
        let reference = record.reference_marks.iter().zip(&self.reference).map(|(mark, patch)| frame(mark.kind, patch));
        reference.chain(self.lens.iter().copied()).collect()
    }

    /// Frames and rings with centroids.
    pub fn draw(&self, record: &Record, ink: &mut Ink) {
        for (mark, patch) in record.reference_marks.iter().zip(&self.reference) {
            ink.outline(&frame(mark.kind, patch).corners(), &REFERENCE);
            ink.point(patch.center, &REFERENCE);
        }
        for patch in &self.lens {
            ink.ring(patch.center, patch.half[0], &LENS_MARK);
            ink.point(patch.center, &LENS_MARK);
        }
    }

    /// The number of each reference mark beside its frame.
    pub fn number(&self, record: &Record, ink: &mut Ink, eye: &Eye, room: &mut Room) {
        let lens_is_clockwise = record.alignment.as_ref().is_some_and(|alignment| alignment.error_deg < 0.0);
        for (index, patch) in self.reference.iter().enumerate() {
            let text = [Text::bold((index + 1).to_string(), 13.0 * ink.unit)];
            let mut area = area_of(&text);
            // Beside the frame, on the side away from the lens axis where the mark stands on the intended one.
            let side = if lens_is_clockwise { -1.0 } else { 1.0 };
            let beside = across(eye, &patch.center) * side;
            area.center = patch.center + beside * (patch.half[1].max(patch.half[0] / 2.0) + 10.0 * ink.unit);
            letter_mark(&text, &area, REFERENCE.letters, ink, room);
        }
    }
}

/// What would be marks where two readings fit nearly alike.
pub struct Candidates {
    /// Each with the letters of the readings that have it.
    rings: Vec<(Place, String)>,
    radius: f64,
}

impl Candidates {
    /// Those of the refusals of `record`.
    pub fn of(record: &Record, unit: f64, factor: f64) -> Self {
        let mut rings: Vec<(Place, String)> = Vec::new();
        for alternatives in record.refusals.iter().map(|refusal| &refusal.alternatives) {
            for (alternative, letter) in alternatives.iter().zip(ALTERNATIVE_LETTERS) {
                for center in &alternative.centers_px {
                    let at = place(&PixelPoint::from(*center), factor);
                    match rings.iter_mut().find(|(other, _)| (*other - at).norm() < 2.0 * unit) {
                        Some((_, letters)) => letters.push_str(letter),
                        None => rings.push((at, letter.to_owned())),
                    }
                }
            }
        }
        Self { rings, radius: 8.0 * unit }
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.rings.is_empty()
    }

    /// What lines and lettering leave free.
    pub fn patches(&self) -> Vec<Patch> {
        let patch =
            |(center, _): &(Place, String)| Patch { center: *center, along: Vector::x(), half: [self.radius; 2] };
        self.rings.iter().map(patch).collect()
    }

    /// The rings.
    pub fn draw(&self, ink: &mut Ink) {
        for (at, _) in &self.rings {
            ink.ring(*at, self.radius, &ALTERNATIVE);
        }
    }

    /// The letters of each beside its ring.
    pub fn letter(&self, ink: &mut Ink, eye: &Eye, room: &mut Room) {
        for (at, letters) in &self.rings {
            let text = [Text::bold(letters.clone(), 13.0 * ink.unit)];
            let mut area = area_of(&text);
            area.center = at + across(eye, at) * (self.radius + 10.0 * ink.unit);
            letter_mark(&text, &area, ALTERNATIVE.letters, ink, room);
        }
    }
}

/// Unit direction at `place` along the limbus, clockwise as seen.
fn across(eye: &Eye, place: &Place) -> Vector {
    let outwards = (place - eye.center()).try_normalize(0.0).unwrap_or_else(Vector::x);
    Vector::new(-outwards.y, outwards.x)
}

/// Number or letters of a mark, which stay as free as the mark does.
fn letter_mark(text: &[Text], wanted: &Area, color: &str, ink: &mut Ink, room: &mut Room) {
    if let Some(area) = room.nearest(wanted, ink.strokes()) {
        ink.lettering(text, &area, color);
        room.keep(&area);
    }
}

/// The fitted limbus and its centre.
pub fn draw_limbus(ink: &mut Ink, eye: &Eye, patches: &[Patch]) {
    ink.curve(&eye.limbus_curve(), &LIMBUS, patches);
    let (center, arm) = (eye.center(), 5.0 * ink.unit);
    for arm in [Vector::new(arm, 0.0), Vector::new(0.0, arm)] {
        ink.line(center - arm, center + arm, &LIMBUS, &[]);
    }
}

fn reference_patch(mark: &ReferenceMark, eye: &Eye, unit: f64, factor: f64) -> Patch {
    let center = place(&PixelPoint::from(mark.center_px), factor);
    let direction = mark.meridian_deg + mark.lean_deg.unwrap_or(0.0);
    let half = |mm: f64, least: f64| {
        let px = eye.px_per_mm(mark.meridian_deg).map_or(0.0, |px_per_mm| mm * px_per_mm / 2.0);
        (if px.is_finite() { px } else { 0.0 }).min(eye.radius() / 2.0).max(least * unit) + 4.0 * unit
    };
    let half = match mark.kind {
        MarkKind::Radial => [half(mark.length_mm, 4.0), half(mark.width_mm, 2.5)],
        MarkKind::Dot => [half(mark.length_mm.max(mark.width_mm), 4.0); 2],
    };
    Patch { center, along: eye.direction(direction), half }
}

/// A rectangle around a line; a lozenge around a dot, so that the two kinds differ by shape.
fn frame(kind: MarkKind, patch: &Patch) -> Patch {
    let across = Vector::new(-patch.along.y, patch.along.x);
    match kind {
        MarkKind::Radial => *patch,
        // The same square on its corner.
        MarkKind::Dot => Patch { along: (patch.along + across) * std::f64::consts::FRAC_1_SQRT_2, ..*patch },
    }
}

/// Rings as large as leave neighbours apart, within bounds.
fn ring_radius(marks: &[LensMark], unit: f64, factor: f64) -> f64 {
    let mut closest = f64::INFINITY;
    for (index, mark) in marks.iter().enumerate() {
        for other in &marks[index + 1..] {
            let (a, b) = (PixelPoint::from(mark.center_px), PixelPoint::from(other.center_px));
            closest = closest.min((a - b).norm() * factor);
        }
    }
    (closest / 2.0 - unit).clamp(3.5 * unit, 7.0 * unit)
}
