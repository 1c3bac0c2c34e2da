//! Statistics without a vehicle word in it.
//!
//! In: counts, weights and slices of numbers. Out: probabilities, intervals, centres. Everything
//! here is a pure function: no clock, no file, no random stream, the same bytes for the same
//! input on any number of threads. What cannot be computed is `None`, never 0. Probabilities are
//! worked in logarithms, and a tail is summed itself, never taken as one less the other tail.
//! Each statistic has a row in the tolerance table (`tolerances.rs`, test builds only) and is
//! held to a value from outside this crate.

pub mod beta_binomial;
pub mod centre;
pub mod circular;
pub mod exact;
pub mod information;
pub mod logs;
pub mod proportion;
pub mod ratio;
pub mod smooth;
pub mod table;

#[cfg(test)]
mod tolerances;
