//! Finding the axis marks of the lens.
//!
//! The inside of the limbus is resampled so that the limbus is a circle (`patch`). Rows of spots (`rows`) and short lines
//! (`lines`) that point towards the middle are the starts; shapes of marks (`marks`) are fitted there by least
//! squares together with their ground (`group_fit`). Two opposite groups that are alike and lie in each other's
//! direction make a lens (`pairing`); where only one stands out, its twin is looked for (`twin`), and where that is
//! hidden it may do by itself (`lone`). All of it looks for dark marks; bright ones are found in the inverted patch.

mod group_fit;
mod lines;
mod lone;
mod marks;
mod pairing;
mod patch;
mod rows;
mod twin;

use crate::geometry::{Ellipse, Matrix, PixelPoint, Vector, axis_difference};
use crate::vision::Picture;
use group_fit::Group;
use lone::Lone;
use pairing::Pairing;
use patch::{Patch, Source};

/// One dot or dash of the lens.
#[derive(Clone, Debug)]
pub struct LensMarkFinding {
    /// Centroid, px.
    pub centroid: PixelPoint,
    /// Covariance of the centroid, px^2.
    pub covariance: Matrix,
    /// 0 or 1: which of the two groups.
    pub group: u8,
}

/// The marks of a lens, as one consistent reading of the picture.
#[derive(Clone, Debug)]
pub struct LensFinding {
    /// All dots and dashes used.
    pub marks: Vec<LensMarkFinding>,
    /// Two points on the lens axis with their covariances (px, px^2): the weighted centroids of the two groups, or,
    /// where one group is hidden, of the ends of what is left (see `groups_seen`).
    pub ends: [(PixelPoint, Matrix); 2],
    /// 2, or 1 where one group is hidden.
    pub groups_seen: u8,
    /// How much it is like lens marks, 0 to 1. Not a probability.
    pub score: f64,
}

/// Why the lens axis cannot be read.
#[derive(Clone, Debug, thiserror::Error)]
pub enum LensRefusal {
    /// No group of marks found.
    #[error("no lens marks found: the best candidate scores {score:.2}, need {need:.2}")]
    Missing {
        /// Score of the best candidate.
        score: f64,
        /// Least score accepted.
        need: f64,
    },
    /// Two readings fit nearly alike.
    #[error("two readings of the lens marks fit nearly alike")]
    Ambiguous {
        /// The readings, the better first.
        readings: [Box<LensFinding>; 2],
    },
}

/// Cost of a pairing (see [`Pairing::cost`]) at which the score is one half. Origin: frames of eight eyes and variants of
/// them without marks, and drawn stills. The least cost of a wrong reading was 20; right ones cost 1 to 16, more where
/// an instrument touches the marks.
const HALF_SCORE_COST: f64 = 19.5;
/// The same of a group by itself (see [`Lone::cost`]): right ones cost 2.5 to 9, the least cost of a wrong one was 9.6.
const LONE_HALF_SCORE_COST: f64 = 8.6;
/// Another group by itself that costs less than this more makes the picture ambiguous.
const LONE_MARGIN: f64 = 4.0;
/// Readings of single groups nearer than this are one, degrees: their directions are less certain.
const LONE_DISTINCT_DEG: f64 = 4.0;
/// Dark marks that score this much leave no need to look for bright ones.
const CLEAR_SCORE: f64 = 0.8;
/// How far the direction of a group departs from that of the line through both, standard deviation in degrees.
const LONE_TURN_SD_DEG: f64 = 1.0;
/// Pixels to a limbus radius in the patch.
const SCALE: f64 = 120.0;
/// Finer pictures are averaged in blocks to at most this many pixels to a limbus radius.
const MOST_RADIUS: f64 = 210.0;
/// Least score accepted.
const LEAST_SCORE: f64 = 0.5;
/// A second reading that costs less than this more than the first makes the picture ambiguous.
const LEAST_MARGIN: f64 = 8.0;
/// Readings nearer than this are one, degrees.
const DISTINCT_DEG: f64 = 2.0;
/// What the shape of a mark may shift its fitted place by, in limbus radii.
const PLACE_FLOOR: f64 = 0.0003;

