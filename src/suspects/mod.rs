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
mod hypotheses;
mod interventions;
mod judge;
mod listening;
mod next_tests;
mod ranking;
mod rates;
mod scene;
mod verdict;
mod wording;

pub use findings::{
    Evidence, NextTest, OtherCause, SuspectFinding, TestOutcome, TestStep, VehicleFinding,
};
pub use judge::{Case, judge};
pub use listening::Listening;
