//! The shapes that a group of lens marks can have.

use crate::geometry::Vector;

/// What a group consists of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// So many round dots in a row along the axis.
    Dots(u8),
    /// One dash along the axis.
    Dash,
    /// Two thin lines side by side, both along the axis.
    Lines,
}

/// Geometry of a group in the patch.
#[derive(Clone, Copy, Debug)]
pub struct Shape {
    /// Centroid, px.
    pub place: Vector,
    /// Direction, radians from x right to y down.
    pub angle: f64,
    /// Spacing of dots, or half the length of a line, px.
    pub extent: f64,
    /// Standard deviation of a dot or of a line's cross-section, px.
    pub sigma: f64,
    /// Half the distance between two lines, px.
    pub gap: f64,
}

/// Number of geometry parameters: x, y, angle, log extent, log sigma, log gap.
pub const FREE: usize = 6;
/// What shapes there can be, in limbus radii: spacing of dots, half the length of lines, standard deviation of a dot or
/// of a line's cross-section, half the distance of two lines.
const SPACING: (f64, f64) = (0.028, 0.10);
const HALF_LENGTH: (f64, f64) = (0.025, 0.13);
const SIGMA: (f64, f64) = (0.004, 0.024);
const GAP: (f64, f64) = (0.006, 0.04);
/// Square of the distance from a mark, in standard deviations, from which it is nil.
const FAR_SQUARE: f64 = 20.0;

/// A shape ready to be evaluated at many places.
pub struct Marks {
    kind: Kind,
    shape: Shape,
    sin: f64,
    cos: f64,
}

impl Marks {
    /// Ready `shape`.
    pub fn new(kind: Kind, shape: &Shape) -> Self {
        let (sin, cos) = shape.angle.sin_cos();
        Self { kind, shape: *shape, sin, cos }
    }

    /// Value at a place (px): 1 in the middle of a dot or line, 0 far away.
    pub fn value(&self, x: f64, y: f64) -> f64 {
        self.with_derivatives(x, y).map_or(0.0, |v| v.0)
    }

    /// Value and its derivatives by the geometry parameters; `None` where both are nil.
    pub fn with_derivatives(&self, x: f64, y: f64) -> Option<(f64, [f64; FREE])> {
        let Shape { place, extent, sigma, gap, .. } = self.shape;
        let (sin, cos) = (self.sin, self.cos);
        let (dx, dy) = (x - place.x, y - place.y);
        let (s, t) = (dx * cos + dy * sin, dy * cos - dx * sin);
        let variance = sigma * sigma;
        let (mut value, mut by_s, mut by_t) = (0.0, 0.0, 0.0);
        let (mut by_extent, mut by_sigma, mut by_gap) = (0.0, 0.0, 0.0);
        match self.kind {
            Kind::Dots(count) => {
                for k in 0..count {
                    let step = f64::from(k) - f64::from(count - 1) / 2.0;
                    let d = s - step * extent;
                    let square = (d * d + t * t) / variance;
                    if square > FAR_SQUARE {
                        continue;
                    }
                    let e = (-square / 2.0).exp();
                    value += e;
                    by_s -= d / variance * e;
                    by_t -= t / variance * e;
                    by_extent += step * d / variance * e;
                    by_sigma += square * e;
                }
            }
            Kind::Dash | Kind::Lines => {
                // Ends as soft as the flanks: a logistic of the same slope at its middle as a Gaussian's integral.
                let soft = sigma * 0.6;
                let nearest = if self.kind == Kind::Dash { t.abs() } else { (t.abs() - gap).abs() };
                if nearest * nearest > FAR_SQUARE * variance || s.abs() > extent + 8.0 * soft {
                    return None;
                }
                let (near, far) = (logistic((s + extent) / soft), logistic((s - extent) / soft));
                let (near_slope, far_slope) = (near * (1.0 - near) / soft, far * (1.0 - far) / soft);
                let along = near - far;
                let offsets: &[f64] = if self.kind == Kind::Dash { &[0.0] } else { &[-1.0, 1.0] };
                for side in offsets {
                    let d = t - side * gap;
                    let square = d * d / variance;
                    let e = (-square / 2.0).exp();
                    value += along * e;
                    by_s += (near_slope - far_slope) * e;
                    by_t -= d / variance * along * e;
                    by_extent += (near_slope + far_slope) * e;
                    by_sigma += square * along * e;
                    by_gap += side * d / variance * along * e;
                }
            }
        }
        let derivatives = [
            -by_s * cos + by_t * sin,
            -by_s * sin - by_t * cos,
            by_s * t - by_t * s,
            by_extent * extent,
            by_sigma,
            by_gap * gap,
        ];
        (value > 0.0).then_some((value, derivatives))
    }
}

impl Shape {
    /// Centroids of the single dots or lines, px.
    pub fn centroids(&self, kind: Kind) -> Vec<Vector> {
        let (sin, cos) = self.angle.sin_cos();
        match kind {
            Kind::Dots(count) => (0..count)
                .map(|k| f64::from(k) - f64::from(count - 1) / 2.0)
                .map(|step| self.place + Vector::new(cos, sin) * (step * self.extent))
                .collect(),
            Kind::Dash => vec![self.place],
            Kind::Lines => [-1.0, 1.0].map(|side| self.place + Vector::new(-sin, cos) * (side * self.gap)).to_vec(),
        }
    }

    /// The nearest shape that there can be; `scale` is the limbus's radius, px.
    pub fn within_range(mut self, kind: Kind, scale: f64) -> Self {
        let range = if matches!(kind, Kind::Dots(_)) { SPACING } else { HALF_LENGTH };
        self.extent = self.extent.clamp(range.0 * scale, range.1 * scale);
        self.sigma = self.sigma.clamp(SIGMA.0 * scale, SIGMA.1 * scale);
        self.gap = self.gap.clamp(GAP.0 * scale, GAP.1 * scale);
        match kind {
            // Dots that run into one another are a dash, and so are two lines.
            Kind::Dots(_) => self.sigma = self.sigma.min(0.42 * self.extent),
            Kind::Lines => self.sigma = self.sigma.min(0.7 * self.gap),
            Kind::Dash => {}
        }
        self
    }

    /// Half the length of the whole group, px.
    pub fn half_length(&self, kind: Kind) -> f64 {
        match kind {
            Kind::Dots(count) => f64::from(count - 1) / 2.0 * self.extent + 1.5 * self.sigma,
            Kind::Dash | Kind::Lines => self.extent + 0.5 * self.sigma,
        }
    }
}

fn logistic(x: f64) -> f64 {
    1.0 / (1.0 + (-x).exp())
}
