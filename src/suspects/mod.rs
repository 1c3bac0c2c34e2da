//! Hypotheses, weights of evidence, ranking, verdict, next tests.
mod findings;
pub use findings::{Evidence, NextTest, SuspectFinding, VehicleFinding};
