//! Statistics without a vehicle word in it.
//!
//! In: counts, weights and slices of numbers. Out: probabilities, intervals, centres. Everything
//! here is a pure function: no clock, no file, no random stream, the same bytes for the same
//! input on any number of threads. What cannot be computed is `None`, never 0. Probabilities are
//! worked in logarithms, and a tail is summed itself, never taken as one less the other tail.
//! Each statistic has a row in the tolerance table (`tolerances.rs`, test builds only) and is
//! held to a value from outside this crate.

pub mod beta_binomial;
pub mod binomial;
mod bisection;
pub mod centre;
pub mod change_point;
pub mod circular;
pub mod clustered;
pub mod clusters;
pub mod cusum;
pub mod exact;
pub mod firth;
pub mod information;
pub mod lines;
pub mod logs;
pub mod max_selected;
pub mod multiple;
pub mod proportion;
pub mod rate;
pub mod ratio;
pub mod scoring;
pub mod sequential;
pub mod shrinkage;
pub mod smooth;
pub mod soft_counts;
pub mod strata;
pub mod survival;
pub mod table;
pub mod waiting;
pub mod weibull;

#[cfg(test)]
mod firth_tests;
#[cfg(test)]
pub(crate) mod lcg;
#[cfg(test)]
mod shrinkage_tests;
#[cfg(test)]
mod slow;
#[cfg(test)]
mod survival_tests;
#[cfg(test)]
mod tolerances;
#[cfg(test)]
mod worked_examples;
