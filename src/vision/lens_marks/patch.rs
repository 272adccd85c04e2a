//! The inside of the limbus, resampled so that the limbus is a circle.

use crate::geometry::{Ellipse, PixelPoint, Vector};
use crate::vision::Picture;

/// Most patch pixels to a limbus radius: finer pictures are averaged down to it, so that the time does not grow with them.
const MOST_SCALE: f64 = 210.0;
/// Fewest patch pixels to a limbus radius: coarser pictures are interpolated up to it.
const LEAST_SCALE: f64 = 150.0;
/// Half the side of the patch, in limbus radii.
const HALF_SIDE: f64 = 0.72;
/// Luma from which a pixel is taken for a reflection of the lamp (of 1).
const HIGHLIGHT: f32 = 0.93;
/// Standard deviation of the local mean that pixels are divided by, in limbus radii.
const MEAN_SIGMA: f64 = 0.07;

/// A square grey picture in single precision.
#[derive(Clone)]
pub struct Plane {
    /// Pixels a side.
    pub side: usize,
    /// Row by row.
    pub data: Vec<f32>,
}

impl Plane {
    /// All `value`.
    pub fn filled(side: usize, value: f32) -> Self {
        Self { side, data: vec![value; side * side] }
    }

    /// Value at column `x` and row `y`.
    pub fn at(&self, x: usize, y: usize) -> f32 {
        self.data[y * self.side + x]
    }

    /// Bilinear value at a place that may lie outside: the border is repeated.
    pub fn sample(&self, x: f64, y: f64) -> f32 {
        let most = (self.side - 1) as f64;
        let (x, y) = (x.clamp(0.0, most), y.clamp(0.0, most));
        let (x0, y0) = (x as usize, y as usize);
        let (x1, y1) = ((x0 + 1).min(self.side - 1), (y0 + 1).min(self.side - 1));
        let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
        let top = self.at(x0, y0) * (1.0 - fx) + self.at(x1, y0) * fx;
        let bottom = self.at(x0, y1) * (1.0 - fx) + self.at(x1, y1) * fx;
        top * (1.0 - fy) + bottom * fy
    }

    /// Blurred by a Gaussian of standard deviation `sigma` px, as three box means (the border is repeated).
    pub fn blurred(&self, sigma: f64) -> Self {
        // Three boxes of half-width r have the variance 3 * ((2 r + 1)^2 - 1) / 12; the fraction of the outermost
        // taps makes any sigma possible.
        let whole = (4.0 * sigma * sigma + 1.0).sqrt();
        let reach = ((whole - 1.0) / 2.0).floor().max(0.0);
        let fraction = fractional_tap(sigma, reach);
        let mut out = self.clone();
        let mut line = vec![0.0; self.side];
        for _ in 0..3 {
            for row in out.data.chunks_mut(self.side) {
                line.copy_from_slice(row);
                box_mean(&line, row, reach as usize, fraction);
            }
        }
        let mut turned = out.transposed();
        for _ in 0..3 {
            for row in turned.data.chunks_mut(self.side) {
                line.copy_from_slice(row);
                box_mean(&line, row, reach as usize, fraction);
            }
        }
        turned.transposed()
    }

    fn transposed(&self) -> Self {
        let mut out = Self::filled(self.side, 0.0);
        const TILE: usize = 16;
        for y0 in (0..self.side).step_by(TILE) {
            for x0 in (0..self.side).step_by(TILE) {
                for y in y0..(y0 + TILE).min(self.side) {
                    for x in x0..(x0 + TILE).min(self.side) {
                        out.data[x * self.side + y] = self.data[y * self.side + x];
                    }
                }
            }
        }
        out
    }
}

/// Weight of the two taps just outside a box of half-width `reach` that gives a box of variance sigma^2 / 3.
fn fractional_tap(sigma: f64, reach: f64) -> f32 {
    let want = sigma * sigma / 3.0;
    let inner = reach * (reach + 1.0) * (2.0 * reach + 1.0) / 3.0;
    let count = 2.0 * reach + 1.0;
    let edge = (reach + 1.0).powi(2);
    ((want * count - inner) / (2.0 * (edge - want))).clamp(0.0, 1.0) as f32
}

