//! Round dots, and rows of them that point towards the middle.

use super::marks::{Kind, Shape};
use super::patch::Patch;
use super::square_plane::SquarePlane;
use crate::geometry::Vector;

/// A round spot.
#[derive(Clone, Copy, Debug)]
pub struct Blob {
    /// Place in the patch, px.
    pub place: Vector,
    /// The lesser curvature of its darkness, in units of one over the squared scale of the filter.
    pub strength: f64,
}

/// A row of dots to start a fit from.
#[derive(Clone, Copy, Debug)]
pub struct Row {
    /// Dots.
    pub kind: Kind,
    /// Where they stand.
    pub shape: Shape,
    /// Strength of the weakest dot, less where the row is uneven or a part of a longer one.
    pub strength: f64,
}

/// Nearest and farthest from the middle of the limbus that a dot may stand, in limbus radii.
const RANGE: (f64, f64) = (0.22, 0.66);
/// Scale of the second derivative, in limbus radii.
const SIGMA: f64 = 0.008;
/// Most spots.
const MOST_BLOBS: usize = 70;
/// Least and greatest spacing of the dots of a row, in limbus radii.
const SPACING: (f64, f64) = (0.028, 0.09);
/// Most that a row may turn from the radial direction, degrees.
const MOST_TURN_DEG: f64 = 22.0;
/// How far a dot may lie from where an even row has it, in spacings.
const UNEVEN: f64 = 0.25;
/// Most that the strengths of neighbours may differ, as a factor.
const MOST_RATIO: f64 = 3.5;
/// What the part of a longer row counts.
const PART: f64 = 0.4;

/// The strongest spots on the plane of what stands out narrowly (see [`SquarePlane::narrow_dark`]), the strongest first.
pub fn blobs(patch: &Patch, marks: &SquarePlane) -> Vec<Blob> {
    let side = marks.side;
    let sigma = SIGMA * patch.scale;
    let blurred = marks.blurred(sigma);
    let mut weaker = SquarePlane::filled(side, 0.0);
    let scale = (sigma * sigma) as f32;
    let (near, far) = (RANGE.0 * patch.scale, RANGE.1 * patch.scale);
    let middle = patch.middle();
    let square = |v: usize| (v as f64 - middle).powi(2);
    let within = |x: usize, y: usize| (near * near..far * far).contains(&(square(x) + square(y)));
    for y in 1..side - 1 {
        for x in 1..side - 1 {
            if !within(x, y) {
                continue;
            }
            let [xx, xy, yy] = blurred.fall_off(x, y);
            weaker.data[y * side + x] = scale * ((xx + yy) / 2.0 - (((xx - yy) / 2.0).powi(2) + xy * xy).sqrt());
        }
    }
    let mut out = Vec::new();
    for y in 2..side - 2 {
        for x in 2..side - 2 {
            let value = weaker.at(x, y);
            if value > 0.0 && (y - 1..=y + 1).all(|j| (x - 1..=x + 1).all(|i| weaker.at(i, j) <= value)) {
                let shift = |before: f32, after: f32| {
                    let bend = f64::from(2.0 * value - before - after);
                    if bend > 0.0 { (f64::from(after - before) / (2.0 * bend)).clamp(-0.5, 0.5) } else { 0.0 }
                };
                let place = Vector::new(
                    x as f64 + shift(weaker.at(x - 1, y), weaker.at(x + 1, y)),
                    y as f64 + shift(weaker.at(x, y - 1), weaker.at(x, y + 1)),
                );
                out.push(Blob { place, strength: f64::from(value) });
            }
        }
    }
    out.sort_by(|a, b| b.strength.total_cmp(&a.strength));
    out.truncate(MOST_BLOBS);
    out
}

/// Even rows of two to four of `blobs`, the strongest first.
pub fn rows(patch: &Patch, blobs: &[Blob]) -> Vec<Row> {
    let mut chains: Vec<Vec<usize>> = Vec::new();
    for (i, a) in blobs.iter().enumerate() {
        for (j, b) in blobs.iter().enumerate() {
            // Outwards only, so that every row is found once.
            if i == j || !outwards(patch, &a.place, &b.place) || !alike(a, b) {
                continue;
            }
            let mut chain = vec![i, j];
            while chain.len() < 4 {
                let last = chain.len() - 1;
                let step = (blobs[chain[last]].place - blobs[i].place) / last as f64;
                let next = blobs[chain[last]].place + step;
                let found = (0..blobs.len()).find(|k| {
                    (blobs[*k].place - next).norm() < UNEVEN * step.norm()
                        && !chain.contains(k)
                        && alike(&blobs[*k], &blobs[chain[last]])
                });
                let Some(found) = found else { break };
                chain.push(found);
                chains.push(chain.clone());
            }
            chains.push(vec![i, j]);
        }
    }
    let mut out: Vec<Row> = chains
        .iter()
        .map(|chain| {
            let is_part = chains.iter().any(|c| c.len() > chain.len() && chain.iter().all(|k| c.contains(k)));
            row(patch, blobs, chain, if is_part { PART } else { 1.0 })
        })
        .collect();
    out.sort_by(|a, b| b.strength.total_cmp(&a.strength));
    out
}

fn alike(a: &Blob, b: &Blob) -> bool {
    a.strength < MOST_RATIO * b.strength && b.strength < MOST_RATIO * a.strength
}

fn outwards(patch: &Patch, a: &Vector, b: &Vector) -> bool {
    let step = b - a;
    let distance = step.norm();
    let radial = (a + b) / 2.0 - Vector::new(patch.middle(), patch.middle());
    distance > SPACING.0 * patch.scale
        && distance < SPACING.1 * patch.scale
        && step.dot(&radial) > distance * radial.norm() * MOST_TURN_DEG.to_radians().cos()
}

fn row(patch: &Patch, blobs: &[Blob], chain: &[usize], share: f64) -> Row {
    let count = chain.len() as f64;
    let place = chain.iter().map(|k| blobs[*k].place).fold(Vector::zeros(), |s, p| s + p) / count;
    let span = blobs[chain[chain.len() - 1]].place - blobs[chain[0]].place;
    let extent = span.norm() / (count - 1.0);
    let weakest = chain.iter().map(|k| blobs[*k].strength).fold(f64::INFINITY, f64::min);
    let strongest = chain.iter().map(|k| blobs[*k].strength).fold(0.0, f64::max);
    Row {
        kind: Kind::Dots(chain.len() as u8),
        shape: Shape {
            place,
            angle: span.y.atan2(span.x),
            extent,
            sigma: (0.3 * extent).min(0.013 * patch.scale),
            gap: 0.01 * patch.scale,
        },
        strength: weakest * (weakest / strongest).sqrt() * share,
    }
}
