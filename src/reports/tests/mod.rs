//! Tests of the reports: the contract's field names, hostile names, whole files, the same bytes.

mod batches;
mod data_files;
mod defined;
mod disarmed;
pub(super) mod fixture;
mod fixture_closer;
mod fixture_tests;
mod many;
mod pages;
mod terminal;
mod weekly;
mod whole_files;
