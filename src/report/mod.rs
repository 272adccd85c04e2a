//! Records to files: NDJSON, CSV, overlays, the page, and the summary of a run.

pub mod ndjson;
pub mod overlay;
pub mod page;
mod rounding;
pub mod summary;
pub mod table;
pub mod wording;
