//! `audit`, `compare` and `agree`, run on made-up records.

#[path = "../support/mod.rs"]
mod support;

mod bad_input;
mod eyes;
mod figures;
mod records;
