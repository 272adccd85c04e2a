//! What is written of records: NDJSON, CSV, overlays, the page, the summary.

mod data_files;
mod fixture;
mod overlay;
mod page;
mod summary;
