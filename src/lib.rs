//! stillaxis measures how far a toric intraocular lens stands from its intended axis, from recorded stills of the
//! operation: limbus, reference marks, lens marks, alignment error with its interval, and what it costs in cylinder.
//!
//! Data flows down this list once and never back up:
//!
//! - [`commands`]: one file a verb; arguments, calls, messages
//! - [`report`]: records to files
//! - [`study`]: records of many stills to answers about groups of eyes
//! - [`case_estimate`]: the stills of one case to one estimate
//! - [`record`]: the measurement record, the public contract
//! - [`measurement`]: one still all the way, pixels and plan to a record
//! - [`alignment`]: findings and plan to angle, offset and interval
//! - [`vision`]: pixels to findings, in pixels
//! - [`stills`]: bytes to upright pixels and provenance; the case sheet
//! - [`phantom`]: a scene of known truth to pixels
//! - [`statistics`]: numbers to estimates, intervals and tests
//! - [`optics`]: dioptres and axes
//! - [`geometry`]: axes, ellipses, lines, covariance
//! - [`least_squares`]: sums of squares to where they are least
//! - [`normal`]: the normal distribution, and roots by halving
//!
//! Not a medical device. Judgement rests with the licensed surgeon, under local rules.

pub mod alignment;
pub mod case_estimate;
pub mod commands;
pub mod geometry;
pub mod least_squares;
pub mod measurement;
pub mod normal;
pub mod optics;
pub mod phantom;
pub mod record;
pub mod report;
pub mod statistics;
pub mod stills;
pub mod study;
pub mod vision;
