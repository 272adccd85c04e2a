//! One channel of a picture as floating-point numbers, at a working resolution.

use super::Picture;
use crate::geometry::{PixelPoint, Vector};
use image::{ImageBuffer, Luma};
use imageproc::filter::gaussian_blur_f32;

/// Level, 0 to 1, from which a channel is bright, begins to burn out and is burnt out.
const BRIGHT: f32 = 0.75;
const BURNING: f32 = 0.94;
const BURNT: f32 = 0.99;
/// A channel raised by more than this has been restored: two to three of 255 levels.
const SEEN: f32 = 0.01;
/// Share of what is bright that is taken for white: the least coloured; sclera, not skin. And the least share of a picture that must
/// be bright to tell.
const WHITEST: f64 = 0.25;
const LEAST_BRIGHT: f64 = 0.005;

/// A grey picture of `f32`, pixel centres at integers.
#[derive(Clone, Debug)]
pub struct Plane {
    width: usize,
    height: usize,
    data: Vec<f32>,
}

impl Plane {
    /// A plane of the given size and row-major data; `None` unless the sizes agree and are not null.
    pub fn new(width: usize, height: usize, data: Vec<f32>) -> Option<Self> {
        (width > 0 && height > 0 && data.len() == width * height).then_some(Self { width, height, data })
    }

    /// Width, px.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Height, px.
    pub fn height(&self) -> usize {
        self.height
    }

    /// Row-major values.
    pub fn data(&self) -> &[f32] {
        &self.data
    }

    /// The value at a pixel inside the plane.
    pub fn get(&self, x: usize, y: usize) -> f32 {
        self.data[y * self.width + x]
    }

    /// Bilinear sample; `None` outside the outermost pixel centres.
    pub fn sample(&self, x: f64, y: f64) -> Option<f32> {
        if !(x >= 0.0 && y >= 0.0 && x <= (self.width - 1) as f64 && y <= (self.height - 1) as f64) {
            return None;
        }
        let (x0, y0) = (x as usize, y as usize);
        let (x1, y1) = ((x0 + 1).min(self.width - 1), (y0 + 1).min(self.height - 1));
        let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
        let top = self.get(x0, y0) + (self.get(x1, y0) - self.get(x0, y0)) * fx;
        let bottom = self.get(x0, y1) + (self.get(x1, y1) - self.get(x0, y1)) * fx;
        Some(top + (bottom - top) * fy)
    }

    /// Bilinear samples at `from`, `from + step`, and so on; NaN outside the outermost pixel centres.
    pub fn along(&self, from: PixelPoint, step: Vector, samples: &mut [f32]) {
        let (right, bottom) = ((self.width - 1) as f32, (self.height - 1) as f32);
        let (x, y, dx, dy) = (from.x as f32, from.y as f32, step.x as f32, step.y as f32);
        for (i, sample) in samples.iter_mut().enumerate() {
            let (x, y) = (x + i as f32 * dx, y + i as f32 * dy);
            if !(x >= 0.0 && y >= 0.0 && x <= right && y <= bottom) {
                *sample = f32::NAN;
                continue;
            }
            // Through i32, which the processor casts to directly.
            let (column, row) = (x as i32, y as i32);
            let (fx, fy) = (x - column as f32, y - row as f32);
            let (x0, y0) = (column as usize, row as usize);
            let at = y0 * self.width + x0;
            let across = usize::from(x0 + 1 < self.width);
            let down = if y0 + 1 < self.height { self.width } else { 0 };
            let (a, b) = (self.data[at], self.data[at + across]);
            let (c, d) = (self.data[at + down], self.data[at + down + across]);
            let (top, below) = (a + (b - a) * fx, c + (d - c) * fx);
            *sample = top + (below - top) * fy;
        }
    }

    /// Gaussian blur of standard deviation `sigma` px.
    pub fn blurred(&self, sigma: f32) -> Self {
        if sigma < 0.2 {
            return self.clone();
        }
        let buffer: ImageBuffer<Luma<f32>, Vec<f32>> =
            ImageBuffer::from_raw(self.width as u32, self.height as u32, self.data.clone())
                .unwrap_or_else(|| ImageBuffer::new(self.width as u32, self.height as u32));
        Self { width: self.width, height: self.height, data: gaussian_blur_f32(&buffer, sigma).into_raw() }
    }

