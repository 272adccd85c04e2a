//! The groups that may be marks: where to look, and what a fit there must be to be believed.

use super::group_fit::{Group, Hold, fit};
use super::lines::{has_parallel, lines, with_second};
use super::marks::{Kind, Shape};
use super::patch::Patch;
use super::rows::{Blob, blobs, rows};
use super::square_plane::SquarePlane;
use super::terms::{chord, runs_on};
use crate::geometry::Vector;

/// Half the width of the widest thing that may be a mark, in limbus radii.
const NARROW: f64 = 0.026;
/// Most rows, lines and lone spots that are fitted, but for the spots that come last.
const MOST_ROWS: usize = 40;
const MOST_LINES: usize = 40;
const MOST_SPOTS: usize = 12;
/// How many come first: where they make a good pair the rest is not needed.
const FIRST_ROWS: usize = 6;
const FIRST_LINES: usize = 4;
/// Least share of a group's own marks that is seen: what is left about a bright tip that does not count looks like anything. Such were
/// seen to 0.14 in scenes drawn for the tests, marks across which something lies from 0.53 in frames of real operations.
const LEAST_SEEN: f64 = 0.4;
/// Least half-length of a dash over the standard deviation of its cross-section: less is a blot.
const LEAST_ASPECT: f64 = 2.8;
/// How much less two lines may explain than one of them: more ground lies about them.
const LESS_EXPLAINED: f64 = 0.1;
/// How far beside a line dots may lie that are part of it, in limbus radii.
const ON_LINE: f64 = 0.01;
/// Least share explained and depth of a lone dot that stands out as only a mark does.
const CLEAR_EXPLAINED: f64 = 0.8;
const CLEAR_DEPTH: f64 = 0.2;
/// Ring about a faint dot, in limbus radii, of which no more than this share may be unseen or darker or brighter than the rest of it,
/// by this share of the dot's depth: else it is the tip of something, or one of many.
const RING: [f64; 2] = [0.045, 0.07];
const MOST_OF_RING: f64 = 0.1;
const RING_DEPTH: f64 = 0.5;

/// Kind and shape that a fit starts from.
pub type Start = (Kind, Shape);

/// Starts for fits in a patch.
pub struct Tries {
    /// What stands out narrowly (see [`SquarePlane::narrow_dark`]).
    pub marks: SquarePlane,
    /// The most promising.
    pub promising: Vec<Start>,
    /// The rest.
    pub others: Vec<Start>,
    /// All spots that have another opposite. Of faint ones some pair looks like two marks in most pictures: where something stands
    /// out better they only cast doubt on it.
    pub faint_spots: Vec<Start>,
}

impl Tries {
    /// Rows of spots, lines and spots of a patch.
    pub fn new(patch: &Patch) -> Self {
        let marks = patch.relative.narrow_dark((NARROW * patch.scale).round() as usize);
        let spots = blobs(patch, &marks);
        let rows: Vec<Start> = rows(patch, &spots).into_iter().take(MOST_ROWS).map(|r| (r.kind, r.shape)).collect();
        let lines: Vec<Start> = lines(patch, &marks).into_iter().take(MOST_LINES).map(|l| (l.kind, l.shape)).collect();
        let (rows_first, rows_rest) = rows.split_at(FIRST_ROWS.min(rows.len()));
        let (lines_first, lines_rest) = lines.split_at(FIRST_LINES.min(lines.len()));
        let has_opposite = |b: &&Blob| spots.iter().any(|other| chord(patch, &b.place, &other.place).is_some());
        let clearest_spots = spots.iter().take(MOST_SPOTS).map(|b| lone_dot(patch, b));
        Self {
            promising: [rows_first, lines_first].concat(),
            others: [rows_rest, lines_rest].concat().into_iter().chain(clearest_spots).collect(),
            faint_spots: spots.iter().filter(has_opposite).map(|b| lone_dot(patch, b)).collect(),
            marks,
        }
    }
}

fn lone_dot(patch: &Patch, spot: &Blob) -> Start {
    let (sigma, extent, gap) = (0.012 * patch.scale, 0.05 * patch.scale, 0.01 * patch.scale);
    (Kind::Dots(1), Shape { place: spot.place, angle: 0.0, extent, sigma, gap })
}

