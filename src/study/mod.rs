//! Records of many stills to answers about groups of eyes.
//!
//! - [`reading`]: lines of measurements.ndjson to stills; every line is accounted for
//! - [`eye`]: the stills of one eye at one operation to one figure
//! - [`figures`]: the answers, as they go to page, JSON and CSV alike
//! - [`patients`]: whom eyes belong to
//! - [`estimates`]: a group of eyes to estimates with intervals, by patient
//! - `refusals`, `residual`, [`sequences`]: what was refused, what is left of the cylinder, operations in their order, for
//!   [`audit`]
//! - [`audit`], [`compare`], [`agree`]: what each of the commands says
//! - [`pair`]: two groups side by side, for [`compare`]
//! - [`set_up`]: stills of known truth to what a camera can be expected to give
//! - [`readings`]: readers' readings, for [`agree`]
//!
//! Eyes are counted, not stills. Errors are degrees, lens axis less intended axis, counter-clockwise positive.

pub mod agree;
pub mod audit;
pub mod compare;
pub mod estimates;
pub mod eye;
pub mod figures;
pub mod pair;
pub mod patients;
pub mod reading;
pub mod readings;
mod refusals;
mod residual;
pub mod sequences;
pub mod set_up;
mod sums;
