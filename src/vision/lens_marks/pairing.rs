//! Two opposite groups that make one lens.

use super::group_fit::{Group, Hold, fit};
use super::lines::{has_parallel, lines};
use super::marks::{Kind, Shape};
use super::patch::{Patch, Plane};
use super::rows::{Blob, blobs, rows};
use super::twin::twin;
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

/// A pairing that costs more is no reading at all.
const HOPELESS_COST: f64 = 40.0;
/// Half the distance between groups, in limbus radii: mean and standard deviation.
pub const HALF_CHORD: (f64, f64) = (0.44, 0.06);
/// How far it may depart from the mean.
pub const HALF_CHORD_REACH: f64 = 0.10;
/// Farthest that the middle between the groups may lie from the middle of the limbus, in limbus radii.
const MOST_OFFSET: f64 = 0.15;
/// Depth below which marks are less and less believed.
const TYPICAL_DEPTH: f64 = 0.5;
/// Square of the standard deviation of its logarithm below.
const DEPTH_VARIANCE: f64 = 0.2;
/// Standard deviations of the logarithms of what is usual for the width of dots and lines, and for their spacing or length.
/// What is as wide as a mark can be is a blot as a rule.
const WIDTH_SD: f64 = 0.25;
const EXTENT_SD: f64 = 0.35;
/// What lone dots cost more than marks with a direction of their own.
const SINGLE_COST: f64 = 4.0;
/// And what each further lone dot adds.
pub const SPOT_COST: f64 = 5.0;
/// What bright marks cost more than dark ones: of a lamp's reflections there are many, but seldom three in a row.
const BRIGHT_COST: f64 = 6.0;
const BRIGHT_ROW_COST: f64 = 2.0;
/// A lone dot has no direction to tell it by: it must stand on its ground all the more clearly.
const LEAST_EXPLAINED_SINGLE: f64 = 0.8;
/// The same of its depth. Bright lone spots are never read as marks: they are reflections as a rule.
const LEAST_DEPTH_SINGLE: f64 = 0.2;
/// Standard deviation of the place of the lens, with what the limbus may be off, in limbus radii.
const OFFSET_SD: f64 = 0.06;

/// Half the width of the widest thing that may be a mark, in limbus radii.
const NARROW: f64 = 0.026;
/// Most rows, lines and lone spots that are fitted.
const MOST_ROWS: usize = 40;
const MOST_LINES: usize = 40;
const MOST_SPOTS: usize = 12;
/// How many come first: where they make a good pairing the rest is not needed.
const FIRST_ROWS: usize = 6;
const FIRST_LINES: usize = 4;
/// Least half-length of a dash over the standard deviation of its cross-section: less is a blot.
const LEAST_ASPECT: f64 = 2.8;
/// Least share explained for a group's twin to be looked for.
const LEAST_ANCHOR: f64 = 0.70;
/// A pairing this good needs no further search for its groups' twins.
const GOOD_COST: f64 = 12.0;

/// Readings of the patch as dark marks, the best first, and the groups that may be marks.
pub fn pairings(patch: &Patch) -> (Vec<Pairing>, Vec<Group>) {
    let marks = patch.relative.narrow_dark((NARROW * patch.scale).round() as usize);
    let spots = blobs(patch, &marks);
    let [first, rest] = tries(patch, &marks, &spots);
    let mut groups = Vec::new();
    extend_groups(&mut groups, patch, &first);
    let mut out = pairs(patch, &groups);
    if out.iter().all(|p| p.cost > GOOD_COST) {
        extend_groups(&mut groups, patch, &rest);
        out = pairs(patch, &groups);
        for a in &groups {
            let has_twin = |p: &Pairing| p.cost < GOOD_COST && p.groups.iter().any(|g| g.shape.place == a.shape.place);
            if a.kind != Kind::Dots(1) && a.explained > LEAST_ANCHOR && !out.iter().any(has_twin) {
                out.extend(twin(patch, &marks, a).and_then(|b| pairing(patch, a, &b)));
            }
        }
    }
    out.retain(|p| p.cost < HOPELESS_COST && p.groups.iter().all(|g| !is_misread(patch, g)));
    out.sort_by(|x, y| x.cost.total_cmp(&y.cost));
    (out, groups)
}

/// Whether what was read as a dash is a round spot as well or better, or one of two lines.
pub fn is_misread(patch: &Patch, group: &Group) -> bool {
    group.kind == Kind::Dash
        && (has_parallel(patch, &group.shape)
            || fit(patch, Kind::Dots(1), group.shape, Hold::Nothing).is_some_and(|s| s.explained > group.explained))
}

fn pairs(patch: &Patch, groups: &[Group]) -> Vec<Pairing> {
    let mut out = Vec::new();
    // Any two of many lone dots lie opposite each other by chance.
    let others = groups.iter().filter(|g| g.kind == Kind::Dots(1) && is_clear(g)).count().saturating_sub(2);
    for (i, a) in groups.iter().enumerate() {
        for b in &groups[i + 1..] {
            out.extend(pairing(patch, a, b).map(|mut p| {
                if a.kind == Kind::Dots(1) {
                    p.cost += SINGLE_COST + SPOT_COST * others as f64;
                }
                p
            }));
        }
    }
    out
}

/// Whether a lone dot stands out as only a mark does.
pub fn is_clear(dot: &Group) -> bool {
    dot.explained > LEAST_EXPLAINED_SINGLE && dot.depth > LEAST_DEPTH_SINGLE
}

