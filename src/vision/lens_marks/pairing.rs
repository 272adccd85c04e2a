//! Two opposite groups that make one lens.

use super::candidates::Candidate;
use super::group_fit::{Group, Kind, Shape, fit, starts};
use super::patch::Patch;
use crate::geometry::{Vector, ccw_degrees};

/// Two groups read as the marks of one lens.
#[derive(Clone, Copy, Debug)]
pub struct Pairing {
    /// The groups.
    pub groups: [Group; 2],
    /// How far the whole departs from a lens: a sum of squares in units of what is usual.
    pub cost: f64,
}

impl Pairing {
    /// Direction of the line through both groups in the patch, degrees counter-clockwise, modulo 180.
    pub fn axis_deg(&self) -> f64 {
        let chord = self.groups[1].shape.place - self.groups[0].shape.place;
        ccw_degrees(&chord).unwrap_or(0.0)
    }
}

/// Half the distance between groups, in limbus radii: mean and standard deviation.
const HALF_CHORD: (f64, f64) = (0.44, 0.06);
/// A lone dot has no direction to tell it by: it must stand on its ground all the more clearly.
const LEAST_EXPLAINED_SINGLE: f64 = 0.8;
/// The same of its depth: bright lone spots are never marks, they are reflections as a rule.
const LEAST_DEPTH_SINGLE: f64 = 0.2;
/// Standard deviation of the place of the lens, with what the limbus may be off, in limbus radii.
const OFFSET_SD: f64 = 0.06;

/// Groups fitted at each candidate.
pub fn groups(patch: &Patch, candidates: &[Candidate], sign: f32) -> Vec<Group> {
    let sign = f64::from(sign);
    let all: Vec<Vec<(Kind, Shape, f64)>> = candidates.iter().map(|c| starts(patch, c, sign)).collect();
    let mut out: Vec<Group> = Vec::new();
    for (i, one) in all.iter().enumerate() {
        for (kind, shape, likeness) in one {
            if *likeness < 0.7 {
                continue;
            }
            let has_twin = all.iter().enumerate().any(|(j, other)| {
                i != j
                    && geometry(patch, &candidates[i].place, &candidates[j].place, 1.3).is_some()
                    && other.iter().any(|o| o.0 == *kind && o.2 >= 0.7)
            });
            if !has_twin {
                continue;
            }
            if let Some(group) = fit(patch, *kind, *shape)
                && group.depth * sign > 0.0
                && group.explained > 0.4
                && group.signal > 6.0
                && out.iter().all(|o| o.kind != group.kind || (o.shape.place - group.shape.place).norm() > 2.0)
            {
                out.push(group);
            }
        }
    }
    out
}

/// Half the chord and the distance of its middle from the limbus's centre, in limbus radii, if both can be.
fn geometry(patch: &Patch, a: &Vector, b: &Vector, slack: f64) -> Option<(f64, f64)> {
    let middle = Vector::new(patch.middle(), patch.middle());
    let half = (a - b).norm() / 2.0 / patch.scale;
    let offset = ((a + b) / 2.0 - middle).norm() / patch.scale;
    (offset < 0.15 * slack && (half - HALF_CHORD.0).abs() < 0.10 * slack).then_some((half, offset))
}

/// All pairings, the best first.
pub fn pairings(patch: &Patch, groups: &[Group]) -> Vec<Pairing> {
    let mut out = Vec::new();
    for (i, a) in groups.iter().enumerate() {
        for b in &groups[i + 1..] {
            out.extend(pairing(patch, a, b));
        }
    }
    out.sort_by(|x: &Pairing, y| x.cost.total_cmp(&y.cost));
    out
}

fn pairing(patch: &Patch, a: &Group, b: &Group) -> Option<Pairing> {
    if a.kind != b.kind {
        return None;
    }
    let (half, offset) = geometry(patch, &a.shape.place, &b.shape.place, 1.0)?;
    let chord = b.shape.place - a.shape.place;
    let line = chord.y.atan2(chord.x);
    let directed = a.kind != Kind::Dots(1);
    let lean = |g: &Group| {
        let half_turn = std::f64::consts::PI;
        let turn = (g.shape.angle - line + half_turn / 2.0).rem_euclid(half_turn) - half_turn / 2.0;
        (turn * turn / (g.covariance[(2, 2)] + 1.2_f64.to_radians().powi(2))).min(100.0)
    };
    let ratio = |x: f64, y: f64, sd: f64| ((x / y).abs().ln() / sd).powi(2);
    let clear = |g: &Group| g.explained > LEAST_EXPLAINED_SINGLE && g.depth > LEAST_DEPTH_SINGLE;
    if !(directed || clear(a) && clear(b)) {
        return None;
    }
    let parts = [
        if directed { lean(a) + lean(b) } else { 0.0 },
        if directed { ratio(a.shape.extent, b.shape.extent, 0.08) } else { 0.0 },
        ratio(a.shape.sigma, b.shape.sigma, 0.2),
        ratio(a.depth, b.depth, 0.4),
        (offset / OFFSET_SD).powi(2),
        ((half - HALF_CHORD.0) / HALF_CHORD.1).powi(2),
        ((1.0 - a.explained) + (1.0 - b.explained)) / 0.05,
    ];
    Some(Pairing { groups: [*a, *b], cost: parts.iter().sum() })
}
