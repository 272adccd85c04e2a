//! Least-squares fit of one group of dark marks, with its ground, to the patch.

use super::marks::{FREE, Kind, Marks, Shape};
use super::patch::Patch;
use crate::geometry::{Matrix, Vector};
use crate::least_squares::{Search, Singular, SumOfSquares};
use crate::normal::MEDIAN_SIZE;
use nalgebra::{SMatrix, SVector};

/// A fitted group.
#[derive(Clone, Copy, Debug)]
pub struct Group {
    /// What it consists of.
    pub kind: Kind,
    /// Its geometry.
    pub shape: Shape,
    /// How much darker than its ground: relative brightness.
    pub depth: f64,
    /// Share of the structure in the window, noise apart, that the marks explain beyond their ground: 0 to 1.
    pub explained: f64,
    /// Share of the marks themselves that is seen: 0 to 1.
    pub seen: f64,
    /// Depth over its standard deviation.
    pub signal: f64,
    /// Covariance of the place, px^2: by the noise, or by what of the misfit could shift it, where that is more.
    pub place_covariance: Matrix,
    /// Variance of the direction, rad^2.
    pub angle_variance: f64,
}

/// A ground of second order.
const GROUND: usize = 6;
/// Depth and ground.
const LINEAR: usize = 1 + GROUND;
const ALL: usize = FREE + LINEAR;
/// Those of them that a place has to do with: the place itself and the slope of the ground.
const ODD: usize = 4;
/// Ground that a window shows beyond the marks, in limbus radii.
const MARGIN: f64 = 0.035;
/// Half the least width of a window, in limbus radii.
const HALF_WIDTH: f64 = 0.045;
/// How fast pixels beyond the marks lose weight, in limbus radii: what stands farther off should not matter.
const FADE: f64 = 0.025;
/// One round of a fit, the share of the squares that a step must gain for another to be made, and rounds with doubted pixels.
const SEARCH: Search = Search { steps: 8, damping: 1e-3, most_damping: 10.0 };
const SETTLED: f64 = 1e-3;
const ROUNDS: usize = 2;
/// What the model leaves, in sd, of which a pixel that is brighter has lost three quarters of its weight.
const DOUBTED: f64 = 2.5;
/// Least share of a window that has to be seen.
const LEAST_SEEN: f64 = 0.6;
/// Farthest that one step turns a group, rad, and changes the logarithm of its sizes.
const FARTHEST_TURN: f64 = 0.2;
const FARTHEST_STRETCH: f64 = 0.3;
/// Shares explained between which doubting pixels is worth its time.
const HOPELESS: f64 = 0.35;
const CLEAR: f64 = 0.85;
/// What marks gain by chance where there is nothing but noise, in squares of its standard deviation: a fit is free in seven numbers,
/// and the best of some ten thousand places, directions and sizes is looked at (2 ln 10^4 and 7).
const GAINED_BY_CHANCE: f64 = 25.0;
/// How far a fit may move from its start, in limbus radii.
const FARTHEST: f64 = 0.05;

/// Pixels of a window about a group.
struct Window {
    /// Place, value, weight, and weight when not doubted.
    pixels: Vec<[f64; 5]>,
    /// Places of those that do not count.
    unseen: Vec<[f64; 2]>,
    middle: Vector,
    unit: f64,
}

