//! A closed path along the limbus in the polar picture about a candidate, and the ellipse it lies on.

use crate::geometry::{Ellipse, Matrix, Vector};
use crate::vision::plane::Plane;
use nalgebra::{Matrix5, Vector5};
use std::f64::consts::TAU;

/// How much a single step may count, so that one lid or reflection does not outweigh many rays.
#[derive(Clone, Copy, Debug)]
pub enum StepLimit {
    /// Cut off at this much. For candidates: whether there is an edge matters more than where.
    CutOff(f32),
    /// Compressed, half of what it is at this much, yet still greatest where the picture steps most: a cut-off step is as
    /// great all along a strong, broad edge, and a path through it would not know its middle.
    Compressed(f32),
}

impl StepLimit {
    /// A step to the dark counts no further against a place than this.
    const AGAINST: f32 = -0.15;

    fn apply(self, step: f32) -> f32 {
        match self {
            _ if step < 0.0 => step.max(Self::AGAINST),
            Self::CutOff(limit) => step.min(limit),
            Self::Compressed(knee) => step / (1.0 + step / knee),
        }
    }
}

/// How a path is sought and an ellipse laid through it. Lengths are shares of the radius.
#[derive(Clone, Debug)]
pub struct ContourSettings {
    /// Rays around the limbus.
    pub rays: usize,
    /// Step along a ray.
    pub step: f64,
    /// How far the path may leave the ellipse it starts from, either way.
    pub reach: f64,
    /// Windows whose means are compared: from `gap` to `gap + window` either side of a place.
    pub gap: f64,
    /// See `gap`.
    pub window: f64,
    /// Cost of a slope: a change of one step between neighbouring rays costs this much response.
    pub stiffness: f32,
    /// Distance from the ellipse at which a ray loses its say.
    pub tolerance: f64,
    /// How much a single step may count.
    pub limit: StepLimit,
}

impl ContourSettings {
    /// For a candidate off by up to about 15 %.
    pub fn coarse() -> Self {
        Self {
            rays: 40,
            step: 0.025,
            reach: 0.225,
            gap: 0.025,
            window: 0.125,
            stiffness: 0.03,
            tolerance: 0.08,
            limit: StepLimit::CutOff(0.3),
        }
    }

    /// For the last placing, at full working size.
    pub fn placing() -> Self {
        Self {
            rays: 96,
            step: 0.01,
            reach: 0.07,
            gap: 0.01,
            window: 0.06,
            stiffness: 0.01,
            tolerance: 0.04,
            limit: StepLimit::Compressed(0.4),
        }
    }

    /// For an ellipse off by a few percent.
    pub fn fine() -> Self {
        Self {
            rays: 64,
            step: 0.02,
            reach: 0.12,
            gap: 0.02,
            window: 0.08,
            stiffness: 0.02,
            tolerance: 0.04,
            limit: StepLimit::CutOff(0.3),
        }
    }
}

/// A path: for each ray the place along it (1 is on the ellipse) and the step there.
#[derive(Clone, Debug)]
pub struct Path {
    /// Place along each ray, in radii.
    pub rho: Vec<f64>,
    /// Step dark to bright outwards there; `None` where the ray leaves the picture.
    pub step: Vec<Option<f32>>,
}

/// Angle of ray `k` of `count`, radians counter-clockwise as seen.
pub fn ray_angle(k: usize, count: usize) -> f64 {
    (k as f64 + 0.5) * TAU / count as f64
}

/// Unit vector of ray `k` of `count`, y down.
pub fn ray(k: usize, count: usize) -> Vector {
    let phi = ray_angle(k, count);
    Vector::new(phi.cos(), -phi.sin())
}

/// The closed path of greatest step near `ellipse` (working px of `plane`).
pub fn trace(plane: &Plane, ellipse: &Ellipse, settings: &ContourSettings) -> Path {
    let places = (2.0 * settings.reach / settings.step).round() as usize + 1;
    let first = 1.0 - settings.reach;
    let near = (settings.gap / settings.step).round() as usize;
    let far = ((settings.gap + settings.window) / settings.step).round() as usize;
    let samples = places + 2 * far;
    let start = first - far as f64 * settings.step;
    let mut steps = Rays { places, values: Vec::with_capacity(settings.rays * places) };
    let mut values = vec![0.0_f32; samples];
    let mut cumulative = vec![0.0_f32; samples + 1];
    for k in 0..settings.rays {
        let edge = ellipse.matrix() * ray(k, settings.rays);
        plane.along(ellipse.center() + edge * start, edge * settings.step, &mut values);
        for (i, value) in values.iter().enumerate() {
            cumulative[i + 1] = cumulative[i] + value;
        }
        let share = (far - near) as f32;
        // Sums up to the four ends of both windows.
        let ends = [far + near, 2 * far, 0, far - near].map(|end| &cumulative[end..end + places]);
        steps.values.extend((0..places).map(|i| {
            let [from, to, inner_from, inner_to] = ends.map(|sums| sums[i]);
            (to - from) / share - (inner_to - inner_from) / share
        }));
    }
    // A ray outside of the picture counts a little against, wherever the path goes.
    let limited = |step: &f32| if step.is_nan() { OUTSIDE } else { settings.limit.apply(*step) };
    let responses = Rays { places, values: steps.values.iter().map(limited).collect() };
    let chosen = closed_path(&responses, settings.stiffness);
    Path {
        rho: chosen.iter().map(|i| first + *i as f64 * settings.step).collect(),
        step: chosen.iter().enumerate().map(|(k, i)| Some(steps.of(k)[*i]).filter(|s| !s.is_nan())).collect(),
    }
}

