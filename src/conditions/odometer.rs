//! The odometer at each start, and which starts lie in the upper half of its range.
//!
//! In: the readings of scan reports. Out: kilometres at a start, on the line between the readings
//! around it; and whether that is late in the mileage of all starts. Refuses to carry a single
//! reading further than three days, and to halve a range that is too short to wear anything.

use super::exposure::Exposure;
use crate::read::ScanReport;
use crate::vocabulary::Instant;

/// An odometer reading says nothing about starts further away than this, seconds, unless another
/// reading lies on the other side.
const WITHIN_S: f64 = 3.0 * 86_400.0;
/// A shorter range of the odometer is not halved, km: connectors do not wear so fast (judgement).
const LEAST_RANGE_KM: f64 = 200.0;

/// The readings of the reports, by time.
pub(super) fn readings(reports: &[ScanReport]) -> Vec<(Instant, f64)> {
    let mut readings: Vec<(Instant, f64)> = reports
        .iter()
        .filter_map(|report| Some((report.taken_at, report.odometer_km?)))
        .filter(|(_, km)| km.is_finite())
        .collect();
    readings.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    readings
}

/// On the line between the readings around an instant, else the nearest one within three days.
pub(super) fn odometer(readings: &[(Instant, f64)], at: Instant) -> Option<f64> {
    let after = readings.partition_point(|(time, _)| *time < at);
    let next = readings.get(after).copied();
    let last = after.checked_sub(1).and_then(|before| readings.get(before)).copied();
    let near =
        |(time, km): (Instant, f64)| (at.seconds_since(time).abs() <= WITHIN_S).then_some(km);
    match (last, next) {
        (Some((from, low)), Some((to, high))) => {
            let width = to.seconds_since(from);
            let share = if width > 0.0 { at.seconds_since(from) / width } else { 0.0 };
            Some(low + (high - low) * share)
        }
        (Some(one), None) | (None, Some(one)) => near(one),
        (None, None) => None,
    }
}

/// Says of each start whether its odometer is in the upper half of the range of all.
pub(super) fn late(exposures: &mut [Exposure]) {
    let known = || exposures.iter().filter_map(|exposure| exposure.odometer_km);
    let least = known().fold(f64::INFINITY, f64::min);
    let most = known().fold(f64::NEG_INFINITY, f64::max);
    // Nothing known leaves an infinite difference of the wrong sign.
    if most - least < LEAST_RANGE_KM {
        return;
    }
    let middle = f64::midpoint(least, most);
    for exposure in exposures {
        exposure.late = exposure.odometer_km.map(|km| km > middle);
    }
}
