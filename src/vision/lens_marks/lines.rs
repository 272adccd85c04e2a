//! Dashes and pairs of lines that point towards the middle.

use super::marks::{Kind, Marks, Shape};
use super::patch::Patch;
use super::square_plane::SquarePlane;
use crate::geometry::Vector;

/// A place that is darker than its ground in a short stretch that points towards the middle.
#[derive(Clone, Copy, Debug)]
struct Candidate {
    /// Place in the patch, px.
    place: Vector,
    /// Direction, radians from x right to y down.
    angle: f64,
    /// Response of the stretch filter, relative brightness.
    strength: f64,
}

/// Nearest and farthest from the middle of the limbus that a group may stand, in limbus radii.
const RANGE: (f64, f64) = (0.24, 0.62);
/// Standing out by more counts no more.
const MOST_DARKNESS: f32 = 0.6;
/// Scale of the second derivative, in limbus radii.
const SIGMA: f64 = 0.012;
/// Half the stretch over which responses are added, in limbus radii.
const HALF_STRETCH: f64 = 0.05;
/// Places on the stretch that are looked at.
const TAPS: i32 = 7;
/// Turns from the radial direction that are tried, degrees: the lens may be off the middle by a fifth of the distance
/// of its marks.
const TURNS: [f64; 3] = [-11.0, 0.0, 11.0];
/// No two candidates closer than this, in limbus radii.
const APART: f64 = 0.035;
/// Most candidates.
const MOST: usize = 40;
/// Half the length of a candidate's profile, and how far along it a line's middle may lie, in limbus radii.
const PROFILE_REACH: f64 = 0.20;
const MOST_SHIFT: f64 = 0.045;
/// Least likeness of a candidate's profile to a line for a fit to be worth its time.
const LEAST_LIKENESS: f64 = 0.7;

/// Step across lines, in limbus radii.
const ACROSS_STEP: f64 = 0.0035;
/// Places along a dash, in halves of its length, at which a second line is looked for beside it; how far away it may lie, and
/// how far beside a line its ground is, in limbus radii; and its least contrast over the dash's own.
const ALONG: [f64; 7] = [-0.75, -0.5, -0.25, 0.0, 0.25, 0.5, 0.75];
const SECOND: (f64, f64) = (0.03, 0.08);
const BETWEEN: f64 = 0.018;
const LEAST_SECOND: f64 = 0.5;

/// The strongest candidates on the plane of what stands out narrowly (see [`SquarePlane::narrow_dark`]).
fn candidates(patch: &Patch, marks: &SquarePlane) -> Vec<Candidate> {
    let sigma = SIGMA * patch.scale;
    let mut darkness = marks.clone();
    darkness.data.iter_mut().for_each(|v| *v = v.min(MOST_DARKNESS));
    let curvature = Curvature::of(&darkness.blurred(sigma), sigma);
    let maxima = Responses::of(patch, &curvature).maxima(sigma, patch.middle());
    strongest_apart(maxima, APART * patch.scale)
}

/// [`SquarePlane::fall_off`] of every pixel, times the square of the blur.
struct Curvature {
    xx: SquarePlane,
    xy: SquarePlane,
    yy: SquarePlane,
}

impl Curvature {
    fn of(blurred: &SquarePlane, sigma: f64) -> Self {
        let side = blurred.side;
        let mut xx = SquarePlane::filled(side, 0.0);
        let mut xy = SquarePlane::filled(side, 0.0);
        let mut yy = SquarePlane::filled(side, 0.0);
        let scale = (sigma * sigma) as f32;
        for y in 1..side - 1 {
            for x in 1..side - 1 {
                let i = y * side + x;
                [xx.data[i], xy.data[i], yy.data[i]] = blurred.fall_off(x, y).map(|v| scale * v);
            }
        }
        Self { xx, xy, yy }
    }

    /// Mean across a stretch in the direction of cosine `c` and sine `s` with the pixel in its middle; `None` where the
    /// pixel itself does not stand out across it.
    fn across_stretch(&self, x: usize, y: usize, (c, s): (f64, f64), scale: f64) -> Option<f32> {
        let side = self.xx.side;
        let (ss, cc, sc) = ((s * s) as f32, (c * c) as f32, (s * c) as f32);
        let across = |i: usize| ss * self.xx.data[i] - 2.0 * sc * self.xy.data[i] + cc * self.yy.data[i];
        if across(y * side + x) <= 0.0 {
            return None;
        }
        let mut sum = 0.0;
        for k in 0..TAPS {
            let along = (f64::from(k) / f64::from(TAPS - 1) * 2.0 - 1.0) * HALF_STRETCH * scale;
            let px = (x as f64 + c * along + 0.5) as usize;
            let py = (y as f64 + s * along + 0.5) as usize;
            if px < side && py < side {
                sum += across(py * side + px);
            }
        }
        Some(sum / TAPS as f32)
    }
}

/// At each pixel the best response of a stretch that points towards the middle.
struct Responses {
    /// The response, 0 where nothing stands out or no lens mark can stand.
    strength: SquarePlane,
    /// Turn of the stretch from the radial direction, degrees.
    turn: SquarePlane,
}

