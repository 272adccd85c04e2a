//! Finding the limbus.
//!
//! 1. [`evidence`]: the picture, its burnt-out parts restored, freed from the fall-off of its light, at two small working sizes
//! 2. [`mod@search`]: centre, size and shape together, on rays that step from dark to bright
//! 3. [`contour`]: each candidate drawn to the edge about it by a closed path, and an ellipse laid through it
//! 4. [`judge`]: the candidate that looks most like a limbus, if two opinions hold it for one and none elsewhere comes near
//! 5. [`contour`] again, at full working size, for the place

pub mod contour;
pub mod evidence;
pub mod judge;
pub mod search;
#[cfg(test)]
mod tests;
// Fitted weights that happen to look like a constant are none.
#[allow(clippy::approx_constant)]
mod weights;

use crate::geometry::ellipse_fit::fit_ellipse;
use crate::geometry::{Ellipse, PixelPoint, Vector};
use crate::vision::Picture;
use crate::vision::plane::{Channels, Plane};
use contour::{ContourSettings, Path, ray, settle, trace};
use evidence::{Evidence, FIRST_WARMTHS, WARMTHS};
use judge::{Traits, restored_beyond};
use nalgebra::{Matrix5, Vector5};
use search::{SearchSettings, search};
use std::sync::LazyLock;

/// A limbus found in a picture.
#[derive(Clone, Debug)]
pub struct LimbusFinding {
    /// The fitted ellipse, px.
    pub ellipse: Ellipse,
    /// Covariance of (cx, cy, E11, E12, E22), px^2: see [`crate::geometry::ellipse_fit`].
    pub covariance: Matrix5<f64>,
    /// How much of it was seen, degrees of arc.
    pub visible_arc_deg: f64,
    /// How far the least of what speaks for it lies above what is asked for, in log odds of the stills the judge was fitted to.
    /// Not a probability.
    pub score: f64,
    /// Edge points that the ellipse was fitted to, px.
    pub edge_points: Vec<PixelPoint>,
}

