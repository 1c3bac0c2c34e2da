//! Before and after; has the repair held; what the replacement needs.
//!
//! In: one vehicle's finding, its trials and service notes, the forecast, and the table of what
//! follows a replaced part. Out: an [`Outlook`]: when it happens, how to make it happen, whether
//! each repair has held, and what comes after the part. A quiet spell that did not meet the
//! trigger proves nothing here, and says so.

mod after_part;
mod changes;
mod held;
mod outlook;

#[cfg(test)]
mod slow;
#[cfg(test)]
mod tests;

pub use after_part::{AfterPart, AfterTable, class_of, texts_of};
pub use changes::Kind;
pub use held::{Counts, Repair, State};
pub use outlook::{Case, Outlook, last_lasting, outlook};
