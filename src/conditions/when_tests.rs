//! Triggers, companions and plans on invented starts: what was planted must be found, and no more.

use chrono_tz::Tz;

use super::invented::{Invented, begin, starts, uniform};
use super::reproduce::reproduction;
use super::{Ahead, WeatherTable, When, risks, trials, when};
use crate::read::WeatherRow;
use crate::vocabulary::Place;

const PLAIN: Invented = Invented::PLAIN;
const TRIGGER: Invented = Invented::TRIGGER;

fn asked(rows: &[Invented], forecast: Option<&WeatherTable>) -> When {
    let (exposures, incidents) = starts(rows);
    let none = WeatherTable::default();
    let ahead = Ahead {
        forecast: forecast.unwrap_or(&none),
        given: forecast.is_some(),
        site: Some("quay"),
        zone: Tz::UTC,
    };
    let trials = trials(&exposures, &incidents);
    when(&trials, &trials, &risks(&exposures), &ahead)
}

/// Rows by groups: how many, what kind, how many of them (spread evenly) with an incident.
fn rows(groups: &[(usize, Invented, usize)]) -> Vec<Invented> {
    let mut all = Vec::new();
    for (count, kind, hits) in groups {
        for at in 0..*count {
            let before = at * hits / count;
            let hit = (at + 1) * hits / count > before;
            all.push(if hit { kind.hit() } else { *kind });
        }
    }
    // Mixed in time by a step that has no divisor in common with their number.
    let count = all.len();
    let step = (1..count).rev().find(|step| gcd(*step, count) == 1 && step * 3 < count * 2);
    (0..count).map(|at| all[at * step.unwrap_or(1) % count]).collect()
}

