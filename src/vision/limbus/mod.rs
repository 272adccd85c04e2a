//! Finding the limbus.
//!
//! 1. [`evidence`]: the picture freed from the fall-off of its light, at two small working sizes
//! 2. [`search`]: centre, size and shape together, on rays that step from dark to bright
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
use crate::vision::plane::Channels;
use contour::{ContourSettings, ray, settle, trace};
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

/// Long side of the picture that candidates are drawn to their edge in, px; the search runs at half of it.
const WORKING_SIDE: u32 = 256;
/// Long side of the picture that the limbus is placed in, px.
const PLACING_SIDE: u32 = 640;
/// Two ellipses further apart than this, in percent of the radius, are different readings.
const DISTINCT_PERCENT: f64 = 10.0;

/// Candidates for the limbus in a picture, judged, the best first.
pub fn candidates(picture: &Picture) -> Vec<Judged> {
    let channels = Channels::shrunk(picture, WORKING_SIDE);
    judged(&channels)
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
    let list = candidates(picture);
    let best = list.first().ok_or(LimbusRefusal::NotFound { score: 0.0, need: 0.5 })?;
    place(picture, best).ok_or(LimbusRefusal::NotFound { score: best.score, need: 0.5 })
}

fn place(picture: &Picture, judged: &Judged) -> Option<LimbusFinding> {
    let channels = Channels::shrunk(picture, PLACING_SIDE);
    let mut ellipse = judged.ellipse.resampled(channels.factor)?;
    let mut settings = ContourSettings{rays:96,step:0.01,reach:0.07,gap:0.01,window:0.06,stiffness:0.01,tolerance:0.04};
    let gv=|k:&str,d:f64| std::env::var(k).ok().and_then(|v| v.parse().ok()).unwrap_or(d);
    settings.window=gv("WIN",0.06); settings.gap=gv("GAP",0.01); settings.reach=gv("REACH",0.07); settings.tolerance=gv("TOL",0.04); settings.stiffness=gv("STIFF",0.01) as f32;
    let plane=&channels.red.map(|v|(v+0.05).ln());
    let mut last = None;
    for _ in 0..gv("N",3.0) as usize {
        let path = trace(plane, &ellipse, &settings);
        let (settled, trusts) = settle(&path, &ellipse, settings.tolerance)?;
        last = Some((path, ellipse, trusts));
        ellipse = settled;
    }
    let (path, frame, trusts) = last?;
    let count = path.rho.len();
    let points: Vec<PixelPoint> = (0..count).map(|k| frame.at(&(ray(k, count) * path.rho[k]))).collect();
    let fit = refine_ellipse(&points, &trusts, &ellipse).ok()?;
    let bias=gv("BIAS",1.0);
    Some(LimbusFinding {
        ellipse: fit.ellipse.resampled(1.0 / channels.factor)?.scaled(bias)?,
        covariance: fit.unit_covariance,
        visible_arc_deg: 360.0 * trusts.iter().filter(|t| **t > 0.3).count() as f64 / count as f64,
        score: judged.score,
        edge_points: points,
    })
}