impl Responses {
    fn of(patch: &Patch, curvature: &Curvature) -> Self {
        let side = patch.relative.side;
        let middle = patch.middle();
        let (near, far) = (RANGE.0 * patch.scale, RANGE.1 * patch.scale);
        let turns = TURNS.map(|degrees| (degrees, degrees.to_radians().sin_cos()));
        let mut strength = SquarePlane::filled(side, 0.0);
        let mut turn = SquarePlane::filled(side, 0.0);
        for y in 0..side {
            for x in 0..side {
                let (dx, dy) = (x as f64 - middle, y as f64 - middle);
                let distance = (dx * dx + dy * dy).sqrt();
                if distance < near || distance > far || patch.weight.at(x, y) == 0.0 {
                    continue;
                }
                let mut best = (0.0_f32, 0.0_f32);
                for (degrees, (sin, cos)) in turns {
                    let direction = ((dx * cos - dy * sin) / distance, (dx * sin + dy * cos) / distance);
                    let response = curvature.across_stretch(x, y, direction, patch.scale);
                    if let Some(response) = response.filter(|response| *response > best.0) {
                        best = (response, degrees as f32);
                    }
                }
                strength.data[y * side + x] = best.0;
                turn.data[y * side + x] = best.1;
            }
        }
        Self { strength, turn }
    }

    /// Where the response, smoothed a little, is no less than at any neighbour.
    fn maxima(&self, sigma: f64, middle: f64) -> Vec<Candidate> {
        let side = self.strength.side;
        let smooth = self.strength.blurred(sigma / 2.0);
        let mut maxima = Vec::new();
        for y in 1..side - 1 {
            for x in 1..side - 1 {
                let value = smooth.at(x, y);
                if value <= 0.0 || self.strength.at(x, y) <= 0.0 {
                    continue;
                }
                let top = (y - 1..=y + 1).all(|j| (x - 1..=x + 1).all(|i| smooth.at(i, j) <= value));
                if top {
                    let (dx, dy) = (x as f64 - middle, y as f64 - middle);
                    maxima.push(Candidate {
                        place: Vector::new(x as f64, y as f64),
                        angle: dy.atan2(dx) + f64::from(self.turn.at(x, y)).to_radians(),
                        strength: f64::from(value),
                    });
                }
            }
        }
        maxima
    }
}

/// The strongest, none closer than `apart` (px) to a stronger one.
fn strongest_apart(mut maxima: Vec<Candidate>, apart: f64) -> Vec<Candidate> {
    maxima.sort_by(|a, b| b.strength.total_cmp(&a.strength));
    let mut kept: Vec<Candidate> = Vec::new();
    for one in maxima {
        if kept.iter().all(|k| (k.place - one.place).norm() > apart) {
            kept.push(one);
            if kept.len() == MOST {
                break;
            }
        }
    }
    kept
}

/// A dash, or two thin lines, to start a fit from.
#[derive(Clone, Copy, Debug)]
pub struct Line {
    /// Dash or pair of lines.
    pub kind: Kind,
    /// Where it stands.
    pub shape: Shape,
    /// Strength of its place and likeness of its profile together.
    pub strength: f64,
}

/// Dashes and pairs of lines at the candidates, the most promising first.
pub fn lines(patch: &Patch, marks: &SquarePlane) -> Vec<Line> {
    let mut out: Vec<Line> = candidates(patch, marks).iter().flat_map(|c| starts(patch, c)).collect();
    out.sort_by(|a, b| b.strength.total_cmp(&a.strength));
    out
}