/// Why there is no limbus.
#[derive(Clone, Debug, thiserror::Error)]
pub enum LimbusRefusal {
    /// Nothing in the picture has the outline of a limbus.
    #[error("no limbus found: the picture shows no outline like one")]
    NoCandidate,
    /// Nothing in the picture is enough like a limbus.
    #[error("no limbus found: best candidate scores {score:.2}, need {need:.2}")]
    NotFound {
        /// Score of the best candidate.
        score: f64,
        /// Least score accepted.
        need: f64,
    },
    /// The edge of what is most like a limbus cannot be followed.
    #[error("no limbus found: the edge of the best candidate (score {score:.2}) cannot be followed")]
    NoEdge {
        /// Score of the candidate.
        score: f64,
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
    pub traits: Traits,
    /// The judgement by its profile: above 0 more like a limbus than not.
    pub score: f64,
}

impl Judged {
    /// The less of either opinion of it, above what is asked for.
    fn above_needs(&self) -> f64 {
        (self.score - PROFILE_NEEDED).min(self.traits.by_features() - FEATURES_NEEDED)
    }
}

/// Long side of the picture that the limbus is placed in, px. Candidates are drawn to their edge at half of it, and
/// sought at a quarter.
const PLACING_SIDE: u32 = 512;
/// Candidates nearer to each other than this are one, percent of the radius: before and after they are drawn to the edge.
const SAME_START: f64 = 3.0;
const SAME: f64 = 2.0;
/// Least score accepted, in which what is asked of either opinion has been taken off.
const SCORE_NEEDED: f64 = 0.0;
/// Score from which a limbus is so clear that it is not looked for any further: one of 17 drawn ones below it is off by more than
/// 12 % of the radius rms, one of 300 above.
const CLEAR: f64 = 2.0;
/// What is asked of the profile and of the features, natural logarithms of odds: the profile must speak clearly for a limbus, the
/// features may doubt it but not object. Set on stills held out from the weights: asking both for 0 instead, 7 % fewer of the variants
/// of real frames are found, as many of them wrongly, and half as many discs and targets again are claimed.
const PROFILE_NEEDED: f64 = 1.25;
const FEATURES_NEEDED: f64 = -1.5;
/// How much more the profile must speak for a limbus whose surroundings were all burnt out: what was restored is guessed, and to be
/// bright all about is what a cup or a plate has in common with an eye. Of 80 real frames made 1.25 and 1.4 times as bright 15
/// instead of 3 are left to their marks; of 1,328 general pictures and variants of them one is claimed instead of four: a cup of
/// coffee is no longer.
const MORE_IF_RESTORED: f64 = 5.0;
/// How much better than any candidate elsewhere the best one must be, in units of the judgement.
const LEAD_NEEDED: f64 = 1.0;
/// Least score of what may yet be the limbus if marks of both kinds stand about it, least arc of it that must be seen, degrees, and
/// how many such are looked at. The profile speaks no more against one than it must speak for a limbus found by its looks.
const DOUBTED: f64 = -2.0 * PROFILE_NEEDED;
const ARC_NEEDED_IN_DOUBT_DEG: f64 = 180.0;
const MOST_IN_DOUBT: usize = 3;
/// A candidate farther off than this is another one, percent of the radius.
const ELSEWHERE: f64 = 20.0;
/// Radii that a limbus may have, over the longer side of the picture: below the first its marks could not be read, above the second
/// it does not fit in. Least height over width, or width over height: an eye seen at 60 degrees.
const RADIUS_SHARE: [f64; 2] = [0.08, 0.5];
const LEAST_RATIO: f64 = 0.5;
/// Least arc of the limbus that must be seen, degrees.
const ARC_NEEDED_DEG: f64 = 120.0;
/// A ray trusted more than this has seen the limbus.
const TRUST_SEEN: f64 = 0.3;
/// Neighbouring rays share their faults: this many count as one.
const RAYS_ALIKE: f64 = 4.0;
/// A single ray is never placed better than this, in radii: the grey zone is 4-8 % wide.
const LEAST_RAY_SD: f64 = 0.015;
/// Standard deviations that all rays share, in radii: where in the grey zone the limbus is said to lie. Where the edge is
/// clean it is small; where the rays scatter, a share of the scatter that no number of rays averages out is added to
/// the centre. (Two careful readers differ by 3.3 % of the radius in the median.) And where a part of it is hidden, the edge
/// of what hides it is followed for a stretch: times the share that is not seen. On drawn stills the centre is off by 0.2 % (easy
/// ones) to 0.5 % (hard ones) rms in each direction where all is seen, 0.6 to 1.0 times what is said, and by 2.4 to 3 % in hard ones
/// where a sixth and more are hidden; on real frames by 1.6 to 2.6 %, what readers differ by in it. Judged by the errors of angles
/// to which they lead, the variances of centre and shape should be 0.65 times what they are on 1697 drawn stills (0.85 on 410 whose axis
/// lies off the marks), and 0.85 times on 643 recordings of real frames with marks drawn in.
const CENTER_SD: f64 = 0.0020;
const CENTER_PER_SCATTER: f64 = 1.25;
const CENTER_PER_HIDDEN: f64 = 0.063;
/// The same of its shape (E11, E22). Drawn limbi of which all is seen, whose rays scatter by 0.28 % of the radius, are off by 0.5 to
/// 0.9 % in length against width, 0.8 to 1.0 times what is said, and limbi read off real frames, whose rays scatter by 0.87 %, by
/// 2.6 %. Where three eighths of a drawn one are hidden it is off by 3 %.
const SHAPE_SD: f64 = 0.0020;
const SHAPE_PER_SCATTER: f64 = 2.25;
const SHAPE_PER_HIDDEN: f64 = 0.045;
/// The same of its size as a whole: limbi read off real frames differed by so much. It turns nothing, but it scales
/// millimetres.
const SIZE_SD: f64 = 0.025;

/// Candidates for the limbus in a picture, judged, the best first.
pub fn candidates(picture: &Picture) -> Vec<Judged> {
    let mut sought = Sought::new(&placing_channels(picture).halved());
    sought.look_in(0..WARMTHS.len());
    let in_picture = |j: &Judged| Some(Judged { ellipse: sought.in_picture(&j.ellipse)?, ..*j });
    sought.list.iter().filter_map(in_picture).collect()
}

/// What the limbus is placed in; it is sought in half the size.
fn placing_channels(picture: &Picture) -> Channels {
    Channels::shrunk(picture, PLACING_SIDE).restored()
}

/// What has been sought and found in a picture.
struct Sought {
    evidence: Evidence,
    coarse: Evidence,
    /// Where candidates were, before they were drawn to the edge for good, working px.
    begun: Vec<Ellipse>,
    /// All candidates, the best first; their ellipses in working px.
    list: Vec<Judged>,
}

impl Sought {
    fn new(channels: &Channels) -> Self {
        let [evidence, coarse] = [Evidence::new(channels), Evidence::new(&channels.halved())];
        Self { evidence, coarse, begun: Vec::new(), list: Vec::new() }
    }

