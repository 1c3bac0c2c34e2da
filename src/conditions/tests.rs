//! Exposures of small invented weeks: what is taken from where, and what stays unknown.

use chrono_tz::Tz;

use super::{Exposure, WeatherTable, exposures};
use crate::incidents::Start;
use crate::observe::SignalRow;
use crate::read::{ScanReport, ServiceAction, ServiceNote, WeatherRow};
use crate::vocabulary::{Instant, Place};

/// Hours after 2026-01-05T00:00:00Z.
fn hour(hours: f64) -> Instant {
    Instant(1_767_571_200_000_000_000).plus_seconds(hours * 3600.0)
}

fn place() -> Place {
    Place::whole(&"invented".into())
}

/// A logged start of half an hour whose waking was seen.
fn start(begin: f64) -> Start {
    Start {
        begin: hour(begin),
        end: hour(begin + 0.5),
        logged: true,
        woke: true,
        judged: true,
        reports: Vec::new(),
        incidents: 0,
        place: place(),
    }
}

fn signal(at: f64, quantity: &str, value: f64) -> SignalRow {
    SignalRow { time: hour(at), quantity: quantity.to_owned(), value, place: place() }
}

fn report(at: f64, ambient_c: Option<f64>, humidity_pct: Option<f64>) -> ScanReport {
    ScanReport {
        vehicle: "LH-01".to_owned(),
        taken_at: hour(at),
        odometer_km: None,
        ambient_c,
        humidity_pct,
        battery_v: Some(12.1),
        since_start_s: None,
        nodes: Vec::new(),
        place: place(),
    }
}

fn note(at: f64, vehicle: &str, text: &str) -> ServiceNote {
    ServiceNote {
        time: hour(at),
        vehicle: vehicle.to_owned(),
        action: ServiceAction::Clean,
        target: None,
        outcome: None,
        note: text.to_owned(),
        place: place(),
    }
}

/// Hourly weather of one site from hour 0 on: 4 °C, the humidity and rain given.
fn weather(hours: u32, humidity_pct: f64, rain: impl Fn(u32) -> Option<f64>) -> WeatherTable {
    let row = |h: u32| WeatherRow {
        site: "quay".to_owned(),
        time: hour(f64::from(h)),
        temperature_c: Some(4.0),
        humidity_pct: Some(humidity_pct),
        precipitation_mm: rain(h),
        place: place(),
    };
    WeatherTable::new((0..hours).map(row).collect())
}

/// The exposures of `LH-01` kept at `quay`, days in UTC.
fn of(
    starts: &[Start],
    signals: &[SignalRow],
    reports: &[ScanReport],
    table: &WeatherTable,
    notes: &[ServiceNote],
) -> Vec<Exposure> {
    exposures("LH-01", starts, signals, reports, table, Some("quay"), notes, Tz::UTC)
}

#[test]
fn nothing_known_stays_unknown() {
    let found = of(&[start(6.0)], &[], &[], &WeatherTable::default(), &[]);
    let [only] = found.as_slice() else { panic!("one start, one exposure") };
    assert_eq!((&only.ambient_c, &only.humidity_pct, &only.supply_v), (&None, &None, &None));
    assert_eq!((only.dew_spread_k, only.rain_12h_mm, only.wet), (None, None, None));
    assert_eq!((only.soak_s, only.first_of_day), (None, None));
}

#[test]
fn temperature_from_log_then_report_then_weather() {
    let table = weather(48, 60.0, |_| Some(0.0));
    let mut with_report = start(10.0);
    with_report.reports = vec![0];
    let mut with_both = start(12.0);
    with_both.reports = vec![1];
    let starts = [start(6.0), with_report, with_both, start(14.0)];
    let reports = [report(10.25, Some(-3.5), None), report(12.25, Some(-3.5), None)];
    // Out of order; one before the start, one after the first ten minutes.
    let signals = [
        signal(14.2, "ambient_c", 30.0),
        signal(12.1, "ambient_c", 1.0),
        signal(12.05, "ambient_c", 0.5),
        signal(11.99, "ambient_c", 20.0),
        signal(12.02, "ambient_c", f64::NAN),
    ];
    let found = of(&starts, &signals, &reports, &table, &[]);
    let seen: Vec<(f64, &str, f64)> = found
        .iter()
        .filter_map(|e| e.ambient_c.as_ref())
        .map(|s| (s.value, s.source, s.age_s))
        .collect();
    let want = [
        (4.0, "weather", 0.0),
        (-3.5, "report", -900.0),
        (0.5, "log", -180.0),
        (4.0, "weather", 0.0),
    ];
    assert_eq!(seen, want);
}