    /// Gaussian mean of a wide neighbourhood, standard deviation `sigma` px: taken at a lower resolution, since it is
    /// smooth, and interpolated.
    pub fn local_mean(&self, sigma: f64) -> Self {
        let block = ((sigma / 3.0).floor() as usize).clamp(1, self.width.min(self.height));
        let (w, h) = (self.width / block, self.height / block);
        let share = 1.0 / (block * block) as f32;
        let mut small = vec![0.0_f32; w * h];
        for y in 0..h * block {
            let row = &self.data[y * self.width..(y + 1) * self.width];
            for (cell, values) in small[(y / block) * w..].iter_mut().zip(row.chunks_exact(block)).take(w) {
                *cell += values.iter().sum::<f32>() * share;
            }
        }
        let small = Self { width: w, height: h, data: small }.blurred((sigma / block as f64) as f32);
        // Linear between the centres of the blocks: first down, a row at a time, then across.
        let between = |v: usize, limit: usize| {
            let at = ((v as f32 + 0.5) / block as f32 - 0.5).clamp(0.0, (limit - 1) as f32);
            (at as usize, (at as usize + 1).min(limit - 1), at.fract())
        };
        let columns: Vec<(usize, usize, f32)> = (0..self.width).map(|x| between(x, w)).collect();
        let mut row = vec![0.0; w];
        let mut data = Vec::with_capacity(self.data.len());
        for y in 0..self.height {
            let (above, below, share) = between(y, h);
            for (x, cell) in row.iter_mut().enumerate() {
                *cell = small.get(x, above) + (small.get(x, below) - small.get(x, above)) * share;
            }
            data.extend(columns.iter().map(|&(left, right, share)| row[left] + (row[right] - row[left]) * share));
        }
        Self { width: self.width, height: self.height, data }
    }

    /// A new plane of `combine(self, other)` pixel by pixel; both of one size.
    pub fn zip(&self, other: &Self, combine: impl Fn(f32, f32) -> f32) -> Self {
        let data = self.data.iter().zip(&other.data).map(|(a, b)| combine(*a, *b)).collect();
        Self { width: self.width, height: self.height, data }
    }

    /// A new plane of `change(self)` pixel by pixel.
    pub fn map(&self, change: impl Fn(f32) -> f32) -> Self {
        Self { width: self.width, height: self.height, data: self.data.iter().map(|v| change(*v)).collect() }
    }
}

/// The three channels of a picture at a working resolution, each 0 to 1.
#[derive(Clone, Debug)]
pub struct Channels {
    /// Red.
    pub red: Plane,
    /// Green.
    pub green: Plane,
    /// Blue.
    pub blue: Plane,
    /// Where red or green was restored, 1; elsewhere 0: see [`Channels::restored`].
    pub restored: Plane,
    /// Working pixels per picture pixel, at most 1.
    pub factor: f64,
}

impl Channels {
    /// Average whole blocks of pixels so that the long side has about `long_side` working pixels (never enlarged).
    ///
    /// Blocks are whole, so that a working pixel at x covers picture pixels x n to x n + n - 1: a place p of the picture
    /// lies at (p + 1/2) / n - 1/2.
    pub fn shrunk(picture: &Picture, long_side: u32) -> Self {
        let (width, height) = picture.dimensions();
        let block = (f64::from(width.max(height)) / f64::from(long_side)).round().max(1.0) as usize;
        let (w, h) = ((width as usize / block).max(1), (height as usize / block).max(1));
        let block = block.min(width as usize).min(height as usize).max(1);
        let scale = 1.0 / (block * block) as f32 / 65535.0;
        let stride = width as usize * 3;
        let raw = picture.as_raw();
        let mut planes = [vec![0.0_f32; w * h], vec![0.0; w * h], vec![0.0; w * h]];
        let mut sums = vec![0_u32; stride];
        for y in 0..h {
            // Down first: whole rows are added many values at a time.
            sums.fill(0);
            for row in raw[y * block * stride..].chunks_exact(stride).take(block) {
                for (sum, value) in sums.iter_mut().zip(row) {
                    *sum += u32::from(*value);
                }
            }
            for (x, cell) in sums.chunks_exact(3 * block).take(w).enumerate() {
                let mut whole = [0_u32; 3];
                for pixel in cell.chunks_exact(3) {
                    for (to, from) in whole.iter_mut().zip(pixel) {
                        *to += from;
                    }
                }
                for (plane, sum) in planes.iter_mut().zip(whole) {
                    plane[y * w + x] = sum as f32 * scale;
                }
            }
        }
        let [red, green, blue] = planes.map(|data| Plane { width: w, height: h, data });
        let restored = red.map(|_| 0.0);
        Self { red, green, blue, restored, factor: 1.0 / block as f64 }
    }

    /// With red and green restored from blue where they are burnt out: as much of them as white of that blue would have. Under
    /// the warm light of a microscope blue burns out last, so that an iris and a sclera as bright as red and green can tell
    /// still differ in it. Values may then exceed 1. What is white is taken from what is bright but not burnt out; where too
    /// little is, nothing is restored.
    pub fn restored(mut self) -> Self {
        for plane in [&mut self.red, &mut self.green] {
            let Some(of_blue) = of_blue_in_white(plane, &self.blue) else { continue };
            for ((value, blue), restored) in plane.data.iter_mut().zip(&self.blue.data).zip(&mut self.restored.data) {
                let burnt = ((*value - BURNING) / (BURNT - BURNING)).clamp(0.0, 1.0);
                let more = burnt * (of_blue * blue - *value).max(0.0);
                *value += more;
                if more > SEEN {
                    *restored = 1.0;
                }
            }
        }
        self
    }