/// What a ray counts, wherever on it, that leaves the picture.
const OUTSIDE: f32 = -0.02;

/// A value at every place of every ray.
struct Rays {
    /// Places on a ray.
    places: usize,
    /// Ray by ray.
    values: Vec<f32>,
}

impl Rays {
    fn count(&self) -> usize {
        self.values.len() / self.places
    }

    fn of(&self, ray: usize) -> &[f32] {
        &self.values[ray * self.places..][..self.places]
    }
}

/// Indices of the closed path of greatest total response less the cost of its slopes, by dynamic programming.
///
/// The start is fixed by a first open pass: its path's place half-way round is where the second, closed pass begins
/// and ends.
fn closed_path(responses: &Rays, stiffness: f32) -> Vec<usize> {
    let turn = responses.count() / 2;
    let open = open_path(responses, 0, stiffness, None);
    let mut path = open_path(responses, turn, stiffness, Some(open[turn]));
    path.rotate_right(turn);
    path
}

/// Best path over the rays from `from` once around; with `anchor`, it begins at that index and ends beside it.
fn open_path(responses: &Rays, from: usize, stiffness: f32, anchor: Option<usize>) -> Vec<usize> {
    /// Places that a path may move from ray to ray.
    const REACH: usize = 3;
    const MOVES: usize = 2 * REACH + 1;
    let (rays, places) = (responses.count(), responses.places);
    let slope = |from: usize, to: usize| {
        let d = from.abs_diff(to) as f32;
        stiffness * d * d
    };
    // With room for the moves at both ends, so that all places are alike.
    let mut best = vec![f32::NEG_INFINITY; places + 2 * REACH];
    best[REACH..][..places].copy_from_slice(responses.of(from % rays));
    if let Some(a) = anchor {
        let start = best[REACH + a];
        best.fill(f32::NEG_INFINITY);
        best[REACH + a] = start;
    }
    // The move to each place of each ray but the first, from 0 (`REACH` places up) to `MOVES - 1`.
    let mut moves = vec![REACH as u32; (rays - 1) * places];
    let mut top = vec![0.0; places];
    for (k, taken) in moves.chunks_exact_mut(places).enumerate() {
        top.fill(f32::NEG_INFINITY);
        for step in 0..MOVES {
            let cost = slope(REACH, step);
            for ((top, taken), before) in top.iter_mut().zip(&mut *taken).zip(&best[step..]) {
                let total = before - cost;
                let better = total > *top;
                *top = if better { total } else { *top };
                *taken = if better { step as u32 } else { *taken };
            }
        }
        let row = responses.of((from + k + 1) % rays);
        for ((best, top), own) in best[REACH..].iter_mut().zip(&top).zip(row) {
            *best = top + own;
        }
    }
    let best = &mut best[REACH..][..places];
    if let Some(a) = anchor {
        for (i, b) in best.iter_mut().enumerate() {
            *b -= slope(i, a);
        }
    }
    let mut at = (0..places).max_by(|i, j| best[*i].total_cmp(&best[*j])).unwrap_or(0);
    let mut path = vec![at];
    for taken in moves.chunks_exact(places).rev() {
        at = at + taken[at] as usize - REACH;
        path.push(at);
    }
    path.reverse();
    path
}

/// The ellipse on which most of a path lies, and how far each ray may be trusted (0 to 1).
///
/// In the frame of the starting ellipse the path is `rho = 1 + d.u + u'Au` to first order, linear in the shift d and
/// the symmetric stretch A. Rays are weighted by their step and, again and again, by how near they lie (Tukey).
///
/// `None` where the rays with a step do not determine an ellipse.
pub fn settle(path: &Path, ellipse: &Ellipse, tolerance: f64) -> Option<(Ellipse, Vec<f64>)> {
    let count = path.rho.len();
    let rows: Vec<Vector5<f64>> = (0..count)
        .map(|k| {
            let u = ray(k, count);
            Vector5::new(u.x, u.y, u.x * u.x, 2.0 * u.x * u.y, u.y * u.y)
        })
        .collect();
    let squares: Vec<Matrix5<f64>> = rows.iter().map(|row| row * row.transpose()).collect();
    let strength: Vec<f64> =
        path.step.iter().map(|s| s.map_or(0.0, |s| f64::from(s.clamp(0.0, 0.15)) / 0.15)).collect();
    let mut trust: Vec<f64> = vec![1.0; count];
    let mut solution = Vector5::zeros();
    for round in 0..8 {
        let mut normal = Matrix5::identity() * 1e-6;
        let mut right = Vector5::zeros();
        for k in 0..count {
            let w = trust[k] * strength[k];
            normal += squares[k] * w;
            right += rows[k] * ((path.rho[k] - 1.0) * w);
        }
        solution = normal.cholesky()?.solve(&right);
        // Wide at first, so that a far start is not taken for outliers.
        let width = tolerance * if round < 3 { 2.0 } else { 1.0 };
        for k in 0..count {
            let off = (path.rho[k] - 1.0 - rows[k].dot(&solution)) / width;
            trust[k] = if off.abs() < 1.0 { (1.0 - off * off).powi(2) } else { 0.0 };
        }
    }
    let center = ellipse.center() + ellipse.matrix() * Vector::new(solution[0], solution[1]);
    let stretch = Matrix::new(1.0 + solution[2], solution[3], solution[3], 1.0 + solution[4]);
    let settled = Ellipse::image_of_circle(center, &(ellipse.matrix() * stretch))?;
    Some((settled, trust.iter().zip(&strength).map(|(t, s)| t * s).collect()))
}