/// Fit groups at `starts` and add those to `groups` that are believable and not there yet.
pub fn extend(groups: &mut Vec<Group>, patch: &Patch, starts: &[Start]) {
    for (kind, shape) in starts {
        if is_among(groups, patch, *kind, shape) {
            continue;
        }
        let Some(group) = fit(patch, *kind, *shape, Hold::Nothing).filter(believable) else { continue };
        match with_its_second(patch, &group) {
            Some(lines) if is_among(groups, patch, Kind::Lines, &lines.shape) => {}
            Some(lines) => groups.push(lines),
            None => groups.push(group),
        }
    }
}

/// Take out dots that lie on one of two lines.
pub fn drop_dots_on_lines(groups: &mut Vec<Group>, patch: &Patch) {
    let pairs: Vec<Group> = groups.iter().filter(|g| g.kind == Kind::Lines).copied().collect();
    groups.retain(|g| !pairs.iter().any(|lines| are_dots_on_one_of(patch, g, lines)));
}

/// Whether dots lie on one of two lines, which explain them as well.
fn are_dots_on_one_of(patch: &Patch, row: &Group, lines: &Group) -> bool {
    let (sin, cos) = lines.shape.angle.sin_cos();
    let on_one = |dot: Vector| {
        let from_middle = dot - lines.shape.place;
        let along = from_middle.x * cos + from_middle.y * sin;
        let across = from_middle.y * cos - from_middle.x * sin;
        (across.abs() - lines.shape.gap).abs() < ON_LINE * patch.scale && along.abs() < lines.shape.extent
    };
    matches!(row.kind, Kind::Dots(_))
        && lines.explained > row.explained - LESS_EXPLAINED
        && row.shape.centroids(row.kind).into_iter().all(on_one)
}

fn is_among(groups: &[Group], patch: &Patch, kind: Kind, shape: &Shape) -> bool {
    groups.iter().any(|g| g.kind == kind && (g.shape.place - shape.place).norm() < 0.012 * patch.scale)
}

/// A dash and the line beside it, if they are two lines of one group.
fn with_its_second(patch: &Patch, dash: &Group) -> Option<Group> {
    let start = (dash.kind == Kind::Dash).then(|| with_second(patch, &dash.shape))??;
    let lines = fit(patch, Kind::Lines, start, Hold::Nothing).filter(believable)?;
    (lines.explained > dash.explained - LESS_EXPLAINED).then_some(lines)
}

/// Whether a fit is worth holding against others.
pub fn believable(group: &Group) -> bool {
    let long = !matches!(group.kind, Kind::Dash | Kind::Lines) || group.shape.extent > LEAST_ASPECT * group.shape.sigma;
    group.depth > 0.0 && group.explained > 0.3 && group.seen > LEAST_SEEN && group.signal > 5.0 && long
}

/// Whether a group is part of a longer line, or what was read as a dash a round spot as well or better, or one of two lines.
pub fn is_misread(patch: &Patch, group: &Group) -> bool {
    let is_spot =
        || fit(patch, Kind::Dots(1), group.shape, Hold::Nothing).is_some_and(|s| s.explained > group.explained);
    runs_on(patch, group) || (group.kind == Kind::Dash && (has_parallel(patch, &group.shape) || is_spot()))
}

/// Whether a lone dot stands out as only a mark does.
pub fn is_clear_spot(group: &Group) -> bool {
    group.kind == Kind::Dots(1) && group.explained > CLEAR_EXPLAINED && group.depth > CLEAR_DEPTH
}

/// Whether what lies about a lone dot is even.
pub fn stands_alone(patch: &Patch, dot: &Group) -> bool {
    let [near, far] = RING.map(|r| r * patch.scale);
    let reach = far.ceil() as i32;
    let offsets = (-reach..=reach).flat_map(|dy| (-reach..=reach).map(move |dx| Vector::new(dx.into(), dy.into())));
    let ring: Vec<Vector> = offsets.filter(|o| (near..=far).contains(&o.norm())).map(|o| dot.shape.place + o).collect();
    let mut seen: Vec<f64> = ring
        .iter()
        .filter(|p| patch.weight.sample(p.x, p.y) > 0.5)
        .map(|p| patch.relative.sample(p.x, p.y).into())
        .collect();
    seen.sort_by(f64::total_cmp);
    let Some(median) = seen.get(seen.len() / 2) else { return false };
    let even = seen.iter().filter(|v| (*v - median).abs() <= RING_DEPTH * dot.depth).count();
    (ring.len() - even) as f64 <= MOST_OF_RING * ring.len() as f64
}