#[test]
fn supply_is_the_lowest_in_the_start() {
    let mut scanned = start(10.0);
    scanned.reports = vec![0, 7];
    let signals = [
        signal(5.9, "supply_v", 6.0),
        signal(6.0, "supply_v", 12.4),
        signal(6.01, "supply_v", 9.1),
        signal(6.4, "supply_v", 14.2),
        signal(6.6, "supply_v", 7.0),
    ];
    let found = of(
        &[start(6.0), scanned],
        &signals,
        &[report(10.2, None, None)],
        &weather(1, 50.0, |_| None),
        &[],
    );
    let supplies: Vec<(f64, &str)> =
        found.iter().filter_map(|e| e.supply_v.as_ref()).map(|s| (s.value, s.source)).collect();
    assert_eq!(supplies, [(9.1, "log"), (12.1, "report")]);
}

#[test]
fn rain_makes_wet_only_afterwards() {
    // It rains in the hour that ends at 20.
    let table = weather(48, 60.0, |h| Some(if h == 20 { 0.4 } else { 0.0 }));
    let starts = [start(19.5), start(19.99), start(20.0), start(31.9), start(32.1)];
    let wet: Vec<Option<bool>> = of(&starts, &[], &[], &table, &[]).iter().map(|e| e.wet).collect();
    assert_eq!(wet, [Some(false), Some(false), Some(true), Some(true), Some(false)]);
}

#[test]
fn few_hours_read_cannot_tell_that_it_was_dry() {
    let few = weather(48, 60.0, |h| (h >= 18).then_some(0.0));
    let found = of(&[start(20.2), start(30.2)], &[], &[], &few, &[]);
    assert_eq!(found[0].rain_12h_mm, None);
    assert_eq!(found[1].rain_12h_mm, Some(0.0));
    let wet = weather(48, 60.0, |h| (h == 18).then_some(3.0));
    assert_eq!(of(&[start(20.2)], &[], &[], &wet, &[])[0].rain_12h_mm, Some(3.0));
}

#[test]
fn damp_air_makes_wet() {
    let mut scanned = start(10.0);
    scanned.reports = vec![0];
    let dry = weather(48, 60.0, |_| None);
    let damp = weather(48, 96.0, |_| None);
    let near = weather(48, 90.0, |_| None);
    let wet = |table: &WeatherTable| of(&[start(8.0)], &[], &[], table, &[])[0].wet;
    assert_eq!((wet(&dry), wet(&damp), wet(&near)), (Some(false), Some(true), Some(true)));
    // The report's pair, not the report's temperature with the site's humidity.
    let pair = report(10.1, Some(5.0), Some(80.0));
    let found = of(&[scanned.clone()], &[], &[pair], &dry, &[]);
    let spread = found[0].dew_spread_k.expect("both known");
    assert!((spread - (5.0 - 1.834)).abs() < 1e-3, "EX-7e: {spread}");
    let half = report(10.1, Some(25.0), None);
    let site = of(&[scanned], &[], &[half], &dry, &[])[0].dew_spread_k.expect("the site's");
    assert!(site < 8.0, "4 °C at 60 % is about 7 K from its dew point: {site}");
}

#[test]
fn a_wash_makes_wet_for_twelve_hours() {
    let none = WeatherTable::default();
    let starts = [start(17.0), start(20.0), start(29.9), start(31.0)];
    let wet = |vehicle: &str, text: &str| -> Vec<Option<bool>> {
        let notes = [note(18.0, vehicle, text)];
        of(&starts, &[], &[], &none, &notes).iter().map(|e| e.wet).collect()
    };
    assert_eq!(wet("LH-01", "Pressure-washed on the quay"), [None, Some(true), Some(true), None]);
    assert_eq!(wet("LH-02", "washed"), [None; 4]);
    assert_eq!(wet("LH-01", "replaced washer pump"), [None; 4]);
}

#[test]
fn soak_only_between_logged_wakings() {
    let mut reported = start(30.0);
    reported.logged = false;
    let mut cut = start(50.0);
    cut.woke = false;
    let starts = [start(6.0), start(18.0), reported, start(40.0), cut];
    let soaks: Vec<Option<f64>> =
        of(&starts, &[], &[], &WeatherTable::default(), &[]).iter().map(|e| e.soak_s).collect();
    assert_eq!(soaks, [None, Some(11.5 * 3600.0), None, None, None]);
}

