//! The picture in the making: linear light, what lies over the eye, and soft-edged shapes.

use super::scene::Colour;
use super::view::View;
use crate::geometry::{PixelPoint, Vector};

/// Linear light of red, green and blue; 1 is a white sheet.
pub type Rgb = [f32; 3];

/// The picture in the making.
///
/// It may be coarser than the finished picture (see [`super::scene::Camera::resolution`]); `scale` says by how much.
pub struct Canvas<'a> {
    /// The view.
    pub view: &'a View,
    /// Width, canvas pixels.
    pub width: usize,
    /// Height, canvas pixels.
    pub height: usize,
    /// Canvas pixels to a picture pixel.
    pub scale: f64,
    /// Linear light, row by row.
    pub pixels: Vec<Rgb>,
    /// How much of the eye is covered by what lies over it, 0 to 1.
    pub cover: Vec<f32>,
    /// How much each pixel shows the inside of the pupil, 0 to 1.
    pub pupil: Vec<f32>,
    touched: Vec<u32>,
    nearest: Vec<Near>,
}

/// Where a pixel lies with regard to a stroke.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Near {
    /// How much of the pixel the stroke covers, 0 to 1.
    pub coverage: f32,
    /// Signed distance from the middle line over the half width, -1 to 1 within.
    pub across: f32,
    /// Share of the stroke's points passed, 0 to 1.
    pub along: f32,
}

/// A line through points with a half width at each, in the eye frame, limbus radii.
#[derive(Clone, Debug, Default)]
pub struct Stroke {
    /// Points and half widths.
    pub points: Vec<(Vector, f64)>,
    /// Softness of the edges beyond a pixel, limbus radii.
    pub softness: f64,
}

impl<'a> Canvas<'a> {
    /// A black canvas.
    ///
    /// - `width`, `height`: of the finished picture, px
    /// - `scale`: canvas pixels to a picture pixel
    pub fn new(view: &'a View, width: u32, height: u32, scale: f64) -> Self {
        let side = |v: u32| ((f64::from(v) * scale).round() as usize).max(1);
        let (width, height) = (side(width), side(height));
        let n = width * height;
        Self {
            view,
            width,
            height,
            scale,
            pixels: vec![[0.0; 3]; n],
            cover: vec![0.0; n],
            pupil: vec![0.0; n],
            touched: Vec::new(),
            nearest: vec![Near::default(); n],
        }
    }

    /// Place in the finished picture of a canvas place; pixel areas cover one another.
    pub fn picture_point(&self, column: f64, row: f64) -> PixelPoint {
        PixelPoint::new((column + 0.5) / self.scale - 0.5, (row + 0.5) / self.scale - 0.5)
    }

    /// Place on the canvas of a place in the eye frame.
    pub fn canvas_of(&self, eye: &Vector) -> PixelPoint {
        let p = self.view.picture_of(eye);
        PixelPoint::new((p.x + 0.5) * self.scale - 0.5, (p.y + 0.5) * self.scale - 0.5)
    }

    /// Place in the eye frame of a canvas place.
    pub fn eye_at(&self, column: f64, row: f64) -> Vector {
        self.view.eye_of(&self.picture_point(column, row))
    }

    /// Canvas pixels to a limbus radius.
    pub fn px_per_radius(&self) -> f64 {
        self.view.px_per_radius() * self.scale
    }

    /// Columns and rows, ends excluded, that hold a disc of the eye frame.
    pub fn bounds(&self, center: &Vector, radius: f64) -> [usize; 4] {
        let c = self.canvas_of(center);
        // The longest reach of the disc over x and y is that of its image's bounding box.
        let reach = |e: Vector| self.canvas_of(&(center + e * radius)) - c;
        let (u, v) = (reach(Vector::x()), reach(Vector::y()));
        let (rx, ry) = (u.x.hypot(v.x) + 2.0, u.y.hypot(v.y) + 2.0);
        let clip = |v: f64, most: usize| v.clamp(0.0, most as f64) as usize;
        [
            clip(c.x - rx, self.width),
            clip(c.x + rx + 1.0, self.width),
            clip(c.y - ry, self.height),
            clip(c.y + ry + 1.0, self.height),
        ]
    }

