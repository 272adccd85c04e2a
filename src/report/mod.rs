//! Records to files: NDJSON, CSV, overlays, the page, charts, and the summary of a run.

pub mod cases;
pub mod line_chart;
pub mod ndjson;
pub mod overlay;
pub mod page;
mod rounding;
pub mod set_up;
pub mod study;
pub mod summary;
pub mod table;
pub mod wording;
mod xml;
