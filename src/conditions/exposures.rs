//! Starts become exposures: each with the conditions that were known at it.
//!
//! In: one vehicle's starts by time, its signals, reports and service notes, and the weather.
//! Out: one exposure a start, in the same order. A value measured in the vehicle by the log comes
//! before one that a report noted, and that before the weather of the site: the nearer the
//! sensor to the modules the better, and the log has it at the start while a report may have it
//! an hour later. The source and age stand with each value, since starts with incidents tend to
//! have more reports than clean ones. Refuses to fill in: what nothing tells is `None`, never "no".

use chrono::NaiveDate;
use chrono_tz::Tz;

use super::exposure::{Exposure, Sourced};
use super::moisture::dew_spread_k;
use super::odometer::{late, odometer, readings};
use super::supply::{System, low_supply};
use super::weather::{Rain, WeatherTable};
use crate::incidents::Start;
use crate::observe::SignalRow;
use crate::read::{ScanReport, ServiceNote};
use crate::vocabulary::Instant;

/// Conditions that a scan notes count for a start that ended at most so long before or after it (seconds).
const SCAN_WITHIN_S: f64 = 1800.0;

/// A log's ambient temperature counts within this time of the start, seconds: later the engine
/// has warmed the sensor.
const AMBIENT_WITHIN_S: f64 = 600.0;
/// After this rest coolant and air agree within 3 to 6 K, seconds (FACTS 8.1).
const RESTED_S: f64 = 8.0 * 3600.0;
/// Coolant so much warmer than the air has not rested so long, K: beyond 6 K and the distance of a
/// weather station.
const STILL_WARM_K: f64 = 15.0;
/// Coolant is still that of the rest so long into a start, seconds.
const COOLANT_WITHIN_S: f64 = 60.0;
/// So much rain in the 12 hours before makes a start wet, mm: the least that stations tell apart
/// from dew.
const RAIN_WET_MM: f64 = 0.2;
/// So many of the 12 hours must have been read before little rain means none.
const RAIN_HOURS_ENOUGH: u32 = 9;
/// Air this close to its dew point makes a start wet, K: metal lags the air by more than this.
const SPREAD_WET_K: f64 = 2.0;
/// Air this humid makes a start wet, percent.
const HUMIDITY_WET_PCT: f64 = 95.0;
/// A wash counts for this long, seconds.
const WASH_SPAN_S: f64 = 12.0 * 3600.0;

/// The exposures of one vehicle, one a start, in the order of `starts` (by begin).
///
/// `Start::reports` are positions in `reports`; a position beyond them is passed over. `signals`
/// may stand in any order. Days are those of `zone`.
#[must_use]
#[expect(clippy::too_many_arguments, reason = "each is a different kind of witness")]
pub fn exposures(
    vehicle: &str,
    starts: &[Start],
    signals: &[SignalRow],
    reports: &[ScanReport],
    weather: &WeatherTable,
    site: Option<&str>,
    notes: &[ServiceNote],
    zone: Tz,
) -> Vec<Exposure> {
    let ambient = series(signals, "ambient_c");
    let supply = series(signals, "supply_v");
    let coolant = series(signals, "coolant_c");
    let washes = washes(vehicle, notes);
    let odometer_readings = readings(reports);
    let system = System::of(&supply, reports);
    let all_logged = starts.iter().all(|start| start.logged);
    let mut found = Vec::with_capacity(starts.len());
    let mut before: Option<&Start> = None;
    for start in starts {
        let at = start.begin;
        // A report taken much later may tell of this start, but its weather is another's.
        let scans: Vec<&ScanReport> = start
            .reports
            .iter()
            .filter_map(|number| reports.get(*number as usize))
            .filter(|scan| scan.taken_at.seconds_since(start.end).abs() <= SCAN_WITHIN_S)
            .collect();
        let first_minutes = start.end.min(at.plus_seconds(AMBIENT_WITHIN_S));
        let ambient_c = from_log(&ambient, at, first_minutes, |_, _| false)
            .or_else(|| from_report(&scans, at, |scan| scan.ambient_c))
            .or_else(|| weather.temperature_c(site, at));
        let humidity_pct = from_report(&scans, at, |scan| scan.humidity_pct)
            .or_else(|| weather.humidity_pct(site, at));
        let dew_spread_k = spread(&scans, weather, site, at);
        let rain_12h_mm = weather.rain_before(site, at).and_then(told);
        let washed = washed(&washes, at);
        let supply_v = from_log(&supply, at, start.end, |value, least| value < least)
            .or_else(|| from_report(&scans, at, |scan| scan.battery_v));
        let soaked = soak(start, before);
        let warm =
            from_log(&coolant, at, start.end.min(at.plus_seconds(COOLANT_WITHIN_S)), |_, _| false)
                .zip(ambient_c.as_ref())
                .is_some_and(|(coolant, air)| coolant.value - air.value > STILL_WARM_K);
        // A long rest and a warm engine: it ran in between and no log shows it.
        let unseen = warm && soaked.is_some_and(|soak_s| soak_s >= RESTED_S);
        found.push(Exposure {
            vehicle: vehicle.to_owned(),
            start: at,
            end: start.end,
            logged: start.logged,
            incidents: start.incidents,
            judged: start.judged,
            wet: wet(rain_12h_mm, dew_spread_k, humidity_pct.as_ref(), washed == Some(true)),
            washed,
            ambient_c,
            humidity_pct,
            dew_spread_k,
            rain_12h_mm,
            soak_s: soaked.filter(|_| !unseen),
            first_of_day: before
                .filter(|_| all_logged && !unseen)
                .and_then(|before| first_of_day(start, before, zone)),
            low_supply: low_supply(supply_v.as_ref(), system),
            supply_v,
            odometer_km: odometer(&odometer_readings, at),
            late: None,
            place: start.place.clone(),
        });
        before = Some(start);
    }
    late(&mut found);
    found
}

