//! A stream of frames becomes facts: one pass, memory bounded by identifiers and facts.
//!
//! In: frames in file order, and who sends what. Out: [`LogFacts`]. While the log streams by,
//! `channel` keeps a `tracker` an identifier; when it ends, `starts`, `blind_spots`, `silences` and
//! `disturbances` read the facts off what was kept. Nothing here opens a file or knows a vehicle's fault.

mod blind_spots;
mod channel;
mod clock;
mod clock_groups;
#[cfg(test)]
mod clock_groups_tests;
mod diagnostics;
mod disturbances;
#[cfg(test)]
mod disturbances_tests;
mod excerpts;
mod finer;
mod finer_rows;
mod gaps;
mod held_back;
mod locks;
mod logged_rows;
mod losses;
mod observer;
mod period;
mod phases;
mod plain_frames;
mod returns;
mod rows;
mod runs;
mod senders;
mod shared_gaps;
mod signals;
mod silences;
mod starts;
mod step_lines;
mod step_watch;
mod steps;
#[cfg(test)]
mod steps_tests;
mod testimony;
mod thinning;
mod tracker;

#[cfg(test)]
pub(crate) use blind_spots::SAID as SAID_BY_THE_LOGGER;
pub use diagnostics::{logged_reports, mark_answers};
pub use excerpts::{Excerpt, ExcerptFrame, ExcerptRow, Excerpting, Onset};
pub use finer_rows::*;
pub use logged_rows::{AnswerReading, BusEventKind, BusEventRow, LoggedAnswerRow, LoggedCodeRow};
pub use observer::{Observer, Seen};
pub use returns::surely_before;
pub use rows::*;
pub use senders::{Senders, TESTER, UNNAMED, address_name, is_tester_traffic};
pub use testimony::testimony;