fn box_mean(line: &[f32], out: &mut [f32], reach: usize, fraction: f32) {
    let last = line.len() - 1;
    let get = |i: isize| line[i.clamp(0, last as isize) as usize];
    let scale = 1.0 / (2.0 * reach as f32 + 1.0 + 2.0 * fraction);
    let r = reach as isize;
    let mut sum: f32 = (-r..=r).map(get).sum();
    for (i, value) in out.iter_mut().enumerate() {
        let i = i as isize;
        *value = (sum + fraction * (get(i - r - 1) + get(i + r + 1))) * scale;
        sum += get(i + r + 1) - get(i - r);
    }
}

/// The patch: relative brightness about its local mean, and where it can be trusted.
pub struct Patch {
    /// Brightness over the local mean, less 1; 0 where nothing is seen.
    pub relative: Plane,
    /// 1 where the pixel counts, 0 outside the picture and on or beside reflections.
    pub weight: Plane,
    /// Patch pixels to a limbus radius.
    pub scale: f64,
    /// Standard deviation of one pixel's noise, relative.
    pub noise: f64,
    /// How many patch pixels share the noise of one pixel of the picture, at least 1.
    pub oversampling: f64,
    limbus: Ellipse,
}

impl Patch {
    /// Resample `picture` inside `limbus`.
    pub fn new(picture: &Picture, limbus: &Ellipse) -> Self {
        let radius = limbus.radius_px();
        let scale = radius.clamp(LEAST_SCALE, MOST_SCALE);
        let half = (HALF_SIDE * scale).ceil();
        let side = 2 * half as usize + 1;
        let mut luma = Plane::filled(side, 0.0);
        let mut weight = Plane::filled(side, 0.0);
        // Several samples a patch pixel where the picture is finer.
        let samples = (radius / scale - 0.25).ceil().max(1.0) as usize;
        let step = limbus.matrix() / scale;
        for y in 0..side {
            for x in 0..side {
                let mut sum = 0.0;
                let mut brightest: f32 = 0.0;
                let mut all = true;
                for k in 0..samples * samples {
                    let shift = |k: usize| (k as f64 + 0.5) / samples as f64 - 0.5;
                    let offset =
                        Vector::new(x as f64 - half + shift(k % samples), y as f64 - half + shift(k / samples));
                    match luma_at(picture, &(limbus.center() + step * offset)) {
                        Some(value) => {
                            sum += value;
                            brightest = brightest.max(value);
                        }
                        None => all = false,
                    }
                }
                if all {
                    luma.data[y * side + x] = sum / (samples * samples) as f32;
                    weight.data[y * side + x] = if brightest < HIGHLIGHT { 1.0 } else { 0.0 };
                }
            }
        }
        shrink(&mut weight, (0.012 * scale).round().max(1.0) as usize);
        let mean = local_mean(&luma, &weight, MEAN_SIGMA * scale);
        let mut relative = Plane::filled(side, 0.0);
        for i in 0..side * side {
            if weight.data[i] > 0.0 {
                relative.data[i] = luma.data[i] / mean.data[i].max(0.02) - 1.0;
            }
        }
        let oversampling = (scale / radius).powi(2).max(1.0);
        let noise = noise_of(&relative, &weight);
        Self { relative, weight, scale, noise, oversampling, limbus: *limbus }
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

fn luma_at(picture: &Picture, place: &PixelPoint) -> Option<f32> {
    crate::vision::polar::sample(picture, place).map(|[r, g, b]| 0.299 * r + 0.587 * g + 0.114 * b)
}

/// Set to 0 what lies within `reach` px (in rows and columns) of a 0.
fn shrink(weight: &mut Plane, reach: usize) {
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
fn local_mean(luma: &Plane, weight: &Plane, sigma: f64) -> Plane {
    let mut weighted = luma.clone();
    weighted.data.iter_mut().zip(&weight.data).for_each(|(v, w)| *v *= w);
    let mut mean = weighted.blurred(sigma);
    let share = weight.blurred(sigma);
    mean.data.iter_mut().zip(&share.data).for_each(|(v, w)| *v /= w.max(1e-3));
    mean
}

/// Noise of a pixel from the median size of its difference from the mean of its neighbours.
fn noise_of(relative: &Plane, weight: &Plane) -> f64 {
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
    // The median of |x| is 0.6745 sd, and the difference has 1.25 times the variance of a pixel.
    (f64::from(*median) / 0.6745 / 1.25_f64.sqrt()).max(1e-3)
}
