//! One group of marks by itself, where the other is hidden.

use super::group_fit::Group;
use super::marks::Kind;
use super::pairing::{HALF_CHORD, SPOT_COST, bright_cost, is_clear, shape_cost};
use super::patch::Patch;
use crate::geometry::Vector;

/// A single group read as what is seen of a lens's marks.
#[derive(Clone, Copy, Debug)]
pub struct Lone {
    /// The group.
    pub group: Group,
    /// How far it departs from a group of lens marks: a sum of squares in units of what is usual.
    pub cost: f64,
}

/// Distances from the middle of the limbus at which a lone group is looked for, in limbus radii.
const RADII: (f64, f64) = (0.2, 0.65);
/// Standard deviation of its distance from the middle: that of half the chord with the place of the lens.
const RADIUS_SD: f64 = 0.07;
/// Standard deviation of its direction against the ray, degrees: a lens 0.06 radii beside the middle.
const LEAN_SD_DEG: f64 = 8.0;
/// Share unexplained that counts as much as one standard deviation: half of what a pair is allowed.
const UNEXPLAINED: f64 = 0.04;
/// What lines cost more than rows of dots: edges, folds and loops of a lens are lines, and not in rows.
const LINE_COST: f64 = 6.0;

/// How far beyond the ends of a group a spot may be one of its own, in limbus radii.
const OWN_MARGIN: f64 = 0.02;

/// How well a group does as the only one seen; `None` for what has no direction of its own or lies elsewhere.
pub fn lone(patch: &Patch, group: &Group) -> Option<Lone> {
    if group.kind == Kind::Dots(1) {
        return None;
    }
    let middle = Vector::new(patch.middle(), patch.middle());
    let from_middle = (group.shape.place - middle) / patch.scale;
    let radius = from_middle.norm();
    if !(RADII.0..RADII.1).contains(&radius) {
        return None;
    }
    let (sin, cos) = group.shape.angle.sin_cos();
    let lean_deg = ((from_middle.x * sin - from_middle.y * cos) / radius).abs().min(1.0).asin().to_degrees();
    let parts = [
        (lean_deg / LEAN_SD_DEG).powi(2),
        ((radius - HALF_CHORD.0) / RADIUS_SD).powi(2),
        (1.0 - group.explained) / UNEXPLAINED,
        shape_cost(patch, group.kind, group.shape.sigma, group.shape.extent, group.depth),
        bright_cost(patch, group.kind),
        if matches!(group.kind, Kind::Dash | Kind::Lines) { LINE_COST } else { 0.0 },
    ];
    Some(Lone { group: *group, cost: parts.iter().sum() })
}

/// The readings of single groups, the best first.
///
/// Where spots lie about, any two or three are in a row by chance: each that is none of the group's counts against it,
/// but for one, which may be what is seen of the other group.
pub fn lones(patch: &Patch, groups: &[Group]) -> Vec<Lone> {
    let spots: Vec<&Group> = groups.iter().filter(|g| g.kind == Kind::Dots(1) && is_clear(g)).collect();
    let mut out: Vec<Lone> = groups
        .iter()
        .filter_map(|group| {
            let reach = group.shape.half_length(group.kind) + OWN_MARGIN * patch.scale;
            let others = spots.iter().filter(|s| (s.shape.place - group.shape.place).norm() > reach).count();
            let mut lone = lone(patch, group)?;
            lone.cost += SPOT_COST * others.saturating_sub(1) as f64;
            Some(lone)
        })
        .collect();
    out.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    out
}
