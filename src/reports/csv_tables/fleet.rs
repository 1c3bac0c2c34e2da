//! `fleet.csv`: how much of each vehicle was seen, and its week.

use crate::facts::VehicleTally;
use crate::reports::whole_file::Output;
use crate::reports::{ReportError, weekly};
use crate::weeks::FleetWeek;

/// A row a vehicle: starts, starts that could be judged, starts with an incident; in the view of a fleet its
/// week too, in another view these cells are empty.
///
/// # Errors
/// When the table cannot be put together.
pub fn fleet_table(
    tally: &[VehicleTally],
    week: Option<&FleetWeek>,
) -> Result<Output, ReportError> {
    weekly::fleet(tally, week)
}