/// Find the lens marks inside `limbus`.
///
/// The limbus may be off by a few percent: it says only where to look, and the axis comes from the marks alone.
///
/// # Errors
/// [`LensRefusal`] where no reading can be answered for.
pub fn find_lens_marks(picture: &Picture, limbus: &Ellipse) -> Result<LensFinding, LensRefusal> {
    let source = Source::new(picture, limbus, MOST_RADIUS);
    let mut patch = Patch::new(&source, SCALE);
    let (mut pairings, groups) = pairing::pairings(&patch);
    let mut lones = Vec::new();
    if pairings.first().is_none_or(|p| score(p) < CLEAR_SCORE) {
        lones = lone::lones(&patch, &groups);
        patch = patch.inverted();
        let (bright, groups) = pairing::pairings(&patch);
        pairings.extend(bright);
        pairings.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        lones.extend(lone::lones(&patch, &groups));
        lones.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    }
    let best = pairings.first().filter(|p| score(p) >= LEAST_SCORE);
    let Some(best) = best else {
        return alone(&patch, &lones)
            .ok_or_else(|| LensRefusal::Missing { score: pairings.first().map_or(0.0, score), need: LEAST_SCORE });
    };
    let rival = pairings.iter().find(|p| {
        axis_difference(p.axis_deg(), best.axis_deg()).abs() > DISTINCT_DEG
            && score(p) >= LEAST_SCORE
            && p.cost < best.cost + LEAST_MARGIN
    });
    match rival {
        Some(rival) => Err(LensRefusal::Ambiguous {
            readings: [Box::new(finding(&patch, best)), Box::new(finding(&patch, rival))],
        }),
        None => Ok(finding(&patch, best)),
    }
}

/// What a single group says, if it is clearly one and no other is near as good.
fn alone(patch: &Patch, lones: &[Lone]) -> Option<LensFinding> {
    let best = lones.first()?;
    let own = score_of(best.cost, LONE_HALF_SCORE_COST);
    let angle = |l: &Lone| l.group.shape.angle.to_degrees();
    let rival = lones
        .iter()
        .any(|l| axis_difference(angle(l), angle(best)).abs() > LONE_DISTINCT_DEG && l.cost < best.cost + LONE_MARGIN);
    // Each candidate is checked only here: most are never needed.
    if own < LEAST_SCORE || rival || pairing::is_misread(patch, &best.group) {
        return None;
    }
    let shape = best.group.shape;
    let half = shape.half_length(best.group.kind);
    let (sin, cos) = shape.angle.sin_cos();
    let along = Vector::new(cos, sin) * half;
    let across = Vector::new(-sin, cos);
    let floor = Matrix::identity() * (PLACE_FLOOR * patch.scale).powi(2);
    let place = best.group.covariance.fixed_view::<2, 2>(0, 0).into_owned() + floor;
    let to_picture = patch.jacobian();
    let in_picture = |covariance: Matrix| to_picture * covariance * to_picture.transpose();
    // The ends share the place, which does not turn the line. Each is put aside so that both together, taken as
    // independent, turn it by what its direction is uncertain by.
    let variance = best.group.covariance[(2, 2)] + LONE_TURN_SD_DEG.to_radians().powi(2);
    let end_covariance = in_picture(across * across.transpose() * (2.0 * variance * half * half));
    let centroids = shape.centroids(best.group.kind);
    let own_place = in_picture(place * centroids.len() as f64);
    let marks = centroids
        .into_iter()
        .map(|at| LensMarkFinding { centroid: patch.to_picture(&at), covariance: own_place, group: 0 })
        .collect();
    let ends = [-1.0, 1.0].map(|sign| (patch.to_picture(&(shape.place + along * sign)), end_covariance));
    Some(LensFinding { marks, ends, groups_seen: 1, score: own })
}

fn score(pairing: &Pairing) -> f64 {
    score_of(pairing.cost, HALF_SCORE_COST)
}

/// 1 for no cost, one half at `half`.
fn score_of(cost: f64, half: f64) -> f64 {
    1.0 / (1.0 + (cost / half).powi(2))
}

fn finding(patch: &Patch, pairing: &Pairing) -> LensFinding {
    let to_picture = patch.jacobian();
    let in_picture = |covariance: Matrix| to_picture * covariance * to_picture.transpose();
    let covariance = |group: &Group| {
        let floor = Matrix::identity() * (PLACE_FLOOR * patch.scale).powi(2);
        in_picture(group.covariance.fixed_view::<2, 2>(0, 0).into_owned() + floor)
    };
    let mut marks = Vec::new();
    for (index, group) in pairing.groups.iter().enumerate() {
        let own = covariance(group);
        let count = group.shape.centroids(group.kind).len() as f64;
        marks.extend(group.shape.centroids(group.kind).into_iter().map(|place| LensMarkFinding {
            centroid: patch.to_picture(&place),
            covariance: own * count,
            group: index as u8,
        }));
    }
    let ends = [0, 1].map(|k| {
        let group = &pairing.groups[k];
        (patch.to_picture(&group.shape.place), covariance(group))
    });
    LensFinding { marks, ends, groups_seen: 2, score: score(pairing) }
}

#[cfg(test)]
mod tests;
