//! Places where a group of lens marks may stand.

use super::patch::{Patch, Plane};
use crate::geometry::Vector;

/// A place that is darker (or brighter) than its ground in a short stretch that points towards the middle.
#[derive(Clone, Copy, Debug)]
pub struct Candidate {
    /// Place in the patch, px.
    pub place: Vector,
    /// Direction, radians from x right to y down.
    pub angle: f64,
    /// Response of the stretch filter, relative brightness.
    pub strength: f64,
}

/// Nearest and farthest from the middle of the limbus that a group may stand, in limbus radii.
const RANGE: (f64, f64) = (0.24, 0.62);
/// Standing out by more counts no more.
const MOST_DARKNESS: f32 = 0.6;
/// Scale of the second derivative, in limbus radii.
const SIGMA: f64 = 0.012;
/// Half the stretch over which responses are added, in limbus radii.
const HALF_STRETCH: f64 = 0.05;
/// Turns from the radial direction that are tried, degrees: the lens may be off the middle by a fifth of the distance
/// of its marks.
const TURNS: [f64; 3] = [-11.0, 0.0, 11.0];
/// No two candidates closer than this, in limbus radii.
const APART: f64 = 0.035;
/// Most candidates.
const MOST: usize = 48;

/// The strongest candidates on the plane of what stands out narrowly (see [`Plane::narrow_dark`]).
pub fn candidates(patch: &Patch, marks: &Plane) -> Vec<Candidate> {
    let side = patch.relative.side;
    let sigma = SIGMA * patch.scale;
    let mut darkness = marks.clone();
    darkness.data.iter_mut().for_each(|v| *v = v.min(MOST_DARKNESS));
    let blurred = darkness.blurred(sigma);
    let middle = patch.middle();
    let mut xx = Plane::filled(side, 0.0);
    let mut xy = Plane::filled(side, 0.0);
    let mut yy = Plane::filled(side, 0.0);
    let scale = (sigma * sigma) as f32;
    for y in 1..side - 1 {
        for x in 1..side - 1 {
            let i = y * side + x;
            let b = &blurred.data;
            xx.data[i] = scale * (2.0 * b[i] - b[i - 1] - b[i + 1]);
            yy.data[i] = scale * (2.0 * b[i] - b[i - side] - b[i + side]);
            xy.data[i] = -scale * (b[i + side + 1] - b[i + side - 1] - b[i - side + 1] + b[i - side - 1]) / 4.0;
        }
    }
    let mut response = Plane::filled(side, 0.0);
    let mut turn = Plane::filled(side, 0.0);
    let (near, far) = (RANGE.0 * patch.scale, RANGE.1 * patch.scale);
    let taps = 7;
    let turns = TURNS.map(|degrees| (degrees, degrees.to_radians().sin_cos()));
    for y in 0..side {
        for x in 0..side {
            let (dx, dy) = (x as f64 - middle, y as f64 - middle);
            let distance = dx.hypot(dy);
            if distance < near || distance > far || patch.weight.at(x, y) == 0.0 {
                continue;
            }
            let mut best = (0.0_f32, 0.0_f32);
            for (degrees, (sin, cos)) in turns {
                let (c, s) = ((dx * cos - dy * sin) / distance, (dx * sin + dy * cos) / distance);
                let (ss, cc, sc) = ((s * s) as f32, (c * c) as f32, (s * c) as f32);
                let here = y * side + x;
                if ss * xx.data[here] - 2.0 * sc * xy.data[here] + cc * yy.data[here] <= 0.0 {
                    continue;
                }
                let mut sum = 0.0;
                for k in 0..taps {
                    let along = (f64::from(k) / f64::from(taps - 1) * 2.0 - 1.0) * HALF_STRETCH * patch.scale;
                    let px = (x as f64 + c * along + 0.5) as usize;
                    let py = (y as f64 + s * along + 0.5) as usize;
                    if px < side && py < side {
                        let i = py * side + px;
                        sum += ss * xx.data[i] - 2.0 * sc * xy.data[i] + cc * yy.data[i];
                    }
                }
                let mean = sum / taps as f32;
                if mean > best.0 {
                    best = (mean, degrees as f32);
                }
            }
            response.data[y * side + x] = best.0;
            turn.data[y * side + x] = best.1;
        }
    }
    let smooth = response.blurred(sigma / 2.0);
    let mut maxima = Vec::new();
    for y in 1..side - 1 {
        for x in 1..side - 1 {
            let value = smooth.at(x, y);
            if value <= 0.0 || response.at(x, y) <= 0.0 {
                continue;
            }
            let top = (y - 1..=y + 1).all(|j| (x - 1..=x + 1).all(|i| smooth.at(i, j) <= value));
            if top {
                let (dx, dy) = (x as f64 - middle, y as f64 - middle);
                maxima.push(Candidate {
                    place: Vector::new(x as f64, y as f64),
                    angle: dy.atan2(dx) + f64::from(turn.at(x, y)).to_radians(),
                    strength: f64::from(value),
                });
            }
        }
    }
    maxima.sort_by(|a, b| b.strength.total_cmp(&a.strength));
    let mut kept: Vec<Candidate> = Vec::new();
    for one in maxima {
        if kept.iter().all(|k| (k.place - one.place).norm() > APART * patch.scale) {
            kept.push(one);
            if kept.len() == MOST {
                break;
            }
        }
    }
    kept
}
