//! Finding the limbus.
//!
//! 1. [`evidence`]: the picture freed from the fall-off of its light, at two small working sizes
//! 2. [`mod@search`]: centre, size and shape together, on rays that step from dark to bright
//! 3. [`contour`]: each candidate drawn to the edge about it by a closed path, and an ellipse laid through it
//! 4. [`judge`]: the candidate that looks most like a limbus, if any does
//! 5. [`contour`] again, at full working size and in red alone, for the place

pub mod contour;
pub mod evidence;
pub mod judge;
pub mod search;

use crate::geometry::ellipse_fit::refine_ellipse;
use crate::geometry::{Ellipse, PixelPoint};
use crate::vision::Picture;
use crate::vision::plane::{Channels, Plane};
use contour::{ContourSettings, Path, ray, settle, trace};
use evidence::Evidence;
use judge::{Features, features};
use nalgebra::Matrix5;
use search::{SearchSettings, search};

/// A limbus found in a picture.
#[derive(Clone, Debug)]
pub struct LimbusFinding {
    /// The fitted ellipse, px.
    pub ellipse: Ellipse,
    /// Covariance of (cx, cy, E11, E12, E22), px^2: see [`crate::geometry::ellipse_fit`].
    pub covariance: Matrix5<f64>,
    /// How much of it was seen, degrees of arc.
    pub visible_arc_deg: f64,
    /// Share of the evidence asked for that was found, 0 to 1. Not a probability.
    pub score: f64,
    /// Edge points that the ellipse was fitted to, px.
    pub edge_points: Vec<PixelPoint>,
}

/// Why there is no limbus.
#[derive(Clone, Debug, thiserror::Error)]
pub enum LimbusRefusal {
    /// Nothing in the picture is enough like a limbus.
    #[error("no limbus found: best candidate scores {score:.2}, need {need:.2}")]
    NotFound {
        /// Score of the best candidate.
        score: f64,
        /// Least score accepted.
        need: f64,
    },
    /// A limbus was found, but too little of it can be seen to place it.
    #[error("only {arc_deg:.0} degrees of the limbus are visible, need {need_deg:.0}")]
    TooLittleVisible {
        /// Arc seen, degrees.
        arc_deg: f64,
        /// Least arc accepted, degrees.
        need_deg: f64,
        /// What was found.
        finding: Box<LimbusFinding>,
    },
}

/// A candidate drawn to its edge and judged.
#[derive(Clone, Copy, Debug)]
pub struct Judged {
    /// Its ellipse, px of the picture.
    pub ellipse: Ellipse,
    /// What speaks for and against it.
    pub features: Features,
    /// The judgement: above 0 more like a limbus than not.
    pub score: f64,
}

/// Long side of the picture that the limbus is placed in, px. Candidates are drawn to their edge at half of it, and
/// sought at a quarter.
const PLACING_SIDE: u32 = 512;
/// Least judgement accepted; set between the right and the wrong candidates of the real frames at hand.
const SCORE_NEEDED: f64 = 0.8;
/// Least arc of the limbus that must be seen, degrees.
const ARC_NEEDED_DEG: f64 = 120.0;
/// Candidates judged less than this below the best are placed as well, this many at most.
const ALIKE: f64 = 4.0;
const PLACED: usize = 5;
/// What a mean step of 1 in log red is worth in units of the judgement; set on the real frames at hand.
const SHARPNESS_WORTH: f64 = 160.0;
/// A step counts no further than this in the sharpness.
const STEP_COUNTED: f32 = 0.3;
/// A ray trusted more than this has seen the limbus.
const TRUST_SEEN: f64 = 0.3;
/// Neighbouring rays share their faults: this many count as one.
const RAYS_ALIKE: f64 = 4.0;
/// A single ray is never placed better than this, in radii: the grey zone is 4-8 % wide.
const LEAST_RAY_SD: f64 = 0.015;
/// Standard deviations that all rays share, in radii: where in the grey zone the limbus is said to lie. Where the edge is
/// clean it is small; where the rays scatter, a share of the scatter that no number of rays averages out is added to
/// the centre. (Two careful readers differ by 3.3 % of the radius in the median.) The share is not calibrated: it was raised
/// until a real frame with a single mark, read 3.3 degrees off, was refused.
const CENTER_SD: f64 = 0.012;
const CENTER_PER_SCATTER: f64 = 2.5;
const SHAPE_SD: f64 = 0.015;