impl Window {
    /// `None` where too little of it can be seen.
    fn new(patch: &Patch, shape: &Shape, kind: Kind) -> Option<Self> {
        let (sin, cos) = shape.angle.sin_cos();
        let inner = shape.half_length(kind);
        let breadth = if kind == Kind::Lines { shape.gap } else { 0.0 } + 1.5 * shape.sigma;
        let long = inner + MARGIN * patch.scale;
        let wide = match kind {
            Kind::Lines => (HALF_WIDTH * patch.scale).max(breadth + MARGIN * patch.scale),
            Kind::Dots(_) | Kind::Dash => HALF_WIDTH * patch.scale,
        };
        let reach_x = (long * cos.abs() + wide * sin.abs()).ceil();
        let reach_y = (long * sin.abs() + wide * cos.abs()).ceil();
        let (cx, cy) = (shape.place.x.round(), shape.place.y.round());
        let last = patch.relative.side as f64 - 1.0;
        if cx - reach_x < 0.0 || cy - reach_y < 0.0 || cx + reach_x > last || cy + reach_y > last {
            return None;
        }
        let (darkest, brightest) = patch.clip();
        let (mut pixels, mut unseen) = (Vec::new(), Vec::new());
        for y in (cy - reach_y) as usize..=(cy + reach_y) as usize {
            for x in (cx - reach_x) as usize..=(cx + reach_x) as usize {
                let (dx, dy) = (x as f64 - shape.place.x, y as f64 - shape.place.y);
                let (s, t) = (dx * cos + dy * sin, dy * cos - dx * sin);
                if s.abs() > long || t.abs() > wide {
                    continue;
                }
                if patch.fitted.at(x, y) > 0.0 {
                    let value = f64::from(patch.relative.at(x, y).clamp(darkest, brightest));
                    let beyond_square = (s.abs() - inner).max(0.0).powi(2) + (t.abs() - breadth).max(0.0).powi(2);
                    let weight = (-beyond_square / (FADE * patch.scale).powi(2)).exp();
                    pixels.push([x as f64, y as f64, value, weight, weight]);
                } else {
                    unseen.push([x as f64, y as f64]);
                }
            }
        }
        let whole = (pixels.len() + unseen.len()) as f64;
        (pixels.len() as f64 > LEAST_SEEN * whole).then_some(Self { pixels, unseen, middle: shape.place, unit: long })
    }

    /// Share of the marks of a shape that is seen.
    fn seen(&self, shape: &Shape, kind: Kind) -> f64 {
        let marks = Marks::new(kind, shape);
        let seen: f64 = self.pixels.iter().map(|p| marks.value(p[0], p[1])).sum();
        let unseen: f64 = self.unseen.iter().map(|p| marks.value(p[0], p[1])).sum();
        seen / (seen + unseen).max(1e-9)
    }

    fn ground(&self, x: f64, y: f64) -> [f64; GROUND] {
        let (dx, dy) = ((x - self.middle.x) / self.unit, (y - self.middle.y) / self.unit);
        [1.0, dx, dy, dx * dx, dx * dy, dy * dy]
    }

    fn total_weight(&self) -> f64 {
        self.pixels.iter().map(|p| p[3]).sum()
    }

    /// What the model leaves of every pixel.
    fn residuals(&self, state: &State, kind: Kind) -> Vec<f64> {
        let marks = Marks::new(kind, &state.shape);
        let residual = |&[x, y, value, _, _]: &[f64; 5]| {
            let ground: f64 = self.ground(x, y).iter().zip(state.linear.iter().skip(1)).map(|(g, l)| g * l).sum();
            value - ground - state.linear[0] * marks.value(x, y)
        };
        self.pixels.iter().map(residual).collect()
    }

