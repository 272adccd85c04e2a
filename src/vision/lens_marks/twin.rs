//! Looking for the second group of a lens where the first one points.

use super::group_fit::{Group, Hold, fit};
use super::marks::{Kind, Marks, Shape};
use super::patch::Patch;
use super::square_plane::SquarePlane;
use super::{groups, terms};
use crate::geometry::Vector;

/// Least correlation with the twin's template.
const LEAST_TWIN_LIKENESS: f64 = 0.35;
/// How far a twin is looked for beside its group's direction, in limbus radii.
const TWIN_ASIDE: f64 = 0.035;

/// What looks most like `group` on the other side of the lens, where the group's own direction points.
#[derive(Clone, Copy, Debug)]
pub struct Twin {
    /// Correlation of darkness with the same marks, -1 to 1; 0 where nothing can be seen.
    pub likeness: f64,
    /// The group fitted there, where it can be one.
    pub group: Option<Group>,
}

/// Look for the twin of a group that has a direction of its own.
pub fn twin(patch: &Patch, marks: &SquarePlane, group: &Group) -> Twin {
    let (sin, cos) = group.shape.angle.sin_cos();
    let inwards = Vector::new(patch.middle(), patch.middle()) - group.shape.place;
    let towards = if inwards.x * cos + inwards.y * sin < 0.0 { -1.0 } else { 1.0 };
    let along = Vector::new(cos, sin) * towards;
    let across = Vector::new(-along.y, along.x);
    let template = Template::new(patch, group);
    let step = (0.012 * patch.scale).max(1.0);
    let far = (2.0 * (terms::HALF_CHORD.0 + terms::HALF_CHORD_REACH) * patch.scale / step) as i32;
    let near = (2.0 * (terms::HALF_CHORD.0 - terms::HALF_CHORD_REACH) * patch.scale / step) as i32;
    let aside = (TWIN_ASIDE * patch.scale / step).round() as i32;
    let mut best: Option<(f64, Vector)> = None;
    for i in near..=far {
        for j in -aside..=aside {
            let place = group.shape.place + along * (f64::from(i) * step) + across * (f64::from(j) * step);
            if terms::chord(patch, &group.shape.place, &place).is_none() {
                continue;
            }
            let Some(likeness) = template.likeness(marks, &place) else { continue };
            if best.is_none_or(|(b, _)| likeness > b) {
                best = Some((likeness, place));
            }
        }
    }
    let Some((likeness, place)) = best else { return Twin { likeness: 0.0, group: None } };
    let fitted = || fit(patch, group.kind, Shape { place, ..group.shape }, Hold::LikeStart).filter(groups::believable);
    Twin { likeness, group: if likeness > LEAST_TWIN_LIKENESS { fitted() } else { None } }
}

/// A group's marks as weights that a level or evenly sloping ground does not move.
struct Template {
    /// Offset and weight.
    taps: Vec<(i32, i32, f32)>,
    norm: f32,
}

impl Template {
    fn new(patch: &Patch, group: &Group) -> Self {
        let shape = Shape { place: Vector::zeros(), ..group.shape };
        let long = shape.half_length(group.kind) + 0.025 * patch.scale;
        let wide = 0.03 * patch.scale + if group.kind == Kind::Lines { shape.gap } else { 0.0 };
        let (sin, cos) = shape.angle.sin_cos();
        let reach = long.hypot(wide).ceil() as i32;
        let marks = Marks::new(group.kind, &shape);
        let mut taps = Vec::new();
        for y in -reach..=reach {
            for x in -reach..=reach {
                let (fx, fy) = (f64::from(x), f64::from(y));
                let (s, t) = (fx * cos + fy * sin, fy * cos - fx * sin);
                if s.abs() <= long && t.abs() <= wide {
                    taps.push((x, y, marks.value(fx, fy) as f32));
                }
            }
        }
        // The window and the marks are symmetrical about the middle: a slope is out of the way by itself.
        let mean = taps.iter().map(|t| t.2).sum::<f32>() / taps.len() as f32;
        taps.iter_mut().for_each(|t| t.2 -= mean);
        let norm = taps.iter().map(|t| t.2 * t.2).sum::<f32>().sqrt();
        Self { taps, norm }
    }

    /// Correlation of darkness with the template at a place, -1 to 1; `None` too near the border.
    fn likeness(&self, marks: &SquarePlane, place: &Vector) -> Option<f64> {
        let side = marks.side as i32;
        let (cx, cy) = (place.x.round() as i32, place.y.round() as i32);
        let (mut sum, mut squares, mut product) = (0.0_f32, 0.0_f32, 0.0_f32);
        for &(x, y, weight) in &self.taps {
            let (x, y) = (cx + x, cy + y);
            if x < 0 || y < 0 || x >= side || y >= side {
                return None;
            }
            let value = marks.data[(y * side + x) as usize];
            sum += value;
            squares += value * value;
            product += weight * value;
        }
        let spread = (squares - sum * sum / self.taps.len() as f32).max(1e-9).sqrt();
        Some(f64::from(product / (self.norm * spread)))
    }
}
