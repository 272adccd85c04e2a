//! Reference marks at the limbus.
//!
//! The ink of a mark is a function of the place; the drawing integrates it over each pixel and the truth over the plane,
//! so that both speak of the same mark.

use super::canvas::{Canvas, Rgb, along, linear, smoothstep};
use super::noise;
use super::scene::{ReferenceMark, ReferenceMarkKind};
use super::view::View;
use crate::geometry::{PixelPoint, Vector};

/// Where the centroid of a mark's ink lies in the picture.
pub fn ink_centroid(view: &View, mark: &ReferenceMark) -> PixelPoint {
    view.picture_of(&Ink::new(mark).centroid())
}

/// Samples of a pixel along each side.
const SAMPLES: usize = 4;

/// One mark, ready to be asked for its ink.
pub struct Ink<'a> {
    mark: &'a ReferenceMark,
    middle: Vector,
    direction: Vector,
    half_length: f64,
}

impl<'a> Ink<'a> {
    /// Ink of a mark.
    pub fn new(mark: &'a ReferenceMark) -> Self {
        let middle = along(mark.meridian_deg) * ((mark.inner_r + mark.outer_r) / 2.0);
        let direction = along(mark.meridian_deg + mark.lean_deg);
        Self { mark, middle, direction, half_length: (mark.outer_r - mark.inner_r) / 2.0 }
    }

    /// Middle of the mark as placed, eye frame.
    pub fn middle(&self) -> Vector {
        self.middle
    }

    /// Radius about [`Ink::middle`] that holds all ink, limbus radii.
    pub fn reach(&self) -> f64 {
        let width = self.mark.width_r[0].max(self.mark.width_r[1]);
        let spread = match self.mark.kind {
            ReferenceMarkKind::Doubled { gap_r } => gap_r,
            ReferenceMarkKind::Dot => 0.0,
            _ => width * 0.5,
        };
        let length = if self.is_round() { width / 2.0 } else { self.half_length };
        length + width / 2.0 + spread + 2.0 * self.mark.softness_r
    }

    fn is_round(&self) -> bool {
        matches!(self.mark.kind, ReferenceMarkKind::Dot | ReferenceMarkKind::Blot)
    }

    /// Opacity of the ink at a place of the eye frame, 0 to 1.
    pub fn opacity(&self, eye: &Vector) -> f64 {
        let m = self.mark;
        let arm = eye - self.middle;
        let (s, n) = (arm.dot(&self.direction), self.direction.x * arm.y - self.direction.y * arm.x);
        let ink = match m.kind {
            ReferenceMarkKind::Line | ReferenceMarkKind::Stroke => self.line(s, n),
            ReferenceMarkKind::Dot => edge(m.width_r[0] / 2.0 - arm.norm(), m.softness_r),
            ReferenceMarkKind::Blot => self.blot(s, n),
            ReferenceMarkKind::Crossed { angle_deg } => {
                let (sin, cos) = (angle_deg / 2.0).to_radians().sin_cos();
                self.line(cos * s + sin * n, cos * n - sin * s).max(self.line(cos * s - sin * n, cos * n + sin * s))
            }
            ReferenceMarkKind::Doubled { gap_r } => self.line(s, n - gap_r / 2.0).max(self.line(s, n + gap_r / 2.0)),
        };
        ink * m.opacity
    }

    /// A stroke along `s`, with its taper, fading and gaps.
    fn line(&self, s: f64, n: f64) -> f64 {
        let m = self.mark;
        let t = ((s / self.half_length + 1.0) / 2.0).clamp(0.0, 1.0);
        let half = (m.width_r[0] + (m.width_r[1] - m.width_r[0]) * t) / 2.0;
        // A hand does not draw straight, nor evenly.
        let hand = |rate: f64, row: f64| f64::from(noise::value(t * rate, row, m.seed)) - 0.5;
        let n = n + hand(3.0, 4.5) * half * 0.5;
        let half = half * (1.0 + 0.35 * hand(8.0, 2.5));
        let body = edge(half - n.abs(), m.softness_r) * edge(self.half_length - s.abs(), m.softness_r.max(half * 0.4));
        if body <= 0.0 {
            return 0.0;
        }
        let grain = f64::from(noise::value(t * 7.0, 0.5, m.seed));
        let gaps =
            1.0 - smoothstep(1.0 - m.broken - 0.08, 1.0 - m.broken + 0.08, grain) * smoothstep(0.0, 0.1, m.broken);
        body * (1.0 - m.fading * t) * gaps
    }

