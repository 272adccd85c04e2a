//! Strokes and lettering that can be read on dark and on bright ground: each has a dark casing around a light core.
//!
//! Places are px of the drawing: the corner of the first pixel is the origin, x right, y down.

use super::font::{Text, widths};
use crate::geometry::Vector;
use std::fmt::Write;

/// A place in the drawing, px.
pub type Place = nalgebra::Point2<f64>;

/// How a line looks. Lines differ by dash and width as well as by colour.
#[derive(Clone, Copy, Debug)]
pub struct Style {
    /// Colour of the core.
    pub color: &'static str,
    /// Colour of lettering that belongs to it: lighter, since letters are thinner than they look.
    pub letters: &'static str,
    /// Width of the core, in units of the drawing.
    pub width: f64,
    /// Lengths of dash and gap in units; `None` for a solid line.
    pub dash: Option<[f64; 2]>,
}

// Yellow and sky blue are of the palette of Okabe & Ito (2002), made to be told apart with any colour vision.
const YELLOW: &str = "#f0e442";
const SKY_BLUE: &str = "#56b4e9";
const WHITE: &str = "#ffffff";
const PALE_YELLOW: &str = "#fdf8b0";
const PALE_BLUE: &str = "#c4e6fb";
const CASING: &str = "#000000";
/// Casing on either side of a core, in units.
const CASING_WIDTH: f64 = 1.0;

/// The fitted limbus.
pub const LIMBUS: Style = Style { color: WHITE, letters: WHITE, width: 1.5, dash: None };
/// Ticks and figures of the degree scale.
pub const SCALE: Style = Style { color: WHITE, letters: WHITE, width: 1.5, dash: None };
/// The intended axis: long dashes.
pub const INTENDED: Style = Style { color: YELLOW, letters: PALE_YELLOW, width: 1.9, dash: Some([13.0, 7.0]) };
/// The intended axis carried parallel to the lens, where the angle starts: dots.
pub const CARRIED: Style = Style { color: YELLOW, letters: PALE_YELLOW, width: 1.5, dash: Some([2.5, 4.0]) };
/// Frames of reference marks.
pub const REFERENCE: Style = Style { color: YELLOW, letters: PALE_YELLOW, width: 1.4, dash: None };
/// The lens axis: solid.
pub const LENS: Style = Style { color: SKY_BLUE, letters: PALE_BLUE, width: 1.9, dash: None };
/// Rings of lens marks.
pub const LENS_MARK: Style = Style { color: SKY_BLUE, letters: PALE_BLUE, width: 1.3, dash: None };
/// Rings of what would be marks by one of two readings.
pub const ALTERNATIVE: Style = Style { color: WHITE, letters: WHITE, width: 1.3, dash: Some([4.0, 3.0]) };
/// The angle from intended to lens axis, and the bar of its interval.
pub const ANGLE: Style = Style { color: WHITE, letters: WHITE, width: 1.6, dash: None };

/// A patch that lines leave free, so that what was measured stays visible.
#[derive(Clone, Copy, Debug)]
pub struct Patch {
    /// Centre.
    pub center: Place,
    /// Unit direction of the first half side.
    pub along: Vector,
    /// Half sides along and across, px.
    pub half: [f64; 2],
}

impl Patch {
    /// Whether `place` lies in it.
    pub fn holds(&self, place: &Place) -> bool {
        let d = place - self.center;
        let across = Vector::new(-self.along.y, self.along.x);
        d.dot(&self.along).abs() <= self.half[0] && d.dot(&across).abs() <= self.half[1]
    }

    /// Whether the two overlap: they do unless a line along a side of either keeps them apart.
    pub fn meets(&self, area: &Area) -> bool {
        let across = Vector::new(-self.along.y, self.along.x);
        let between = self.center - area.center;
        [Vector::x(), Vector::y(), self.along, across].iter().all(|normal| {
            let own = self.half[0] * self.along.dot(normal).abs() + self.half[1] * across.dot(normal).abs();
            let other = area.half[0] * normal.x.abs() + area.half[1] * normal.y.abs();
            between.dot(normal).abs() < own + other
        })
    }

    /// Its area, px².
    pub fn area_px2(&self) -> f64 {
        4.0 * self.half[0] * self.half[1]
    }

