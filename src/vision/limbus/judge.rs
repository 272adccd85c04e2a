//! Is this ellipse a limbus? Two opinions on what a reader would look for around a candidate.
//!
//! The first weighs nine features made by hand; the second is a small network on the whole radial profile. Both were fitted
//! by `tests/reference/limbus/train.py`, which says on what.

use super::contour::ray;
use super::evidence::Evidence;
use super::weights::{BY_FEATURES, BY_PROFILE};
use crate::geometry::{Ellipse, PixelPoint, Vector};
use crate::vision::plane::Plane;

/// Rays a candidate is judged on.
const RAYS: usize = 32;
/// First place along a ray and step from one to the next, in radii.
const FIRST: f64 = 0.28;
const STEP: f64 = 0.03;
/// Places along a ray: up to 2.2 radii.
const PLACES: usize = 65;
/// No step counts further than this on a ray, so that no single reflection or instrument decides.
const STEP_LIMIT: f32 = 0.4;
/// A step above this speaks for an edge on its ray.
const STEP_SEEN: f32 = 0.02;
/// Numbers made by hand.
pub const FEATURES: usize = 9;
/// Of the profile of each plane: levels, and as many steps and shares of rays that agree in sign.
const LEVELS: usize = 27;
const STEPS: usize = 25;
/// All numbers that describe a candidate: the features, then the profiles of brightness, tint and hue.
pub const TRAITS: usize = FEATURES + 3 * (LEVELS + 2 * STEPS);
/// Half the width of a step of the profile, in places.
const HALF: usize = 3;
/// Places whose mean is taken from the levels: from well inside to well outside.
const ABOUT_EDGE: std::ops::Range<usize> = 10..40;

/// Beyond the edge, in radii: the sclera whose brightness speaks for a limbus.
const BEYOND: (f64, f64) = (1.0, 1.3);

/// What speaks for and against a candidate.
#[derive(Clone, Copy, Debug)]
pub struct Traits([f32; TRAITS]);

/// A plane sampled along the rays of an ellipse: a row a place, a column a ray; NaN outside of the picture.
struct Fan {
    places: Vec<[f32; RAYS]>,
}

impl Fan {
    fn new(plane: &Plane, center: PixelPoint, edges: &[Vector]) -> Self {
        let mut places = vec![[0.0; RAYS]; PLACES];
        let mut along = [0.0; PLACES];
        for (k, edge) in edges.iter().enumerate() {
            plane.along(center + edge * FIRST, edge * STEP, &mut along);
            for (place, value) in places.iter_mut().zip(along) {
                place[k] = value;
            }
        }
        Self { places }
    }

    /// Mean on every ray over some places.
    fn mean(&self, stretch: std::ops::Range<usize>) -> [f32; RAYS] {
        let count = stretch.len() as f32;
        let mut sums = [0.0; RAYS];
        for place in &self.places[stretch] {
            for (sum, value) in sums.iter_mut().zip(place) {
                *sum += value;
            }
        }
        sums.map(|sum| sum / count)
    }

    /// Difference on every ray of the means over two stretches, `far` less `near`.
    fn difference(&self, near: std::ops::Range<usize>, far: std::ops::Range<usize>) -> [f32; RAYS] {
        let (near, mut far) = (self.mean(near), self.mean(far));
        far.iter_mut().zip(near).for_each(|(far, near)| *far -= near);
        far
    }

    /// Mean over rays of the clipped difference of means, `far` less `near`, each from..to in radii; and the share of rays
    /// on which it is positive.
    fn step(&self, near: (f64, f64), far: (f64, f64)) -> (f32, f32) {
        mean_over_rays(self.difference(stretch(near), stretch(far)), |d| if d > STEP_SEEN { 1.0 } else { 0.0 })
    }

