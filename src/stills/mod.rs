//! Bytes to upright pixels and provenance; the case sheet.

pub mod date;
pub mod discover;
pub mod load;
mod provenance;
pub mod sheet;
mod turning;
pub mod written;
