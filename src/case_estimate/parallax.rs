//! Depth and decentration of the lens from several views of one eye.
//!
//! The lens lies behind the plane of the limbus. As the eye tilts it slides against the limbus, by depth times the tangent
//! of the tilt, in the direction in which the limbus is shortened or in the opposite one: an ellipse does not say which
//! side is nearer. A decentred lens stands off by the same amount in every view, magnified by the cornea.
//!
//! Model, in the frame of the eye (x along its reference direction, y counter-clockwise of it), g the tilt as a vector
//! of tangents:
//!
//! - apparent offset = magnification x decentration + depth x g
//! - anisotropy of the ellipse = that of the limbus as it is + that of the tilt, -ln cos at right angles to it, both as
//!   ln(a / b) (cos 2 phi, sin 2 phi)
//!
//! Each tilt has two solutions, so the estimate goes through their combinations, each weighed by its evidence (Laplace's
//! approximation; MacKay 2003, ch. 27, from memory) and mixed. So it does through depths about each solution and through how
//! much the views may differ: a deeper lens makes do with smaller tilts, which are likelier, but there are fewer of them, and the
//! likeliest depth with the likeliest tilts would be too deep, the more so the more views there are.

use crate::geometry::{Matrix, Vector};
use crate::least_squares::{Search, Singular, SumOfSquares};
use nalgebra::{DMatrix, DVector, Vector3};

/// Depth of a lens behind the plane of the limbus, mm, and sd: 1.6 to 2.4 in most eyes (calculated from common anterior
/// chambers; from memory).
pub const DEPTH_MM: (f64, f64) = (2.0, 0.3);
/// Magnification by the cornea of what lies at the lens (calculated).
pub const MAGNIFICATION: f64 = 1.17;
/// sd of the decentration of a lens along each direction, mm: means of 0.2 to 0.3 mm are usual (from memory).
const DECENTRATION_SD_MM: f64 = 0.35;
/// sd of the tilt that all views of an eye have in common, along each direction, tangent: 5 degrees (common practice: a few
/// degrees as a rule).
const COMMON_TILT_SD: f64 = 0.087;
/// sd of what each view adds to it, tangent: 4 degrees, or by a factor of two (1 sd) more or less. Stills of one moment are all alike,
/// a patient told to look about is not.
const SPREAD: f64 = 0.07;
const SPREADS: [f64; 5] = [0.25, 0.5, 1.0, 2.0, 4.0];
/// sd of the limbus's own anisotropy, natural logarithm of the ratio of its axes: 0.94 +- 0.03, of unknown direction, and
/// pixels that are nearly square.
const OVAL_SD: f64 = 0.06;
/// Anisotropy beyond which a recorder squeezes the picture: nothing is held of it then.
const SQUEEZED: f64 = 0.2;
/// Views beyond which only those of greatest weight are used: combinations double with each.
const MOST_VIEWS: usize = 8;
/// Posterior over prior sd below which the views tell something.
const TELLS: f64 = 0.8;
/// Parameters that all views share: depth, magnified decentration, anisotropy of the limbus, common tilt.
const SHARED: usize = 7;
const SEARCH: Search = Search { steps: 40, damping: 1e-2, most_damping: 1e8 };
/// Gain of the sum of squares below which a search is over.
const SETTLED: f64 = 1e-8;
/// Depths about a solution that are weighed, in its sd: first, last, and step.
const DEPTHS_SD: (f64, f64, f64) = (-8.0, 5.0, 1.0);
/// Least depth, mm.
const LEAST_DEPTH_MM: f64 = 0.1;
/// sd of a depth that is held fast, mm.
const HELD_FAST_MM: f64 = 1e-3;
/// Logarithm of the evidence by which a solution may stand below the best before it is left out.
const HOPELESS: f64 = 8.0;

/// One view of the eye, in the eye's frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ViewReading {
    /// Apparent offset of the lens, mm on the limbus scale.
    pub offset_mm: Vector,
    /// Its sd along each direction, mm.
    pub offset_sd_mm: f64,
    /// Anisotropy of the limbus in the picture, ln(a / b) (cos 2 phi, sin 2 phi), phi the direction of its longer axis.
    pub anisotropy: Vector,
    /// Its sd along each direction.
    pub anisotropy_sd: f64,
}

/// What the views tell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parallax {
    /// Depth of the lens behind the plane of the limbus, mm.
    pub depth_mm: f64,
    /// Its sd, mm.
    pub depth_sd_mm: f64,
    /// Whether the views, and not what was held before, tell the depth.
    pub depth_told: bool,
    /// Decentration of the lens, mm, parallax and magnification taken out.
    pub decentration_mm: Vector,
    /// Its covariance, mm^2.
    pub decentration_covariance_mm2: Matrix,
    /// Whether the change of view tells the decentration better than a single view would.
    pub decentration_told: bool,
    /// Largest angle between the lines of sight of two views, degrees.
    pub change_deg: f64,
}

