//! One channel of a picture as floating-point numbers, at a working resolution.

use super::Picture;
use image::{ImageBuffer, Luma};
use imageproc::filter::gaussian_blur_f32;

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
        let at = |v: usize, limit: usize| ((v as f64 + 0.5) / block as f64 - 0.5).clamp(0.0, (limit - 1) as f64);
        let columns: Vec<f64> = (0..self.width).map(|x| at(x, w)).collect();
        let data = (0..self.height)
            .flat_map(|y| {
                let row = at(y, h);
                columns.iter().map(move |x| (*x, row)).collect::<Vec<_>>()
            })
            .map(|(x, y)| small.sample(x, y).unwrap_or(0.0))
            .collect();
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
        let mut sums = vec![0_u32; w * 3];
        for y in 0..h {
            sums.fill(0);
            for row in raw[y * block * stride..].chunks_exact(stride).take(block) {
                for (cell, pixels) in sums.chunks_exact_mut(3).zip(row.chunks_exact(3 * block)) {
                    for pixel in pixels.chunks_exact(3) {
                        cell[0] += u32::from(pixel[0]);
                        cell[1] += u32::from(pixel[1]);
                        cell[2] += u32::from(pixel[2]);
                    }
                }
            }
            for (x, cell) in sums.chunks_exact(3).enumerate() {
                for (plane, sum) in planes.iter_mut().zip(cell) {
                    plane[y * w + x] = *sum as f32 * scale;
                }
            }
        }
        let [red, green, blue] = planes.map(|data| Plane { width: w, height: h, data });
        Self { red, green, blue, factor: 1.0 / block as f64 }
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
        Self { red: half(&self.red), green: half(&self.green), blue: half(&self.blue), factor: self.factor / 2.0 }
    }
}
