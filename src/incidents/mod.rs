//! Facts become incidents within starts: clocks of logs and reports are brought together here.
//!
//! In: facts of one vehicle's logs, codes and answers of its reports. Out: [`Gathered`]: starts,
//! incidents, and what could not be placed. A report's time is a hint, never the last word.

mod absences;
mod align;
mod attach;
mod finer;
mod freshness;
mod gather;
mod habits;
mod incident;
#[cfg(test)]
mod invented;
mod mute_bus;
mod overlaps;
mod placing;
#[cfg(test)]
mod placing_tests;
mod start;
mod starts;
mod taken_off;
mod trouble;
mod unnamed;

pub use align::align;
pub use gather::{Gathered, VehicleFacts, gather};
pub use incident::{Accusation, Disturbed, FinerSigns, Incident, SilentNode};
pub use start::Start;