    /// Half the resolution again.
    pub fn halved(&self) -> Self {
        let half = |plane: &Plane| {
            let (w, h) = ((plane.width / 2).max(1), (plane.height / 2).max(1));
            let data = (0..w * h)
                .map(|i| {
                    let (x, y) = (2 * (i % w), 2 * (i / w));
                    let (x1, y1) = ((x + 1).min(plane.width - 1), (y + 1).min(plane.height - 1));
                    (plane.get(x, y) + plane.get(x1, y) + plane.get(x, y1) + plane.get(x1, y1)) / 4.0
                })
                .collect();
            Plane { width: w, height: h, data }
        };
        Self {
            red: half(&self.red),
            green: half(&self.green),
            blue: half(&self.blue),
            restored: half(&self.restored),
            factor: self.factor / 2.0,
        }
    }
}

/// How many times as much of a channel as of blue there is in white; `None` where too little of the picture is bright.
fn of_blue_in_white(plane: &Plane, blue: &Plane) -> Option<f32> {
    let bright =
        plane.data.iter().zip(&blue.data).filter(|(value, blue)| (BRIGHT..BURNING).contains(*value) && **blue > 0.0);
    let mut times: Vec<f32> = bright.map(|(value, blue)| value / blue).collect();
    if (times.len() as f64) < LEAST_BRIGHT * plane.data.len() as f64 {
        return None;
    }
    let at = (times.len() as f64 * WHITEST) as usize;
    Some(*times.select_nth_unstable_by(at, f32::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: bright and not burnt out are red 0.75 over blue 0.5, 1.5 times, and twice 0.9 over 0.3. Where red is burnt out, blue of
    /// 0.8 stands for 1.2 of red and blue of 0.5 for no more than is seen; half burnt out at 0.965 for half of what is more.
    #[test]
    fn burnt_out_red_is_restored_from_blue() {
        let red = [0.75, 0.9, 0.9, 1.0, 1.0, 0.965];
        let blue = [0.5, 0.3, 0.3, 0.8, 0.5, 0.8];
        let plane = |values: &[f32]| Plane::new(values.len(), 1, values.to_vec()).unwrap();
        let (green, none) = (plane(&[0.2; 6]), plane(&[0.0; 6]));
        let channels = Channels { red: plane(&red), green, blue: plane(&blue), restored: none, factor: 1.0 };
        let restored = channels.restored();
        for (got, expected) in restored.red.data.iter().zip([0.75, 0.9, 0.9, 1.2, 1.0, 0.965 + 0.5 * (1.2 - 0.965)]) {
            assert!((got - expected).abs() < 1e-5, "{:?}", restored.red.data);
        }
        assert_eq!(restored.green.data, [0.2; 6]);
        assert_eq!(restored.blue.data, blue);
        assert_eq!(restored.restored.data, [0.0, 0.0, 0.0, 1.0, 0.0, 1.0]);
    }

    fn ramp(width: usize, height: usize) -> Plane {
        let data = (0..width * height).map(|i| (i % width) as f32 * 0.5 - (i / width) as f32).collect();
        Plane::new(width, height, data).unwrap()
    }

    #[test]
    fn samples_along_a_ray_are_those_taken_one_by_one() {
        let plane = Plane::new(9, 7, (0..63).map(|i| ((i * 37) % 11) as f32).collect()).unwrap();
        for (step, count) in [((0.37, 0.21), 30), ((-0.5, 0.4), 12), ((0.0, -1.0), 8)] {
            let (from, step) = (PixelPoint::new(3.25, 3.0), Vector::new(step.0, step.1));
            let mut samples = vec![0.0; count];
            plane.along(from, step, &mut samples);
            for (i, along) in samples.iter().enumerate() {
                let p = from + step * i as f64;
                match plane.sample(p.x, p.y) {
                    Some(one) => assert!((along - one).abs() < 1e-4, "{along} against {one} at {p}"),
                    None => assert!(along.is_nan()),
                }
            }
            assert!(samples.iter().any(|v| v.is_nan()) && !samples[0].is_nan());
        }
    }

    /// A symmetric mean leaves a plane that rises evenly as it is, away from the border.
    #[test]
    fn local_mean_of_a_ramp_is_the_ramp() {
        let plane = ramp(120, 90);
        for sigma in [2.0, 4.0, 7.5] {
            let mean = plane.local_mean(sigma);
            for (x, y) in [(60, 45), (50, 40), (71, 52)] {
                assert!((mean.get(x, y) - plane.get(x, y)).abs() < 0.05, "{} at {x}, {y}", mean.get(x, y));
            }
        }
    }
}
