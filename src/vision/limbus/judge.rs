//! Is this ellipse a limbus? What a reader would look for around a candidate, as a few numbers.

use super::contour::ray;
use super::evidence::Evidence;
use crate::geometry::Ellipse;
use crate::vision::plane::Plane;

/// Rays a candidate is judged on.
const RAYS: usize = 48;
/// First place along a ray and step from one to the next, in radii.
const FIRST: f64 = 0.28;
const STEP: f64 = 0.03;
/// Places along a ray: up to 2.2 radii.
const PLACES: usize = 65;

/// What speaks for and against a candidate. Steps are clipped per ray before they are averaged, so that no single
/// reflection or instrument decides.
#[derive(Clone, Copy, Debug, Default)]
pub struct Features {
    /// Mean step of brightness outwards across the edge, in units of the local mean.
    pub step: f64,
    /// Share of rays with a step outwards.
    pub agreeing: f64,
    /// Mean rise of log(red / blue) outwards: the grey zone is bluer than the sclera beyond it.
    pub warming: f64,
    /// Strongest concentric edge inside, in brightness or log(red / green): the pupil.
    pub pupil: f64,
    /// Strongest concentric step dark to bright further out: if there is one, this is the pupil, not the limbus.
    pub rival: f64,
    /// Fall of brightness farther outwards, from just outside to 1.6 radii, in units of the local mean: lids and the edge
    /// of the light bound the sclera, the brightest thing around.
    pub fall: f64,
    /// Mean trust of the path through this ellipse.
    pub trust: f64,
    /// Shorter semi-axis over the longer.
    pub roundness: f64,
}

/// A plane sampled along the rays of an ellipse.
struct Fan {
    values: Vec<[f32; PLACES]>,
}

impl Fan {
    fn new(plane: &Plane, ellipse: &Ellipse) -> Self {
        let values = (0..RAYS)
            .map(|k| {
                let edge = ellipse.matrix() * ray(k, RAYS);
                std::array::from_fn(|i| {
                    let p = ellipse.center() + edge * (FIRST + i as f64 * STEP);
                    plane.sample(p.x, p.y).unwrap_or(f32::NAN)
                })
            })
            .collect();
        Self { values }
    }

    /// Mean over rays of the clipped difference of means: `far` less `near`, each from..to in radii.
    fn step(&self, near: (f64, f64), far: (f64, f64), clip: f32) -> (f64, f64) {
        let (mut sum, mut count, mut positive) = (0.0, 0.0, 0.0);
        for row in &self.values {
            let d = mean(row, far) - mean(row, near);
            if !d.is_nan() {
                sum += f64::from(d.clamp(-clip, clip));
                count += 1.0;
                if d > 0.02 {
                    positive += 1.0;
                }
            }
        }
        if count > 0.0 { (sum / count, positive / count) } else { (0.0, 0.0) }
    }

    fn level(&self, range: (f64, f64)) -> f64 {
        let mut values: Vec<f32> = self.values.iter().map(|row| mean(row, range)).filter(|v| !v.is_nan()).collect();
        if values.is_empty() {
            return 0.0;
        }
        let middle = values.len() / 2;
        f64::from(*values.select_nth_unstable_by(middle, f32::total_cmp).1)
    }
}

fn mean(row: &[f32; PLACES], (from, to): (f64, f64)) -> f32 {
    let index = |rho: f64| (((rho - FIRST) / STEP).round().max(0.0) as usize).min(PLACES - 1);
    let (a, b) = (index(from), index(to));
    row[a..=b].iter().sum::<f32>() / (b - a + 1) as f32
}

/// Features of an ellipse (working px of `evidence`).
pub fn features(evidence: &Evidence, ellipse: &Ellipse, trust: f64) -> Features {
    let brightness = Fan::new(&evidence.brightness, ellipse);
    let tint = Fan::new(&evidence.tint, ellipse);
    let hue = Fan::new(&evidence.hue, ellipse);
    let (step, agreeing) = brightness.step((0.86, 0.95), (1.06, 1.15), 0.4);
    let (warming, _) = tint.step((0.92, 1.00), (1.09, 1.18), 0.4);
    let concentric = |fan: &Fan, at: f64| fan.step((at - 0.09, at - 0.03), (at + 0.03, at + 0.09), 0.4).0;
    let places = |from: f64, to: f64| {
        let count = ((to - from) / 0.03).round() as usize;
        (0..=count).map(move |i| from + i as f64 * 0.03)
    };
    let pupil = places(0.38, 0.85)
        .map(|at| concentric(&brightness, at).abs().max(concentric(&hue, at).abs()))
        .fold(0.0, f64::max);
    let rival = places(1.21, 2.0).map(|at| concentric(&brightness, at)).fold(-1.0, f64::max);
    let [longer, shorter] = ellipse.semi_axes_px();
    Features {
        step,
        agreeing,
        warming,
        pupil,
        rival,
        fall: brightness.level((1.06, 1.18)) - brightness.level((1.55, 1.65)),
        trust,
        roundness: shorter / longer,
    }
}

impl Features {
    /// Weighted sum of the features: above 0 more like a limbus than not.
    ///
    /// Weights: a ridge logistic regression of candidates within 7 % of the limbus against those beyond 12 %, on
    /// seventeen real frames of eight eyes. Each eye was then judged by weights learnt without it, and all were found;
    /// but the search was finer then, and the hold-out has not been repeated since.
    pub fn score(&self) -> f64 {
        9.2 * self.agreeing
            + 13.2 * self.step.min(self.warming)
            + 1.9 * self.step
            + 7.3 * self.warming
            + 31.5 * self.pupil
            - 18.1 * self.rival.max(0.0)
            + 2.7 * self.fall
            + 10.3 * self.trust
            + 16.2 * self.roundness.min(0.88)
            - 36.5
    }
}
