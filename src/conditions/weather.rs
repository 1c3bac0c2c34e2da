//! The weather of each site, asked for at an instant.
//!
//! In: the rows of the weather table, in any order. Out: temperature and humidity at an instant,
//! rain in the hours before it. Refuses to bridge a gap: air between two readings more than 90
//! minutes apart is taken from the nearest one within 60 minutes, else it is unknown. Rain is
//! never interpolated (an hour's sum says nothing on its minutes) and never read from the future.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::exposure::Sourced;
use crate::read::WeatherRow;
use crate::vocabulary::Instant;

/// Readings further apart than this are not joined by a line, seconds.
const WIDEST_BRACKET_S: f64 = 90.0 * 60.0;
/// A single reading further away than this says nothing, seconds.
const FARTHEST_READING_S: f64 = 60.0 * 60.0;
/// The hours before an instant that are asked for rain, seconds.
const RAIN_SPAN_S: f64 = 12.0 * 3600.0;
/// Hour sums closer together than this overlap, seconds; stations are late by minutes.
const HOUR_APART_S: f64 = 55.0 * 60.0;

/// Readings of all sites, by time.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct WeatherTable {
    sites: BTreeMap<String, Site>,
}

/// One site's readings, each series by time and without the rows that lack it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct Site {
    #[serde(with = "series")]
    temperature_c: Vec<(Instant, f64)>,
    #[serde(with = "series")]
    humidity_pct: Vec<(Instant, f64)>,
    #[serde(with = "series")]
    precipitation_mm: Vec<(Instant, f64)>,
}

/// Rain in the hours before an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rain {
    /// The sum over the hours that were read, mm; a lower bound when some were not.
    pub sum_mm: f64,
    /// How many of the 12 hours were read, at least 1.
    pub hours: u32,
}

impl WeatherTable {
    /// Sorts the rows by site and time. Of two readings of a site at one time the one that stands
    /// first in the input files is kept; values that are not finite are unknown.
    #[must_use]
    pub fn new(mut rows: Vec<WeatherRow>) -> WeatherTable {
        rows.sort_by(|a, b| (&a.site, a.time, &a.place).cmp(&(&b.site, b.time, &b.place)));
        let mut sites: BTreeMap<String, Site> = BTreeMap::new();
        for row in rows {
            let site = sites.entry(row.site).or_default();
            push(&mut site.temperature_c, row.time, row.temperature_c);
            push(&mut site.humidity_pct, row.time, row.humidity_pct);
            push(&mut site.precipitation_mm, row.time, row.precipitation_mm);
        }
        WeatherTable { sites }
    }

