//! Finding the reference marks on the limbus.

use crate::geometry::{Ellipse, Matrix, PixelPoint, Vector};
use crate::vision::Picture;

/// A candidate for a reference mark.
#[derive(Clone, Debug)]
pub struct MarkFinding {
    /// Centroid, px.
    pub centroid: PixelPoint,
    /// Covariance of the centroid, px^2.
    pub covariance: Matrix,
    /// Own direction of an elongated mark (unit, y down, pointing outwards) with its sd in degrees; `None` for a dot.
    pub direction: Option<(Vector, f64)>,
    /// Full length along the radial direction, px (at the fitted limbus's local scale).
    pub length_px: f64,
    /// Full width across, px.
    pub width_px: f64,
    /// How far it stands out from its ground: 1 - mark / ground of the channel that shows it best; negative where brighter.
    pub contrast: f64,
    /// How much it is like a mark and unlike a vessel, bubble, instrument or lash: 0 to 1. Not a probability.
    pub score: f64,
}

/// Candidates for reference marks near `limbus`, the best first.
pub fn find_reference_marks(_picture: &Picture, _limbus: &Ellipse) -> Vec<MarkFinding> {
    Vec::new()
}
