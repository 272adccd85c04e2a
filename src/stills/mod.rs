//! Bytes to upright pixels and provenance; the case sheet.

pub mod date;
pub mod discover;
pub mod load;
pub mod path_end;
mod provenance;
pub mod sheet;
mod turning;
pub mod written;