/// The dash, and the pair of lines where there are two, that go best with the profile along a candidate.
fn starts(patch: &Patch, candidate: &Candidate) -> Vec<Line> {
    let scale = patch.scale;
    let (sin, cos) = candidate.angle.sin_cos();
    let darkness = patch.darkness_about(candidate.place, candidate.angle);
    let reach = (PROFILE_REACH * scale) as i32;
    let profile_at = |across: f64, offsets: &[f64]| -> Vec<f64> {
        // Darkness along the middle, less that of the ground on both sides.
        let along = |k: i32| {
            let s = f64::from(k);
            let inner: f64 = offsets.iter().map(|t| darkness(s, across + t * scale)).sum::<f64>();
            let sides = [-0.042, -0.034, 0.034, 0.042];
            inner / offsets.len() as f64 - sides.iter().map(|t| darkness(s, across + t * scale)).sum::<f64>() / 4.0
        };
        (-reach..=reach).map(along).collect()
    };
    let fitting = |kind: Kind, across: f64, gap: f64, profile: &[f64]| -> Option<Line> {
        let mut best: Option<(f64, Shape)> = None;
        for extent in [0.03, 0.04, 0.05, 0.063, 0.08, 0.1] {
            let shape = Shape { place: Vector::zeros(), angle: 0.0, extent: extent * scale, sigma: 0.012 * scale, gap }
                .within_range(Kind::Dash, scale);
            let half = (shape.half_length(kind) + 0.03 * scale) as i32;
            let marks = Marks::new(Kind::Dash, &shape);
            let template: Vec<f64> = (-half..=half).map(|k| marks.value(f64::from(k), 0.0)).collect();
            let most = (MOST_SHIFT * scale) as i32;
            for shift in -most..=most {
                let from = reach + shift - half;
                let Some(stretch) = profile.get(from.max(0) as usize..).and_then(|p| p.get(..template.len())) else {
                    continue;
                };
                let likeness = correlation(&template, stretch);
                if from >= 0 && best.is_none_or(|(b, _)| likeness > b) {
                    let place =
                        candidate.place + Vector::new(cos, sin) * f64::from(shift) + Vector::new(-sin, cos) * across;
                    best = Some((likeness, Shape { place, angle: candidate.angle, ..shape }.within_range(kind, scale)));
                }
            }
        }
        let (likeness, shape) = best.filter(|b| b.0 > LEAST_LIKENESS)?;
        Some(Line { kind, shape, strength: candidate.strength * likeness.powi(4) })
    };
    let middle = profile_at(0.0, &[-0.008, 0.0, 0.008]);
    let mut out: Vec<Line> = fitting(Kind::Dash, 0.0, 0.01 * scale, &middle).into_iter().collect();
    if let Some((across, gap)) = two_lines(scale, &darkness) {
        let on_both = profile_at(across, &[-gap / scale, gap / scale]);
        out.extend(fitting(Kind::Lines, across, gap, &on_both));
    }
    out
}

/// Whether a second line lies beside a line.
pub fn has_parallel(patch: &Patch, line: &Shape) -> bool {
    two_lines(patch.scale, &patch.darkness_about(line.place, line.angle)).is_some()
}

/// Two lines to start a fit from, where a line as dark lies beside the whole length of a dash. Farther apart than
/// [`has_parallel`] sees, each of the two is a dash by itself, and the line through one of each group need not be the axis.
pub fn with_second(patch: &Patch, dash: &Shape) -> Option<Shape> {
    let scale = patch.scale;
    let darkness = patch.darkness_about(dash.place, dash.angle);
    let dark = |t: f64| ALONG.iter().map(|s| darkness(s * dash.extent, t * scale)).sum::<f64>() / ALONG.len() as f64;
    let contrast = |t: f64| dark(t) - dark(t - BETWEEN).max(dark(t + BETWEEN));
    let distance = |k: i32| f64::from(k) * ACROSS_STEP;
    let steps = (SECOND.0 / ACROSS_STEP) as i32..=(SECOND.1 / ACROSS_STEP) as i32;
    let (second, found) =
        steps.flat_map(|k| [-distance(k), distance(k)]).map(|t| (t, contrast(t))).max_by(|a, b| a.1.total_cmp(&b.1))?;
    let own = contrast(0.0);
    if own <= 0.0 || found < LEAST_SECOND * own {
        return None;
    }
    let (sin, cos) = dash.angle.sin_cos();
    let half = second / 2.0 * scale;
    let place = dash.place + Vector::new(-sin, cos) * half;
    Some(Shape { place, gap: half.abs(), ..*dash }.within_range(Kind::Lines, scale))
}

/// Where two dark lines lie side by side: how far their middle is beside the candidate, and half their distance (px).
fn two_lines(scale: f64, darkness: &impl Fn(f64, f64) -> f64) -> Option<(f64, f64)> {
    const STEPS: i32 = 13;
    let step = ACROSS_STEP * scale;
    let across: Vec<f64> = (-STEPS..=STEPS)
        .map(|k| {
            [-0.03, -0.015, 0.0, 0.015, 0.03].iter().map(|s| darkness(s * scale, f64::from(k) * step)).sum::<f64>()
                / 5.0
        })
        .collect();
    let ground = across[0].min(across[across.len() - 1]);
    let mut peaks: Vec<usize> = (1..across.len() - 1)
        .filter(|k| across[*k] > across[k - 1] && across[*k] >= across[k + 1] && across[*k] > ground)
        .collect();
    peaks.sort_by(|a, b| across[*b].total_cmp(&across[*a]));
    let (first, second) = (*peaks.first()?, *peaks.get(1)?);
    let valley = across[first.min(second)..=first.max(second)].iter().copied().fold(f64::INFINITY, f64::min);
    let (high, low) = (across[first] - ground, across[second] - ground);
    if low < 0.5 * high || valley - ground > 0.8 * low {
        return None;
    }
    let place = |k: usize| (k as f64 - f64::from(STEPS)) * step;
    Some(((place(first) + place(second)) / 2.0, (place(first) - place(second)).abs() / 2.0))
}

fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let count = a.len() as f64;
    let (ma, mb) = (a.iter().sum::<f64>() / count, b.iter().sum::<f64>() / count);
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        ab += (x - ma) * (y - mb);
        aa += (x - ma).powi(2);
        bb += (y - mb).powi(2);
    }
    ab / (aa * bb).sqrt().max(1e-12)
}
