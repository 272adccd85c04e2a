//! Several stills of one case to one estimate with its interval.
//!
//! [`combine`] puts the errors together, [`parallax`] what the change of view between the stills tells of depth and
//! decentration; both are numbers only. [`of_records`] groups the records of stills by the case they name.

pub mod combine;
mod of_records;
pub mod parallax;

pub use of_records::of_records;
