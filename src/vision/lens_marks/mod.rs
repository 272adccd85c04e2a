//! Finding the axis marks of the lens.
//!
//! The inside of the limbus is resampled so that the limbus is a circle (`patch`). Rows of spots (`rows`) and short lines
//! (`lines`) that point towards the middle are the starts; shapes of marks (`marks`) are fitted there by least
//! squares together with their ground (`group_fit`). Any two opposite groups may be a lens's marks, and any one by itself
//! where its twin is hidden (`twin`): these are the readings (`readings`). What speaks for and against each (`terms`) is
//! weighed (`network_weights`), and one is chosen among all and that there are none. All of it looks for dark marks; bright
//! ones are found in a patch of whiteness instead of luma, inverted, and dark ones that something bright lies across where it does not
//! count.

mod group_fit;
mod groups;
mod lines;
mod marks;
// Fitted weights that happen to look like a constant are none.
#[allow(clippy::approx_constant)]
mod network_weights;
mod patch;
mod readings;
mod rows;
mod source;
mod square_plane;
mod terms;
mod twin;

use crate::geometry::{Ellipse, Matrix, PixelPoint, Vector, axis_difference};
use crate::vision::Picture;
use crate::vision::posterior::Posterior;
use group_fit::Group;
use groups::Tries;
use marks::Kind;
use patch::Patch;
use readings::{Reading, at_a_glance, down_to_faint_spots, thorough};
use source::{Light, Source};

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
    /// Probability of the reading among all others and that there are no marks, as in the stills the weights were fitted to.
    pub probability: f64,
}

/// Why the lens axis cannot be read.
#[derive(Clone, Debug, thiserror::Error)]
pub enum LensRefusal {
    /// No group of marks found.
    #[error("no lens marks found: the best candidates are marks with a probability of {got:.2}, need {need:.2}")]
    Missing {
        /// Probability of the best reading.
        got: f64,
        /// Least probability accepted.
        need: f64,
    },
    /// What would be read is two lone dots, of which one may be the tip of something.
    #[error(
        "no lens marks found: of two lone dots that would do for marks one is the end of a line, as the tip of a hook is"
    )]
    Tip,
    /// Two readings fit nearly alike.
    #[error("two readings of the lens marks fit nearly alike")]
    Ambiguous {
        /// The readings, the better first.
        readings: [Box<LensFinding>; 2],
    },
}

/// Least probability of a reading, among all others and that none is right, that is accepted: see `tests/reference/lens_weights/fit.py` for
/// what comes through. Two lone dots are two places and nothing more, as a speck and the tip of an instrument are: they must
/// be surer than marks with a direction of their own.
const LEAST_PROBABILITY: f64 = 0.9;
const LEAST_PROBABILITY_OF_DOTS: f64 = 0.95;
/// How far the direction of a group departs from that of the line through both, standard deviation in degrees: of 42 drawn
/// stills with one group read, the axis was off by 0.5 rms, by 1.3 at most, its own covariance and the reference marks in it.
const LONE_TURN_SD_DEG: f64 = 0.6;
/// Pixels to a limbus radius in the patch.
const SCALE: f64 = 120.0;
/// Finer pictures are averaged in blocks to at most this many pixels to a limbus radius.
const MOST_RADIUS: f64 = 210.0;
/// Readings nearer than this say the same, degrees: of two pairs, and where one is a group by itself, whose direction is less
/// certain.
const SAME_AXIS_DEG: f64 = 2.0;
const SAME_LONE_AXIS_DEG: f64 = 3.5;
/// A pair is taken rather than one of its groups by itself, which says less, unless its evidence is less by this.
const PAIR_RATHER: f64 = 2.5;

/// Find the lens marks inside `limbus`.
///
/// The limbus may be off by a few percent: it says only where to look, and the axis comes from the marks alone.
///
/// # Errors
/// [`LensRefusal`] where no reading can be answered for.
pub fn find_lens_marks(picture: &Picture, limbus: &Ellipse) -> Result<LensFinding, LensRefusal> {
    let patch = dark_patch(picture, limbus);
    let mut dark_ones = dark(&patch);
    if let Some(finding) = beyond_search(&patch, &dark_ones.readings) {
        return Ok(finding);
    }
    let mut readings = std::mem::take(&mut dark_ones.readings);
    readings.extend(all_of_a_tone(&bright_patch(picture, limbus)));
    answer(&patch, &readings).or_else(|refusal| match refusal {
        LensRefusal::Missing { .. } | LensRefusal::Tip => last_look(&patch, dark_ones).ok_or(refusal),
        LensRefusal::Ambiguous { .. } => Err(refusal),
    })
}