    /// Whether it was made of no row.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.sites.is_empty()
    }

    /// Air temperature, °C, at an instant. With no site named the only site of the table stands
    /// in; with several, nothing is known.
    #[must_use]
    pub fn temperature_c(&self, site: Option<&str>, at: Instant) -> Option<Sourced> {
        reading_at(&self.site(site)?.temperature_c, at)
    }

    /// Relative humidity, percent, at an instant; site as in [`WeatherTable::temperature_c`].
    #[must_use]
    pub fn humidity_pct(&self, site: Option<&str>, at: Instant) -> Option<Sourced> {
        reading_at(&self.site(site)?.humidity_pct, at)
    }

    /// Rain of the whole hours that ended in the 12 hours up to `at`; `None` when none was read.
    ///
    /// A reading is the sum of the hour that ends at it. Where readings come more often than
    /// hourly, only those an hour apart are added, counted back from the last one.
    #[must_use]
    pub fn rain_before(&self, site: Option<&str>, at: Instant) -> Option<Rain> {
        let readings = &self.site(site)?.precipitation_mm;
        let ended = readings.partition_point(|(time, _)| *time <= at);
        let (mut rain, mut before) = (Rain { sum_mm: 0.0, hours: 0 }, None::<Instant>);
        for (time, millimetres) in readings.get(..ended)?.iter().rev() {
            if at.seconds_since(*time) >= RAIN_SPAN_S {
                break;
            }
            if before.is_none_or(|later| later.seconds_since(*time) >= HOUR_APART_S) {
                rain.sum_mm += millimetres;
                rain.hours += 1;
                before = Some(*time);
            }
        }
        (rain.hours > 0).then_some(rain)
    }

    /// First and last reading of temperature at a site; site as in [`WeatherTable::temperature_c`].
    #[must_use]
    pub fn span(&self, site: Option<&str>) -> Option<(Instant, Instant)> {
        let readings = &self.site(site)?.temperature_c;
        Some((readings.first()?.0, readings.last()?.0))
    }

    /// The readings of these sites only. All others keep their names, so that whoever names no site is told
    /// no more than by the whole table.
    #[must_use]
    pub fn of_sites(&self, wanted: &BTreeSet<&str>) -> WeatherTable {
        let only = self.sites.len() == 1;
        let site = |(name, site): (&String, &Site)| {
            let kept = only || wanted.contains(name.as_str());
            (name.clone(), if kept { site.clone() } else { Site::default() })
        };
        WeatherTable { sites: self.sites.iter().map(site).collect() }
    }

    fn site(&self, name: Option<&str>) -> Option<&Site> {
        match name {
            Some(name) => self.sites.get(name),
            None if self.sites.len() == 1 => self.sites.values().next(),
            None => None,
        }
    }
}

/// Readings for sending: times as steps from one to the next, which are mostly alike and pack well.
mod series {
    use serde::de::Error as _;
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    use crate::vocabulary::Instant;