    /// The corners, in turn.
    pub fn corners(&self) -> [Place; 4] {
        let a = self.along * self.half[0];
        let b = Vector::new(-self.along.y, self.along.x) * self.half[1];
        [self.center + a + b, self.center - a + b, self.center - a - b, self.center + a - b]
    }
}

/// An upright box taken by lettering, px.
#[derive(Clone, Copy, Debug)]
pub struct Area {
    /// Centre.
    pub center: Place,
    /// Half width and half height.
    pub half: [f64; 2],
}

impl Area {
    /// The same with `margin` px more on every side.
    pub fn with_margin(self, margin: f64) -> Self {
        Self { half: self.half.map(|half| half + margin), ..self }
    }

    /// The same as a patch.
    pub fn patch(&self) -> Patch {
        Patch { center: self.center, along: Vector::x(), half: self.half }
    }

    /// Whether it lies within a picture of this size.
    pub fn within(&self, [width, height]: [f64; 2]) -> bool {
        let ([hw, hh], c) = (self.half, self.center);
        c.x >= hw && c.y >= hh && c.x <= width - hw && c.y <= height - hh
    }

    /// Moved as little as brings it within a picture of this size; centred where it is too small.
    pub fn moved_within(mut self, size: [f64; 2]) -> Self {
        for (axis, half) in self.half.iter().enumerate() {
            let room = size[axis] - half;
            self.center[axis] = if room >= *half { self.center[axis].clamp(*half, room) } else { size[axis] / 2.0 };
        }
        self
    }
}

/// A drawing in the making: all casings lie below all cores, lettering above both.
#[derive(Debug)]
pub struct Ink {
    /// Unit of widths and letter sizes, px.
    pub unit: f64,
    casings: String,
    cores: String,
    letters: String,
    /// Where lines and curves lie.
    strokes: Vec<Patch>,
}

impl Ink {
    /// An empty drawing.
    pub fn new(unit: f64) -> Self {
        Self { unit, casings: String::new(), cores: String::new(), letters: String::new(), strokes: Vec::new() }
    }

    /// The SVG elements, lowest first.
    pub fn into_elements(self) -> String {
        self.casings + &self.cores + &self.letters
    }

    /// Where lines and curves lie so far, for lettering to keep off them.
    pub fn strokes(&self) -> &[Patch] {
        &self.strokes
    }

    fn lies(&mut self, from: Place, to: Place, style: &Style) {
        let half = [(to - from).norm() / 2.0, (style.width / 2.0 + CASING_WIDTH) * self.unit];
        let along = (to - from).try_normalize(0.0).unwrap_or_else(Vector::x);
        self.strokes.push(Patch { center: nalgebra::center(&from, &to), along, half });
    }

