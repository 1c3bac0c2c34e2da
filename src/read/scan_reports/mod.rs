//! Scan reports: what the modules said when a tester asked them all.
//!
//! In: JSON (one object, an array, JSON Lines) or a table. Out: [`crate::read::ScanReport`]s with the
//! place of every node and code. What is said twice or wrongly is refused alone, never guessed.

mod codes;
mod json;
mod located;
mod pieces;
mod rows;

pub use json::read_scan_json;
pub use rows::read_scan_table;

#[cfg(test)]
mod tests;
