//! Each start's temperature, moisture, soak, supply; how risk depends on them.
//!
//! In: starts with their incidents, signals, reports, service notes, the weather. Out: exposures,
//! and the risk under each condition of a family declared in advance. Refuses to guess a
//! condition that nothing tells.

mod exposure;
mod exposures;
pub mod moisture;
mod risk;
mod weather;

#[cfg(test)]
mod tests;

pub use exposure::{ConditionRisk, Exposure, Sourced};
pub use exposures::exposures;
pub use risk::{Condition, FAMILY, risks};
pub use weather::{Rain, WeatherTable};