/// Depth and decentration from the views of one eye; `None` of fewer than two, or where the sums have no solution.
pub fn parallax(views: &[ViewReading]) -> Option<Parallax> {
    if views.len() < 2 {
        return None;
    }
    let mut order: Vec<usize> = (0..views.len()).collect();
    // Those that differ most from the mean tell most.
    let mean = views.iter().fold(Vector::zeros(), |s, v| s + v.offset_mm) / views.len() as f64;
    let far = |k: usize| (views[k].offset_mm - mean).norm() / views[k].offset_sd_mm;
    order.sort_by(|a, b| far(*b).total_cmp(&far(*a)));
    order.truncate(MOST_VIEWS);
    let used: Vec<ViewReading> = order.iter().map(|k| views[*k]).collect();
    let all = mixture(&used, &SPREADS)?;
    // What a single view would tell: it differs from no other.
    let alone = mixture(&used[..1], &SPREADS[..1])?;
    let decentration_covariance = all.covariance_of_shift / MAGNIFICATION.powi(2);
    Some(Parallax {
        depth_mm: all.depth_mm,
        depth_sd_mm: all.depth_sd_mm,
        depth_told: all.depth_sd_mm < TELLS * DEPTH_MM.1,
        decentration_mm: all.shift / MAGNIFICATION,
        decentration_covariance_mm2: decentration_covariance,
        decentration_told: all.covariance_of_shift.determinant().sqrt()
            < TELLS * TELLS * alone.covariance_of_shift.determinant().sqrt(),
        change_deg: all.change_deg,
    })
}

/// A mixture of solutions.
struct Mixed {
    depth_mm: f64,
    depth_sd_mm: f64,
    shift: Vector,
    covariance_of_shift: Matrix,
    change_deg: f64,
}

/// - `spreads`: how much the views may differ, over [`SPREAD`]
fn mixture(views: &[ViewReading], spreads: &[f64]) -> Option<Mixed> {
    let problem = Problem::new(views);
    let mut modes: Vec<Mode> = Vec::new();
    for signs in 0..1_usize << views.len() {
        if let Some(mode) = problem.solve(signs)
            // Small tilts lead from both sides to one and the same solution.
            && modes.iter().all(|known| (&known.at - &mode.at).norm() > 1e-3)
        {
            modes.push(mode);
        }
    }
    let best = modes.iter().map(|m| m.evidence).fold(f64::NEG_INFINITY, f64::max);
    let likely = modes.iter().filter(|m| m.evidence > best - HOPELESS);
    let modes: Vec<Mode> = likely.flat_map(|mode| problem.over_depths(mode, spreads)).collect();
    let best = modes.iter().map(|m| m.evidence).fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = modes.iter().map(|m| (m.evidence - best).exp()).collect();
    let total: f64 = weights.iter().sum();
    if total.is_nan() || total <= 0.0 {
        return None;
    }
    let weighted = || modes.iter().zip(&weights).map(|(m, w)| (m, w / total));
    let mean = weighted().fold(DVector::zeros(3), |s, (m, w)| s + m.at.rows(0, 3) * w);
    let covariance = weighted().fold(DMatrix::zeros(3, 3), |s, (m, w)| {
        let off = m.at.rows(0, 3) - &mean;
        s + (m.covariance.view((0, 0), (3, 3)) + &off * off.transpose()) * w
    });
    let likeliest = modes.iter().max_by(|a, b| a.evidence.total_cmp(&b.evidence))?;
    Some(Mixed {
        depth_mm: mean[0],
        depth_sd_mm: covariance[(0, 0)].sqrt(),
        shift: Vector::new(mean[1], mean[2]),
        covariance_of_shift: Matrix::new(
            covariance[(1, 1)],
            covariance[(1, 2)],
            covariance[(2, 1)],
            covariance[(2, 2)],
        ),
        change_deg: problem.change_deg(&likeliest.at),
    })
}

/// One solution.
#[derive(Clone)]
struct Mode {
    at: DVector<f64>,
    covariance: DMatrix<f64>,
    evidence: f64,
}

#[derive(Clone)]
struct Problem<'a> {
    views: &'a [ViewReading],
    prior: DVector<f64>,
    prior_sd: DVector<f64>,
}