/// Starts for fits: those to be fitted at once, and those for when they do not suffice.
fn tries(patch: &Patch, marks: &Plane, spots: &[Blob]) -> [Vec<(Kind, Shape)>; 2] {
    let rows: Vec<_> = rows(patch, spots).into_iter().take(MOST_ROWS).map(|r| (r.kind, r.shape)).collect();
    let lines: Vec<_> = lines(patch, marks).into_iter().take(MOST_LINES).map(|l| (l.kind, l.shape)).collect();
    let alone = spots.iter().take(MOST_SPOTS).map(|b| {
        let (sigma, extent, gap) = (0.012 * patch.scale, 0.05 * patch.scale, 0.01 * patch.scale);
        (Kind::Dots(1), Shape { place: b.place, angle: 0.0, extent, sigma, gap })
    });
    let (rows_first, rows_rest) = rows.split_at(FIRST_ROWS.min(rows.len()));
    let (lines_first, lines_rest) = lines.split_at(FIRST_LINES.min(lines.len()));
    [[rows_first, lines_first].concat(), [rows_rest, lines_rest].concat().into_iter().chain(alone).collect()]
}

/// Fit `tries` and keep what is believable.
fn extend_groups(groups: &mut Vec<Group>, patch: &Patch, tries: &[(Kind, Shape)]) {
    for (kind, shape) in tries {
        let near = |g: &Group| g.kind == *kind && (g.shape.place - shape.place).norm() < 0.012 * patch.scale;
        if !groups.iter().any(near) {
            groups.extend(fit(patch, *kind, *shape, Hold::Nothing).filter(believable));
        }
    }
}

/// Whether a fit is worth holding against others.
pub fn believable(group: &Group) -> bool {
    let long = !matches!(group.kind, Kind::Dash | Kind::Lines) || group.shape.extent > LEAST_ASPECT * group.shape.sigma;
    group.depth > 0.0 && group.explained > 0.3 && group.signal > 5.0 && long
}

/// Half the chord and the distance of its middle from the limbus's centre, in limbus radii, if both can be.
pub fn geometry(patch: &Patch, a: &Vector, b: &Vector) -> Option<(f64, f64)> {
    let middle = Vector::new(patch.middle(), patch.middle());
    let half = (a - b).norm() / 2.0 / patch.scale;
    let offset = ((a + b) / 2.0 - middle).norm() / patch.scale;
    (offset < MOST_OFFSET && (half - HALF_CHORD.0).abs() < HALF_CHORD_REACH).then_some((half, offset))
}

/// How well two groups pair as the two of one lens; `None` where they do not.
pub fn pairing(patch: &Patch, a: &Group, b: &Group) -> Option<Pairing> {
    if a.kind != b.kind {
        return None;
    }
    let (half, offset) = geometry(patch, &a.shape.place, &b.shape.place)?;
    let chord = b.shape.place - a.shape.place;
    let line = chord.y.atan2(chord.x);
    let directed = a.kind != Kind::Dots(1);
    let lean = |g: &Group| {
        let half_turn = std::f64::consts::PI;
        let turn = (g.shape.angle - line + half_turn / 2.0).rem_euclid(half_turn) - half_turn / 2.0;
        (turn * turn / (g.covariance[(2, 2)] + 1.2_f64.to_radians().powi(2))).min(100.0)
    };
    let ratio = |x: f64, y: f64, sd: f64| ((x / y).abs().ln() / sd).powi(2);
    if !(directed || !patch.bright && is_clear(a) && is_clear(b)) {
        return None;
    }
    let both = |x: f64, y: f64| (x * y).sqrt();
    let extent = both(a.shape.extent, b.shape.extent);
    let weak = a.explained.min(b.explained);
    let parts = [
        if directed { lean(a) + lean(b) } else { 0.0 },
        if directed { ratio(a.shape.extent, b.shape.extent, 0.08) } else { 0.0 },
        ratio(a.shape.sigma, b.shape.sigma, 0.2),
        ratio(a.depth, b.depth, 0.4),
        (offset / OFFSET_SD).powi(2),
        ((half - HALF_CHORD.0) / HALF_CHORD.1).powi(2),
        ((1.0 - a.explained) + (1.0 - b.explained)) / 0.08 + (1.0 - weak).powi(2) / 0.05,
        shape_cost(patch, a.kind, both(a.shape.sigma, b.shape.sigma), extent, both(a.depth, b.depth)),
        bright_cost(patch, a.kind),
    ];
    Some(Pairing { groups: [*a, *b], cost: parts.iter().sum() })
}

/// How far marks of a kind are from the usual in width and extent (px) and depth.
pub fn shape_cost(patch: &Patch, kind: Kind, sigma: f64, extent: f64, depth: f64) -> f64 {
    let (usual_sigma, usual_extent) = match kind {
        Kind::Dots(_) => (0.0125, 0.05),
        Kind::Dash => (0.0125, 0.06),
        Kind::Lines => (0.006, 0.06),
    };
    let off = |value: f64, usual: f64, sd: f64| ((value / patch.scale / usual).ln() / sd).powi(2);
    let faint = (TYPICAL_DEPTH / depth).ln().max(0.0).powi(2) / DEPTH_VARIANCE;
    let directed = kind != Kind::Dots(1);
    off(sigma, usual_sigma, WIDTH_SD) + faint + if directed { off(extent, usual_extent, EXTENT_SD) } else { 0.0 }
}

/// What marks of a kind cost for being bright.
pub fn bright_cost(patch: &Patch, kind: Kind) -> f64 {
    match kind {
        _ if !patch.bright => 0.0,
        Kind::Dots(3..) => BRIGHT_ROW_COST,
        _ => BRIGHT_COST,
    }
}
