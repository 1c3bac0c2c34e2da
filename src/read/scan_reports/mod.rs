//! Scan reports: what the modules said when a tester asked them all.
//!
//! In: JSON (one object, an array, JSON Lines), a table, or text, HTML or PDF of unknown layout. Out: [`crate::read::ScanReport`]s with the
//! place of every node and code. What is said twice or wrongly is refused alone, never guessed.

mod codes;
pub mod free_form;
mod json;
mod located;
mod pieces;
mod rows;

pub use json::read_scan_json;
pub use rows::read_scan_table;

#[cfg(test)]
mod tests;