/// Last what is seen on both sides of something bright that may lie across the marks, and then faint spots.
fn last_look(patch: &Patch, mut dark_ones: Search) -> Option<LensFinding> {
    let across = patch.uncovered().and_then(|uncovered| beyond_search(&uncovered, &dark(&uncovered).readings));
    across.or_else(|| {
        let readings = down_to_faint_spots(patch, &dark_ones.tries, &mut dark_ones.groups);
        beyond_search(patch, &readings)
    })
}

/// Where dark marks are sought.
fn dark_patch(picture: &Picture, limbus: &Ellipse) -> Patch {
    Patch::new(&Source::new(picture, limbus, MOST_RADIUS, Light::Luma), SCALE)
}

/// Where bright ones are.
fn bright_patch(picture: &Picture, limbus: &Ellipse) -> Patch {
    Patch::new(&Source::new(picture, limbus, MOST_RADIUS, Light::Whiteness), SCALE).inverted()
}

/// What a search has looked at, and how it reads.
struct Search {
    tries: Tries,
    groups: Vec<Group>,
    readings: Vec<Reading>,
}

/// Dark readings. First come pairs at the most promising places: where one is probable enough among those looked at so far no
/// further search is needed.
fn dark(patch: &Patch) -> Search {
    let tries = Tries::new(patch);
    let (mut groups, mut readings) = at_a_glance(patch, &tries);
    if beyond_search(patch, &readings).is_none() {
        readings = thorough(patch, &tries, &mut groups);
    }
    Search { tries, groups, readings }
}

/// The best of all readings, or why none can be answered for.
fn answer(patch: &Patch, readings: &[Reading]) -> Result<LensFinding, LensRefusal> {
    let Some(chosen) = chosen(readings) else {
        return Err(LensRefusal::Missing { got: 0.0, need: LEAST_PROBABILITY });
    };
    let (got, need) = (chosen.probability, chosen.needs());
    match chosen.rival {
        _ if chosen.is_accepted() => Ok(chosen.finding(patch)),
        _ if got >= need => Err(LensRefusal::Tip),
        Some((rival, rivalling)) if got + rivalling >= need => Err(LensRefusal::Ambiguous {
            readings: [Box::new(chosen.finding(patch)), Box::new(finding(patch, rival, rivalling))],
        }),
        _ => Err(LensRefusal::Missing { got, need }),
    }
}

/// What speaks for and against each reading of the marks, with what it would say: for fitting the weights.
pub fn all_readings(picture: &Picture, limbus: &Ellipse) -> Vec<(LensFinding, Vec<f64>)> {
    let patch = dark_patch(picture, limbus);
    let mut readings = all_of_a_tone(&patch);
    readings.extend(all_of_a_tone(&bright_patch(picture, limbus)));
    readings.iter().map(|r| (finding(&patch, r, 0.0), r.terms.to_vec())).collect()
}

/// All dark readings of a patch.
fn all_of_a_tone(patch: &Patch) -> Vec<Reading> {
    let tries = Tries::new(patch);
    let (mut groups, _) = at_a_glance(patch, &tries);
    thorough(patch, &tries, &mut groups)
}

/// The best of some readings, where it is probable enough among them: what has not been looked at will hardly be better.
fn beyond_search(patch: &Patch, readings: &[Reading]) -> Option<LensFinding> {
    let chosen = chosen(readings).filter(Chosen::is_accepted)?;
    Some(chosen.finding(patch))
}

/// The best of the readings.
struct Chosen<'a> {
    best: &'a Reading,
    /// How far the others that say about the same depart from it, each as probable as it is, degrees.
    spread_deg: f64,
    /// Probability of its axis, among all readings and that none is right.
    probability: f64,
    /// The best of another axis, and the probability of that axis as far as it is another.
    rival: Option<(&'a Reading, f64)>,
}

