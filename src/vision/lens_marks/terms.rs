//! What speaks for and against one or two groups being what is seen of a lens's marks.
//!
//! Each term is weighed by its place: see `network_weights`. How far something is from the usual counts as ln(1 + x^2), x
//! in standard deviations: as a square where it is small, and little more where it is large, for something is always odd.

use super::group_fit::Group;
use super::groups::is_clear_spot;
use super::marks::Kind;
use super::patch::Patch;
use crate::geometry::{Vector, axis_difference};

/// Number of terms.
pub const TERMS: usize = PAIR + LONE + BRIGHT;
/// Of two groups: five kinds, then what they are together.
const PAIR: usize = 5 + 18;
/// Place of what other clear spots there are beside two lone dots.
pub const OTHER_SPOTS: usize = 19;
/// Of one: four kinds, then what it is.
const LONE: usize = 4 + 13;
/// Of bright ones: spots, rows, dashes and lines, and how bright their ground is; and of dark ones' ground.
const BRIGHT: usize = 3 + 2;

/// Half the distance between groups, in limbus radii: mean and standard deviation.
pub const HALF_CHORD: (f64, f64) = (0.44, 0.06);
/// How far it may depart from the mean.
pub const HALF_CHORD_REACH: f64 = 0.10;
/// Farthest that the middle between the groups may lie from the middle of the limbus, in limbus radii.
const MOST_OFFSET: f64 = 0.15;
/// Standard deviation of the place of the lens, with what the limbus may be off, in limbus radii.
const OFFSET_SD: f64 = 0.06;
/// Standard deviation of a group's direction against the line through both, degrees.
const TURN_SD_DEG: f64 = 1.2;
/// Standard deviations of the logarithms of the extents, widths and depths of twins against each other.
const TWIN_SD: [f64; 3] = [0.08, 0.2, 0.4];
/// Standard deviations of the logarithms of what is usual for the width of dots and lines, and for their spacing or length.
const WIDTH_SD: f64 = 0.25;
const EXTENT_SD: f64 = 0.35;
/// Distances from the middle of the limbus at which a group by itself is looked for, in limbus radii, and the standard
/// deviation: that of half the chord with the place of the lens.
const RADII: (f64, f64) = (0.2, 0.65);
const RADIUS_SD: f64 = 0.07;
/// Standard deviation of its direction against the ray, degrees: a lens 0.06 radii beside the middle.
const LEAN_SD_DEG: f64 = 8.0;
/// Stretch past an end in which a group is looked for to go on, in limbus radii, and what is usual there over its depth.
const PAST_ENDS: [f64; 2] = [0.02, 0.08];
const PAST_END_SD: f64 = 0.3;
/// Stretch past the inner end in which a line that runs on is darker than its sides by this share of the depth, in this share
/// of the stretch. Set on lines drawn in the tests; of 800 drawn and 40 real stills none was lost by it.
const RUNNING_ON: [f64; 2] = [0.03, 0.18];
const RUNNING_DEPTH: f64 = 0.5;
const RUNNING_SHARE: f64 = 0.7;
/// Stretch beyond a group in which it is looked for to be the end of a line, in limbus radii; half the widths such a line may
/// have; how much darker or brighter than its sides it is, over the group's depth; directions and places looked at.
const TAIL: [f64; 2] = [0.04, 0.16];
const TAIL_SIDES: [f64; 2] = [0.035, 0.08];
const TAIL_DEPTH: f64 = 0.3;
const TAIL_DIRECTIONS: u32 = 32;
const TAIL_PLACES: u32 = 13;
/// Standard deviation of the logarithm of the light about one group over that about the other: the light is uneven.
const GROUND_SD: f64 = 0.4;
/// Light of a usual ground.
const TYPICAL_GROUND: f64 = 0.25;
/// Brightness against the local mean, either way, from which the pupil is covered by something.
const COVERED: f32 = 0.25;
/// How far beyond the ends of a group a spot may be one of its own, in limbus radii.
const OWN_MARGIN: f64 = 0.02;

/// Half the chord and the distance of its middle from the limbus's centre, in limbus radii, if both can be.
pub fn chord(patch: &Patch, a: &Vector, b: &Vector) -> Option<(f64, f64)> {
    let middle = Vector::new(patch.middle(), patch.middle());
    let half = (a - b).norm() / 2.0 / patch.scale;
    let offset = ((a + b) / 2.0 - middle).norm() / patch.scale;
    (offset < MOST_OFFSET && (half - HALF_CHORD.0).abs() < HALF_CHORD_REACH).then_some((half, offset))
}

