//! Finding the axis marks of the lens.

use crate::geometry::{Ellipse, Matrix, PixelPoint};
use crate::vision::Picture;

/// One dot or dash of the lens.
#[derive(Clone, Debug)]
pub struct LensMarkFinding {
    /// Centroid, px.
    pub centroid: PixelPoint,
    /// Covariance of the centroid, px^2.
    pub covariance: Matrix,
    /// 0 or 1: which of the two groups.
    pub group: u8,
}

/// The marks of a lens, as one consistent reading of the picture.
#[derive(Clone, Debug)]
pub struct LensFinding {
    /// All dots and dashes used.
    pub marks: Vec<LensMarkFinding>,
    /// Two points on the lens axis with their covariances (px, px^2): the weighted centroids of the two groups, or,
    /// where one group is hidden, of the ends of what is left (see `groups_seen`).
    pub ends: [(PixelPoint, Matrix); 2],
    /// 2, or 1 where one group is hidden.
    pub groups_seen: u8,
    /// How much it is like lens marks, 0 to 1. Not a probability.
    pub score: f64,
}

/// Why the lens axis cannot be read.
#[derive(Clone, Debug, thiserror::Error)]
pub enum LensRefusal {
    /// No group of marks found.
    #[error("no lens marks found: the best candidate scores {score:.2}, need {need:.2}")]
    Missing {
        /// Score of the best candidate.
        score: f64,
        /// Least score accepted.
        need: f64,
    },
    /// Two readings fit nearly alike.
    #[error("two readings of the lens marks fit nearly alike")]
    Ambiguous {
        /// The readings, the better first.
        readings: [Box<LensFinding>; 2],
    },
}

/// Find the lens marks inside `limbus`.
///
/// # Errors
/// [`LensRefusal`] where no reading can be answered for.
pub fn find_lens_marks(_picture: &Picture, _limbus: &Ellipse) -> Result<LensFinding, LensRefusal> {
    Err(LensRefusal::Missing { score: 0.0, need: 1.0 })
}