impl<'a> Problem<'a> {
    fn new(views: &'a [ViewReading]) -> Self {
        let size = SHARED + 2 * views.len();
        let mean = views.iter().fold(Vector::zeros(), |s, v| s + v.anisotropy) / views.len() as f64;
        let squeezed = mean.norm() > SQUEEZED;
        let mut prior = DVector::zeros(size);
        let mut prior_sd = DVector::from_element(size, SPREAD);
        prior[0] = DEPTH_MM.0;
        prior_sd[0] = DEPTH_MM.1;
        for k in [5, 6] {
            prior_sd[k] = COMMON_TILT_SD;
        }
        for k in [1, 2] {
            prior_sd[k] = DECENTRATION_SD_MM * MAGNIFICATION;
        }
        for k in [0, 1] {
            prior[3 + k] = if squeezed { mean[k] } else { 0.0 };
            prior_sd[3 + k] = if squeezed { 1.0 } else { OVAL_SD };
        }
        Self { views, prior, prior_sd }
    }

    fn tilt(p: &DVector<f64>, view: usize) -> Vector {
        Vector::new(p[SHARED + 2 * view], p[SHARED + 2 * view + 1])
    }

    /// Readings and prior less what the parameters would give, each over its sd.
    fn remainder(&self, p: &DVector<f64>) -> DVector<f64> {
        let mut rest = DVector::zeros(4 * self.views.len() + p.len());
        for (k, view) in self.views.iter().enumerate() {
            let g = Self::tilt(p, k);
            let offset = view.offset_mm - Vector::new(p[1], p[2]) - g * p[0];
            let squares = g.norm_squared();
            // ln cos = -ln(1 + g^2) / 2, along (cos 2 psi, sin 2 psi) = (x^2 - y^2, 2 x y) / g^2; its limit for no tilt is finite.
            let factor = if squares > 1e-12 { -squares.ln_1p() / (2.0 * squares) } else { -0.5 };
            let tilted = Vector::new(g.x * g.x - g.y * g.y, 2.0 * g.x * g.y) * factor;
            let shape = view.anisotropy - Vector::new(p[3], p[4]) - tilted;
            for c in 0..2 {
                rest[4 * k + c] = offset[c] / view.offset_sd_mm;
                rest[4 * k + 2 + c] = shape[c] / view.anisotropy_sd;
            }
        }
        for k in 0..p.len() {
            // A view's tilt strays from the common one.
            let held = if k < SHARED { self.prior[k] } else { p[5 + (k - SHARED) % 2] };
            rest[4 * self.views.len() + k] = (p[k] - held) / self.prior_sd[k];
        }
        rest
    }

    fn slopes(&self, p: &DVector<f64>) -> DMatrix<f64> {
        const STEP: f64 = 1e-6;
        let mut slopes = DMatrix::zeros(4 * self.views.len() + p.len(), p.len());
        for k in 0..p.len() {
            let (mut more, mut less) = (p.clone(), p.clone());
            more[k] += STEP;
            less[k] -= STEP;
            slopes.set_column(k, &((self.remainder(&more) - self.remainder(&less)) / (2.0 * STEP)));
        }
        slopes
    }

    /// The solution on whose sides the bits of `signs` start the tilts.
    fn solve(&self, signs: usize) -> Option<Mode> {
        let mut p = self.prior.clone();
        for (k, view) in self.views.iter().enumerate() {
            let rest = view.anisotropy - Vector::new(p[3], p[4]);
            let size = (2.0 * rest.norm()).sqrt().clamp(0.02, 0.4);
            // The shape is lengthened at right angles to the tilt.
            let along = rest.y.atan2(rest.x) / 2.0 + std::f64::consts::FRAC_PI_2;
            let side = if signs >> k & 1 == 0 { size } else { -size };
            p[SHARED + 2 * k] = side * along.cos();
            p[SHARED + 2 * k + 1] = side * along.sin();
        }
        self.settled(p)
    }

    /// A solution at depths about its own and for views that differ less or more, each weighed by its evidence and what was held of
    /// it before.
    fn over_depths(&self, mode: &Mode, spreads: &[f64]) -> Vec<Mode> {
        let (first, last, step) = DEPTHS_SD;
        let sd = mode.covariance[(0, 0)].sqrt();
        let count = ((last - first) / step) as usize;
        let depths = (0..=count).map(|k| mode.at[0] + (first + k as f64 * step) * sd);
        let held = |depth: f64, spread: f64| -> Option<Mode> {
            let mut held = self.clone();
            held.prior[0] = depth;
            held.prior_sd[0] = HELD_FAST_MM;
            held.prior_sd.rows_mut(SHARED, 2 * self.views.len()).fill(SPREAD * spread);
            let mut start = mode.at.clone();
            start[0] = depth;
            let mut settled = held.settled(start)?;
            let before = [(depth - DEPTH_MM.0) / DEPTH_MM.1, spread.log2()].map(|off| off * off / 2.0);
            // Two directions of each view share the spread.
            settled.evidence +=
                (sd * step).ln() - before.iter().sum::<f64>() - 2.0 * self.views.len() as f64 * spread.ln();
            Some(settled)
        };
        depths
            .filter(|depth| *depth > LEAST_DEPTH_MM)
            .flat_map(|depth| spreads.iter().filter_map(|spread| held(depth, *spread)).collect::<Vec<_>>())
            .collect()
    }