    /// Visit the pixels around a disc of the eye frame: `paint` gets the index and the place in the eye frame.
    pub fn visit(&mut self, center: &Vector, radius: f64, mut paint: impl FnMut(&mut Self, usize, Vector)) {
        let [left, right, top, bottom] = self.bounds(center, radius);
        for row in top..bottom {
            for column in left..right {
                let eye = self.eye_at(column as f64, row as f64);
                paint(self, row * self.width + column, eye);
            }
        }
    }

    /// Visit every pixel a stroke touches, once each.
    pub fn stroke(&mut self, stroke: &Stroke, mut paint: impl FnMut(&mut Self, usize, Near)) {
        let pieces = stroke.points.len().saturating_sub(1);
        let px = 1.0 / self.px_per_radius();
        for (k, pair) in stroke.points.windows(2).enumerate() {
            let ((a, wa), (b, wb)) = (pair[0], pair[1]);
            let (d, middle) = (b - a, (a + b) / 2.0);
            let length2 = d.norm_squared().max(1e-18);
            let edge = px.max(stroke.softness);
            let reach = d.norm() / 2.0 + wa.max(wb) + edge;
            let [left, right, top, bottom] = self.bounds(&middle, reach);
            for row in top..bottom {
                for column in left..right {
                    let arm = self.eye_at(column as f64, row as f64) - a;
                    let t = (arm.dot(&d) / length2).clamp(0.0, 1.0);
                    let half = (wa + (wb - wa) * t).max(1e-9);
                    let away = (arm - d * t).norm();
                    // A line thinner than a pixel keeps its ink: the edge is that of a pixel, the height what is left.
                    let thin = (2.0 * half / px).min(1.0);
                    let coverage = ((half.max(px / 2.0) - away) / edge + 0.5).clamp(0.0, 1.0) * thin;
                    if coverage <= 0.0 {
                        continue;
                    }
                    let index = row * self.width + column;
                    let side = (d.x * arm.y - d.y * arm.x).signum();
                    let near = Near {
                        coverage: coverage as f32,
                        across: (side * away / half).clamp(-1.5, 1.5) as f32,
                        along: ((k as f64 + t) / pieces as f64) as f32,
                    };
                    let old = &mut self.nearest[index];
                    if old.coverage == 0.0 {
                        self.touched.push(index as u32);
                    }
                    let closer = near.coverage == old.coverage && near.across.abs() < old.across.abs();
                    if near.coverage > old.coverage || closer {
                        *old = near;
                    }
                }
            }
        }
        let touched = std::mem::take(&mut self.touched);
        for &index in &touched {
            let near = std::mem::take(&mut self.nearest[index as usize]);
            paint(self, index as usize, near);
        }
        self.touched = touched;
        self.touched.clear();
    }

    /// Lay `colour` over a pixel.
    pub fn lay(&mut self, index: usize, colour: Rgb, opacity: f32) {
        self.pixels[index] = mix(self.pixels[index], colour, opacity);
    }

    /// Lay `colour` over a pixel and count it as covering the eye.
    pub fn lay_over(&mut self, index: usize, colour: Rgb, opacity: f32) {
        self.lay(index, colour, opacity);
        let cover = &mut self.cover[index];
        *cover += (1.0 - *cover) * opacity;
    }
}

/// `a` where `t` is 0, `b` where it is 1.
pub fn mix(a: Rgb, b: Rgb, t: f32) -> Rgb {
    [0, 1, 2].map(|c| a[c] + (b[c] - a[c]) * t)
}

/// Colour times a factor.
pub fn times(a: Rgb, factor: f32) -> Rgb {
    a.map(|v| v * factor)
}

/// Linear light of a display colour (sRGB, IEC 61966-2-1).
pub fn linear(colour: &Colour) -> Rgb {
    colour.map(|v| {
        let v = v / 255.0;
        (if v <= 0.040_45 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }) as f32
    })
}

/// 0 below `from`, 1 above `to`, smooth between.
pub fn smoothstep(from: f64, to: f64, v: f64) -> f64 {
    let t = ((v - from) / (to - from)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// Unit vector in the eye frame, degrees counter-clockwise from the eye's 0.
pub fn along(degrees: f64) -> Vector {
    let (sin, cos) = degrees.to_radians().sin_cos();
    Vector::new(cos, sin)
}
