//! Open records of weather and of lifetimes, where they are at hand: units, the join in time, and
//! the curve of censored lifetimes.

use std::sync::Arc;

use buswitness::conditions::WeatherTable;
use buswitness::numerics::survival::kaplan_meier;
use buswitness::read::tables::{ColumnChoice, ColumnChoices, read_weather};
use buswitness::vocabulary::Instant;

use super::lifetimes::lives;
use super::unpacked;

fn choices() -> ColumnChoices {
    let choice = |column: &str, unit: Option<&str>| ColumnChoice {
        column: Some(column.to_owned()),
        unit: unit.map(str::to_owned),
        zone: None,
    };
    [
        ("site", choice("origin", None)),
        ("time", choice("time_hour", None)),
        ("temperature_c", choice("temp", Some("°F"))),
        ("humidity_pct", choice("humid", None)),
        ("precipitation_mm", choice("precip", Some("inch"))),
    ]
    .map(|(field, choice)| (field.to_owned(), choice))
    .into()
}

/// Seconds since 1970, °C, mm in the twelve hours before.
const WEATHER: [(f64, f64, f64); 3] = [
    (1_360_354_800.0, 1.066_666_666_667, 10.668),
    (1_370_645_100.0, 16.025, 46.99),
    (1_387_971_000.0, -6.7, 0.0),
];

// Worked out beside by a plain script: the two readings around each instant in °C, joined by a
// line, and the sums of the twelve hours before in mm.
#[test]
fn captures_of_hourly_weather_are_converted_and_joined() {
    let Some(text) = unpacked("weather/weather.csv.gz") else { return };
    let name: Arc<str> = "weather.csv".into();
    let reading = read_weather(text.as_slice(), &name, &choices(), chrono_tz::Tz::UTC);
    assert_eq!(reading.records.len(), 26_115);
    assert!(reading.account.rejects.is_empty(), "{:?}", reading.account.rejects.first());
    let table = WeatherTable::new(reading.records);
    for (epoch_s, ambient_c, rain_mm) in WEATHER {
        let at = Instant(0).plus_seconds(epoch_s);
        let air = table.temperature_c(Some("JFK"), at).expect("readings around it");
        assert!((air.value - ambient_c).abs() < 1e-9, "{epoch_s}: {}", air.value);
        let rain = table.rain_before(Some("JFK"), at).expect("readings before it");
        assert_eq!(rain.hours, 12);
        assert!((rain.sum_mm - rain_mm).abs() < 1e-9, "{epoch_s}: {}", rain.sum_mm);
    }
    assert!(table.temperature_c(Some("XYZ"), Instant(0)).is_none());
}

// Share free and Greenwood's error after some of the ten failures, by the product in a plain
// script.
#[test]
fn captures_of_censored_lifetimes_have_the_plain_curve() {
    let Some(subjects) = lives("automotive.csv") else { return };
    let curve = kaplan_meier(&subjects, 0.95).expect("lifetimes");
    assert_eq!((curve.subjects, curve.steps.len()), (31, 10));
    for (time, at_risk, free, error) in [
        (5248.0, 28, 0.964_285_714_285_714, 0.035_070_732_359_356),
        (45_000.0, 15, 0.742_465_473_145_780, 0.092_640_473_267_043),
        (131_900.0, 2, 0.269_857_643_124_139, 0.200_304_022_083_301),
    ] {
        let step = curve.at(time).expect("a failure");
        assert_eq!(step.at_risk, at_risk);
        assert!((step.free - free).abs() < 1e-12);
        assert!((step.std_error.expect("above 0") - error).abs() < 1e-12);
    }
}