    fn stroke(&mut self, data: &str, style: &Style) {
        let (unit, side) = (self.unit, CASING_WIDTH * self.unit);
        let width = style.width * unit;
        // Dashes of the casing reach past those of the core at both ends.
        let dashes = |longer: f64| match style.dash {
            Some([dash, gap]) => {
                let (dash, gap) = (dash * unit + 2.0 * longer, (gap * unit - 2.0 * longer).max(0.1));
                format!(r#" stroke-dasharray="{dash:.2} {gap:.2}" stroke-dashoffset="{longer:.2}""#)
            }
            None => String::new(),
        };
        let _ = write!(
            self.casings,
            r#"<path d="{data}" fill="none" stroke="{CASING}" stroke-opacity="0.7" stroke-width="{:.2}" stroke-linejoin="round"{}/>"#,
            width + 2.0 * side,
            dashes(side)
        );
        let color = style.color;
        let _ = write!(
            self.cores,
            r#"<path d="{data}" fill="none" stroke="{color}" stroke-width="{width:.2}" stroke-linejoin="round"{}/>"#,
            dashes(0.0)
        );
    }

    /// A curve through `places`, left out inside `patches`.
    pub fn curve(&mut self, places: &[Place], style: &Style, patches: &[Patch]) {
        let mut data = String::new();
        let mut last = None;
        for place in places {
            if patches.iter().any(|patch| patch.holds(place)) {
                last = None;
                continue;
            }
            let _ = write!(data, "{}{:.2} {:.2}", if last.is_some() { 'L' } else { 'M' }, place.x, place.y);
            if let Some(from) = last.replace(*place) {
                self.lies(from, *place, style);
            }
        }
        if !data.is_empty() {
            self.stroke(&data, style);
        }
    }

    /// A straight line, left out inside `patches`.
    pub fn line(&mut self, from: Place, to: Place, style: &Style, patches: &[Patch]) {
        let steps = ((to - from).norm() / self.unit).ceil().clamp(1.0, 10_000.0) as usize;
        let at = |step: usize| from + (to - from) * (step as f64 / steps as f64);
        let mut start = None;
        for step in 0..=steps {
            let blocked = patches.iter().any(|patch| patch.holds(&at(step)));
            match start {
                None if !blocked => start = Some(step),
                Some(first) if blocked || step == steps => {
                    let last = if blocked { step - 1 } else { step };
                    if last > first {
                        let (a, b) = (at(first), at(last));
                        self.stroke(&format!("M{:.2} {:.2}L{:.2} {:.2}", a.x, a.y, b.x, b.y), style);
                        self.lies(a, b, style);
                    }
                    start = None;
                }
                _ => {}
            }
        }
    }

    /// A closed outline.
    pub fn outline(&mut self, corners: &[Place], style: &Style) {
        let points: Vec<String> = corners.iter().map(|p| format!("{:.2} {:.2}", p.x, p.y)).collect();
        self.stroke(&format!("M{}Z", points.join("L")), style);
    }

    /// A ring, `radius` in px.
    pub fn ring(&mut self, center: Place, radius: f64, style: &Style) {
        let (left, y) = (center.x - radius, center.y);
        let arcs = format!(
            "M{left:.2} {y:.2}a{radius:.2} {radius:.2} 0 1 0 {0:.2} 0a{radius:.2} {radius:.2} 0 1 0 -{0:.2} 0Z",
            2.0 * radius
        );
        self.stroke(&arcs, style);
    }

    /// A point: the centroid of a mark.
    pub fn point(&mut self, center: Place, style: &Style) {
        let (x, y) = (center.x, center.y);
        let radius = 1.2 * self.unit;
        let _ = write!(
            self.casings,
            r#"<circle cx="{x:.2}" cy="{y:.2}" r="{:.2}" fill="{CASING}" fill-opacity="0.85"/>"#,
            radius + 0.8 * self.unit
        );
        let color = style.color;
        let _ = write!(self.cores, r#"<circle cx="{x:.2}" cy="{y:.2}" r="{radius:.2}" fill="{color}"/>"#);
    }

    /// An arrow head with its tip at `tip`, along the unit `direction`.
    pub fn arrow_head(&mut self, tip: Place, direction: Vector, style: &Style) {
        let back = tip - direction * (9.0 * self.unit);
        let side = Vector::new(-direction.y, direction.x) * (3.2 * self.unit);
        let (a, b) = (back + side, back - side);
        let data = format!("M{:.2} {:.2}L{:.2} {:.2}L{:.2} {:.2}Z", tip.x, tip.y, a.x, a.y, b.x, b.y);
        let _ = write!(
            self.casings,
            r#"<path d="{data}" fill="{CASING}" stroke="{CASING}" stroke-opacity="0.7" fill-opacity="0.7" stroke-width="{:.2}"/>"#,
            2.0 * CASING_WIDTH * self.unit
        );
        let _ = write!(self.cores, r#"<path d="{data}" fill="{}"/>"#, style.color);
    }

    /// Lines of lettering, centred in `area`, from its top.
    pub fn lettering(&mut self, lines: &[Text], area: &Area, color: &str) {
        let mut top = area.center.y - area.half[1];
        for line in lines {
            let baseline = top + 0.92 * line.size;
            let halo = format!(
                r#"text-anchor="middle" fill="{CASING}" stroke="{CASING}" stroke-opacity="0.85" stroke-linejoin="round" stroke-width="{:.2}""#,
                0.26 * line.size
            );
            self.letters.push_str(&line.element(area.center.x, baseline, &halo));
            let core = format!(r#"text-anchor="middle" fill="{color}""#);
            self.letters.push_str(&line.element(area.center.x, baseline, &core));
            top += LINE_HEIGHT * line.size;
        }
    }
}

/// Height of a line over the size of its letters.
const LINE_HEIGHT: f64 = 1.2;

/// The box that centred `lines` need, with its centre at the origin.
pub fn area_of(lines: &[Text]) -> Area {
    let width = widths(lines).into_iter().fold(0.0, f64::max);
    let height: f64 = lines.iter().map(|line| LINE_HEIGHT * line.size).sum();
    Area { center: Place::origin(), half: [width / 2.0, height / 2.0] }
}
