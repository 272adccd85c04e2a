//! The inside of the limbus, resampled so that the limbus is a circle.

use crate::geometry::{Ellipse, PixelPoint, Vector};
use crate::normal::MEDIAN_SIZE;
use crate::vision::Picture;

/// Half the side of the patch, in limbus radii.
const HALF_SIDE: f64 = 0.75;
/// Luma from which a pixel is taken for a reflection of the lamp (of 1).
const HIGHLIGHT: f32 = 0.93;
/// Relative brightness above the local mean that is let count in a fit, and below it where bright and dark are exchanged.
const CLIP: f32 = 0.35;
const BRIGHTEST_MARK: f32 = -2.5;
/// Brightness above that of the pupil about it, relative, from which something narrow lies before it (a hook, a haptic, the shaft of
/// an instrument), at least this many sd of the noise; half the width of what is narrow, in limbus radii.
const COVERS: f32 = 0.25;
const COVERS_NOISE: f64 = 5.0;
const COVER_NARROW: f64 = 0.06;
/// Luma that a local mean counts for at least.
const DARKEST: f32 = 0.02;
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

    /// The greatest value within `reach` px in rows and columns.
    fn dilated(&self, reach: usize) -> Self {
        let mut out = self.clone();
        for _ in 0..2 {
            let wide = out.clone();
            for (row, values) in out.data.chunks_mut(self.side).zip(wide.data.chunks(self.side)) {
                // By distance: a whole row at a time.
                for apart in 1..=reach.min(self.side - 1) {
                    row.iter_mut().zip(&values[apart..]).for_each(|(v, right)| *v = v.max(*right));
                    row[apart..].iter_mut().zip(values).for_each(|(v, left)| *v = v.max(*left));
                }
            }
            out = out.transposed();
        }
        out
    }

    /// How far each value lies below the morphological closing by a square of half-side `reach` px: what is darker
    /// than its surroundings and narrower than the square.
    pub fn narrow_dark(&self, reach: usize) -> Self {
        let mut closed = self.dilated(reach).negated().dilated(reach).negated();
        closed.data.iter_mut().zip(&self.data).for_each(|(c, v)| *c -= v);
        closed
    }

    fn negated(mut self) -> Self {
        self.data.iter_mut().for_each(|v| *v = -*v);
        self
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
    // Where no end is near, three views of the line run side by side.
    let whole = line.len().saturating_sub(2 * reach + 2);
    let (begin, rest) = out.split_at_mut((reach + 1).min(line.len()));
    let (inner, end) = rest.split_at_mut(whole);
    let near_an_end = |first: usize, part: &mut [f32], mut sum: f32| {
        for (i, value) in (first as isize..).zip(part) {
            *value = (sum + fraction * (get(i - r - 1) + get(i + r + 1))) * scale;
            sum += get(i + r + 1) - get(i - r);
        }
        sum
    };
    sum = near_an_end(0, begin, sum);
    let after = line.get(2 * reach + 2..).unwrap_or_default();
    for (((value, before), leaving), after) in inner.iter_mut().zip(line).zip(&line[1..]).zip(after) {
        *value = (sum + fraction * (before + after)) * scale;
        sum += after - leaving;
    }
    near_an_end(reach + 1 + whole, end, sum);
}

/// Luma of the part of a picture that holds the inside of the limbus, finer pictures averaged in whole blocks.
pub struct Source {
    limbus: Ellipse,
    /// Pixels of the picture a pixel here, along one side.
    block: usize,
    corner: (i64, i64),
    width: usize,
    height: usize,
    luma: Vec<f32>,
}

