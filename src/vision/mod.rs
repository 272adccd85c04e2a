//! Pixels to findings, in pixels. Knows no file, case sheet or eye notation.
//!
//! [`limbus`] comes first; [`reference_marks`] and [`lens_marks`] then look where the limbus says they may be.

pub mod bilinear;
pub mod lens_marks;
pub mod limbus;
mod network;
pub mod plane;
mod posterior;
pub mod reference_marks;
pub mod sharpness;

/// An upright colour picture of 16 bits a channel, gamma-encoded as recorded (8-bit values times 257).
pub type Picture = image::ImageBuffer<image::Rgb<u16>, Vec<u16>>;
