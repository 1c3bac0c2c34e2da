//! Hypotheses, weights of evidence, ranking, verdict, next tests.
//!
//! In: the incidents of one vehicle with its network, service notes and exposures. Out: a
//! [`VehicleFinding`]. `hypotheses` lays out the space, `scene` turns an incident into numbers,
//! `blocks` gives each block's likelihood from the one table in `rates`, `ranking` pools them.

mod accusations;
mod blocks;
pub mod calibration;
mod doubts;
mod findings;
mod finer_blocks;
mod habit;
mod hypotheses;
mod interventions;
#[cfg(test)]
mod invented;
mod judge;
mod listening;
mod next_tests;
mod pooling;
mod ranking;
mod rates;
mod scene;
mod signs;
#[cfg(test)]
mod tests;
mod told_blocks;
mod verdict;
mod wording;
mod wording_finer;

pub use findings::{
    Evidence, NextTest, ONE_MORE_INPUT, OtherCause, SuspectFinding, TestOutcome, TestStep,
    VehicleFinding,
};
pub use judge::{Case, judge};
pub use listening::Listening;
pub use next_tests::{module_caution, untouched};