    /// Median over the rays of the mean from..to in radii.
    fn level(&self, range: (f64, f64)) -> f32 {
        let mut values: Vec<f32> = self.mean(stretch(range)).into_iter().filter(|v| !v.is_nan()).collect();
        if values.is_empty() {
            return 0.0;
        }
        let middle = values.len() / 2;
        *values.select_nth_unstable_by(middle, f32::total_cmp).1
    }

    /// Mean level over the rays at each place, less their mean about the edge. Where no ray is inside the picture, the
    /// level of the place before.
    fn levels(&self) -> [f32; PLACES] {
        let mut before = 0.0;
        let mut levels = [0.0; PLACES];
        for (level, place) in levels.iter_mut().zip(&self.places) {
            let (mut sum, mut count) = (0.0, 0.0);
            for value in place.iter().filter(|v| !v.is_nan()) {
                sum += value;
                count += 1.0;
            }
            before = if count > 0.0 { sum / count } else { before };
            *level = before;
        }
        let about_edge = levels[ABOUT_EDGE].iter().sum::<f32>() / ABOUT_EDGE.len() as f32;
        levels.map(|s| s - about_edge)
    }

    /// Mean clipped step over the rays across place `at`, and the share of rays that step up less that of those that step
    /// down.
    fn edge(&self, at: usize) -> (f32, f32) {
        let across = self.difference(at - HALF..at, at + 1..at + HALF + 1);
        mean_over_rays(across, |d| if d.abs() > STEP_SEEN { d.signum() } else { 0.0 })
    }
}

/// Means over the rays inside the picture of the clipped steps, and of what each of them counts.
fn mean_over_rays(steps: [f32; RAYS], counts: impl Fn(f32) -> f32) -> (f32, f32) {
    let (mut sum, mut counted, mut count) = (0.0, 0.0, 0.0);
    for d in steps.into_iter().filter(|d| !d.is_nan()) {
        sum += d.clamp(-STEP_LIMIT, STEP_LIMIT);
        counted += counts(d);
        count += 1.0;
    }
    if count > 0.0 { (sum / count, counted / count) } else { (0.0, 0.0) }
}

/// Places from..to in radii.
fn stretch((from, to): (f64, f64)) -> std::ops::Range<usize> {
    let index = |rho: f64| (((rho - FIRST) / STEP).round().max(0.0) as usize).min(PLACES - 1);
    index(from)..index(to) + 1
}

/// From the centre to the edge, ray by ray, px.
fn edges(ellipse: &Ellipse) -> Vec<Vector> {
    (0..RAYS).map(|k| ellipse.matrix() * ray(k, RAYS)).collect()
}

/// How much of what lies beyond an ellipse (working px of `evidence`) was restored because it was burnt out, 0 to 1.
pub fn restored_beyond(evidence: &Evidence, ellipse: &Ellipse) -> f64 {
    let beyond = Fan::new(&evidence.restored, ellipse.center(), &edges(ellipse)).mean(stretch(BEYOND));
    let (sum, count) = beyond.iter().filter(|v| !v.is_nan()).fold((0.0, 0), |(sum, count), v| (sum + v, count + 1));
    if count > 0 { f64::from(sum) / f64::from(count) } else { 0.0 }
}