/// What speaks for and against two groups; `None` where they cannot be one lens's.
///
/// - `tails`: [`tail`] of each
/// - `spots`: places of the lone dots that stand out clearly
pub fn of_pair(patch: &Patch, [a, b]: [&Group; 2], tails: [f64; 2], spots: &[Vector]) -> Option<[f64; TERMS]> {
    if a.kind != b.kind {
        return None;
    }
    let (half, offset) = chord(patch, &a.shape.place, &b.shape.place)?;
    let line = b.shape.place - a.shape.place;
    let line = line.y.atan2(line.x);
    let directed = a.kind != Kind::Dots(1);
    let turned = |g: &Group| {
        let turn = axis_difference(line.to_degrees(), g.shape.angle.to_degrees()).to_radians();
        odd(turn / (g.angle_variance + TURN_SD_DEG.to_radians().powi(2)).sqrt())
    };
    let ratio = |x: f64, y: f64, sd: f64| odd((x / y).abs().ln() / sd);
    let both = |x: f64, y: f64| (x * y).sqrt();
    let (weaker, stronger) = if a.explained < b.explained { (a, b) } else { (b, a) };
    let size = Size::of(patch, a.kind, both(a.shape.sigma, b.shape.sigma), both(a.shape.extent, b.shape.extent));
    let others = spots.iter().filter(|s| !own(patch, a, s) && !own(patch, b, s)).count();
    let mut terms = [0.0; TERMS];
    let (kinds, rest) = terms[..PAIR].split_at_mut(5);
    kinds[kind_number(a.kind)] = 1.0;
    rest.copy_from_slice(&[
        if directed { turned(a) + turned(b) } else { 0.0 },
        if directed { ratio(a.shape.extent, b.shape.extent, TWIN_SD[0]) } else { 0.0 },
        ratio(a.shape.sigma, b.shape.sigma, TWIN_SD[1]),
        ratio(a.depth, b.depth, TWIN_SD[2]),
        odd(offset / OFFSET_SD),
        odd((half - HALF_CHORD.0) / HALF_CHORD.1),
        1.0 - weaker.explained,
        1.0 - stronger.explained,
        size.width,
        size.wide,
        size.extent,
        faintness(a.depth.min(b.depth)),
        certainty(a.signal.min(b.signal)),
        (1.0 + others as f64).ln(),
        // One group more may be there by chance; of many, any two lie opposite each other.
        if directed { 0.0 } else { (1.0 + others.saturating_sub(1) as f64).ln() },
        going_on(patch, a) + going_on(patch, b),
        tails[0].max(tails[1]),
        odd((ground(patch, a) / ground(patch, b)).ln() / GROUND_SD),
    ]);
    mark_bright(&mut terms, patch, a.kind, both(ground(patch, a), ground(patch, b)));
    Some(terms)
}

/// What speaks for and against a group as the only one seen; `None` for what has no direction of its own or lies elsewhere.
///
/// - `tail`: [`tail`] of it
/// - `twin_likeness`: correlation of what looks most like it on the other side
pub fn of_lone(patch: &Patch, group: &Group, tail: f64, spots: &[Vector], twin_likeness: f64) -> Option<[f64; TERMS]> {
    let kind = kind_number(group.kind).checked_sub(1)?;
    let middle = Vector::new(patch.middle(), patch.middle());
    let from_middle = (group.shape.place - middle) / patch.scale;
    let radius = from_middle.norm();
    if !(RADII.0..RADII.1).contains(&radius) {
        return None;
    }
    let (sin, cos) = group.shape.angle.sin_cos();
    let lean_deg = ((from_middle.x * sin - from_middle.y * cos) / radius).abs().min(1.0).asin().to_degrees();
    let size = Size::of(patch, group.kind, group.shape.sigma, group.shape.extent);
    let others = spots.iter().filter(|s| !own(patch, group, s)).count();
    let mut terms = [0.0; TERMS];
    let (kinds, rest) = terms[PAIR..PAIR + LONE].split_at_mut(4);
    kinds[kind] = 1.0;
    rest.copy_from_slice(&[
        odd(lean_deg / LEAN_SD_DEG),
        odd((radius - HALF_CHORD.0) / RADIUS_SD),
        1.0 - group.explained,
        size.width,
        size.wide,
        size.extent,
        faintness(group.depth),
        certainty(group.signal),
        // One may be what is seen of the other group.
        (1.0 + others.saturating_sub(1) as f64).ln(),
        twin_likeness,
        hidden(patch, group, radius),
        going_on(patch, group),
        tail,
    ]);
    mark_bright(&mut terms, patch, group.kind, ground(patch, group));
    Some(terms)
}

