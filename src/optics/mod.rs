//! Dioptres and axes. Pure: knows no picture, file or argument.
//!
//! - [`sphero_cylinder`]: the notation of the trade, transposition
//! - [`power_vector`]: the same as a vector, in which crossed cylinders add; astigmatism as a double-angle vector
//! - [`vergence`]: lens, corneal and spectacle plane, thin and thick
//! - [`rotation`]: what a misaligned cylinder leaves, thin and crossed
//! - [`angle_size`]: the size of an angle that is read with noise, its interval and its mean
//! - [`mean_size`]: means over many readings, reading noise taken out
//! - [`toric_lens`]: the refraction of an eye with a toric lens at any axis, through dioptric power matrices
//! - [`misalignment_cost`]: all that a record says of one lens: residuals, their intervals, the gain of turning it
//! - [`turn_back`]: which way and how far to turn
//! - [`best_axis`]: the axis at which the present lens would leave the least cylinder
//! - [`vector_analysis`]: target, surgically induced and difference vectors, of one eye and of groups
//! - [`limits`]: what is physically plausible
//!
//! Powers are dioptres, axes degrees in the eye's notation, counter-clockwise as the examiner sees them. A *refraction* is the
//! lens that would correct the eye; astigmatism "C steep at A" is corrected by the plus cylinder C with axis A, which
//! is also how a toric lens is described: by the axis of its plus cylinder, the meridian of least power.

pub mod angle_size;
pub mod best_axis;
pub mod limits;
pub mod mean_size;
pub mod misalignment_cost;
pub mod power_vector;
pub mod rotation;
pub mod sphero_cylinder;
pub mod toric_lens;
pub mod turn_back;
pub mod vector_analysis;
pub mod vergence;

pub use power_vector::PowerVector;
pub use sphero_cylinder::SpheroCylinder;
