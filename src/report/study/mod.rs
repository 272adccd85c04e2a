//! A study to report.html, and the same numbers as JSON and CSV.

mod charts;
mod data;
mod page;

pub use charts::set_up_chart;
pub use data::{csv, json};
pub use page::html;