/// ln(1 + x^2).
fn odd(sds: f64) -> f64 {
    (sds * sds).ln_1p()
}

fn kind_number(kind: Kind) -> usize {
    match kind {
        Kind::Dots(1) => 0,
        Kind::Dots(2) => 1,
        Kind::Dots(_) => 2,
        Kind::Dash => 3,
        Kind::Lines => 4,
    }
}

/// Bright marks stand on a dark ground, dark ones on a bright ground.
fn mark_bright(terms: &mut [f64; TERMS], patch: &Patch, kind: Kind, ground: f64) {
    let bright = &mut terms[PAIR + LONE..];
    let ground = (ground / TYPICAL_GROUND).ln().clamp(-2.0, 1.2);
    if patch.bright {
        bright[[0, 1, 1, 2, 2][kind_number(kind)]] = 1.0;
        bright[3] = ground;
    } else {
        bright[4] = ground;
    }
}

/// Mean light about a group, 0 to 1.
fn ground(patch: &Patch, group: &Group) -> f64 {
    f64::from(patch.mean.sample(group.shape.place.x, group.shape.place.y)).max(0.01)
}

/// How far a row or line goes on past its ends, at the one where it does so more: a mark ends, an edge or a fold does not.
fn going_on(patch: &Patch, group: &Group) -> f64 {
    if group.kind == Kind::Dots(1) {
        return 0.0;
    }
    let contrast = |sign: f64| {
        let along = contrasts(patch, group, sign, PAST_ENDS);
        along.iter().sum::<f64>() / along.len() as f64
    };
    odd(contrast(1.0).abs().max(contrast(-1.0).abs()) / group.depth / PAST_END_SD)
}

/// How much a group is the end of a line, straight on or at an angle: the greatest share, over all directions that lead away from
/// one of its ends, of a stretch that is darker or brighter than both its sides. A mark stands alone; the tip of an instrument
/// or a fold does not.
pub fn tail(patch: &Patch, group: &Group) -> f64 {
    tail_where(patch, group, |left, right| left * right > 0.0)
}

/// The same of a stretch that is darker than both its sides, as the group itself is: how much it may be the tip of something, and not
/// only lie beside a reflection that ends there.
pub fn dark_tail(patch: &Patch, group: &Group) -> f64 {
    tail_where(patch, group, |left, right| left < 0.0 && right < 0.0)
}

/// As [`tail`], of what is brighter than its left and right side by amounts that are `a_line`.
fn tail_where(patch: &Patch, group: &Group, a_line: impl Fn(f64, f64) -> bool) -> f64 {
    let shape = &group.shape;
    let half = if group.kind == Kind::Dots(1) { 0.0 } else { shape.half_length(group.kind) };
    let direction = |k: u32| shape.angle + f64::from(k) / f64::from(TAIL_DIRECTIONS) * std::f64::consts::TAU;
    let share = |k: u32| {
        let along = unit(direction(k));
        let forwards = along.dot(&unit(shape.angle)) >= 0.0;
        let end = shape.place + unit(shape.angle) * if forwards { half } else { -half };
        line_share(patch, group, &end, &along, &a_line)
    };
    (0..TAIL_DIRECTIONS).map(share).fold(0.0, f64::max)
}

/// Share of a stretch from `end` along the unit vector `along` that differs from both its sides and is `a_line`.
fn line_share(patch: &Patch, group: &Group, end: &Vector, along: &Vector, a_line: impl Fn(f64, f64) -> bool) -> f64 {
    let (darkest, brightest) = patch.clip();
    let value = |s: f64, t: f64| {
        let place = end + along * s + Vector::new(-along.y, along.x) * t;
        f64::from(patch.relative.sample(place.x, place.y).clamp(darkest, brightest))
    };
    let [near, far] = TAIL.map(|r| r * patch.scale);
    let near = near.max(3.0 * group.shape.sigma);
    let stands_out = |s: &f64| {
        let own = value(*s, 0.0);
        TAIL_SIDES.iter().any(|side| {
            let [left, right] = [-1.0, 1.0].map(|sign| own - value(*s, sign * side * patch.scale));
            a_line(left, right) && left.abs().min(right.abs()) > TAIL_DEPTH * group.depth
        })
    };
    let place = |i: u32| near + (far - near) * f64::from(i) / f64::from(TAIL_PLACES - 1);
    (0..TAIL_PLACES).map(place).filter(stands_out).count() as f64 / f64::from(TAIL_PLACES)
}

fn unit(angle: f64) -> Vector {
    let (sin, cos) = angle.sin_cos();
    Vector::new(cos, sin)
}

