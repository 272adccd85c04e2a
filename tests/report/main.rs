//! What is written of records: NDJSON, CSV, overlays, the page, the summary.

mod data_files;
mod fixture;
mod line_chart;
mod overlay;
mod page;
mod summary;
