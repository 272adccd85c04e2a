//! Straight line of least weighted orthogonal distance.

use super::{Matrix, PixelPoint, Vector};

/// A fitted line with the variance of its direction.
#[derive(Clone, Copy, Debug)]
pub struct LineFit {
    /// Weighted centroid, px; the line goes through it.
    pub centroid: PixelPoint,
    /// Unit direction (y down), of either sense.
    pub direction: Vector,
    /// Spread of the points along the line, sd in px.
    pub along_px: f64,
    /// Spread of the points across the line, sd in px.
    pub across_px: f64,
    /// Sum over the points of weight times squared place along the line, px^2 times the unit of the weights.
    pub leverage: f64,
}

impl LineFit {
    /// Standard deviation of the direction in degrees where each point of weight 1 is `sd_px` off across the line.
    ///
    /// Source: the Cramer-Rao bound of a line, sd / sqrt(sum t^2).
    pub fn direction_sd_deg(&self, sd_px: f64) -> f64 {
        (sd_px / self.leverage.sqrt()).to_degrees()
    }
}

/// Line through weighted points: the principal axis of their second moments. `None` with fewer than two places
/// apart, or without weight.
pub fn fit_line(points: &[PixelPoint], weights: &[f64]) -> Option<LineFit> {
    let total: f64 = weights.iter().sum();
    if points.len() < 2 || points.len() != weights.len() || !total.is_finite() || total <= 0.0 {
        return None;
    }
    let mean = points.iter().zip(weights).fold(Vector::zeros(), |s, (p, w)| s + p.coords * *w) / total;
    let mut moment = Matrix::zeros();
    for (p, w) in points.iter().zip(weights) {
        let d = p.coords - mean;
        moment += d * d.transpose() * *w;
    }
    let angle = 0.5 * (2.0 * moment.m12).atan2(moment.m11 - moment.m22);
    let direction = Vector::new(angle.cos(), angle.sin());
    let across = Vector::new(-direction.y, direction.x);
    let leverage = direction.dot(&(moment * direction));
    if leverage.is_nan() || leverage <= 0.0 {
        return None;
    }
    Some(LineFit {
        centroid: PixelPoint::from(mean),
        direction,
        along_px: (leverage / total).sqrt(),
        across_px: (across.dot(&(moment * across)).max(0.0) / total).sqrt(),
        leverage,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Axis;

    #[test]
    fn every_degree() {
        for degrees in 0..180 {
            let d = crate::geometry::direction_of(f64::from(degrees));
            let points: Vec<_> = (-5..=5).map(|k| PixelPoint::new(100.0, 50.0) + d * f64::from(k)).collect();
            let fit = fit_line(&points, &[1.0; 11]).unwrap();
            let turn = Axis::of(&fit.direction).unwrap().turn_to(Axis::from_degrees(f64::from(degrees)).unwrap());
            assert!(turn.abs() < 1e-9);
            assert!(fit.across_px < 1e-6);
        }
    }

    /// The bound for a line: three dots either side at 88 px, each 0.2 px off, give 0.05316 degrees
    /// (sd / sqrt(sum t^2), computed independently).
    #[test]
    fn direction_bound() {
        let points: Vec<_> = [-88.0, 88.0].iter().flat_map(|&x| [PixelPoint::new(x, 0.0); 3]).collect();
        let fit = fit_line(&points, &[1.0; 6]).unwrap();
        assert!((fit.direction_sd_deg(0.2) - 0.05316).abs() < 1e-5);
    }

    #[test]
    fn one_place_is_no_line() {
        assert!(fit_line(&[PixelPoint::new(1.0, 1.0); 4], &[1.0; 4]).is_none());
        assert!(fit_line(&[PixelPoint::new(1.0, 1.0), PixelPoint::new(2.0, 1.0)], &[0.0; 2]).is_none());
    }
}
