//! Finding the axis marks of the lens.
//!
//! The inside of the limbus is resampled so that the limbus is a circle (`patch`). Rows of spots (`rows`) and short lines
//! (`lines`) that point towards the middle are the starts; shapes of marks (`marks`) are fitted there by least
//! squares together with their ground (`group_fit`). Two opposite groups that are alike and lie in each other's
//! direction make a lens (`pairing`); where only one stands out, its twin is looked for (`twin`). All of it looks for
//! dark marks; bright ones are found in the inverted patch.

mod group_fit;
mod lines;
mod marks;
mod pairing;
mod patch;
mod rows;
mod twin;

use crate::geometry::{Ellipse, Matrix, PixelPoint, axis_difference};
use crate::vision::Picture;
use group_fit::Group;
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

/// Cost of a pairing (see [`Pairing::cost`]) at which the score is one half. Origin: frames of eight eyes, their limbus off
/// by up to 5 %. The least cost of a wrong reading was 22; right ones cost 1 to 16, more where an instrument touches the
/// marks.
const HALF_SCORE_COST: f64 = 18.0;
/// Dark marks that score this much leave no need to look for bright ones.
const CLEAR_SCORE: f64 = 0.8;
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
    let mut pairings = pairing::pairings(&patch);
    if pairings.first().is_none_or(|p| score(p) < CLEAR_SCORE) {
        patch = patch.inverted();
        pairings.extend(pairing::pairings(&patch));
        pairings.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    }
    let Some(best) = pairings.first() else {
        return Err(LensRefusal::Missing { score: 0.0, need: LEAST_SCORE });
    };
    if score(best) < LEAST_SCORE {
        return Err(LensRefusal::Missing { score: score(best), need: LEAST_SCORE });
    }
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

fn score(pairing: &Pairing) -> f64 {
    1.0 / (1.0 + (pairing.cost / HALF_SCORE_COST).powi(2))
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
