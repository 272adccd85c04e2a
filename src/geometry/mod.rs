//! Axes, ellipses, lines and their uncertainty. Knows no pixel buffer, file or argument.
//!
//! Two frames are used throughout:
//!
//! - the *picture*: pixels, centres at integers, x right, y **down**;
//! - the *plane of the limbus*: millimetres from the centre of the limbus, same orientation (y down), reached
//!   through [`EyeMap`], which undoes tilt and squeezed pixels.
//!
//! Angles that people read are degrees counter-clockwise as seen, y **up**: [`ccw_degrees`] and [`direction_of`]
//! go from the one to the other.

mod angle;
mod ellipse;
pub mod ellipse_fit;
mod eye_map;

pub use angle::{Axis, Meridian, are_opposite, axis_difference, ccw_degrees, direction_difference, direction_of, wrap};
pub use ellipse::Ellipse;
pub use eye_map::{EyeMap, OvalPrior, symmetric_root};

/// A place in the picture: pixels, centres at integers, x right, y down.
pub type PixelPoint = nalgebra::Point2<f64>;
/// A displacement in the picture (pixels) or in the plane of the limbus (millimetres), x right, y down.
pub type Vector = nalgebra::Vector2<f64>;
/// A symmetric 2 x 2 matrix over (x, y): a covariance, or the shape of an ellipse.
pub type Matrix = nalgebra::Matrix2<f64>;