#[test]
fn days_are_local_and_need_every_start_logged() {
    let firsts = |starts: &[Start], zone: Tz| -> Vec<Option<bool>> {
        let none = WeatherTable::default();
        let found = exposures("LH-01", starts, &[], &[], &none, None, &[], zone);
        found.iter().map(|e| e.first_of_day).collect()
    };
    let starts = [start(6.0), start(23.2), start(24.5), start(26.0)];
    assert_eq!(firsts(&starts, Tz::UTC), [None, Some(false), Some(true), Some(false)]);
    let berlin = firsts(&starts, Tz::Europe__Berlin);
    assert_eq!(berlin, [None, Some(true), Some(false), Some(false)]);
    let mut gap = starts;
    gap[1].logged = false;
    assert_eq!(firsts(&gap, Tz::UTC), [None; 4]);
}

#[test]
fn not_washed_needs_notes_on_both_sides() {
    let notes = [note(50.0, "LH-01", "washed down"), note(2.0, "LH-01", "wash, cold water")];
    let starts = [start(1.0), start(6.0), start(20.0), start(49.0), start(55.0), start(80.0)];
    let none = WeatherTable::default();
    let found = of(&starts, &[], &[], &none, &notes);
    let washed: Vec<Option<bool>> = found.iter().map(|e| e.washed).collect();
    assert_eq!(washed, [None, Some(true), Some(false), Some(false), Some(true), None]);
    // A start that was not washed is not thereby dry.
    assert_eq!(found[2].wet, None);
    assert!(of(&starts, &[], &[], &none, &[]).iter().all(|e| e.washed.is_none()));
}

#[test]
fn low_supply_by_the_system() {
    let low = |volts: [f64; 4]| -> Vec<Option<bool>> {
        let signals: Vec<SignalRow> = (0u8..)
            .zip(volts)
            .map(|(at, volts)| signal(6.0 + 10.0 * f64::from(at), "supply_v", volts))
            .collect();
        let starts = [start(6.0), start(16.0), start(26.0), start(36.0), start(90.0)];
        let found = of(&starts, &signals, &[], &WeatherTable::default(), &[]);
        found.iter().map(|e| e.low_supply).collect()
    };
    let (yes, no) = (Some(true), Some(false));
    assert_eq!(low([9.8, 12.4, 10.5, 14.1]), [yes, no, no, no, None]);
    assert_eq!(low([17.5, 24.9, 18.0, 28.2]), [yes, no, no, no, None]);
}

#[test]
fn the_odometer_is_halved_where_it_ran_far_enough() {
    let read = |from: f64, to: f64| -> Vec<(Option<f64>, Option<bool>)> {
        let mut reports = [report(0.0, None, None), report(40.0, None, None)];
        reports[0].odometer_km = Some(from);
        reports[1].odometer_km = Some(to);
        let starts = [start(0.0), start(10.0), start(30.0), start(40.0), start(150.0)];
        let found = of(&starts, &[], &reports, &WeatherTable::default(), &[]);
        found.iter().map(|e| (e.odometer_km, e.late)).collect()
    };
    let far = read(1000.0, 1400.0);
    assert_eq!(far[1], (Some(1100.0), Some(false)));
    assert_eq!(far[2], (Some(1300.0), Some(true)));
    // Four days after the last reading nothing is known of it.
    assert_eq!(far[4], (None, None));
    assert!(read(1000.0, 1100.0).iter().all(|(_, late)| late.is_none()));
}

// Rests of 11.5 h each: the second began with an engine that had run since.
#[test]
fn a_warm_engine_after_a_long_rest_ran_unseen() {
    let starts = [start(6.0), start(18.0), start(30.0)];
    let signals = [
        signal(18.01, "coolant_c", 7.0),
        signal(30.01, "coolant_c", 64.0),
        signal(30.3, "coolant_c", 80.0),
    ];
    let air = weather(48, 60.0, |_| Some(0.0));
    let found = of(&starts, &signals, &[], &air, &[]);
    let seen: Vec<_> = found.iter().map(|e| (e.soak_s, e.first_of_day)).collect();
    let rest = Some(11.5 * 3600.0);
    assert_eq!(seen, [(None, None), (rest, Some(false)), (None, None)]);
    let blind = of(&starts, &signals, &[], &WeatherTable::default(), &[]);
    assert_eq!(blind[2].soak_s, rest, "without the air's temperature nothing contradicts it");
    let late = [signal(30.05, "coolant_c", 64.0)];
    assert_eq!(
        of(&starts, &late, &[], &air, &[])[2].soak_s,
        rest,
        "three minutes in it says nothing"
    );
}
