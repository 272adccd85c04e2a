//! Optics, sensor and recorder: linear light to an 8-bit picture.

use super::canvas::Canvas;
use super::scene::Camera;
use image::RgbImage;
use image::codecs::{jpeg::JpegEncoder, png::PngEncoder};
use image::{ExtendedColorType, ImageEncoder, ImageResult};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// One channel of a picture, row by row, display values 0 to 1.
struct Plane {
    width: usize,
    height: usize,
    values: Vec<f32>,
}

/// The finished picture.
///
/// - `width`, `height`: of the finished picture, px
pub fn record(canvas: &Canvas, camera: &Camera, width: u32, height: u32, rng: &mut ChaCha8Rng) -> RgbImage {
    let mut channels = [0, 1, 2].map(|c| Plane {
        width: canvas.width,
        height: canvas.height,
        values: canvas.pixels.iter().map(|p| p[c].min(6.0)).collect(),
    });
    for plane in &mut channels {
        gaussian(plane, camera.blur_px * canvas.scale);
        motion(plane, camera.motion_px * canvas.scale, camera.motion_deg);
    }
    let mut channels = develop(channels, camera);
    for plane in &mut channels {
        noise(plane, camera.noise_levels / 255.0, rng);
    }
    let [mut luma, mut blue, mut red] = split(channels);
    gaussian(&mut blue, camera.chroma_blur_px);
    gaussian(&mut red, camera.chroma_blur_px);
    sharpen(&mut luma, camera.sharpening);
    let planes = [luma, blue, red].map(|p| resample(p, width as usize, height as usize));
    let mut picture = RgbImage::new(width, height);
    for (k, pixel) in picture.pixels_mut().enumerate() {
        let (y, cb, cr) = (planes[0].values[k], planes[1].values[k], planes[2].values[k]);
        let rgb = [y + 1.402 * cr, y - 0.344_136 * cb - 0.714_136 * cr, y + 1.772 * cb];
        pixel.0 = rgb.map(|v| (v * 255.0).round().clamp(0.0, 255.0) as u8);
    }
    picture
}

/// Encode as the recorder does.
///
/// # Errors
/// What the encoder of the image library reports.
pub fn encode(picture: &RgbImage, camera: &Camera) -> ImageResult<Vec<u8>> {
    let mut bytes = Vec::new();
    let (w, h) = picture.dimensions();
    match camera.jpeg_quality {
        Some(quality) => {
            JpegEncoder::new_with_quality(&mut bytes, quality).write_image(picture, w, h, ExtendedColorType::Rgb8)?;
        }
        None => PngEncoder::new(&mut bytes).write_image(picture, w, h, ExtendedColorType::Rgb8)?,
    }
    Ok(bytes)
}

/// Tone of the recorder: a shoulder for highlights, sRGB, then gamma, contrast, saturation and black level.
pub fn tone(light: [f32; 3], camera: &Camera) -> [f32; 3] {
    let power = (camera.gamma / 2.2) as f32; // a plain power stands in for the curve of sRGB
    let mut v = light.map(|l| {
        let l = l.max(0.0);
        let shouldered = if l < 0.7 { l } else { 0.7 + 0.3 * (1.0 - (-(l - 0.7) / 0.3).exp()) };
        let display = shouldered.powf(power);
        0.5 + (display - 0.5) * camera.contrast as f32
    });
    let grey = 0.299 * v[0] + 0.587 * v[1] + 0.114 * v[2];
    for (c, x) in v.iter_mut().enumerate() {
        let black = (camera.black[c] / 255.0) as f32;
        let saturated = grey + (*x - grey) * camera.saturation as f32;
        *x = (black + saturated.max(0.0) * (1.0 - black)).min(1.0);
    }
    v
}

fn develop(mut channels: [Plane; 3], camera: &Camera) -> [Plane; 3] {
    for k in 0..channels[0].values.len() {
        let v = tone([0, 1, 2].map(|c| channels[c].values[k]), camera);
        for (c, x) in v.into_iter().enumerate() {
            channels[c].values[k] = x;
        }
    }
    channels
}

/// Noise that grows a little with the light, as photons do, after the tone curve.
fn noise(plane: &mut Plane, sd: f64, rng: &mut ChaCha8Rng) {
    if sd <= 0.0 {
        return;
    }
    for v in &mut plane.values {
        let n: f32 = StandardNormal.sample(rng);
        *v = (*v + n * sd as f32 * (0.6 + 0.8 * *v * (1.3 - *v).max(0.2))).max(0.0);
    }
}

