//! Sampling a picture between its pixels.

use super::Picture;
use crate::geometry::PixelPoint;

/// Bilinear sample at `point` (px, pixel centres at integers), each channel 0 to 1; `None` outside the picture.
pub fn sample(picture: &Picture, point: &PixelPoint) -> Option<[f32; 3]> {
    let (width, height) = picture.dimensions();
    let inside =
        point.x >= 0.0 && point.y >= 0.0 && point.x <= f64::from(width) - 1.0 && point.y <= f64::from(height) - 1.0;
    if !inside {
        return None;
    }
    // Not negative here, so that the cast rounds down; through i32, which the processor casts to directly.
    let (x0, y0) = (point.x as i32, point.y as i32);
    let (fx, fy) = ((point.x - f64::from(x0)) as f32, (point.y - f64::from(y0)) as f32);
    let (x0, y0) = (x0 as usize, y0 as usize);
    let stride = width as usize * 3;
    let right = if x0 + 1 < width as usize { 3 } else { 0 };
    let below = if y0 + 1 < height as usize { stride } else { 0 };
    let raw = picture.as_raw().get(y0 * stride + x0 * 3..)?;
    let pixel = |at: usize| raw.get(at..)?.first_chunk::<3>();
    let (a, b, c, d) = (pixel(0)?, pixel(right)?, pixel(below)?, pixel(below + right)?);
    let mut value = [0.0; 3];
    for k in 0..3 {
        let top = f32::from(a[k]) + (f32::from(b[k]) - f32::from(a[k])) * fx;
        let bottom = f32::from(c[k]) + (f32::from(d[k]) - f32::from(c[k])) * fx;
        value[k] = (top + (bottom - top) * fy) / 65535.0;
    }
    Some(value)
}