    /// A round blot, its outline uneven by up to a quarter.
    fn blot(&self, s: f64, n: f64) -> f64 {
        let m = self.mark;
        let turns = n.atan2(s) / std::f64::consts::TAU;
        let uneven = 0.75 + 0.5 * f64::from(noise::value_around(turns * 7.0, 0.5, 7, m.seed));
        edge(m.width_r[0] / 2.0 * uneven - s.hypot(n), m.softness_r)
    }

    /// Centroid of the ink, eye frame.
    pub fn centroid(&self) -> Vector {
        const STEPS: i32 = 240;
        let reach = self.reach();
        let (mut sum, mut weight) = (Vector::zeros(), 0.0);
        for i in 0..STEPS {
            for j in 0..STEPS {
                let at = |k: i32| reach * (2.0 * (f64::from(k) + 0.5) / f64::from(STEPS) - 1.0);
                let place = self.middle + Vector::new(at(i), at(j));
                let ink = self.opacity(&place);
                sum += place * ink;
                weight += ink;
            }
        }
        if weight > 0.0 { sum / weight } else { self.middle }
    }
}

/// 0 outside, 1 inside, over the softness about the edge.
fn edge(inside: f64, softness: f64) -> f64 {
    if softness <= 0.0 {
        return if inside > 0.0 { 1.0 } else { 0.0 };
    }
    smoothstep(-softness, softness, inside)
}

/// What a mark did to the picture, for judging whether it can be read.
pub type Trace = Vec<TracePixel>;

/// What a mark did to a pixel.
#[derive(Clone, Copy, Debug)]
pub struct TracePixel {
    /// Of the canvas.
    pub index: usize,
    /// Opacity of the ink, 0 to 1, whether or not the pupil shows it.
    pub ink: f32,
    /// Share of it that the pupil shows; 1 outside of the lens.
    pub shown: f32,
    /// How much linear light it took away (below 0: added), before any light fell on it.
    pub taken: Rgb,
}

/// Draw a mark; returns its trace.
pub fn draw(canvas: &mut Canvas, mark: &ReferenceMark) -> Trace {
    let ink = Ink::new(mark);
    let colour = linear(&mark.ink);
    paint(canvas, &ink.middle(), ink.reach(), |eye| ink.opacity(eye), colour, false)
}

/// Lay a colour over the canvas by an opacity given as a function of the place in the eye frame, integrated over each
/// pixel.
///
/// - `inside_pupil`: only what lies inside the pupil is seen
pub fn paint(
    canvas: &mut Canvas,
    center: &Vector,
    reach: f64,
    opacity: impl Fn(&Vector) -> f64,
    colour: [f32; 3],
    inside_pupil: bool,
) -> Trace {
    let [left, right, top, bottom] = canvas.bounds(center, reach);
    let mut trace = Trace::new();
    for row in top..bottom {
        for column in left..right {
            let mut sum = 0.0;
            for k in 0..SAMPLES * SAMPLES {
                let offset = |i: usize| (i as f64 + 0.5) / SAMPLES as f64 - 0.5;
                let eye = canvas.eye_at(column as f64 + offset(k % SAMPLES), row as f64 + offset(k / SAMPLES));
                sum += opacity(&eye);
            }
            if sum <= 0.0 {
                continue;
            }
            let index = row * canvas.width + column;
            let ink = (sum / (SAMPLES * SAMPLES) as f64) as f32;
            let shown = if inside_pupil { canvas.pupil[index] } else { 1.0 };
            let before = canvas.pixels[index];
            canvas.lay(index, colour, ink * shown);
            let after = canvas.pixels[index];
            trace.push(TracePixel { index, ink, shown, taken: [0, 1, 2].map(|c| before[c] - after[c]) });
        }
    }
    trace
}
