//! Coarse search over centre, size and shape of the limbus.

use super::evidence::Evidence;
use crate::geometry::{Ellipse, PixelPoint, Vector};
use crate::vision::plane::Plane;
use std::f64::consts::TAU;

/// Limits and steps of the coarse search.
#[derive(Clone, Debug)]
pub struct SearchSettings {
    /// Smallest and largest mean radius as a share of the picture's long side.
    pub radius_share: [f64; 2],
    /// Factor from one radius to the next.
    pub radius_step: f64,
    /// Axis ratios and directions (degrees, x towards y down) tried beside the circle.
    pub shapes: Vec<(f64, f64)>,
    /// Rays a candidate is judged on.
    pub rays: usize,
    /// Candidates handed on.
    pub keep: usize,
}

impl Default for SearchSettings {
    fn default() -> Self {
        Self {
            radius_share: [0.09, 0.45],
            radius_step: 1.11,
            shapes: vec![(0.82, 0.0), (0.82, 90.0), (0.66, 0.0), (0.66, 90.0), (0.82, 45.0), (0.82, 135.0)],
            rays: 24,
            keep: 14,
        }
    }
}

/// A candidate, in working pixels.
#[derive(Clone, Copy, Debug)]
pub struct Candidate {
    /// Its ellipse, working px.
    pub ellipse: Ellipse,
    /// Mean step outwards, in units of the local mean.
    pub step: f32,
}

/// A step this much darker outwards, or brighter, counts no further: one bright lid must not outweigh many rays.
const STEP_RANGE: (f32, f32) = (-0.15, 0.30);
/// What a ray counts that leaves the picture.
const OUTSIDE: f32 = -0.02;
/// Where a ray is read inside and outside of the limbus, in radii: clear of the grey zone.
const INSIDE_AT: f64 = 0.91;
const OUTSIDE_AT: f64 = 1.08;
/// The plane is blurred to about a third of the gap between those two, in radii; at least so many pixels; and anew where the blur has to be
/// so much wider.
const BLUR: f64 = 0.05;
const LEAST_BLUR_PX: f64 = 0.6;
const BLUR_ANEW: f64 = 1.3;

/// Step from one centre to the next, in radii.
const CENTER_STEP: f64 = 0.08;
/// Mean step of a circle below which no other shape is tried about the same centre: even a limbus squeezed to 0.65
/// gives a circle of its size this much.
const WORTH_A_LOOK: f32 = 0.05;

/// Where the rays of a few directions alone step less than this, no circle lies: the others are not read.
const GLANCE: f32 = 0.0;
/// Every how many rays make these few.
const GLANCE_EVERY: usize = 4;

/// A plane with a border of NaN, so that rays may leave the picture without a test for it.
struct Padded {
    data: Vec<f32>,
    stride: usize,
    margin: usize,
}

impl Padded {
    fn new(plane: &Plane, margin: usize) -> Self {
        let stride = plane.width() + 2 * margin;
        let mut data = vec![f32::NAN; stride * (plane.height() + 2 * margin)];
        for y in 0..plane.height() {
            let from = (y + margin) * stride + margin;
            data[from..from + plane.width()].copy_from_slice(&plane.data()[y * plane.width()..(y + 1) * plane.width()]);
        }
        Self { data, stride, margin }
    }

    fn index(&self, x: usize, y: usize) -> usize {
        (y + self.margin) * self.stride + x + self.margin
    }

    fn offset(&self, v: &Vector) -> isize {
        v.y.round() as isize * self.stride as isize + v.x.round() as isize
    }
}

/// Mean clipped step over the rays from `inner` to `outer` offsets about `center`.
fn mean_step(data: &[f32], center: usize, pairs: &[(isize, isize)]) -> f32 {
    pairs.iter().map(|pair| step(data, center, pair)).sum::<f32>() / pairs.len() as f32
}

/// Clipped step of one ray.
fn step(data: &[f32], center: usize, &(inner, outer): &(isize, isize)) -> f32 {
    let step = data[center.wrapping_add_signed(outer)] - data[center.wrapping_add_signed(inner)];
    if step.is_nan() { OUTSIDE } else { step.clamp(STEP_RANGE.0, STEP_RANGE.1) }
}