fn gcd(a: usize, b: usize) -> usize {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[test]
fn what_came_together_cannot_be_told_apart() {
    let cold_rested = Invented { wet: false, ..TRIGGER };
    let only_cold = Invented { cold: true, ..PLAIN };
    let found = asked(&rows(&[(11, cold_rested, 6), (1, only_cold, 0), (40, PLAIN, 0)]), None);
    let [pair] = found.confounded.as_slice() else { panic!("{:?}", found.confounded) };
    assert_eq!((pair.together, pair.either, pair.companion), (11, 12, None));
    assert!(pair.said.contains("11 of 12 starts: the data cannot tell them apart"));
    assert_eq!(pair.separated_by.len(), 2);
    assert!(pair.said.contains("a start that is cold (below 2 °C) but after a short stop"));
}

#[test]
fn a_planted_companion_is_called_one() {
    // Cold does it; wet comes along with cold mostly, and by itself does nothing.
    let cold_wet = Invented { long_soak: false, ..TRIGGER };
    let cold_dry = Invented { wet: false, ..cold_wet };
    let warm_wet = Invented { wet: true, ..PLAIN };
    let found = asked(
        &rows(&[(20, cold_wet, 8), (10, cold_dry, 4), (10, warm_wet, 0), (60, PLAIN, 0)]),
        None,
    );
    let [pair] = found.confounded.as_slice() else { panic!("{:?}", found.confounded) };
    assert_eq!(pair.companion, Some("wet"));
    let joint = found.together.expect("twelve incidents");
    let cold = joint.iter().find(|j| j.condition == "ambient_c < 2").expect("cold");
    let wet = joint.iter().find(|j| j.condition == "wet").expect("wet");
    assert!(cold.p_value < 0.01 && cold.low.is_some_and(|low| low > 1.0), "{joint:?}");
    assert!(wet.p_value > 0.2, "{joint:?}");
    let plan = found.reproduction.expect("incidents");
    assert_eq!(plan.conditions, ["ambient_c < 2"]);
}

#[test]
fn the_plan_arranges_the_planted_trigger() {
    let found = asked(
        &rows(&[
            (10, TRIGGER, 6),
            (10, Invented { wet: false, ..TRIGGER }, 0),
            (12, Invented { wet: true, ..PLAIN }, 0),
            (40, PLAIN, 0),
        ]),
        None,
    );
    let plan = found.reproduction.expect("incidents");
    assert_eq!(plan.conditions, ["ambient_c < 2", "wet"]);
    assert_eq!(plan.seen, (6, 10));
    // Beta(6.5, 4.5): mean 13/22; three starts: 1 - 4.5 5.5 6.5 / (11 12 13) = 0.906.
    assert!((plan.chance - 6.5 / 11.0).abs() < 1e-12);
    assert_eq!(plan.starts_needed, Some(3));
    assert!(plan.low > 0.25 && plan.high < 0.88);
    assert_eq!((plan.minutes_each, plan.timed), (Some(2.0), 6));
    // Beta quantile: 0 of 52 clean, one-sided 95 %: 1 - .05^(1/52) = 5.6 %.
    assert!(plan.waste.iter().any(|w| w.contains("0 of 52") && w.ends_with("at most 6 %")));
    assert!(plan.mornings.is_empty());
}

#[test]
fn without_a_trigger_any_start_is_as_good() {
    let wet = Invented { wet: true, ..PLAIN };
    let found = asked(&rows(&[(20, wet, 2), (20, PLAIN, 2), (20, TRIGGER, 2)]), None);
    let plan = found.reproduction.expect("incidents");
    assert!(plan.conditions.is_empty() && plan.seen == (6, 60));
    assert!(plan.waste.is_empty() && plan.remarks[0].contains("any start is as good"));
    assert!(found.confounded.is_empty());
    assert_eq!(asked(&[PLAIN; 9], None).reproduction, None);
}

#[test]
fn few_incidents_are_told_what_they_cannot_say() {
    let found = asked(&rows(&[(10, TRIGGER, 2), (30, PLAIN, 0)]), None);
    assert!(found.together.is_err() && found.interaction.is_err());
    assert!(found.thresholds.is_empty() && found.possible.contains("one or two"));
    let more = asked(&rows(&[(10, TRIGGER, 7), (60, PLAIN, 0)]), None);
    let why = more.interaction.expect_err("no start is cold and dry");
    assert!(why.contains("cold and dry (0)"), "{why}");
    assert!(more.thresholds.iter().all(|cut| cut.quantity != "odometer_km"));
    let cut = more.thresholds.iter().find(|cut| cut.quantity == "ambient_c").expect("a cut");
    assert!(cut.below && cut.counts == [7, 10, 0, 60] && cut.p_value < 0.05);
}

#[test]
fn the_course_of_a_start() {
    let mut all = rows(&[(12, TRIGGER, 8), (40, PLAIN, 0)]);
    let late = all.iter_mut().filter(|row| row.incident_s.is_some()).nth(3).expect("eight");
    late.incident_s = Some(700.0);
    let course = asked(&all, None).time.expect("incidents");
    assert_eq!((course.curve.subjects, course.times_s.len(), course.left_out), (52, 8, 0));
    assert!(course.said.starts_with("7 of 8 first incidents came within 1 min"), "{}", course.said);
    assert!(course.constant_p.is_some_and(|p| p < 1e-4));
    let minute = course.moments.iter().find(|m| m.after_s > 59.0).expect("a minute");
    assert!((minute.had - 7.0 / 52.0).abs() < 1e-12);
    assert_eq!(course.median.time, None);
    let split = course.split.expect("two sides");
    assert_eq!((split.with.subjects, split.without.subjects), (12, 40));
    // One of 52 circular shifts is the least that it can say.
    assert!(split.p_value.is_some_and(|p| (1.0 / 52.0 - 1e-12..0.05).contains(&p)));
}

#[test]
fn mornings_by_the_forecast() {
    let all = rows(&[
        (10, TRIGGER, 6),
        (10, Invented { wet: false, ..TRIGGER }, 0),
        (12, Invented { wet: true, ..PLAIN }, 0),
        (40, PLAIN, 0),
    ]);
    let last = begin(all.len());
    // Three days: cold and dry, warm, cold with rain.
    let hourly = (0..72).map(|hour| WeatherRow {
        site: "quay".to_owned(),
        time: last.plus_seconds(f64::from(hour) * 3600.0),
        temperature_c: Some(if (20..44).contains(&hour) { 8.0 } else { -4.0 }),
        humidity_pct: Some(70.0),
        precipitation_mm: Some(if hour >= 40 { 0.5 } else { 0.0 }),
        place: Place::whole(&"forecast".into()),
    });
    let table = WeatherTable::new(hourly.collect());
    let plan = asked(&all, Some(&table)).reproduction.expect("incidents");
    let said: Vec<&str> = plan.mornings.iter().map(|m| m.said.as_str()).collect();
    assert_eq!(
        said,
        ["worth it: spray before", "not worth it: too warm", "worth it: wet without spraying"]
    );
    let elsewhere = WeatherTable::default();
    let plan = asked(&all, Some(&elsewhere)).reproduction.expect("incidents");
    assert!(plan.remarks.iter().any(|remark| remark.contains("no temperature")));
}

// Coverage of the plan's interval with the choice of the set included: 60 starts in all, risk .4
// in cold and wet starts, .02 else. The chosen set's true risk must lie in the 95 % interval
// nearly as often. 600 vehicles, seed 3.
#[test]
fn the_plans_interval_covers_in_spite_of_the_choice() {
    let (mut state, mut inside, mut all) = (3u64, 0u32, 0u32);
    while all < 600 {
        let vehicle: Vec<Invented> = (0..60)
            .map(|_| {
                let [cold, wet, long_soak] = [0.4, 0.4, 0.5].map(|p| uniform(&mut state) < p);
                let risk = if cold && wet { 0.4 } else { 0.02 };
                let incident_s = (uniform(&mut state) < risk).then_some(40.0);
                Invented { cold, wet, long_soak, incident_s }
            })
            .collect();
        let (exposures, incidents) = starts(&vehicle);
        let none = WeatherTable::default();
        let ahead = Ahead { forecast: &none, given: false, site: None, zone: Tz::UTC };
        let plan = reproduction(&trials(&exposures, &incidents), &ahead);
        let Some(plan) = plan else { continue };
        // The true mean risk of the set that was chosen.
        let has = |name: &str| plan.conditions.contains(&name);
        let share = [("ambient_c < 2", 0.4), ("wet", 0.4)]
            .iter()
            .map(|(name, p)| if has(name) { 1.0 } else { *p })
            .product::<f64>();
        let truth = 0.02 + 0.38 * share;
        all += 1;
        inside += u32::from(plan.low <= truth && truth <= plan.high);
    }
    let coverage = f64::from(inside) / f64::from(all);
    assert!(coverage > 0.90, "covers {coverage}");
}

// A quarter of the starts after a wash, a quarter after rain; it happens after washes only. A washed
// start is wet, so nothing asks for a washed and dry one: wet starts without a wash tell the two
// apart. Seed 6.
#[test]
fn a_wash_is_told_from_rain() {
    let wet = Invented { wet: true, ..PLAIN };
    let mut state = 6;
    let kinds: Vec<f64> = (0..100).map(|_| uniform(&mut state)).collect();
    let drawn: Vec<Invented> = kinds
        .iter()
        .map(|kind| match kind {
            kind if *kind < 0.25 && uniform(&mut state) < 0.5 => wet.hit(),
            kind if *kind < 0.5 => wet,
            _ => PLAIN,
        })
        .collect();
    let (mut exposures, incidents) = starts(&drawn);
    for (exposure, kind) in exposures.iter_mut().zip(&kinds) {
        exposure.washed = Some(*kind < 0.25);
    }
    let trials = trials(&exposures, &incidents);
    let found = risks(&exposures);
    assert_eq!(found[0].condition, "washed");
    assert_eq!(found[0].incidents_without, 0);
    let none = WeatherTable::default();
    let ahead = Ahead { forecast: &none, given: false, site: None, zone: Tz::UTC };
    let when = when(&trials, &trials, &found, &ahead);
    let [pair] = when.confounded.as_slice() else { panic!("{:?}", when.confounded) };
    assert_eq!((pair.first, pair.second, pair.companion), ("wet", "washed", Some("wet")));
    let plan = when.reproduction.expect("incidents");
    assert_eq!(plan.conditions, ["washed"]);
    assert!(plan.steps[0].contains("as it is usually washed"), "{:?}", plan.steps);
    // Were all wet starts washed, there would be nothing to tell them apart by.
    for exposure in exposures.iter_mut() {
        exposure.washed = exposure.wet;
    }
    let trials = super::trials(&exposures, &incidents);
    assert!(super::when(&trials, &trials, &risks(&exposures), &ahead).confounded.is_empty());
}

// More often in the upper half of the mileage, and in the cold: the frost came late. Nothing tells
// them apart but a late warm start or an early cold one.
#[test]
fn mileage_and_season_are_told_to_be_one() {
    let cold = Invented { cold: true, ..PLAIN };
    let late = (0..22).map(|at| if at % 5 < 2 { cold.hit() } else { cold });
    let all: Vec<Invented> = [PLAIN; 25].into_iter().chain([cold; 3]).chain(late).collect();
    let (mut exposures, incidents) = starts(&all);
    for (at, exposure) in exposures.iter_mut().enumerate() {
        exposure.late = Some(at >= 27);
    }
    let trials = trials(&exposures, &incidents);
    let none = WeatherTable::default();
    let ahead = Ahead { forecast: &none, given: false, site: None, zone: Tz::UTC };
    let when = when(&trials, &trials, &risks(&exposures), &ahead);
    let pair = when.confounded.iter().find(|pair| pair.second == "upper half of mileage");
    let pair = pair.expect("they came together");
    assert_eq!((pair.first, pair.companion), ("ambient_c < 2", None));
    assert!(pair.said.contains("cannot tell them apart"), "{}", pair.said);
}