/// The finite values of one quantity, by time and then value, so that their order never shows.
fn series(signals: &[SignalRow], quantity: &str) -> Vec<(Instant, f64)> {
    let wanted = signals.iter().filter(|row| row.quantity == quantity && row.value.is_finite());
    let mut values: Vec<(Instant, f64)> = wanted.map(|row| (row.time, row.value)).collect();
    values.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    values
}

/// The first logged value from `start` to `end`, or a later one that `better` prefers to it.
fn from_log(
    series: &[(Instant, f64)],
    start: Instant,
    end: Instant,
    better: impl Fn(f64, f64) -> bool,
) -> Option<Sourced> {
    let from = series.partition_point(|(time, _)| *time < start);
    let inside = series.get(from..)?.iter().take_while(|(time, _)| *time <= end);
    let (time, value) =
        inside.copied().reduce(|kept, next| if better(next.1, kept.1) { next } else { kept })?;
    Some(Sourced { value, source: "log", age_s: start.seconds_since(time) })
}

/// The value of the first of a start's reports that has it.
fn from_report(
    scans: &[&ScanReport],
    start: Instant,
    value: impl Fn(&ScanReport) -> Option<f64>,
) -> Option<Sourced> {
    scans.iter().find_map(|scan| {
        let value = value(scan).filter(|value| value.is_finite())?;
        Some(Sourced { value, source: "report", age_s: start.seconds_since(scan.taken_at) })
    })
}

/// Temperature less dew point. Both from the same witness: the humidity of one place says nothing
/// about air of another place's temperature.
fn spread(
    scans: &[&ScanReport],
    weather: &WeatherTable,
    site: Option<&str>,
    at: Instant,
) -> Option<f64> {
    let noted = scans.iter().find_map(|scan| dew_spread_k(scan.ambient_c?, scan.humidity_pct?));
    noted.or_else(|| {
        let (air, moisture) = (weather.temperature_c(site, at)?, weather.humidity_pct(site, at)?);
        dew_spread_k(air.value, moisture.value)
    })
}

/// A sum over some of the hours is a lower bound: it can tell that it rained, not that it did not.
pub(super) fn told(rain: Rain) -> Option<f64> {
    let enough = rain.hours >= RAIN_HOURS_ENOUGH || rain.sum_mm >= RAIN_WET_MM;
    enough.then_some(rain.sum_mm)
}

/// Wet if anything says so; dry if something is known and nothing says wet. That no wash was
/// noted says nothing.
pub(super) fn wet(
    rain_mm: Option<f64>,
    spread_k: Option<f64>,
    humidity: Option<&Sourced>,
    washed: bool,
) -> Option<bool> {
    let signs = [
        washed.then_some(true),
        rain_mm.map(|millimetres| millimetres >= RAIN_WET_MM),
        spread_k.map(|kelvin| kelvin <= SPREAD_WET_K),
        humidity.map(|humidity| humidity.value >= HUMIDITY_WET_PCT),
    ];
    signs.into_iter().flatten().reduce(|any, sign| any || sign)
}

/// When the vehicle was washed, by its service notes, in order.
fn washes(vehicle: &str, notes: &[ServiceNote]) -> Vec<Instant> {
    let own = notes.iter().filter(|note| note.vehicle == vehicle);
    let mut washes: Vec<Instant> =
        own.filter(|note| speaks_of_a_wash(&note.note)).map(|note| note.time).collect();
    washes.sort_unstable();
    washes
}

/// A word with "wash" in it; a washer (pump, or the ring under a screw) is no wash.
fn speaks_of_a_wash(note: &str) -> bool {
    let lower = note.to_lowercase();
    lower
        .split(|letter: char| !letter.is_alphanumeric())
        .any(|word| word.contains("wash") && !word.contains("washer"))
}

/// Whether one of the washes, given by time, lies in the hours before a start. A "no" needs notes of
/// washes on both sides of it.
fn washed(washes: &[Instant], start: Instant) -> Option<bool> {
    let before = washes.partition_point(|wash| *wash < start);
    let last = before.checked_sub(1).and_then(|at| washes.get(at))?;
    if start.seconds_since(*last) <= WASH_SPAN_S {
        return Some(true);
    }
    (before < washes.len()).then_some(false)
}

/// Seconds since the end of the start before, where the log shows both: a report tells neither
/// when its start ended nor whether there was another since.
fn soak(start: &Start, before: Option<&Start>) -> Option<f64> {
    let before = before.filter(|before| before.logged && start.logged && start.woke)?;
    let soak = start.begin.seconds_since(before.end);
    (soak >= 0.0).then_some(soak)
}

/// Whether the start before lies on an earlier local day. The very first start has none before it,
/// and one that the log did not see waking may have begun the day before: unknown.
fn first_of_day(start: &Start, before: &Start, zone: Tz) -> Option<bool> {
    let day = |at: Instant| -> NaiveDate { at.utc().with_timezone(&zone).date_naive() };
    if day(start.begin) == day(before.begin) {
        return Some(false);
    }
    start.woke.then_some(true)
}