    /// Variance of a pixel as far as it can shift the place: of the odd part of what the model leaves, about the middle of the
    /// group. A mark of another shape than the model's leaves much, but the same on both sides, where it shifts nothing. `None` where
    /// less than half of the window has its opposite in it.
    fn odd_variance(&self, state: &State, kind: Kind) -> Option<f64> {
        let residuals = self.residuals(state, kind);
        // The window as a rectangle, with what each pixel leaves and its weight.
        let least = |k: usize| self.pixels.iter().map(|p| p[k]).fold(f64::MAX, f64::min);
        let most = |k: usize| self.pixels.iter().map(|p| p[k]).fold(f64::MIN, f64::max);
        let (left, top) = (least(0), least(1));
        let (width, height) = ((most(0) - left) as usize + 1, (most(1) - top) as usize + 1);
        let mut known = vec![None; width * height];
        for (&[x, y, _, weight, _], residual) in self.pixels.iter().zip(&residuals) {
            known[(y - top) as usize * width + (x - left) as usize] = Some((*residual, weight));
        }
        let twice = state.shape.place * 2.0;
        let (mut squares, mut total) = (0.0, 0.0);
        for (&[x, y, _, weight, _], residual) in self.pixels.iter().zip(&residuals) {
            let (x, y) = (twice.x - x - left, twice.y - y - top);
            if x < 0.0 || y < 0.0 || x + 1.0 >= width as f64 || y + 1.0 >= height as f64 {
                continue;
            }
            let (fx, fy) = (x.fract(), y.fract());
            let corner = y as usize * width + x as usize;
            let [Some(a), Some(b), Some(c), Some(d)] = [0, 1, width, width + 1].map(|step| known[corner + step]) else {
                continue;
            };
            let shares = [(a, (1.0 - fx) * (1.0 - fy)), (b, fx * (1.0 - fy)), (c, (1.0 - fx) * fy), (d, fx * fy)];
            let opposite: f64 = shares.iter().map(|((residual, _), share)| residual * share).sum();
            let its_weight: f64 = shares.iter().map(|((_, weight), share)| weight * share).sum();
            // A mean of pixels has so much less of their variance.
            let of_both = 1.0 + shares.iter().map(|(_, share)| share * share).sum::<f64>();
            let weight = weight.min(its_weight);
            squares += weight * (residual - opposite).powi(2) / of_both;
            total += weight;
        }
        // Every pair was counted twice, and so is what was fitted.
        (total > self.total_weight() / 2.0).then(|| squares / (total - 2.0 * ODD as f64).max(1.0))
    }

    /// Take weight from pixels that are brighter than the model (Geman & McClure's weights, from memory).
    fn doubt_outliers(&mut self, state: &State, kind: Kind, noise: f64) {
        let residuals = self.residuals(state, kind);
        let mut sizes: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
        let middle = sizes.len() / 2;
        let median = *sizes.select_nth_unstable_by(middle, f64::total_cmp).1;
        let limit = DOUBTED * (median / MEDIAN_SIZE).max(noise);
        for (pixel, residual) in self.pixels.iter_mut().zip(&residuals) {
            let whole = pixel[4];
            pixel[3] = if *residual > 0.0 { whole / (1.0 + (residual / limit).powi(2)).powi(2) } else { whole };
        }
    }

    /// Weighted sum of squares that a ground alone leaves.
    fn ground_residual(&self) -> Option<f64> {
        let mut normal = SMatrix::<f64, GROUND, GROUND>::zeros();
        let mut right = SVector::<f64, GROUND>::zeros();
        let mut squares = 0.0;
        for &[x, y, value, weight, _] in &self.pixels {
            let row = SVector::<f64, GROUND>::from(self.ground(x, y));
            normal.ger(weight, &row, &row, 1.0);
            right += row * (weight * value);
            squares += weight * value * value;
        }
        let solution = normal.cholesky()?.solve(&right);
        Some((squares - solution.dot(&right)).max(0.0))
    }

    /// Depth and ground for a given geometry.
    fn solve_linear(&self, shape: &Shape, kind: Kind) -> Option<SVector<f64, LINEAR>> {
        let marks = Marks::new(kind, shape);
        let mut normal = SMatrix::<f64, LINEAR, LINEAR>::zeros();
        let mut right = SVector::<f64, LINEAR>::zeros();
        for &[x, y, value, weight, _] in &self.pixels {
            let g = self.ground(x, y);
            let t = marks.value(x, y);
            let row = SVector::<f64, LINEAR>::from([t, g[0], g[1], g[2], g[3], g[4], g[5]]);
            normal.ger(weight, &row, &row, 1.0);
            right += row * (weight * value);
        }
        for i in 0..LINEAR {
            normal[(i, i)] += 1e-9;
        }
        Some(normal.cholesky()?.solve(&right))
    }

