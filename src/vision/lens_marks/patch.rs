//! The inside of the limbus, resampled so that the limbus is a circle.

use super::source::Source;
use super::square_plane::SquarePlane;
use crate::geometry::{Ellipse, PixelPoint, Vector};
use crate::normal::MEDIAN_SIZE;

/// Half the side of the patch, in limbus radii.
pub(super) const HALF_SIDE: f64 = 0.75;
/// Light from which a pixel is taken for a reflection of the lamp (of 1).
const HIGHLIGHT: f32 = 0.93;
/// Relative brightness above the local mean that is let count in a fit, and below it where bright and dark are exchanged.
const CLIP: f32 = 0.35;
const BRIGHTEST_MARK: f32 = -2.5;
/// Brightness above that of the pupil about it, relative, from which something narrow lies before it (a hook, a haptic, the shaft of
/// an instrument), at least this many sd of the noise; half the width of what is narrow, in limbus radii.
const COVERS: f32 = 0.25;
const COVERS_NOISE: f64 = 5.0;
const COVER_NARROW: f64 = 0.06;
/// Light that a local mean counts for at least.
const DARKEST: f32 = 0.02;
/// Standard deviation of the local mean that pixels are divided by, in limbus radii.
const MEAN_SIGMA: f64 = 0.07;

/// The patch: relative brightness about its local mean, and where it can be trusted.
pub struct Patch {
    /// Brightness over the local mean, less 1; 0 where nothing is seen.
    pub relative: SquarePlane,
    /// 1 where the pixel counts, 0 outside the picture and on or beside reflections.
    pub weight: SquarePlane,
    /// 1 where a pixel counts in a fit: [`Self::weight`], less what covers the pupil in an [`Self::uncovered`] patch.
    pub fitted: SquarePlane,
    /// The local mean of the light, 0 to 1.
    pub mean: SquarePlane,
    /// Patch pixels to a limbus radius.
    pub scale: f64,
    /// Standard deviation of one pixel's noise, relative.
    pub noise: f64,
    /// How many patch pixels share the noise of one pixel of the picture, at least 1.
    pub oversampling: f64,
    /// Whether dark and bright are exchanged.
    pub bright: bool,
    limbus: Ellipse,
}

impl Patch {
    /// Resample `source` with `scale` px to the limbus's radius.
    pub fn new(source: &Source, scale: f64) -> Self {
        let limbus = source.limbus();
        let half = (HALF_SIDE * scale).ceil();
        let side = 2 * half as usize + 1;
        let mut light = SquarePlane::filled(side, 0.0);
        let mut weight = SquarePlane::filled(side, 0.0);
        // Four samples a patch pixel where the source is finer.
        let fine = source.radius() > 1.2 * scale;
        let shifts: &[(f64, f64)] =
            if fine { &[(-0.25, -0.25), (0.25, -0.25), (-0.25, 0.25), (0.25, 0.25)] } else { &[(0.0, 0.0)] };
        let step = limbus.matrix() / scale;
        let share = 1.0 / shifts.len() as f32;
        for y in 0..side {
            for x in 0..side {
                let mut sum = 0.0;
                let mut brightest: f32 = 0.0;
                for (dx, dy) in shifts {
                    let place = limbus.center() + step * Vector::new(x as f64 - half + dx, y as f64 - half + dy);
                    let value = source.sample(place.x, place.y).unwrap_or(f32::INFINITY);
                    sum += value;
                    brightest = brightest.max(value);
                }
                if brightest.is_finite() {
                    light.data[y * side + x] = sum * share;
                    weight.data[y * side + x] = if brightest < HIGHLIGHT { 1.0 } else { 0.0 };
                }
            }
        }
        shrink(&mut weight, (0.012 * scale).round().max(1.0) as usize);
        let mean = local_mean(&light, &weight, MEAN_SIGMA * scale);
        let relative = over_mean(&light, &mean, &weight);
        let oversampling = (scale / source.radius()).powi(2).max(1.0);
        let noise = noise_of(&relative, &weight);
        let fitted = weight.clone();
        Self { relative, weight, fitted, mean, scale, noise, oversampling, bright: false, limbus: *limbus }
    }

    /// The same where what is bright and narrow and lies before the pupil does not count; `None` where nothing does. Of a dark
    /// mark that it crosses, and of its ground, there is what is seen on both sides.
    pub fn uncovered(&self) -> Option<Self> {
        let bright = self.relative.clone().negated().narrow_dark((COVER_NARROW * self.scale).round() as usize);
        let limit = COVERS.max((COVERS_NOISE * self.noise) as f32);
        let covered = |v: &f32| *v > limit;
        if !bright.data.iter().any(covered) {
            return None;
        }
        let mut fitted = self.weight.clone();
        fitted.data.iter_mut().zip(&bright.data).filter(|(_, bright)| covered(bright)).for_each(|(v, _)| *v = 0.0);
        shrink(&mut fitted, 1);
        // What is bright raised the mean about it, too.
        let mut light = self.mean.clone();
        light.data.iter_mut().zip(&self.relative.data).for_each(|(v, relative)| *v *= 1.0 + relative);
        let mean = local_mean(&light, &fitted, MEAN_SIGMA * self.scale);
        let relative = over_mean(&light, &mean, &self.weight);
        Some(Self { relative, weight: self.weight.clone(), fitted, mean, ..*self })
    }