    /// Add the candidates of some planes (indices of [`WARMTHS`]).
    fn look_in(&mut self, warmths: std::ops::Range<usize>) {
        for warmth in warmths {
            for candidate in search(&self.coarse, warmth, &SearchSettings::default()) {
                // A pupil found in place of the limbus has the limbus about it.
                for growth in [1.0, 1.3, 1.6] {
                    let size = self.evidence.factor / self.coarse.factor;
                    let start = candidate.ellipse.resampled(size).and_then(|e| e.scaled(growth));
                    if let Some(judged) = start.and_then(|e| self.judged(warmth, &e)) {
                        self.list.push(judged);
                    }
                }
            }
        }
        self.list.sort_by(|a, b| b.score.total_cmp(&a.score));
    }

    /// The candidate that `start` is drawn to, unless it is one of those there are.
    fn judged(&mut self, warmth: usize, start: &Ellipse) -> Option<Judged> {
        let (near, _) = drawn_to_edge(&self.evidence, warmth, start, &[ContourSettings::coarse()])?;
        if self.begun.iter().any(|e| distance_percent(e, &near) < SAME_START) {
            return None;
        }
        self.begun.push(near);
        let fine = [ContourSettings::fine(), ContourSettings::fine()];
        let (ellipse, trust) = drawn_to_edge(&self.evidence, warmth, &near, &fine)?;
        if self.list.iter().any(|j| distance_percent(&j.ellipse, &ellipse) < SAME) {
            return None;
        }
        let traits = Traits::new(&self.evidence, &ellipse, trust);
        Some(Judged { ellipse, traits, score: traits.by_profile() })
    }

    /// What speaks for the best candidate above what is asked for: see [`beyond_doubt`]. More is asked where much was restored.
    fn score(&self) -> f64 {
        let Some(first) = self.list.first() else { return f64::NEG_INFINITY };
        let restored = restored_beyond(&self.evidence, &first.ellipse);
        beyond_doubt(first, &self.list[1..]).min(first.score - PROFILE_NEEDED - MORE_IF_RESTORED * restored)
    }

