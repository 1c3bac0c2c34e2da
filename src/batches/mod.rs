//! Modules at risk and failing by batch; shrunk rates; flags.
//!
//! In: the modules and vehicles tables, service notes, and what was found in each vehicle. Out: a
//! [`BatchView`]: groups of modules by node and part number, hardware, software, batch, build week
//! and site, each with its failures beside those that the other modules of the node let expect;
//! which groups stand out; how their modules live; which modules of them are still in service. A
//! verdict counts by its probability. A vehicle without records is not watched: it adds no months.
//!
//! `seen` (a finding, cut down) → `attribution` (which unit failed, which swap cured nothing) →
//! `units` (the fleet's modules with their months) → `groups` → `compare` → `flags` → `life`,
//! `build_weeks`, `ahead`. Nothing here looks at a vehicle twice.

mod ahead;
mod attribution;
mod build_weeks;
mod compare;
mod flags;
mod groups;
mod life;
mod names;
mod seen;
#[cfg(test)]
mod tests;
mod units;
mod view;

pub use ahead::UnitAhead;
pub use attribution::{Diagnosis, Swap};
pub use build_weeks::{BuildWeek, BuildWeeks};
pub use flags::{FLAG_RULE, Group};
pub use groups::{By, Dimension};
pub use life::{Life, LifeCurve};
pub use seen::{Seen, SeenIncident};
pub use units::Fleet;
pub use view::{Asked, BatchView, NodeRate, batches, view};