/// Red, green and blue to luma and two colour differences (ITU-R BT.601).
fn split(rgb: [Plane; 3]) -> [Plane; 3] {
    let [mut r, mut g, mut b] = rgb;
    for k in 0..r.values.len() {
        let (x, y, z) = (r.values[k], g.values[k], b.values[k]);
        let luma = 0.299 * x + 0.587 * y + 0.114 * z;
        r.values[k] = luma;
        g.values[k] = (z - luma) / 1.772;
        b.values[k] = (x - luma) / 1.402;
    }
    [r, g, b]
}

/// Sharpening by the difference from a blurred copy.
fn sharpen(plane: &mut Plane, strength: f64) {
    if strength <= 0.0 {
        return;
    }
    let mut soft = Plane { width: plane.width, height: plane.height, values: plane.values.clone() };
    gaussian(&mut soft, 1.6);
    for (v, s) in plane.values.iter_mut().zip(&soft.values) {
        *v = (*v + (*v - s) * 1.5 * strength as f32).clamp(0.0, 1.0);
    }
}

/// Gaussian blur, edges repeated.
fn gaussian(plane: &mut Plane, sigma: f64) {
    if sigma < 0.05 {
        return;
    }
    let reach = (sigma * 3.0).ceil().max(1.0) as usize;
    let weight = |k: usize| (-((k as f64 - reach as f64) / sigma).powi(2) / 2.0).exp() as f32;
    let total: f32 = (0..=2 * reach).map(weight).sum();
    let kernel: Vec<f32> = (0..=2 * reach).map(|k| weight(k) / total).collect();
    let (w, h) = (plane.width, plane.height);
    let mut padded = vec![0.0; w + 2 * reach];
    for row in plane.values.chunks_exact_mut(w) {
        for (k, p) in padded.iter_mut().enumerate() {
            *p = row[k.saturating_sub(reach).min(w - 1)];
        }
        for (x, v) in row.iter_mut().enumerate() {
            *v = padded[x..].iter().zip(&kernel).map(|(p, k)| p * k).sum();
        }
    }
    let source = plane.values.clone();
    for (y, row) in plane.values.chunks_exact_mut(w).enumerate() {
        row.fill(0.0);
        for (k, weight) in kernel.iter().enumerate() {
            let from = (y + k).saturating_sub(reach).min(h - 1) * w;
            for (v, s) in row.iter_mut().zip(&source[from..from + w]) {
                *v += s * weight;
            }
        }
    }
}

/// Blur along a line.
fn motion(plane: &mut Plane, length: f64, direction_deg: f64) {
    if length < 0.5 {
        return;
    }
    let (sin, cos) = direction_deg.to_radians().sin_cos();
    let steps = (length * 1.5).ceil() as i32 + 1;
    let (w, h) = (plane.width as i32, plane.height as i32);
    let source = plane.values.clone();
    plane.values.fill(0.0);
    for k in 0..steps {
        let t = (f64::from(k) / f64::from(steps - 1) - 0.5) * length;
        let (dx, dy) = (t * cos, -t * sin);
        let (ix, iy) = (dx.floor(), dy.floor());
        let (fx, fy) = ((dx - ix) as f32, (dy - iy) as f32);
        let corners =
            [(0, 0, (1.0 - fx) * (1.0 - fy)), (1, 0, fx * (1.0 - fy)), (0, 1, (1.0 - fx) * fy), (1, 1, fx * fy)];
        for (ox, oy, weight) in corners {
            let weight = weight / steps as f32;
            for y in 0..h {
                let from = (y + iy as i32 + oy).clamp(0, h - 1) * w;
                let row = &mut plane.values[(y * w) as usize..((y + 1) * w) as usize];
                for (x, v) in row.iter_mut().enumerate() {
                    *v += weight * source[(from + (x as i32 + ix as i32 + ox).clamp(0, w - 1)) as usize];
                }
            }
        }
    }
}

/// Bilinear resampling, pixel areas covering one another.
fn resample(plane: Plane, width: usize, height: usize) -> Plane {
    if (plane.width, plane.height) == (width, height) {
        return plane;
    }
    let taps = |k: usize, to: usize, from: usize| {
        let at = ((k as f64 + 0.5) * from as f64 / to as f64 - 0.5).clamp(0.0, from as f64 - 1.0);
        let low = at.floor();
        (low as usize, (low as usize + 1).min(from - 1), (at - low) as f32)
    };
    let columns: Vec<_> = (0..width).map(|x| taps(x, width, plane.width)).collect();
    let mut values = Vec::with_capacity(width * height);
    for y in 0..height {
        let (top, bottom, t) = taps(y, height, plane.height);
        for &(left, right, s) in &columns {
            let at = |row: usize, column: usize| plane.values[row * plane.width + column];
            let upper = at(top, left) + (at(top, right) - at(top, left)) * s;
            let lower = at(bottom, left) + (at(bottom, right) - at(bottom, left)) * s;
            values.push(upper + (lower - upper) * t);
        }
    }
    Plane { width, height, values }
}