    /// The same with dark and bright exchanged.
    pub fn inverted(mut self) -> Self {
        self.relative = self.relative.negated();
        self.bright = !self.bright;
        self
    }

    /// Relative brightness that is let count in a fit: reflections are not fitted, but bright marks on a dark ground may be
    /// several times as bright.
    pub fn clip(&self) -> (f32, f32) {
        (if self.bright { BRIGHTEST_MARK } else { -1.0 }, CLIP)
    }

    /// How dark it is `s` along and `t` across (px) from a place, in a direction (rad): minus the relative brightness that counts.
    pub fn darkness_about(&self, place: Vector, angle: f64) -> impl Fn(f64, f64) -> f64 {
        let (sin, cos) = angle.sin_cos();
        let (darkest, brightest) = self.clip();
        move |s, t| {
            let (x, y) = (place.x + s * cos - t * sin, place.y + s * sin + t * cos);
            -f64::from(self.relative.sample(x, y).clamp(darkest, brightest))
        }
    }

    /// Place of the limbus's centre in the patch, px, in both directions.
    pub fn middle(&self) -> f64 {
        (self.relative.side / 2) as f64
    }

    /// A place in the patch (px) in the picture (px).
    pub fn to_picture(&self, place: &Vector) -> PixelPoint {
        let middle = self.middle();
        self.limbus.at(&((place - Vector::new(middle, middle)) / self.scale))
    }

    /// What turns a displacement in the patch (px) to one in the picture (px).
    pub fn jacobian(&self) -> crate::geometry::Matrix {
        self.limbus.matrix() / self.scale
    }
}

/// Brightness over the local mean, less 1; 0 where nothing is seen.
fn over_mean(light: &SquarePlane, mean: &SquarePlane, weight: &SquarePlane) -> SquarePlane {
    let mut relative = light.clone();
    for ((value, mean), weight) in relative.data.iter_mut().zip(&mean.data).zip(&weight.data) {
        *value = if *weight > 0.0 { *value / mean.max(DARKEST) - 1.0 } else { 0.0 };
    }
    relative
}

/// Set to 0 what lies within `reach` px (in rows and columns) of a 0.
fn shrink(weight: &mut SquarePlane, reach: usize) {
    for _ in 0..2 {
        for row in weight.data.chunks_mut(weight.side) {
            let mut out = row.to_vec();
            for (i, _) in row.iter().enumerate().filter(|(_, v)| **v == 0.0) {
                let end = (i + reach + 1).min(row.len());
                out[i.saturating_sub(reach)..end].fill(0.0);
            }
            row.copy_from_slice(&out);
        }
        *weight = weight.transposed();
    }
}

/// Gaussian mean of the pixels that count.
fn local_mean(light: &SquarePlane, weight: &SquarePlane, sigma: f64) -> SquarePlane {
    let mut weighted = light.clone();
    weighted.data.iter_mut().zip(&weight.data).for_each(|(v, w)| *v *= w);
    let mut mean = weighted.blurred(sigma);
    let share = weight.blurred(sigma);
    mean.data.iter_mut().zip(&share.data).for_each(|(v, w)| *v /= w.max(1e-3));
    mean
}

/// Noise of a pixel from the median size of its difference from the mean of its neighbours.
fn noise_of(relative: &SquarePlane, weight: &SquarePlane) -> f64 {
    let mut sizes = Vec::new();
    for y in (1..relative.side - 1).step_by(3) {
        for x in (1..relative.side - 1).step_by(2) {
            let cross = [(x - 1, y), (x + 1, y), (x, y - 1), (x, y + 1)];
            if weight.at(x, y) > 0.0 && cross.iter().all(|&(i, j)| weight.at(i, j) > 0.0) {
                let around: f32 = cross.iter().map(|&(i, j)| relative.at(i, j)).sum();
                sizes.push((relative.at(x, y) - around / 4.0).abs());
            }
        }
    }
    if sizes.is_empty() {
        return 1.0;
    }
    let middle = sizes.len() / 2;
    let (_, median, _) = sizes.select_nth_unstable_by(middle, f32::total_cmp);
    // The difference has 1.25 times the variance of a pixel.
    (f64::from(*median) / MEDIAN_SIZE / 1.25_f64.sqrt()).max(1e-3)
}