    /// Normal matrix, gradient and weighted sum of squares at a geometry with its depth and ground.
    fn normal_equations(&self, shape: &Shape, kind: Kind, linear: &SVector<f64, LINEAR>) -> Equations {
        let marks = Marks::new(kind, shape);
        let mut lower = [[0.0; ALL]; ALL];
        let mut right = [0.0; ALL];
        let mut squares = 0.0;
        for &[x, y, value, weight, _] in &self.pixels {
            let g = self.ground(x, y);
            let mut model: f64 = g.iter().zip(linear.iter().skip(1)).map(|(g, l)| g * l).sum();
            let mut row = [0.0; ALL];
            row[..GROUND].copy_from_slice(&g);
            // Ground first, so that the many pixels without marks need no more.
            let used = if let Some((t, d)) = marks.with_derivatives(x, y) {
                row[GROUND] = t;
                for (out, d) in row[GROUND + 1..].iter_mut().zip(&d) {
                    *out = linear[0] * d;
                }
                model += linear[0] * t;
                ALL
            } else {
                GROUND
            };
            let residual = weight * (value - model);
            squares += residual * (value - model);
            for i in 0..used {
                right[i] += row[i] * residual;
                let scaled = weight * row[i];
                for (sum, other) in lower[i][..=i].iter_mut().zip(&row) {
                    *sum += scaled * other;
                }
            }
        }
        // Turned about to geometry, depth, ground.
        let order = |i: usize| {
            if i < FREE {
                GROUND + 1 + i
            } else if i == FREE {
                GROUND
            } else {
                i - FREE - 1
            }
        };
        let normal = SMatrix::<f64, ALL, ALL>::from_fn(|i, j| {
            let (i, j) = (order(i).max(order(j)), order(i).min(order(j)));
            lower[i][j]
        });
        Equations { normal, gradient: SVector::from_fn(|i, _| right[order(i)]), squares }
    }
}

struct Equations {
    normal: SMatrix<f64, ALL, ALL>,
    gradient: SVector<f64, ALL>,
    squares: f64,
}

/// The search for a group's geometry about a start.
struct Fit<'a> {
    window: &'a Window,
    kind: Kind,
    /// Limbus radius, px.
    scale: f64,
    /// What the geometry is like, and the standard deviations of angle (rad), log extent, log sigma and log gap about it.
    like: Shape,
    sds: [f64; 4],
    /// Variance of a pixel, by which what the geometry departs by is weighed against what the pixels do.
    unit: f64,
}

impl Fit<'_> {
    /// How far a geometry is from what it is like, in the order of the standard deviations.
    fn away(&self, shape: &Shape) -> [f64; 4] {
        [
            self.like.angle - shape.angle,
            (self.like.extent / shape.extent).ln(),
            (self.like.sigma / shape.sigma).ln(),
            (self.like.gap / shape.gap).ln(),
        ]
    }
}

impl SumOfSquares for Fit<'_> {
    type Place = State;

    fn sum(&self, place: &State) -> f64 {
        let away = self.away(&place.shape);
        let held: f64 = away.iter().zip(self.sds).map(|(away, sd)| (away / sd).powi(2)).sum();
        place.equations.squares + self.unit * held
    }

    fn step(&self, from: &State, damping: f64) -> Result<Option<State>, Singular> {
        let normal = &from.equations.normal;
        let mut damped = *normal;
        for i in 0..ALL {
            damped[(i, i)] += damping * normal[(i, i)] + 1e-9;
        }
        let mut gradient = from.equations.gradient;
        for (k, (away, sd)) in self.away(&from.shape).iter().zip(self.sds).enumerate() {
            damped[(k + 2, k + 2)] += self.unit / (sd * sd);
            gradient[k + 2] += self.unit / (sd * sd) * away;
        }
        let step = damped.cholesky().ok_or(Singular)?.solve(&gradient);
        let mut shape = from.shape;
        shape.place += Vector::new(step[0], step[1]);
        shape.angle += step[2].clamp(-FARTHEST_TURN, FARTHEST_TURN);
        let stretch = |step: f64| step.clamp(-FARTHEST_STRETCH, FARTHEST_STRETCH).exp();
        shape.extent *= stretch(step[3]);
        shape.sigma *= stretch(step[4]);
        shape.gap *= stretch(step[5]);
        let shape = shape.within_range(self.kind, self.scale);
        let linear = from.linear + step.fixed_rows::<LINEAR>(FREE);
        Ok(Some(State { shape, linear, equations: self.window.normal_equations(&shape, self.kind, &linear) }))
    }

    fn settled(&self, from: &State, to: &State) -> bool {
        self.sum(to) > self.sum(from) * (1.0 - SETTLED)
    }
}

