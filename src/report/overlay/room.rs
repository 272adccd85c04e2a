//! Room for lettering: a mark, its frame and its number stay visible whatever is written beside them.

use super::ink::{Area, Patch, Place};
use crate::geometry::Vector;

/// Places are tried on rings that lie so far apart, and so far apart on each of them, in units.
const STEP: f64 = 5.0;
/// Lettering keeps so far from all it must not cover, in units: its casing, and half the line of a frame.
const CLEAR: f64 = 3.5;
/// More about a number, for it not to read as part of what is written beside it, in units.
const ABOUT_NUMBERS: f64 = 5.0;

/// What lettering finds in its way.
#[derive(Debug)]
pub struct Room {
    size: [f64; 2],
    unit: f64,
    /// Marks with their frames, and their numbers: nothing may lie over them.
    marks: Vec<Patch>,
    /// Other lettering: covered only where no place is free.
    letters: Vec<Patch>,
}

impl Room {
    /// Room in a picture of `size` px in which `marks` stand.
    pub fn new(size: [f64; 2], unit: f64, marks: Vec<Patch>) -> Self {
        Self { size, unit, marks, letters: Vec::new() }
    }

    /// Nothing may lie over `number` from now on.
    pub fn keep(&mut self, number: &Area) {
        self.marks.push(number.with_margin(ABOUT_NUMBERS * self.unit).patch());
    }

    /// `lettering` is written.
    pub fn take(&mut self, lettering: &Area) {
        self.letters.push(lettering.patch());
    }

    /// Whether lettering in `area` hides neither mark nor lettering.
    pub fn is_free(&self, area: &Area) -> bool {
        area.within(self.size) && !self.covers_a_mark(area) && self.covered(area, &[]) == 0.0
    }

    /// The place nearest to `wanted` where lettering covers neither marks nor lettering nor `strokes`; where there is none,
    /// that at which it covers least, and never a mark: `None` where marks leave no place at all.
    pub fn nearest(&self, wanted: &Area, strokes: &[Patch]) -> Option<Area> {
        let clear = CLEAR * self.unit;
        let wanted = wanted.with_margin(clear).moved_within(self.size).with_margin(-clear);
        let mut best: Option<(f64, Area)> = None;
        for center in self.places_about(wanted.center) {
            let area = Area { center, ..wanted };
            if !area.with_margin(clear).within(self.size) || self.covers_a_mark(&area) {
                continue;
            }
            let covered = self.covered(&area, strokes);
            if covered == 0.0 {
                return Some(area);
            }
            if best.is_none_or(|(least, _)| covered < least) {
                best = Some((covered, area));
            }
        }
        best.map(|(_, area)| area)
    }

    /// `start`, then rings of places about it, as far as the picture reaches.
    fn places_about(&self, start: Place) -> impl Iterator<Item = Place> {
        let step = STEP * self.unit;
        let rings = (self.size[0].hypot(self.size[1]) / step).ceil() as usize;
        (0..=rings).flat_map(move |ring| {
            // Six on a ring of one step are one step apart.
            let places = (6 * ring).max(1);
            (0..places).map(move |place| {
                let (sin, cos) = (std::f64::consts::TAU * place as f64 / places as f64).sin_cos();
                start + Vector::new(cos, sin) * (step * ring as f64)
            })
        })
    }

    fn covers_a_mark(&self, area: &Area) -> bool {
        let area = area.with_margin(CLEAR * self.unit);
        self.marks.iter().any(|mark| mark.meets(&area))
    }

    /// How much of `strokes` and of other lettering `area` touches, px².
    fn covered(&self, area: &Area, strokes: &[Patch]) -> f64 {
        let area = area.with_margin(CLEAR * self.unit);
        self.letters.iter().chain(strokes).filter(|other| other.meets(&area)).map(Patch::area_px2).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIZE: [f64; 2] = [200.0, 100.0];

    fn area(x: f64, y: f64) -> Area {
        Area { center: Place::new(x, y), half: [20.0, 10.0] }
    }

    fn square(x: f64, y: f64, half: f64) -> Patch {
        Patch { center: Place::new(x, y), along: Vector::x(), half: [half; 2] }
    }

    /// From (100, 50) a mark of 10 px about (100, 50) is cleared by going 10 + 10 + 3.5 px up or down: five rings of 5 px.
    #[test]
    fn lettering_goes_to_the_nearest_place_beside_a_mark() {
        let room = Room::new(SIZE, 1.0, vec![square(100.0, 50.0, 10.0)]);
        let found = room.nearest(&area(100.0, 50.0), &[]).unwrap();
        assert!((found.center - Place::new(100.0, 50.0)).norm() < 25.01, "{found:?}");
        assert!((found.center.y - 50.0).abs() >= 23.5, "{found:?}");
        let free = room.nearest(&area(100.0, 20.0), &[]).unwrap();
        assert_eq!(free.center, Place::new(100.0, 20.0));
    }

    /// Wanted beyond the right edge, where a mark stands: it is moved in, and then off the mark.
    #[test]
    fn what_is_moved_into_the_picture_stays_off_marks() {
        let mark = square(185.0, 50.0, 8.0);
        let room = Room::new(SIZE, 1.0, vec![mark]);
        let found = room.nearest(&area(230.0, 50.0), &[]).unwrap();
        assert!(found.within(SIZE) && !mark.meets(&found.with_margin(3.5)), "{found:?}");
    }

    /// Strokes and lettering fill the picture: the thinner is covered. Where marks fill it, nothing is written.
    #[test]
    fn where_no_place_is_free_the_least_is_covered_and_never_a_mark() {
        let mut room = Room::new(SIZE, 1.0, Vec::new());
        room.take(&Area { center: Place::new(50.0, 50.0), half: [50.0, 50.0] });
        let stroke = Patch { center: Place::new(150.0, 50.0), along: Vector::y(), half: [50.0, 1.0] };
        let found = room.nearest(&area(50.0, 50.0), &[stroke]).unwrap();
        assert!(found.center.x >= 100.0 + 20.0 + 3.5, "{found:?}");
        room.marks.push(square(150.0, 50.0, 50.0));
        let found = room.nearest(&area(150.0, 50.0), &[stroke]).unwrap();
        assert!(found.center.x <= 100.0 - 20.0 - 3.5, "{found:?}");
        room.marks.push(square(50.0, 50.0, 50.0));
        assert!(room.nearest(&area(50.0, 50.0), &[]).is_none());
    }

    /// A lozenge whose corner reaches 14.1 px to the right: boxes beside its corner, and beside its side.
    #[test]
    fn a_turned_patch_is_met_where_it_lies() {
        let lozenge = Patch { center: Place::origin(), along: Vector::new(1.0, 1.0).normalize(), half: [10.0, 10.0] };
        for (x, y, meets) in [(34.0, 0.0, true), (34.3, 0.0, false), (24.0, 14.0, true), (24.0, 20.3, false)] {
            assert_eq!(lozenge.meets(&area(x, y)), meets, "({x}, {y})");
        }
    }
}