    /// The solution that a search from `p` comes to.
    fn settled(&self, p: DVector<f64>) -> Option<Mode> {
        let (At { p, rest }, _) = SEARCH.run(self, self.at(p)).ok()?;
        let slopes = self.slopes(&p);
        let cholesky = (slopes.transpose() * &slopes).cholesky()?;
        let evidence = -rest.norm_squared() / 2.0 - cholesky.l().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        Some(Mode { covariance: cholesky.inverse(), at: p, evidence })
    }

    fn at(&self, p: DVector<f64>) -> At {
        At { rest: self.remainder(&p), p }
    }

    /// Largest angle between the eye's axes in two views, degrees: tilts are tangents.
    fn change_deg(&self, p: &DVector<f64>) -> f64 {
        let axes: Vec<Vector3<f64>> = (0..self.views.len()).map(|k| Self::tilt(p, k).push(1.0)).collect();
        let apart = axes.iter().flat_map(|a| axes.iter().map(move |b| a.angle(b)));
        apart.fold(0.0, f64::max).to_degrees()
    }
}

/// Parameters and what they leave of readings and prior.
struct At {
    p: DVector<f64>,
    rest: DVector<f64>,
}

impl SumOfSquares for Problem<'_> {
    type Place = At;

    fn sum(&self, place: &At) -> f64 {
        place.rest.norm_squared()
    }

    fn step(&self, from: &At, damping: f64) -> Result<Option<At>, Singular> {
        let slopes = self.slopes(&from.p);
        let mut damped = slopes.transpose() * &slopes;
        for k in 0..from.p.len() {
            damped[(k, k)] *= 1.0 + damping;
        }
        let step = damped.cholesky().ok_or(Singular)?.solve(&(slopes.transpose() * &from.rest));
        Ok(Some(self.at(&from.p - step)))
    }

    fn settled(&self, from: &At, to: &At) -> bool {
        self.sum(from) - self.sum(to) < SETTLED
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    /// The reading of a view by the optics themselves: ellipse of a tilted oval by its matrix, not by logarithms.
    fn seen(depth: f64, center: Vector, ratio: f64, tilt_deg: f64, direction_deg: f64, sd: (f64, f64)) -> ViewReading {
        let (sin, cos) = direction_deg.to_radians().sin_cos();
        let along = Vector::new(cos, sin);
        let tilt = Matrix::identity() + along * along.transpose() * (tilt_deg.to_radians().cos() - 1.0);
        let squared = tilt * Matrix::new(1.0, 0.0, 0.0, ratio * ratio) * tilt;
        let eigen = squared.symmetric_eigen();
        let longer = if eigen.eigenvalues[0] > eigen.eigenvalues[1] { 0 } else { 1 };
        let axis = eigen.eigenvectors.column(longer);
        let size = (eigen.eigenvalues[longer] / eigen.eigenvalues[1 - longer]).ln() / 2.0;
        let twice = 2.0 * axis[1].atan2(axis[0]);
        ViewReading {
            offset_mm: center * MAGNIFICATION + along * (depth * tilt_deg.to_radians().tan()),
            offset_sd_mm: sd.0,
            anisotropy: Vector::new(twice.cos(), twice.sin()) * size,
            anisotropy_sd: sd.1,
        }
    }

    /// The same with noise, of a tilt given as a vector of tangents.
    fn read(
        depth: f64,
        center: Vector,
        ratio: f64,
        tilt: Vector,
        sd: (f64, f64),
        mut normal: impl FnMut() -> f64,
    ) -> ViewReading {
        let (degrees, direction) = (tilt.norm().atan().to_degrees(), tilt.y.atan2(tilt.x).to_degrees());
        let clean = seen(depth, center, ratio, degrees, direction, sd);
        let mut noise = |sd: f64| Vector::new(normal(), normal()) * sd;
        let (offset_mm, anisotropy) = (clean.offset_mm + noise(sd.0), clean.anisotropy + noise(sd.1));
        ViewReading { offset_mm, anisotropy, ..clean }
    }

    /// An eye tilted by 20 degrees four ways, read all but perfectly: depth and decentration come back.
    #[test]
    fn exact_views_give_depth_and_decentration() {
        let center = Vector::new(0.25, -0.1);
        let views: Vec<ViewReading> =
            [30.0, 120.0, 210.0, 300.0].map(|d| seen(2.3, center, 0.95, 20.0, d, (0.002, 0.0005))).to_vec();
        let found = parallax(&views).unwrap();
        assert!(found.depth_told && found.decentration_told, "{found:?}");
        assert!((found.depth_mm - 2.3).abs() < 0.06, "{found:?}");
        assert!((found.decentration_mm - center).norm() < 0.01, "{found:?}");
        // Opposite ones are 40 degrees apart.
        assert!((found.change_deg - 40.0).abs() < 0.5, "{found:?}");
    }

    /// However many views there are, read as stills are read, the depth is neither too large nor too sure.
    #[test]
    fn many_views_are_not_biased() {
        let mut rng = ChaCha8Rng::seed_from_u64(11);
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let mut ratios = Vec::new();
        for _ in 0..40 {
            let depth = DEPTH_MM.0 + DEPTH_MM.1 * normal();
            let center = Vector::new(normal(), normal()) * DECENTRATION_SD_MM;
            let ratio = 0.94 + 0.03 * normal();
            let sd = (0.024, 0.007);
            let readings: Vec<ViewReading> = (0..8)
                .map(|_| {
                    let tilt = Vector::new(normal(), normal()) * 0.12;
                    read(depth, center, ratio, tilt, sd, &mut normal)
                })
                .collect();
            let found = parallax(&readings).unwrap();
            ratios.push((found.depth_mm - depth) / found.depth_sd_mm);
        }
        let count = ratios.len() as f64;
        let mean = ratios.iter().sum::<f64>() / count;
        let rms = (ratios.iter().map(|z| z * z).sum::<f64>() / count).sqrt();
        assert!(mean.abs() < 0.4 && (0.7..1.25).contains(&rms), "mean {mean}, rms {rms} sd");
    }

    /// Views that are all alike tell nothing of the depth, and say so.
    #[test]
    fn one_view_again_and_again_tells_nothing() {
        let views = vec![seen(2.3, Vector::new(0.2, 0.0), 0.94, 6.0, 40.0, (0.06, 0.01)); 4];
        let found = parallax(&views).unwrap();
        assert!(!found.depth_told && !found.decentration_told, "{found:?}");
        assert!(parallax(&views[..1]).is_none());
    }

    /// Eyes drawn at random, seen under several tilts with noise: intervals of depth and decentration hold the truth in 92
    /// to 98 % of them, and the views that are said to tell do.
    #[test]
    fn coverage_of_drawn_eyes() {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let (mut depths, mut centers, mut told) = (Vec::new(), Vec::new(), Vec::new());
        for case in 0..300 {
            let views = 2 + case % 4;
            let depth = DEPTH_MM.0 + DEPTH_MM.1 * normal();
            let center = Vector::new(normal(), normal()) * DECENTRATION_SD_MM;
            let ratio = 0.94 + 0.03 * normal();
            let sd = (0.05, 0.004);
            let common = Vector::new(normal(), normal()) * COMMON_TILT_SD;
            let readings: Vec<ViewReading> = (0..views)
                .map(|_| {
                    let tilt = common + Vector::new(normal(), normal()) * SPREAD;
                    read(depth, center, ratio, tilt, sd, &mut normal)
                })
                .collect();
            let found = parallax(&readings).unwrap();
            depths.push((found.depth_mm - depth) / found.depth_sd_mm);
            let off = found.decentration_mm - center;
            centers.push(off.dot(&(found.decentration_covariance_mm2.try_inverse().unwrap() * off)));
            if found.decentration_told {
                told.push(off.norm());
            }
        }
        let share = |count: usize, of: usize| count as f64 / of as f64;
        let held = share(depths.iter().filter(|z| z.abs() < 1.96).count(), depths.len());
        assert!((0.92..=0.985).contains(&held), "depth: {held}");
        // Chi-square of two degrees of freedom, 95 %: 5.991.
        let held = share(centers.iter().filter(|q| **q < 5.991).count(), centers.len());
        assert!((0.92..=0.985).contains(&held), "decentration: {held}");
        told.sort_by(f64::total_cmp);
        assert!(
            told.len() > 50 && told[told.len() / 2] < 0.15,
            "{} told, median off {:.3}",
            told.len(),
            told[told.len() / 2]
        );
    }
}
