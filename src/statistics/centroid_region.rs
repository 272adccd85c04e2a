//! The 95 % region of a mean in the plane.

use super::COVERAGE;
use super::clusters::{covariance_of_mean, numbered};
use super::distributions::f_quantile;
use crate::geometry::wrap;

/// An ellipse about a mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CentroidRegion {
    /// The mean.
    pub center: [f64; 2],
    /// Semi-axes, the longer first.
    pub semi_axes: [f64; 2],
    /// Direction of the longer one from the first coordinate towards the second, degrees, [0, 180).
    pub angle_deg: f64,
    /// Whether the origin lies outside: the mean differs from nothing at 5 %.
    pub excludes_origin: bool,
}

impl CentroidRegion {
    /// Region that holds the true mean with probability 0.95, by Hotelling's T^2: with C independent clusters, (C - 1) 2 / (C - 2)
    /// F(2, C - 2) bounds the squared distance in the metric of the mean's covariance, that over clusters ([`covariance_of_mean`]).
    /// `None` for fewer than three clusters, or where the points lie on a line.
    ///
    /// - `cluster`: of each point, any numbers
    /// - `inflation`: factor on the semi-axes, for points whose cluster is not known; 1 as a rule
    ///
    /// Source: Hotelling (1931), Ann Math Stat 2:360-378; Johnson & Wichern, Applied Multivariate Statistical Analysis, 5.4 (from
    /// memory).
    pub fn of(points: &[[f64; 2]], cluster: &[usize], inflation: f64) -> Option<Self> {
        let clusters = numbered(cluster.iter()).1 as f64;
        if clusters < 3.0 {
            return None;
        }
        let (mean, covariance) = covariance_of_mean(points, cluster)?;
        let bound =
            inflation.powi(2) * 2.0 * (clusters - 1.0) / (clusters - 2.0) * f_quantile(COVERAGE, 2.0, clusters - 2.0);
        let inverse = covariance.try_inverse()?;
        let eigen = covariance.symmetric_eigen();
        let long = usize::from(eigen.eigenvalues[1] > eigen.eigenvalues[0]);
        let axis = eigen.eigenvectors.column(long);
        let semi = |k: usize| (bound * eigen.eigenvalues[k].max(0.0)).sqrt();
        Some(Self {
            center: mean.into(),
            semi_axes: [semi(long), semi(1 - long)],
            angle_deg: wrap(axis[1].atan2(axis[0]).to_degrees(), 180.0),
            excludes_origin: (mean.transpose() * inverse * mean)[0] > bound,
        })
    }

    /// `count` points around it, for drawing.
    pub fn outline(&self, count: u32) -> Vec<[f64; 2]> {
        let (sin, cos) = self.angle_deg.to_radians().sin_cos();
        let place = |k: u32| {
            let (y, x) = (std::f64::consts::TAU * f64::from(k) / f64::from(count)).sin_cos();
            let (x, y) = (x * self.semi_axes[0], y * self.semi_axes[1]);
            [self.center[0] + x * cos - y * sin, self.center[1] + x * sin + y * cos]
        };
        (0..count).map(place).collect()
    }
}