    pub(super) fn serialize<S: Serializer>(
        readings: &[(Instant, f64)],
        to: S,
    ) -> Result<S::Ok, S::Error> {
        let mut last = 0;
        let step =
            |(time, _): &(Instant, f64)| time.0.wrapping_sub(std::mem::replace(&mut last, time.0));
        let steps: Vec<i64> = readings.iter().map(step).collect();
        let values: Vec<f64> = readings.iter().map(|(_, value)| *value).collect();
        (steps, values).serialize(to)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(
        from: D,
    ) -> Result<Vec<(Instant, f64)>, D::Error> {
        let (steps, values) = <(Vec<i64>, Vec<f64>)>::deserialize(from)?;
        if steps.len() != values.len() {
            return Err(D::Error::custom("readings without a time each"));
        }
        let mut time: i64 = 0;
        let reading = |(step, value): (i64, f64)| {
            time = time.wrapping_add(step);
            (Instant(time), value)
        };
        Ok(steps.into_iter().zip(values).map(reading).collect())
    }
}

fn push(series: &mut Vec<(Instant, f64)>, time: Instant, value: Option<f64>) {
    let repeated = series.last().is_some_and(|(last, _)| *last == time);
    if let Some(value) = value.filter(|value| value.is_finite() && !repeated) {
        series.push((time, value));
    }
}

/// The value at an instant: on the line between the readings around it, else the nearest one.
fn reading_at(series: &[(Instant, f64)], at: Instant) -> Option<Sourced> {
    interpolated(series, at).or_else(|| nearest(series, at))
}

/// The last reading at or before an instant and the first one at or after it.
type Around = (Option<(Instant, f64)>, Option<(Instant, f64)>);

fn around(series: &[(Instant, f64)], at: Instant) -> Around {
    let after = series.partition_point(|(time, _)| *time < at);
    let next = series.get(after).copied();
    if next.is_some_and(|(time, _)| time == at) {
        return (next, next);
    }
    (after.checked_sub(1).and_then(|before| series.get(before)).copied(), next)
}

/// On the line between two readings at most 90 minutes apart; its age is that of the nearer one.
fn interpolated(series: &[(Instant, f64)], at: Instant) -> Option<Sourced> {
    let ((begin, from), (end, to)) = match around(series, at) {
        (Some(before), Some(after)) => (before, after),
        _ => return None,
    };
    let width = end.seconds_since(begin);
    if width > WIDEST_BRACKET_S {
        return None;
    }
    let (since, until) = (at.seconds_since(begin), end.seconds_since(at));
    let share = if width > 0.0 { since / width } else { 0.0 };
    let age_s = if since <= until { since } else { -until };
    Some(Sourced { value: from + (to - from) * share, source: "weather", age_s })
}

/// The nearest reading within 60 minutes; of two as near, the earlier.
fn nearest(series: &[(Instant, f64)], at: Instant) -> Option<Sourced> {
    let (before, after) = around(series, at);
    let mut found: Option<Sourced> = None;
    for (time, value) in before.into_iter().chain(after) {
        let age_s = at.seconds_since(time);
        let nearer = found.as_ref().is_none_or(|other| age_s.abs() < other.age_s.abs());
        if nearer && age_s.abs() <= FARTHEST_READING_S {
            found = Some(Sourced { value, source: "weather", age_s });
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vocabulary::Place;

    fn hour(hours: f64) -> Instant {
        Instant(0).plus_seconds(1_767_600_000.0 + hours * 3600.0)
    }

    fn row(site: &str, hours: f64, temperature_c: f64, rain: Option<f64>) -> WeatherRow {
        WeatherRow {
            site: site.to_owned(),
            time: hour(hours),
            temperature_c: Some(temperature_c),
            humidity_pct: None,
            precipitation_mm: rain,
            place: Place::whole(&"weather.csv".into()),
        }
    }

    fn series() -> Vec<(Instant, f64)> {
        let values = [(0, -2.0), (1, -3.0), (2, -5.0), (3, -4.0), (6, 1.0), (7, 2.0)];
        values.map(|(h, t)| (hour(f64::from(h)), t)).to_vec()
    }

    #[test]
    fn a_part_of_the_sites_says_no_more_than_the_whole() {
        let rows = vec![row("quay", 0.0, 1.0, Some(0.2)), row("yard", 0.0, 5.0, None)];
        let whole = WeatherTable::new(rows);
        let part = whole.of_sites(&BTreeSet::from(["yard"]));
        let at = |table: &WeatherTable, site| table.temperature_c(site, hour(0.0)).map(|t| t.value);
        assert_eq!(
            [Some("quay"), Some("yard"), None].map(|s| at(&part, s)),
            [None, Some(5.0), None]
        );
        let one = WeatherTable::new(vec![row("quay", 0.0, 1.0, None)]);
        assert_eq!(at(&one.of_sites(&BTreeSet::new()), None), Some(1.0));
        assert!(WeatherTable::default().of_sites(&BTreeSet::new()).is_empty());
    }

    #[test]
    fn readings_come_as_they_were_sent() {
        let mut rows = vec![row("quay", 7.5, 100.1 / 3.0, None), row("quay", 8.0, -0.0, Some(0.2))];
        for time in [Instant(i64::MIN), Instant(i64::MAX)] {
            rows.push(WeatherRow { time, ..row("quay", 0.0, 4.0, None) });
        }
        let sent = WeatherTable::new(rows);
        let bytes = rmp_serde::to_vec(&sent).expect("bytes");
        let come: WeatherTable = rmp_serde::from_slice(&bytes).expect("a table");
        assert_eq!(format!("{come:?}"), format!("{sent:?}"));
        let short = rmp_serde::to_vec(&(vec![1_i64, 2], vec![0.5])).expect("bytes");
        let mut from = rmp_serde::Deserializer::new(short.as_slice());
        assert!(super::series::deserialize(&mut from).is_err());
    }

    // q8.interp: bracketing readings at most an hour and a half apart, else missing.
    #[test]
    fn on_the_line_between_readings() {
        for (at, want) in
            [(0.5, Some(-2.5)), (1.25, Some(-3.5)), (3.4, None), (4.5, None), (6.9, Some(1.9))]
        {
            let got = interpolated(&series(), hour(at)).map(|air| air.value);
            assert_eq!(got.is_some(), want.is_some(), "{at}");
            assert!(got.zip(want).is_none_or(|(g, w)| (g - w).abs() < 1e-9), "{at}: {got:?}");
        }
    }

    #[test]
    fn else_the_nearest_within_the_hour() {
        let air = reading_at(&series(), hour(3.4)).expect("24 minutes away");
        assert!((air.value + 4.0).abs() < 1e-12 && (air.age_s - 1440.0).abs() < 1e-6);
        assert_eq!(reading_at(&series(), hour(4.5)), None);
        let first = reading_at(&series(), hour(-0.5)).expect("30 minutes away");
        assert!((first.age_s + 1800.0).abs() < 1e-6);
        assert_eq!(reading_at(&series(), hour(8.5)), None);
        assert_eq!(reading_at(&[], hour(0.0)), None);
        let exact = reading_at(&series(), hour(2.0)).expect("a reading");
        assert!((exact.value + 5.0).abs() < 1e-12 && exact.age_s.abs() < 1e-12);
    }

    // q8.asof.pandas: left 1, 5, 10 against right 1, 2, 3, 6, 7; here in minutes.
    #[test]
    fn nearest_as_of() {
        let minutes = |m: f64| hour(m / 60.0);
        let right = [1.0, 2.0, 3.0, 6.0, 7.0].map(|m| (minutes(m), m));
        for (left, want) in [(1.0, 1.0), (5.0, 6.0), (10.0, 7.0), (4.5, 3.0)] {
            let got = nearest(&right, minutes(left)).expect("near").value;
            assert!((got - want).abs() < 1e-12, "{left}: {got}");
        }
    }

    #[test]
    fn rain_is_that_of_twelve_whole_hours_before() {
        let rows = (0..40).map(|h| row("quay", f64::from(h), 5.0, Some(f64::from(1 << (h % 20)))));
        let table = WeatherTable::new(rows.rev().collect());
        // Half past 18: the hours that ended at 7 to 18; neither 6 nor 19.
        let rain = table.rain_before(Some("quay"), hour(18.5)).expect("readings");
        let want: u32 = (7..=18).map(|h| 1 << h).sum();
        assert_eq!(rain.hours, 12);
        assert!((rain.sum_mm - f64::from(want)).abs() < 1e-9);
        let sharp = table.rain_before(Some("quay"), hour(18.0)).expect("readings");
        let want: u32 = (7..=18).map(|h| 1 << h).sum();
        assert!((sharp.sum_mm - f64::from(want)).abs() < 1e-9);
        assert_eq!(table.rain_before(Some("quay"), hour(-0.1)), None);
        assert_eq!(table.rain_before(Some("quay"), hour(60.0)), None);
        assert_eq!(table.rain_before(Some("elsewhere"), hour(18.0)), None);
    }

    #[test]
    fn overlapping_hours_are_added_once() {
        let rows = (0..=72).map(|m| row("quay", f64::from(m) / 6.0, 5.0, Some(1.0)));
        let table = WeatherTable::new(rows.collect());
        let rain = table.rain_before(None, hour(12.0)).expect("readings");
        assert_eq!(rain, Rain { sum_mm: 12.0, hours: 12 });
    }

    #[test]
    fn sites_are_kept_apart() {
        let rows = vec![row("north", 0.0, -9.0, None), row("quay", 0.0, 4.0, None)];
        let table = WeatherTable::new(rows);
        let at = |site| table.temperature_c(site, hour(0.2)).map(|air| air.value);
        assert_eq!((at(Some("north")), at(Some("quay"))), (Some(-9.0), Some(4.0)));
        assert_eq!((at(None), at(Some("south"))), (None, None));
        assert_eq!(table.humidity_pct(Some("quay"), hour(0.0)), None);
        assert_eq!(table.rain_before(Some("quay"), hour(1.0)), None);
    }
}