/// Best fit of `kind` from a start; `None` where it runs away or sees too little.
///
/// Where the first fit leaves much unexplained it is repeated with less weight on what is brighter than the model:
/// an instrument's edge or a reflection within the window.
pub fn fit(patch: &Patch, kind: Kind, start: Shape, held: Hold) -> Option<Group> {
    let mut window = Window::new(patch, &start, kind)?;
    let whole = window.total_weight();
    let mut state = State::start(&window, start, kind)?;
    let free = held == Hold::Nothing;
    let sds = if free { FREE_SD } else { HELD_SD };
    if !free {
        // The place is good from the start, so what departs from it can be told at once.
        for _ in 0..ROUNDS {
            window.doubt_outliers(&state, kind, patch.noise);
            state = State::start(&window, start, kind)?;
        }
    }
    let improved = |window: &Window, state: State| {
        let unit = state.equations.squares / window.total_weight().max(1.0);
        let problem = Fit { window, kind, scale: patch.scale, like: start, sds, unit };
        SEARCH.run(&problem, state).ok().map(|(state, _)| state)
    };
    state = improved(&window, state)?;
    let mut group = state.group(&window, patch, kind, whole)?;
    for _ in 0..ROUNDS {
        if !(HOPELESS..CLEAR).contains(&group.explained) && free {
            break;
        }
        window.doubt_outliers(&state, kind, patch.noise);
        state.equations = window.normal_equations(&state.shape, kind, &state.linear);
        state = improved(&window, state)?;
        group = state.group(&window, patch, kind, whole)?;
    }
    ((state.shape.place - start.place).norm() < FARTHEST * patch.scale).then_some(group)
}

/// What a fit is free to change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hold {
    /// All of the shape, its direction as far as a start may be off.
    Nothing,
    /// Its place; the rest only as far as twins differ.
    LikeStart,
}

/// Standard deviations of angle (rad), log extent, log sigma and log gap between twins, and between a start and its fit.
const HELD_SD: [f64; 4] = [0.02, 0.04, 0.15, 0.1];
const FREE_SD: [f64; 4] = [0.12, 1.0, 1.0, 1.0];

/// Where a fit stands.
struct State {
    shape: Shape,
    linear: SVector<f64, LINEAR>,
    equations: Equations,
}

impl State {
    fn start(window: &Window, shape: Shape, kind: Kind) -> Option<Self> {
        let linear = window.solve_linear(&shape, kind)?;
        Some(Self { shape, linear, equations: window.normal_equations(&shape, kind, &linear) })
    }

    /// What has been fitted, with its covariance; `whole` is the weight of the window with no pixel doubted.
    fn group(&self, window: &Window, patch: &Patch, kind: Kind, whole: f64) -> Option<Group> {
        let mut regular = self.equations.normal;
        for i in 0..FREE {
            regular[(i, i)] += 1e-6;
        }
        let inverse = regular.cholesky()?.inverse();
        let count = window.total_weight();
        let squares = self.equations.squares;
        let noise = patch.noise * patch.noise;
        let variance = (squares / (count - ALL as f64).max(1.0)).max(noise) * patch.oversampling;
        let shifting = window.odd_variance(self, kind).map_or(variance, |odd| odd.max(noise) * patch.oversampling);
        let before = window.ground_residual()?;
        let gained = (before - squares).max(0.0);
        let by_chance = GAINED_BY_CHANCE * noise * patch.oversampling;
        let explained = (gained - by_chance).max(0.0) / (before - count * noise).max(gained).max(1e-12);
        let depth = -self.linear[0];
        Some(Group {
            kind,
            shape: self.shape,
            depth,
            explained: explained * (count / whole).sqrt(),
            seen: window.seen(&self.shape, kind),
            signal: depth / (variance * inverse[(FREE, FREE)]).sqrt(),
            place_covariance: inverse.fixed_view::<2, 2>(0, 0) * shifting,
            angle_variance: inverse[(2, 2)] * variance,
        })
    }
}