    fn in_picture(&self, ellipse: &Ellipse) -> Option<Ellipse> {
        ellipse.resampled(1.0 / self.evidence.factor)
    }
}

/// The ellipse that a candidate comes to rest at after a round with each of the settings, with the mean trust of its rays;
/// `None` where that is no limbus by its size, shape or place.
fn drawn_to_edge(
    evidence: &Evidence,
    warmth: usize,
    start: &Ellipse,
    rounds: &[ContourSettings],
) -> Option<(Ellipse, f64)> {
    let mut ellipse = *start;
    let mut trust = 0.0;
    for settings in rounds {
        let plane = &evidence.about(ellipse.radius_px()).steps[warmth];
        let path = trace(plane, &ellipse, settings);
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
    let (width, height) = (evidence.width() as f64, evidence.height() as f64);
    let [longer, shorter] = ellipse.semi_axes_px();
    let share = ellipse.radius_px() / width.max(height);
    let center = ellipse.center();
    (RADIUS_SHARE[0]..RADIUS_SHARE[1]).contains(&share)
        && shorter > LEAST_RATIO * longer
        && (0.0..width).contains(&center.x)
        && (0.0..height).contains(&center.y)
}

/// Mean distance between two ellipses along rays from the centre of `a`, percent of its radius.
pub fn distance_percent(a: &Ellipse, b: &Ellipse) -> f64 {
    const RAYS: usize = 24;
    static RAY: LazyLock<[Vector; RAYS]> = LazyLock::new(|| std::array::from_fn(|k| ray(k, RAYS)));
    let sum: f64 = RAY.iter().map(|u| (b.level(&a.at(u)) - 1.0).abs()).sum();
    100.0 * sum / RAYS as f64
}

/// Find the limbus.
///
/// # Errors
/// [`LimbusRefusal`] where none can be answered for by its looks alone.
pub fn find_limbus(picture: &Picture) -> Result<LimbusFinding, LimbusRefusal> {
    LimbusSearch::of(picture).found()
}

/// All that looks like a limbus in a picture.
pub struct LimbusSearch {
    channels: Channels,
    sought: Sought,
}

impl LimbusSearch {
    /// Look for it.
    pub fn of(picture: &Picture) -> Self {
        let channels = placing_channels(picture);
        let mut sought = Sought::new(&channels.halved());
        sought.look_in(0..FIRST_WARMTHS);
        if sought.score() < CLEAR {
            sought.look_in(FIRST_WARMTHS..WARMTHS.len());
        }
        Self { channels, sought }
    }

    /// The limbus.
    ///
    /// # Errors
    /// [`LimbusRefusal`] where none can be answered for by its looks alone.
    pub fn found(&self) -> Result<LimbusFinding, LimbusRefusal> {
        let score = self.sought.score();
        let first = self.sought.list.first().ok_or(LimbusRefusal::NoCandidate)?;
        if score <= SCORE_NEEDED {
            return Err(LimbusRefusal::NotFound { score, need: SCORE_NEEDED });
        }
        let Some(finding) = self.placed(first, score) else { return Err(LimbusRefusal::NoEdge { score }) };
        if finding.visible_arc_deg < ARC_NEEDED_DEG {
            return Err(LimbusRefusal::TooLittleVisible {
                arc_deg: finding.visible_arc_deg,
                need_deg: ARC_NEEDED_DEG,
                finding: Box::new(finding),
            });
        }
        Ok(finding)
    }

    /// What else may be the limbus where looks leave it in doubt, the likeliest first; nothing where they do not. Each is to be
    /// taken for one only if marks of both kinds stand about it as they do about a limbus. Its score is that of its looks by
    /// themselves, whatever else there is.
    pub fn in_doubt(&self) -> Vec<LimbusFinding> {
        if self.sought.score() >= CLEAR {
            return Vec::new();
        }
        let mut seen: Vec<LimbusFinding> = self.found().ok().into_iter().collect();
        let known = seen.len();
        for judged in &self.sought.list {
            let score = judged.above_needs();
            if seen.len() == known + MOST_IN_DOUBT {
                break;
            }
            if score < DOUBTED {
                continue;
            }
            let Some(finding) = self.placed(judged, score) else { continue };
            let is_new = |other: &LimbusFinding| distance_percent(&other.ellipse, &finding.ellipse) > SAME_START;
            if finding.visible_arc_deg >= ARC_NEEDED_IN_DOUBT_DEG && seen.iter().all(is_new) {
                seen.push(finding);
            }
        }
        seen.split_off(known)
    }

    fn placed(&self, judged: &Judged, score: f64) -> Option<LimbusFinding> {
        let start = self.sought.in_picture(&judged.ellipse)?.resampled(self.channels.factor)?;
        Edge::along(&lightness(&self.channels), start)?.placed(self.channels.factor, score)
    }
}

/// What the limbus is placed in: a weighted mean of the logarithms of red and green.
///
/// Logarithms, since a step in them is the same in light and shade. Red passes vessels best, and steps at the outer side of the
/// grey zone, up to 2 % of the radius beyond the middle of it that a reader takes; green steps at its inner side. The shares were set
/// on real frames, where the 95th percentile of the angle's error falls from 1.0 to 0.7 degrees, and on drawn stills, where more
/// green follows vessels.
fn lightness(channels: &Channels) -> Plane {
    let log = |v: f32| (v + 0.05).ln();
    channels.red.zip(&channels.green, |red, green| 0.7 * log(red) + 0.3 * log(green))
}

/// The least of what speaks for the best candidate, above what is asked for: either opinion of it, and its lead over the best of
/// the others that lies elsewhere.
fn beyond_doubt(best: &Judged, others: &[Judged]) -> f64 {
    let elsewhere = others.iter().filter(|j| distance_percent(&best.ellipse, &j.ellipse) > ELSEWHERE);
    let rival = elsewhere.map(|j| j.score).fold(f64::NEG_INFINITY, f64::max);
    best.above_needs().min(best.score - rival - LEAD_NEEDED)
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
    /// Follow the edge about `start` in a plane of [`lightness`].
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

    /// The limbus placed to a fraction of a pixel: the ellipse of least distance from the edge, in px of the picture.
    fn placed(&self, factor: f64, score: f64) -> Option<LimbusFinding> {
        let count = self.path.rho.len();
        let points: Vec<PixelPoint> = (0..count).map(|k| self.frame.at(&(ray(k, count) * self.path.rho[k]))).collect();
        let fit = fit_ellipse(&points, &self.trusts, &self.ellipse).ok()?;
        let trusted: f64 = self.trusts.iter().sum();
        let radius = fit.ellipse.radius_px();
        let scatter = (fit.sum_of_squares / trusted).sqrt();
        let one_ray = (scatter.powi(2) * RAYS_ALIKE).max((LEAST_RAY_SD * radius).powi(2));
        let seen = |trust: f64| trust > TRUST_SEEN;
        let share_seen = self.trusts.iter().filter(|t| seen(**t)).count() as f64 / count as f64;
        let covariance = fit.unit_covariance * one_ray + systematic(&fit.ellipse, scatter, 1.0 - share_seen);
        let scale = 1.0 / factor;
        Some(LimbusFinding {
            ellipse: fit.ellipse.resampled(scale)?,
            covariance: covariance * (scale * scale),
            visible_arc_deg: 360.0 * share_seen,
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
/// `scatter` is that of single rays, px; `hidden` the share of them that have not seen it.
fn systematic(ellipse: &Ellipse, scatter: f64, hidden: f64) -> Matrix5<f64> {
    let variance = |sd: f64, per_scatter: f64, per_hidden: f64| {
        let radius = ellipse.radius_px();
        (sd * radius).powi(2) + (per_scatter * scatter).powi(2) + (per_hidden * hidden * radius).powi(2)
    };
    let center = variance(CENTER_SD, CENTER_PER_SCATTER, CENTER_PER_HIDDEN);
    let shape = variance(SHAPE_SD, SHAPE_PER_SCATTER, SHAPE_PER_HIDDEN);
    let e = ellipse.matrix();
    let larger = Vector5::new(0.0, 0.0, e.m11, e.m12, e.m22) * SIZE_SD;
    Matrix5::from_diagonal(&Vector5::new(center, center, shape, shape / 2.0, shape)) + larger * larger.transpose()
}