impl Traits {
    /// Of an ellipse (working px of `evidence`) and the mean trust of the path through it.
    pub fn new(evidence: &Evidence, ellipse: &Ellipse, trust: f64) -> Self {
        let planes = evidence.about(ellipse.radius_px());
        let edges = edges(ellipse);
        let [brightness, tint, hue] =
            [&planes.brightness, &planes.tint, &planes.hue].map(|p| Fan::new(p, ellipse.center(), &edges));
        // Step of brightness outwards across the edge, in units of the local mean.
        let (step, agreeing) = brightness.step((0.86, 0.95), (1.06, 1.15));
        // Rise of log(red / blue) outwards: the grey zone is bluer than the sclera beyond it.
        let (warming, _) = tint.step((0.92, 1.00), (1.09, 1.18));
        let concentric = |fan: &Fan, at: f64| fan.step((at - 0.09, at - 0.03), (at + 0.03, at + 0.09)).0;
        let places = |from: f64, to: f64| {
            let count = ((to - from) / STEP).round() as usize;
            (0..=count).map(move |i| from + i as f64 * STEP)
        };
        // Strongest concentric edge inside, in brightness or log(red / green): the pupil.
        let pupil = places(0.38, 0.85)
            .map(|at| concentric(&brightness, at).abs().max(concentric(&hue, at).abs()))
            .fold(0.0, f32::max);
        // Strongest concentric step dark to bright further out: if there is one, this is the pupil, not the limbus.
        let rival = places(1.21, 2.0).map(|at| concentric(&brightness, at)).fold(0.0, f32::max);
        // Lids and the edge of the light bound the sclera, the brightest thing around.
        let fall = brightness.level((1.06, 1.18)) - brightness.level((1.55, 1.65));
        let [longer, shorter] = ellipse.semi_axes_px();
        let roundness = (shorter / longer).min(0.88) as f32;
        let features = [agreeing, step.min(warming), step, warming, pupil, rival, fall, trust as f32, roundness];
        let mut all = [0.0; TRAITS];
        all[..FEATURES].copy_from_slice(&features);
        for (fan, part) in [brightness, tint, hue].iter().zip(all[FEATURES..].chunks_exact_mut(LEVELS + 2 * STEPS)) {
            let (levels, edges) = part.split_at_mut(LEVELS);
            for (to, from) in levels.iter_mut().zip(fan.levels().iter().skip(1).step_by(2)) {
                *to = *from;
            }
            for (i, pair) in edges.chunks_exact_mut(2).enumerate() {
                let (mean, agreeing) = fan.edge(HALF + 2 * i);
                pair.copy_from_slice(&[mean, agreeing]);
            }
        }
        Self(all)
    }

    /// The numbers themselves, in the order that `tests/reference/limbus/train.py` reads.
    pub fn numbers(&self) -> &[f32; TRAITS] {
        &self.0
    }

    /// The first opinion: above 0 more like a limbus than not. A weighted sum of the features.
    pub fn by_features(&self) -> f64 {
        let mut features = [0.0; FEATURES];
        features.copy_from_slice(&self.0[..FEATURES]);
        BY_FEATURES.log_odds(&features)
    }

    /// The second opinion: above 0 more like a limbus than not. A network of one hidden layer on all traits.
    pub fn by_profile(&self) -> f64 {
        BY_PROFILE.log_odds(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vision::plane::Channels;

    /// By hand: of the ring from 1.0 to 1.3 radii the left half was restored, or none, or it lies out of the picture.
    #[test]
    fn the_share_restored_beyond_an_ellipse() {
        const SIDE: usize = 200;
        let plane = |value: &dyn Fn(usize, usize) -> f32| {
            Plane::new(SIDE, SIDE, (0..SIDE * SIDE).map(|i| value(i % SIDE, i / SIDE)).collect()).unwrap()
        };
        let evidence = |restored: &dyn Fn(usize, usize) -> f32| {
            let [red, green, blue] = [0.5, 0.4, 0.3].map(|v| plane(&|_, _| v));
            Evidence::new(&Channels { red, green, blue, restored: plane(restored), factor: 1.0 })
        };
        let circle = Ellipse::circle(PixelPoint::new(99.5, 99.5), 60.0).unwrap();
        let far = Ellipse::circle(PixelPoint::new(99.5, 99.5), 600.0).unwrap();
        let left_half = evidence(&|x, _| if x < SIDE / 2 { 1.0 } else { 0.0 });
        assert!((restored_beyond(&left_half, &circle) - 0.5).abs() < 0.02);
        let within = evidence(&|x, y| if (x as f64 - 99.5).hypot(y as f64 - 99.5) < 55.0 { 1.0 } else { 0.0 });
        assert_eq!(restored_beyond(&within, &circle), 0.0);
        assert_eq!(restored_beyond(&left_half, &far), 0.0);
    }
}
