//! The part of a picture that a patch is resampled from.

use super::patch::HALF_SIDE;
use crate::geometry::Ellipse;
use crate::vision::Picture;

/// What is looked at of a pixel's colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Light {
    /// Luma of ITU-R BT.601, in which dark marks stand out from any ground.
    Luma,
    /// The least of red, green and blue, the whiteness of the HWB model (Smith and Lyons 1996; from memory). A white mark on a bright red reflex is hardly
    /// brighter than it in luma, but much whiter.
    Whiteness,
}

impl Light {
    fn of(self, p: &[u16]) -> f32 {
        match self {
            Self::Luma => 0.299 * f32::from(p[0]) + 0.587 * f32::from(p[1]) + 0.114 * f32::from(p[2]),
            Self::Whiteness => f32::from(p[0].min(p[1]).min(p[2])),
        }
    }
}

/// Light of the part of a picture that holds the inside of the limbus, finer pictures averaged in whole blocks.
pub struct Source {
    limbus: Ellipse,
    /// Pixels of the picture a pixel here, along one side.
    block: usize,
    corner: (i64, i64),
    width: usize,
    height: usize,
    values: Vec<f32>,
}

impl Source {
    /// The inside of `limbus` in `light`, with at most `most_radius` px to the limbus's radius.
    pub fn new(picture: &Picture, limbus: &Ellipse, most_radius: f64, light: Light) -> Self {
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
        let mut values = vec![0.0; width * height];
        let raw: &[u16] = picture.as_raw();
        for y in 0..height * block {
            let row = &mut values[y / block * width..][..width];
            let start = ((y0 as usize + y) * columns as usize + x0 as usize) * 3;
            for (out, pixels) in row.iter_mut().zip(raw[start..].chunks_exact(3 * block)) {
                for p in pixels.chunks_exact(3) {
                    *out += light.of(p);
                }
            }
        }
        let unit = 1.0 / (65535.0 * (block * block) as f32);
        values.iter_mut().for_each(|v| *v *= unit);
        Self { limbus: *limbus, block, corner: (x0, y0), width, height, values }
    }

    /// The limbus, in the picture's own pixels.
    pub fn limbus(&self) -> &Ellipse {
        &self.limbus
    }

    /// Pixels here to the limbus's radius.
    pub fn radius(&self) -> f64 {
        self.limbus.radius_px() / self.block as f64
    }

    /// Bilinear light at a place in the picture's own pixels; `None` outside.
    pub fn sample(&self, x: f64, y: f64) -> Option<f32> {
        let block = self.block as f64;
        let inner = (block - 1.0) / 2.0;
        let x = (x - self.corner.0 as f64 - inner) / block;
        let y = (y - self.corner.1 as f64 - inner) / block;
        if !(x >= 0.0 && y >= 0.0 && x < self.width as f64 - 1.0 && y < self.height as f64 - 1.0) {
            return None;
        }
        let (x0, y0) = (x as usize, y as usize);
        let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
        let top = &self.values[y0 * self.width + x0..][..2];
        let bottom = &self.values[(y0 + 1) * self.width + x0..][..2];
        let (a, b) = (top[0] + (top[1] - top[0]) * fx, bottom[0] + (bottom[1] - bottom[0]) * fx);
        Some(a + (b - a) * fy)
    }
}
