//! `fleet.csv`: how much of each vehicle was seen.

use super::{Sheet, plain, text};
use crate::facts::VehicleTally;
use crate::reports::whole_file::Output;
use crate::reports::{ReportError, weekly};
use crate::weeks::FleetWeek;

/// A row a vehicle: starts, starts that could be judged, starts with an incident; in the view of a fleet its
/// week too.
///
/// # Errors
/// When the table cannot be put together.
pub fn fleet_table(
    tally: &[VehicleTally],
    week: Option<&FleetWeek>,
) -> Result<Output, ReportError> {
    if let Some(week) = week {
        return weekly::fleet(tally, week);
    }
    let columns = ["vehicle", "starts", "starts_judged", "starts_with_incident"];
    let mut sheet = Sheet::new("fleet.csv", &columns)?;
    for v in tally {
        sheet.row([text(&v.vehicle), plain(v.starts), plain(v.judged), plain(v.with_incident)])?;
    }
    sheet.done()
}
