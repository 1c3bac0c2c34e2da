//! buswitness: which module, branch, feed, ground, wire or battery brings a vehicle's bus down.
//!
//! The stages in order, and what passes between them:
//!
//! ```text
//! files ─read─▶ records ─observe─▶ facts ─incidents─▶ incidents ─conditions─▶ exposures
//!       ─suspects─▶ findings ─repairs─▶ outlooks ─weeks─▶ a fleet's week, ─batches─▶ batch view ─reports─▶ files
//! ```
//!
//! Each module may use only those above it in this list; a test keeps the order.

pub mod vocabulary;

pub mod numerics;

pub mod protocol;

pub mod read;

pub mod observe;

pub mod facts;

pub mod incidents;

pub mod conditions;

pub mod suspects;

pub mod repairs;

pub mod batches;

pub mod weeks;

pub mod reports;

pub mod pipeline;

pub mod rehearse;

pub mod command_line;
