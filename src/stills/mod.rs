//! Bytes to upright pixels and provenance; the case sheet.

pub mod sheet;
