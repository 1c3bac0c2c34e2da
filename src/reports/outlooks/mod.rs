//! What lies ahead of a vehicle, on every output: when and how to make it happen, whether the repair
//! has held, what comes after the part. Words and pictures only; every text from an input goes
//! through `shown`.

mod course;
mod fleet;
mod json;
mod page;
mod plan_json;
mod tables;
mod terminal;
mod words;

pub use fleet::{fleet_conditions, fleet_time_since_start};
pub(super) use json::{OutlookJson, outlook_json};
pub(super) use page::{Ahead, ahead};
pub(super) use plan_json::Plan;
pub use plan_json::plan_json;
pub(super) use tables::tables;
pub use terminal::plan_text;

use crate::repairs::Outlook;

/// The outlook of a vehicle; `None` when none was worked out.
pub(super) fn of<'a>(outlooks: &'a [Outlook], vehicle: &str) -> Option<&'a Outlook> {
    // They come by name; a list in another order is searched from end to end.
    let at = outlooks.binary_search_by(|outlook| outlook.vehicle.as_str().cmp(vehicle));
    at.ok()
        .and_then(|at| outlooks.get(at))
        .or_else(|| outlooks.iter().find(|outlook| outlook.vehicle == vehicle))
}
