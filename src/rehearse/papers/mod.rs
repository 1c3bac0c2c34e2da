//! The papers: scan reports, and the tables and descriptions of a fleet.

mod description;
mod reports;
mod tables;

pub(crate) use description::description;
pub(crate) use reports::{Look, Tester, report};
pub(crate) use tables::{modules, service, vehicles, weather};
