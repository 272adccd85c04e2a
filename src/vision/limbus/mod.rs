//! Finding the limbus.

use crate::geometry::{Ellipse, PixelPoint};
use crate::vision::Picture;
use nalgebra::Matrix5;

/// A limbus found in a picture.
#[derive(Clone, Debug)]
pub struct LimbusFinding {
    /// The fitted ellipse, px.
    pub ellipse: Ellipse,
    /// Covariance of (cx, cy, E11, E12, E22), px^2: see [`crate::geometry::ellipse_fit`].
    pub covariance: Matrix5<f64>,
    /// How much of it was seen, degrees of arc.
    pub visible_arc_deg: f64,
    /// Share of the evidence asked for that was found, 0 to 1. Not a probability.
    pub score: f64,
    /// Edge points that the ellipse was fitted to, px.
    pub edge_points: Vec<PixelPoint>,
}

/// Why there is no limbus.
#[derive(Clone, Debug, thiserror::Error)]
pub enum LimbusRefusal {
    /// Nothing in the picture is enough like a limbus.
    #[error("no limbus found: best candidate scores {score:.2}, need {need:.2}")]
    NotFound {
        /// Score of the best candidate.
        score: f64,
        /// Least score accepted.
        need: f64,
    },
    /// A limbus was found, but too little of it can be seen to place it.
    #[error("only {arc_deg:.0} degrees of the limbus are visible, need {need_deg:.0}")]
    TooLittleVisible {
        /// Arc seen, degrees.
        arc_deg: f64,
        /// Least arc accepted, degrees.
        need_deg: f64,
        /// What was found.
        finding: Box<LimbusFinding>,
    },
}

/// Find the limbus.
///
/// # Errors
/// [`LimbusRefusal`] where none can be answered for.
pub fn find_limbus(_picture: &Picture) -> Result<LimbusFinding, LimbusRefusal> {
    Err(LimbusRefusal::NotFound { score: 0.0, need: 1.0 })
}