impl Chosen<'_> {
    /// Least probability at which it is accepted.
    fn needs(&self) -> f64 {
        let lone_dots = self.best.groups.iter().all(|g| g.kind == Kind::Dots(1));
        if lone_dots { LEAST_PROBABILITY_OF_DOTS } else { LEAST_PROBABILITY }
    }

    fn is_accepted(&self) -> bool {
        self.probability >= self.needs() && !self.best.may_be_tip
    }

    /// What it says in the picture, no surer than the readings that say about the same agree.
    fn finding(&self, patch: &Patch) -> LensFinding {
        let mut finding = finding(patch, self.best, self.probability);
        // A turn is one in the patch, where the limbus is round.
        let to_picture = patch.jacobian();
        let chord = finding.ends[1].0 - finding.ends[0].0;
        let chord = to_picture.try_inverse().map_or(chord, |to_patch| to_patch * chord);
        let across = to_picture * Vector::new(-chord.y, chord.x) * self.spread_deg.to_radians();
        for (_, covariance) in &mut finding.ends {
            // Each end takes half: their places are independent.
            *covariance += across * across.transpose() / 2.0;
        }
        finding
    }
}

fn chosen(readings: &[Reading]) -> Option<Chosen<'_>> {
    let stronger = |a: &&Reading, b: &&Reading| a.evidence.total_cmp(&b.evidence);
    let first = readings.iter().max_by(stronger)?;
    let pair = readings.iter().filter(|r| r.groups.len() == 2 && agree(r, first)).max_by(stronger);
    let best = pair.filter(|p| p.evidence > first.evidence - PAIR_RATHER).unwrap_or(first);
    let posterior = Posterior::new(readings, |r| r.evidence);
    let probability = posterior.probability(|r| agree(r, best));
    let spread_deg = posterior.spread(|r| agree(r, best), |r| axis_difference(r.axis_deg, best.axis_deg));
    let rival = readings.iter().filter(|r| !agree(r, best)).max_by(stronger);
    let with_it = |rival| posterior.probability(|r| !agree(r, best) && agree(r, rival));
    Some(Chosen { best, spread_deg, probability, rival: rival.map(|r| (r, with_it(r))) })
}

/// Whether two readings give one axis.
fn agree(a: &Reading, b: &Reading) -> bool {
    let lone = a.groups.len() == 1 || b.groups.len() == 1;
    let limit = if lone { SAME_LONE_AXIS_DEG } else { SAME_AXIS_DEG };
    axis_difference(a.axis_deg, b.axis_deg).abs() <= limit
}

/// What a reading says in the picture.
fn finding(patch: &Patch, reading: &Reading, probability: f64) -> LensFinding {
    match reading.groups[..] {
        [a, b, ..] => of_two(patch, [&a, &b], probability),
        _ => of_one(patch, &reading.groups[0], probability),
    }
}

/// What a single group says: it has its own direction.
fn of_one(patch: &Patch, group: &Group, probability: f64) -> LensFinding {
    let shape = group.shape;
    let half = shape.half_length(group.kind);
    let (sin, cos) = shape.angle.sin_cos();
    let along = Vector::new(cos, sin) * half;
    let across = Vector::new(-sin, cos);
    let to_picture = patch.jacobian();
    let in_picture = |covariance: Matrix| to_picture * covariance * to_picture.transpose();
    // The ends share the place, which does not turn the line. Each is put aside so that both together, taken as
    // independent, turn it by what its direction is uncertain by.
    let variance = group.angle_variance + LONE_TURN_SD_DEG.to_radians().powi(2);
    let end_covariance = in_picture(across * across.transpose() * (2.0 * variance * half * half));
    let centroids = shape.centroids(group.kind);
    let own_place = in_picture(group.place_covariance * centroids.len() as f64);
    let marks = centroids
        .into_iter()
        .map(|at| LensMarkFinding { centroid: patch.to_picture(&at), covariance: own_place, group: 0 })
        .collect();
    let ends = [-1.0, 1.0].map(|sign| (patch.to_picture(&(shape.place + along * sign)), end_covariance));
    LensFinding { marks, ends, groups_seen: 1, probability }
}

fn of_two(patch: &Patch, groups: [&Group; 2], probability: f64) -> LensFinding {
    let to_picture = patch.jacobian();
    let in_picture = |covariance: Matrix| to_picture * covariance * to_picture.transpose();
    let covariance = |group: &Group| in_picture(group.place_covariance);
    let mut marks = Vec::new();
    for (index, group) in groups.iter().enumerate() {
        let own = covariance(group);
        let count = group.shape.centroids(group.kind).len() as f64;
        marks.extend(group.shape.centroids(group.kind).into_iter().map(|place| LensMarkFinding {
            centroid: patch.to_picture(&place),
            covariance: own * count,
            group: index as u8,
        }));
    }
    let ends = [0, 1].map(|k| {
        let group = groups[k];
        (patch.to_picture(&group.shape.place), covariance(group))
    });
    LensFinding { marks, ends, groups_seen: 2, probability }
}

#[cfg(test)]
mod tests;