/// [`mean_step`] over a few of the rays.
fn glance(data: &[f32], center: usize, pairs: &[(isize, isize)]) -> f32 {
    let few = pairs.iter().step_by(GLANCE_EVERY);
    let count = few.len() as f32;
    few.map(|pair| step(data, center, pair)).sum::<f32>() / count
}

/// Candidates for the limbus in the plane of the given warmth (an index of [`WARMTHS`](super::evidence::WARMTHS)), the best
/// first, no two alike.
pub fn search(evidence: &Evidence, warmth: usize, settings: &SearchSettings) -> Vec<Candidate> {
    let (width, height) = (evidence.width(), evidence.height());
    let long = width.max(height) as f64;
    // The longer semi-axis of the flattest shape is so much longer than its mean radius.
    let flattest = settings.shapes.iter().map(|(ratio, _)| *ratio).fold(1.0, f64::min);
    let reach = (settings.radius_share[1] * long / f64::sqrt(flattest) * OUTSIDE_AT).ceil() as usize + 2;
    let directions: Vec<Vector> = (0..settings.rays)
        .map(|k| {
            let phi = (k as f64 + 0.5) * TAU / settings.rays as f64;
            Vector::new(phi.cos(), phi.sin())
        })
        .collect();
    let mut found: Vec<Candidate> = Vec::new();
    let mut radius = settings.radius_share[0] * long;
    let mut blurred: Option<(f64, Padded)> = None;
    while radius <= settings.radius_share[1] * long {
        let sigma = (BLUR * radius).max(LEAST_BLUR_PX);
        if blurred.as_ref().is_none_or(|(s, _)| sigma / s > BLUR_ANEW) {
            let plane = &evidence.about(radius).steps[warmth];
            blurred = Some((sigma, Padded::new(&plane.blurred(sigma as f32), reach)));
        }
        let Some((_, padded)) = &blurred else { break };
        let stride = ((CENTER_STEP * radius).round() as usize).max(1);
        let offsets = |ratio: f64, angle: f64| -> Option<(Ellipse, Vec<(isize, isize)>)> {
            let shape = Ellipse::from_axes(
                PixelPoint::origin(),
                [radius / f64::sqrt(ratio), radius * f64::sqrt(ratio)],
                angle,
            )?;
            let pairs = directions.iter().map(|u| {
                let edge = shape.matrix() * u;
                (padded.offset(&(edge * INSIDE_AT)), padded.offset(&(edge * OUTSIDE_AT)))
            });
            Some((shape, pairs.collect()))
        };
        let Some(circle) = offsets(1.0, 0.0) else { break };
        let shapes: Vec<_> = settings.shapes.iter().filter_map(|&(ratio, angle)| offsets(ratio, angle)).collect();
        for y in (0..height).step_by(stride) {
            for x in (0..width).step_by(stride) {
                let index = padded.index(x, y);
                if glance(&padded.data, index, &circle.1) < GLANCE {
                    continue;
                }
                let round = mean_step(&padded.data, index, &circle.1);
                if round < WORTH_A_LOOK {
                    continue;
                }
                let mut best = (round, &circle.0);
                for (shape, pairs) in &shapes {
                    let step = mean_step(&padded.data, index, pairs);
                    if step > best.0 {
                        best = (step, shape);
                    }
                }
                let center = PixelPoint::new(x as f64, y as f64);
                if let Some(ellipse) = Ellipse::from_matrix(center, *best.1.matrix()) {
                    found.push(Candidate { ellipse, step: best.0 });
                }
            }
        }
        radius *= settings.radius_step;
    }
    found.sort_by(|a, b| b.step.total_cmp(&a.step));
    thin(found, settings.keep)
}

/// Keep the best of each neighbourhood of place and size.
fn thin(sorted: Vec<Candidate>, keep: usize) -> Vec<Candidate> {
    let mut kept: Vec<Candidate> = Vec::new();
    for candidate in sorted {
        let radius = candidate.ellipse.radius_px();
        let alike = kept.iter().any(|k| {
            let other = k.ellipse.radius_px();
            (k.ellipse.center() - candidate.ellipse.center()).norm() < 0.25 * radius.min(other)
                && (radius / other).ln().abs() < 0.15
        });
        if !alike {
            kept.push(candidate);
            if kept.len() == keep {
                break;
            }
        }
    }
    kept
}
