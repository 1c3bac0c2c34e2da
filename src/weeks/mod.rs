//! The week of a fleet: which vehicles need a bay and why, what has changed, what was seen.
//!
//! In: findings and outlooks of all vehicles as they are now and as they were a week before, papers
//! on vehicles and modules, a table of severities. Out: [`FleetWeek`]. `span` says which seven days
//! are meant, `severity` how grave a suspect is, `change` what became of a vehicle, `need` what it
//! needs, `booking` what to book, `seen` what was observed, `common` what several vehicles share;
//! `review` brings it together. Reads no file and no clock: the same inputs give the same week.

mod booking;
mod change;
mod common;
mod need;
mod review;
mod seen;
mod severity;
mod span;

#[cfg(test)]
mod tests;

pub use booking::Booking;
pub use change::{Change, Changed};
pub use common::Common;
pub use need::Need;
pub use review::{Before, Earlier, FleetWeek, Papers, VehicleWeek, Was, review};
pub use seen::{LogNote, Seen, WeekCell};
pub use severity::{Severities, Severity};
pub use span::{Span, WeekInView, week_in_view};