impl Source {
    /// The inside of `limbus`, with at most `most_radius` px to the limbus's radius.
    pub fn new(picture: &Picture, limbus: &Ellipse, most_radius: f64) -> Self {
        let block = (limbus.radius_px() / most_radius).ceil().max(1.0) as usize;
        let e = limbus.matrix();
        let reach_x = HALF_SIDE * (e.m11.abs() + e.m12.abs()) + 2.0;
        let reach_y = HALF_SIDE * (e.m22.abs() + e.m12.abs()) + 2.0;
        let (columns, rows) = (i64::from(picture.width()), i64::from(picture.height()));
        let center = limbus.center();
        let clipped = |place: f64, most: i64| (place as i64).clamp(0, most);
        let (x0, x1) = (clipped(center.x - reach_x, columns), clipped(center.x + reach_x + 1.0, columns));
        let (y0, y1) = (clipped(center.y - reach_y, rows), clipped(center.y + reach_y + 1.0, rows));
        let (width, height) = ((x1 - x0) as usize / block, (y1 - y0) as usize / block);
        let mut luma = vec![0.0; width * height];
        let raw: &[u16] = picture.as_raw();
        for y in 0..height * block {
            let row = &mut luma[y / block * width..][..width];
            let start = ((y0 as usize + y) * columns as usize + x0 as usize) * 3;
            for (out, pixels) in row.iter_mut().zip(raw[start..].chunks_exact(3 * block)) {
                for p in pixels.chunks_exact(3) {
                    *out += 0.299 * f32::from(p[0]) + 0.587 * f32::from(p[1]) + 0.114 * f32::from(p[2]);
                }
            }
        }
        let unit = 1.0 / (65535.0 * (block * block) as f32);
        luma.iter_mut().for_each(|v| *v *= unit);
        Self { limbus: *limbus, block, corner: (x0, y0), width, height, luma }
    }

    /// Pixels here to the limbus's radius.
    pub fn radius(&self) -> f64 {
        self.limbus.radius_px() / self.block as f64
    }

    /// Bilinear luma at a place in the picture's own pixels; `None` outside.
    fn sample(&self, x: f64, y: f64) -> Option<f32> {
        let block = self.block as f64;
        let inner = (block - 1.0) / 2.0;
        let x = (x - self.corner.0 as f64 - inner) / block;
        let y = (y - self.corner.1 as f64 - inner) / block;
        if !(x >= 0.0 && y >= 0.0 && x < self.width as f64 - 1.0 && y < self.height as f64 - 1.0) {
            return None;
        }
        let (x0, y0) = (x as usize, y as usize);
        let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
        let top = &self.luma[y0 * self.width + x0..][..2];
        let bottom = &self.luma[(y0 + 1) * self.width + x0..][..2];
        let (a, b) = (top[0] + (top[1] - top[0]) * fx, bottom[0] + (bottom[1] - bottom[0]) * fx);
        Some(a + (b - a) * fy)
    }
}

/// The patch: relative brightness about its local mean, and where it can be trusted.
pub struct Patch {
    /// Brightness over the local mean, less 1; 0 where nothing is seen.
    pub relative: Plane,
    /// 1 where the pixel counts, 0 outside the picture and on or beside reflections.
    pub weight: Plane,
    /// 1 where a pixel counts in a fit: [`Self::weight`], less what covers the pupil in an [`Self::uncovered`] patch.
    pub fitted: Plane,
    /// The local mean of the luma, 0 to 1.
    pub mean: Plane,
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
        let limbus = &source.limbus;
        let half = (HALF_SIDE * scale).ceil();
        let side = 2 * half as usize + 1;
        let mut luma = Plane::filled(side, 0.0);
        let mut weight = Plane::filled(side, 0.0);
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
                    luma.data[y * side + x] = sum * share;
                    weight.data[y * side + x] = if brightest < HIGHLIGHT { 1.0 } else { 0.0 };
                }
            }
        }
        shrink(&mut weight, (0.012 * scale).round().max(1.0) as usize);
        let mean = local_mean(&luma, &weight, MEAN_SIGMA * scale);
        let relative = over_mean(&luma, &mean, &weight);
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
        let mut luma = self.mean.clone();
        luma.data.iter_mut().zip(&self.relative.data).for_each(|(v, relative)| *v *= 1.0 + relative);
        let mean = local_mean(&luma, &fitted, MEAN_SIGMA * self.scale);
        let relative = over_mean(&luma, &mean, &self.weight);
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
fn over_mean(luma: &Plane, mean: &Plane, weight: &Plane) -> Plane {
    let mut relative = luma.clone();
    for ((value, mean), weight) in relative.data.iter_mut().zip(&mean.data).zip(&weight.data) {
        *value = if *weight > 0.0 { *value / mean.max(DARKEST) - 1.0 } else { 0.0 };
    }
    relative
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
    // The difference has 1.25 times the variance of a pixel.
    (f64::from(*median) / MEDIAN_SIZE / 1.25_f64.sqrt()).max(1e-3)
}
