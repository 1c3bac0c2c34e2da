//! Each start's temperature, moisture, soak, supply; how risk depends on them.
//!
//! In: starts with their incidents, signals, reports, service notes, the weather. Out: exposures,
//! the risk under each condition of a family declared in advance, when in a start it happens, and
//! how to make it happen. Refuses to guess a condition that nothing tells.

mod confounding;
mod exposure;
mod exposures;
mod fleet;
mod fleet_course;
mod forecast;
mod interaction;
pub mod lag;
pub mod moisture;
mod odometer;
mod reproduce;
mod risk;
mod supply;
mod thresholds;
mod time_course;
mod together;
mod trials;
mod weather;
mod when;

#[cfg(test)]
pub(crate) mod invented;
#[cfg(test)]
mod slow;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod when_tests;

pub use confounding::Confounded;
pub use exposure::{ConditionRisk, Exposure, Sourced};
pub use exposures::exposures;
pub use fleet::{FleetRisk, fleet_risks};
pub use fleet_course::{FleetCourse, Side, fleet_courses};
pub use forecast::Morning;
pub use interaction::Interaction;
pub use reproduce::{Ahead, CHANCE, Reproduction, met_all, trigger};
pub use risk::{Condition, FAMILY, risks};
pub use thresholds::Threshold;
pub use time_course::{Moment, Span, Split, TimeCourse};
pub use together::Joint;
pub use trials::{Trial, trials};
pub use weather::{Rain, WeatherTable};
pub use when::{When, when};
