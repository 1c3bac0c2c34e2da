//! `fleet.csv`, `common.csv` and `weeks.csv` of a fleet's week.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;

use super::ranks;
use crate::facts::VehicleTally;
use crate::reports::ReportError;
use crate::reports::csv_tables::{Cell, Sheet, known, list, maybe, plain, text};
use crate::reports::culprits_json::{decimals, digits};
use crate::reports::whole_file::Output;
use crate::weeks::{FleetWeek, VehicleWeek};

/// `fleet.csv`: a row a vehicle, by name: how much was seen of it, then in the view of a fleet its week; in
/// another view these cells are empty. `rank` is its place by urgency.
///
/// # Errors
/// When the table cannot be put together.
pub fn fleet_table(
    tally: &[VehicleTally],
    week: Option<&FleetWeek>,
) -> Result<Output<'static>, ReportError> {
    let columns = "vehicle starts starts_judged starts_with_incident rank need because leader \
                   probability decided severity_class safety severity trend urgency change \
                   leader_before book minutes part week_starts week_starts_logged \
                   week_starts_judged week_starts_with_incident week_starts_usual \
                   week_starts_missing week_logs_rejected week_records_rejected";
    let mut sheet = Sheet::new("fleet.csv", columns)?;
    let weeks = ranks(week);
    let tally: BTreeMap<&str, &VehicleTally> =
        tally.iter().map(|t| (t.vehicle.as_str(), t)).collect();
    let all: BTreeSet<&str> = weeks.keys().chain(tally.keys()).copied().collect();
    for vehicle in all {
        let seen = tally.get(vehicle).copied();
        match weeks.get(vehicle) {
            Some((rank, v)) => sheet.row(row(v, *rank, seen))?,
            None => {
                let mut cells: [Cell; 28] = std::array::from_fn(|_| text(""));
                let own = [
                    text(vehicle),
                    plain(seen.map_or(0, |t| t.starts)),
                    plain(seen.map_or(0, |t| t.judged)),
                    plain(seen.map_or(0, |t| t.with_incident)),
                ];
                for (cell, own) in cells.iter_mut().zip(own) {
                    *cell = own;
                }
                sheet.row(cells)?;
            }
        }
    }
    sheet.done()
}

fn row(v: &VehicleWeek, rank: usize, tally: Option<&VehicleTally>) -> [Cell; 28] {
    let empty = || text("");
    let suspect = |leader: &Option<(crate::vocabulary::Suspect, f64)>| {
        leader.as_ref().map_or_else(empty, |(who, _)| text(&who.to_string()))
    };
    let seen = &v.seen;
    let class = v.severity.as_ref().and_then(|s| s.class.as_deref());
    [
        text(&v.vehicle),
        plain(tally.map_or(0, |t| t.starts)),
        plain(tally.map_or(0, |t| t.judged)),
        plain(tally.map_or(0, |t| t.with_incident)),
        plain(rank),
        plain(v.need.word()),
        text(&v.because),
        suspect(&v.leader),
        maybe(v.leader.as_ref().and_then(|(_, p)| decimals(*p, 1e12))),
        v.leader.as_ref().map_or_else(empty, |_| known(Some(v.decided))),
        text(class.unwrap_or_default()),
        known(Some(v.safety)),
        maybe(v.mean_severity.and_then(|s| decimals(s, 1e6))),
        maybe(v.changed.trend.and_then(|t| decimals(t, 1e6))),
        maybe(v.urgency.and_then(|u| decimals(u, 1e6))),
        plain(v.changed.change.word()),
        v.was.as_ref().map_or_else(empty, |was| suspect(&was.leader)),
        text(&v.booking.what),
        maybe(v.booking.minutes.and_then(digits)),
        text(v.booking.part.as_deref().unwrap_or_default()),
        plain(seen.starts),
        plain(seen.logged),
        plain(seen.judged),
        plain(seen.hits),
        maybe(seen.usual.and_then(digits)),
        seen.missing.map_or_else(empty, plain),
        plain(seen.logs_rejected),
        plain(seen.records_rejected),
    ]
}

/// What vehicles share, and every vehicle week by week.
pub(in crate::reports) fn tables(week: &FleetWeek) -> Result<Vec<Output<'_>>, ReportError> {
    let columns = "suspect by value vehicles at_fault_with vehicles_with at_fault_without \
                   vehicles_without p_value p_adjusted shown";
    let mut common = Sheet::new("common.csv", columns)?;
    for c in &week.common {
        let compared = |n: u64| c.p_value.map_or_else(|| text(""), |_| plain(n));
        common.row([
            c.suspect.as_ref().map_or_else(|| text(""), |who| text(&who.to_string())),
            plain(c.by),
            text(&c.value),
            list(c.vehicles.iter().map(String::as_str)),
            plain(c.with.0),
            plain(c.with.1),
            compared(c.without.0),
            compared(c.without.1),
            maybe(c.p_value.and_then(digits)),
            maybe(c.p_adjusted.and_then(digits)),
            known(Some(c.shown)),
        ])?;
    }
    let weeks = Output::made("weeks.csv", move |out| cells(week, out));
    Ok(vec![common.done()?, weeks])
}

/// Every vehicle week by week.
fn cells(week: &FleetWeek, out: &mut dyn Write) -> Result<(), ReportError> {
    let columns = "vehicle first_day last_day starts starts_judged starts_with_incident";
    let mut weeks = Sheet::onto("weeks.csv", columns, out)?;
    let mut vehicles: Vec<&VehicleWeek> = week.vehicles.iter().collect();
    vehicles.sort_by(|a, b| a.vehicle.cmp(&b.vehicle));
    for v in vehicles {
        for (span, cell) in week.weeks.iter().zip(&v.cells) {
            weeks.row([
                text(&v.vehicle),
                plain(span.first),
                plain(span.last),
                plain(cell.starts),
                plain(cell.judged),
                plain(cell.hits),
            ])?;
        }
    }
    weeks.end()
}