/// Candidates for the limbus in a picture, judged, the best first.
pub fn candidates(picture: &Picture) -> Vec<Judged> {
    judged(&Channels::shrunk(picture, PLACING_SIDE).halved())
}

fn judged(channels: &Channels) -> Vec<Judged> {
    let evidence = Evidence::new(channels);
    let coarse = Evidence::new(&channels.halved());
    let mut list: Vec<Judged> = Vec::new();
    for candidate in search(&coarse, &SearchSettings::default()) {
        // A pupil found in place of the limbus has the limbus about it.
        for growth in [1.0, 1.3, 1.6] {
            let start = candidate.ellipse.resampled(evidence.factor / coarse.factor).and_then(|e| e.scaled(growth));
            let Some((ellipse, trust)) = start.and_then(|e| drawn_to_edge(&evidence, e)) else { continue };
            if list.iter().any(|j| distance_percent(&j.ellipse, &ellipse) < 2.0) {
                continue;
            }
            let features = features(&evidence, &ellipse, trust);
            list.push(Judged { ellipse, features, score: features.score() });
        }
    }
    list.sort_by(|a, b| b.score.total_cmp(&a.score));
    for judged in &mut list {
        if let Some(e) = judged.ellipse.resampled(1.0 / evidence.factor) {
            judged.ellipse = e;
        }
    }
    list
}

/// The ellipse that a candidate comes to rest at, with the mean trust of its rays; `None` where that is no limbus by its
/// size, shape or place.
fn drawn_to_edge(evidence: &Evidence, start: Ellipse) -> Option<(Ellipse, f64)> {
    let mut ellipse = start;
    let mut trust = 0.0;
    for settings in [ContourSettings::coarse(), ContourSettings::fine(), ContourSettings::fine()] {
        let path = trace(&evidence.step, &ellipse, &settings);
        let (settled, trusts) = settle(&path, &ellipse, settings.tolerance)?;
        ellipse = settled;
        trust = trusts.iter().sum::<f64>() / trusts.len() as f64;
        if !plausible(&ellipse, evidence) {
            return None;
        }
    }
    Some((ellipse, trust))
}

fn plausible(ellipse: &Ellipse, evidence: &Evidence) -> bool {
    let (width, height) = (evidence.step.width() as f64, evidence.step.height() as f64);
    let [longer, shorter] = ellipse.semi_axes_px();
    let share = ellipse.radius_px() / width.max(height);
    let center = ellipse.center();
    (0.08..0.5).contains(&share)
        && shorter > 0.5 * longer
        && (0.0..width).contains(&center.x)
        && (0.0..height).contains(&center.y)
}

/// Mean distance between two ellipses along rays from the centre of `a`, percent of its radius.
fn distance_percent(a: &Ellipse, b: &Ellipse) -> f64 {
    const RAYS: usize = 24;
    let sum: f64 = (0..RAYS).map(|k| (b.level(&a.at(&ray(k, RAYS))) - 1.0).abs()).sum();
    100.0 * sum / RAYS as f64
}

/// Find the limbus.
///
/// # Errors
/// [`LimbusRefusal`] where none can be answered for.
pub fn find_limbus(picture: &Picture) -> Result<LimbusFinding, LimbusRefusal> {
    let channels = Channels::shrunk(picture, PLACING_SIDE);
    let list = judged(&channels.halved());
    let Some(first) = list.first() else {
        return Err(LimbusRefusal::NotFound { score: 0.0, need: SCORE_NEEDED });
    };
    if first.score < SCORE_NEEDED {
        return Err(LimbusRefusal::NotFound { score: first.score, need: SCORE_NEEDED });
    }
    let (plane, factor) = (channels.red.map(|v| (v + 0.05).ln()), channels.factor);
    // The judge looks at wide zones; among candidates it holds nearly alike the sharper edge decides.
    let settled = list
        .iter()
        .take_while(|j| j.score > (first.score - ALIKE).max(SCORE_NEEDED))
        .take(PLACED)
        .filter_map(|j| Some((j, Edge::along(&plane, j.ellipse.resampled(factor)?)?)))
        .max_by(|a, b| {
            let worth = |(judged, edge): &(&Judged, Edge)| judged.score + edge.sharpness() * SHARPNESS_WORTH;
            worth(a).total_cmp(&worth(b))
        });
    let Some(finding) = settled.and_then(|(judged, edge)| edge.placed(factor, judged.score)) else {
        return Err(LimbusRefusal::NotFound { score: first.score, need: SCORE_NEEDED });
    };
    if finding.visible_arc_deg < ARC_NEEDED_DEG {
        return Err(LimbusRefusal::TooLittleVisible {
            arc_deg: finding.visible_arc_deg,
            need_deg: ARC_NEEDED_DEG,
            finding: Box::new(finding),
        });
    }
    Ok(finding)
}