/// Whether a row or line is the end of a longer one, which runs on towards the middle: of a fold, a thread or a shaft.
pub fn runs_on(patch: &Patch, group: &Group) -> bool {
    if group.kind == Kind::Dots(1) {
        return false;
    }
    let (sin, cos) = group.shape.angle.sin_cos();
    let inwards = Vector::new(patch.middle(), patch.middle()) - group.shape.place;
    let along = contrasts(patch, group, (inwards.x * cos + inwards.y * sin).signum(), RUNNING_ON);
    let dark = along.iter().filter(|c| **c > RUNNING_DEPTH * group.depth).count();
    dark as f64 > RUNNING_SHARE * along.len() as f64
}

/// How much darker than both sides it is past one end of a row or line, every pixel of a stretch (in limbus radii); `sign`
/// says past which.
fn contrasts(patch: &Patch, group: &Group, sign: f64, stretch: [f64; 2]) -> Vec<f64> {
    let shape = &group.shape;
    let darkness = patch.darkness_about(shape.place, shape.angle);
    let beside = if group.kind == Kind::Lines { shape.gap } else { 0.0 };
    let ground = beside + (0.035 * patch.scale).max(2.5 * shape.sigma);
    let half = shape.half_length(group.kind);
    let [near, far] = stretch.map(|past| (past * patch.scale).round() as i32);
    let at = |past: i32| {
        let s = sign * (half + f64::from(past));
        let own = (darkness(s, -beside) + darkness(s, beside)) / 2.0;
        own - (darkness(s, -ground) + darkness(s, ground)) / 2.0
    };
    (near..=far).map(at).collect()
}

/// How far a group is from the usual.
struct Size {
    /// In width.
    width: f64,
    /// By how much it is wider, natural logarithm.
    wide: f64,
    /// In length or spacing.
    extent: f64,
}

impl Size {
    /// Of a width and extent in px.
    fn of(patch: &Patch, kind: Kind, sigma: f64, extent: f64) -> Self {
        let (usual_sigma, usual_extent) = match kind {
            Kind::Dots(_) => (0.0125, 0.05),
            Kind::Dash => (0.0125, 0.06),
            Kind::Lines => (0.006, 0.06),
        };
        let off = |value: f64, usual: f64| (value / patch.scale / usual).ln();
        Self {
            width: odd(off(sigma, usual_sigma) / WIDTH_SD),
            wide: off(sigma, usual_sigma).max(0.0),
            extent: if kind == Kind::Dots(1) { 0.0 } else { odd(off(extent, usual_extent) / EXTENT_SD) },
        }
    }
}

/// Logarithm of the depth; neither nothing nor more than black counts.
fn faintness(depth: f64) -> f64 {
    -depth.clamp(0.02, 1.0).ln()
}

/// Logarithm of the depth over its standard deviation, as far as it tells.
fn certainty(signal: f64) -> f64 {
    signal.clamp(5.0, 60.0).ln()
}

/// Whether a spot is one of a group's own.
fn own(patch: &Patch, group: &Group, spot: &Vector) -> bool {
    (spot - group.shape.place).norm() <= group.shape.half_length(group.kind) + OWN_MARGIN * patch.scale
}

/// Share of the place of a group's twin, across the middle along its direction, that cannot be seen.
fn hidden(patch: &Patch, group: &Group, radius: f64) -> f64 {
    let middle = Vector::new(patch.middle(), patch.middle());
    let inwards = middle - group.shape.place;
    let direction = unit(group.shape.angle);
    let along = direction * inwards.dot(&direction).signum();
    let twin = group.shape.place + along * (2.0 * radius * patch.scale);
    let reach = (0.08 * patch.scale).round() as i64;
    let (mut unseen, mut all) = (0.0, 0.0);
    for dy in (-reach..=reach).step_by(2) {
        for dx in (-reach..=reach).step_by(2) {
            let (x, y) = (twin.x.round() as i64 + dx, twin.y.round() as i64 + dy);
            let side = patch.weight.side as i64;
            let inside = (0..side).contains(&x) && (0..side).contains(&y);
            let (x, y) = (x as usize, y as usize);
            let seen = inside && patch.weight.at(x, y) > 0.0 && patch.relative.at(x, y).abs() < COVERED;
            all += 1.0;
            unseen += if seen { 0.0 } else { 1.0 };
        }
    }
    unseen / all
}

/// Places of the lone dots of `groups` that stand out as only marks do.
pub fn clear_spots(groups: &[Group]) -> Vec<Vector> {
    groups.iter().filter(|g| is_clear_spot(g)).map(|g| g.shape.place).collect()
}