/// The edge of a limbus at rest, in working px.
struct Edge {
    /// The ellipse the path was last traced about.
    frame: Ellipse,
    path: Path,
    /// How far each ray is trusted, 0 to 1.
    trusts: Vec<f64>,
    /// The ellipse the trusted rays lie on, to first order.
    ellipse: Ellipse,
}

impl Edge {
    /// Follow the edge about `start` in a plane of log red.
    ///
    /// Red, since it passes vessels and the grey zone best; its logarithm, since a step in it is the same in light and
    /// shade.
    fn along(plane: &Plane, start: Ellipse) -> Option<Self> {
        const ROUNDS: usize = 3;
        let settings = ContourSettings::placing();
        let mut frame = start;
        let mut path = trace(plane, &frame, &settings);
        let (mut ellipse, mut trusts) = settle(&path, &frame, settings.tolerance)?;
        for _ in 1..ROUNDS {
            frame = ellipse;
            path = trace(plane, &frame, &settings);
            (ellipse, trusts) = settle(&path, &frame, settings.tolerance)?;
        }
        Some(Self { frame, path, trusts, ellipse })
    }

    /// Mean step across the edge over all rays, those that miss it counting nothing.
    fn sharpness(&self) -> f64 {
        let counted = self.path.step.iter().zip(&self.trusts);
        let sum: f64 = counted.map(|(s, t)| f64::from(s.unwrap_or(0.0).min(STEP_COUNTED)) * t).sum();
        sum / self.trusts.len() as f64
    }

    /// The limbus placed to a fraction of a pixel: the ellipse of least distance from the edge, in px of the picture.
    fn placed(&self, factor: f64, score: f64) -> Option<LimbusFinding> {
        let count = self.path.rho.len();
        let points: Vec<PixelPoint> = (0..count).map(|k| self.frame.at(&(ray(k, count) * self.path.rho[k]))).collect();
        let fit = refine_ellipse(&points, &self.trusts, &self.ellipse).ok()?;
        let trusted: f64 = self.trusts.iter().sum();
        let radius = fit.ellipse.radius_px();
        let scatter = (fit.sum_of_squares / trusted).sqrt();
        let one_ray = (scatter.powi(2) * RAYS_ALIKE).max((LEAST_RAY_SD * radius).powi(2));
        let covariance = fit.unit_covariance * one_ray + systematic(&fit.ellipse, scatter);
        let scale = 1.0 / factor;
        let seen = |trust: f64| trust > TRUST_SEEN;
        Some(LimbusFinding {
            ellipse: fit.ellipse.resampled(scale)?,
            covariance: covariance * (scale * scale),
            visible_arc_deg: 360.0 * self.trusts.iter().filter(|t| seen(**t)).count() as f64 / count as f64,
            score,
            edge_points: points
                .iter()
                .zip(&self.trusts)
                .filter(|(_, t)| seen(**t))
                .map(|(p, _)| p.map(|v| (v + 0.5) * scale - 0.5))
                .collect(),
        })
    }
}

/// What no number of rays makes better: where in the grey zone the limbus is said to lie may differ from side to side.
/// `scatter` is that of single rays, px.
fn systematic(ellipse: &Ellipse, scatter: f64) -> Matrix5<f64> {
    let center = (CENTER_SD * ellipse.radius_px()).powi(2) + (CENTER_PER_SCATTER * scatter).powi(2);
    let shape = (SHAPE_SD * ellipse.radius_px()).powi(2);
    Matrix5::from_diagonal(&nalgebra::Vector5::new(center, center, shape, shape / 2.0, shape))
}
