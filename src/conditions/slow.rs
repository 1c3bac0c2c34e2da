//! Vehicles without an effect, and vehicles with one: how often a test that reaches the screen speaks
//! up for nothing, and how often an interval holds the truth. Test builds only.
//!
//! Ignored in an ordinary run; `.ci/run` runs it in a step of its own (`cargo test slow:: --
//! --ignored`). Of 1 000 vehicles without an effect between 1 and 6 % may have p ≤ .05 (METHODS
//! 10.4): .05 and three standard errors of .007 would be .071, so .06 leaves no room for a test
//! that is really too bold; exact tests of few incidents lie far below .05.

use super::invented::{Invented, starts, uniform};
use super::risk::FAMILY;
use super::*;
use crate::incidents::Incident;
use chrono_tz::Tz;

/// How conditions and incidents run in time.
#[derive(Clone, Copy, PartialEq)]
enum Course {
    /// Each start for itself.
    Independent,
    /// Both in spells that know nothing of each other (q1.serial_dependence).
    InSpells,
}

fn normal(state: &mut u64) -> f64 {
    (0..12).map(|_| uniform(state)).sum::<f64>() - 6.0
}

/// A series of unit variance; in spells it forgets 3 % a step.
fn series(course: Course, length: usize, state: &mut u64) -> Vec<f64> {
    let keep: f64 = if course == Course::InSpells { 0.97 } else { 0.0 };
    let mut value = normal(state);
    (0..length)
        .map(|_| {
            value = keep * value + (1.0 - keep * keep).sqrt() * normal(state);
            value
        })
        .collect()
}

/// Exposures and incidents of a vehicle whose incidents know nothing of its conditions: 3 to 15
/// incidents in 100 starts, each at any moment of the half hour.
fn without_effect(course: Course, state: &mut u64) -> (Vec<Exposure>, Vec<Incident>) {
    loop {
        let length = 100;
        let [air, damp, rest, volts, fault] = [(); 5].map(|()| series(course, length, state));
        let rows: Vec<Invented> = (0..length)
            .map(|at| {
                let hit = uniform(state) < 1.0 / (1.0 + (3.2 - 1.2 * fault[at]).exp());
                Invented {
                    cold: air[at] < -0.4,
                    wet: damp[at] > 0.3,
                    long_soak: rest[at] > 0.0,
                    incident_s: hit.then(|| 1800.0 * uniform(state)),
                }
            })
            .collect();
        if !(3..=15).contains(&rows.iter().filter(|row| row.incident_s.is_some()).count()) {
            continue;
        }
        let (mut exposures, incidents) = starts(&rows);
        for (at, exposure) in exposures.iter_mut().enumerate() {
            let sourced = |value| Some(Sourced { value, source: "log", age_s: 0.0 });
            exposure.ambient_c = sourced(4.0 + 5.0 * air[at]);
            exposure.supply_v = sourced(12.2 + 0.4 * volts[at]);
            exposure.low_supply = Some(volts[at] < -1.0);
            exposure.soak_s = Some(21_600.0 * (0.5 * rest[at]).exp());
            exposure.dew_spread_k = Some((1.0 - damp[at]).abs());
            exposure.first_of_day = Some(rest[at] > 0.2);
            exposure.washed = Some(damp[at] > 0.9);
            exposure.late = Some(at >= 50);
            exposure.odometer_km = Some(50_000.0 + 20.0 * at as f64);
        }
        return (exposures, incidents);
    }
}

/// Counts of p ≤ .05, by the name of the test.
#[derive(Default)]
struct Bold(std::collections::BTreeMap<String, (u32, u32)>);

impl Bold {
    fn note(&mut self, test: &str, p: f64) {
        let slot = self.0.entry(test.to_owned()).or_default();
        slot.0 += u32::from(p <= 0.05);
        slot.1 += 1;
    }

    /// No test that was asked at least `least` times is too bold.
    fn check(&self, least: u32, most: f64) {
        let share = |(bold, asked): &(u32, u32)| f64::from(*bold) / f64::from(*asked);
        let told: Vec<String> = self
            .0
            .iter()
            .map(|(test, counts)| format!("{test}: {:.3} of {}", share(counts), counts.1))
            .collect();
        let asked = self.0.iter().filter(|(_, counts)| counts.1 >= least);
        let too_bold: Vec<&String> =
            asked.filter(|(_, counts)| share(counts) > most).map(|(test, _)| test).collect();
        assert!(too_bold.is_empty(), "{too_bold:?} of\n{}", told.join("\n"));
    }
}

fn null_check(course: Course, seed: u64) -> Bold {
    let (mut state, mut bold) = (seed, Bold::default());
    let none = WeatherTable::default();
    let ahead = Ahead { forecast: &none, given: false, site: None, zone: Tz::UTC };
    for _ in 0..1000 {
        let (exposures, incidents) = without_effect(course, &mut state);
        let trials = trials(&exposures, &incidents);
        let listed = risks(&exposures);
        for risk in &listed {
            bold.note(&format!("condition {}", risk.condition), risk.p_value);
        }
        let found = when(&trials, &trials, &listed, &ahead);
        let least = |ps: &mut dyn Iterator<Item = f64>| ps.fold(1.0, f64::min);
        bold.note("any condition, adjusted", least(&mut found.adjusted.iter().map(|a| a.1)));
        for joint in found.together.iter().flatten() {
            bold.note("conditions together", joint.p_value);
        }
        for cut in &found.thresholds {
            bold.note(&format!("threshold of {}", cut.quantity), cut.p_value);
        }
        let time = found.time.as_ref();
        if let Some(p) = time.and_then(|time| time.constant_p) {
            bold.note("constant rate", p);
        }
        if let Some(p) = time.and_then(|time| time.split.as_ref()?.p_value) {
            bold.note("log-rank of the most telling condition", p);
        }
        // Not a p-value, but a claim: one condition called the other's companion.
        let companion = found.confounded.iter().any(|pair| pair.companion.is_some());
        bold.note("a companion is named", if companion { 0.0 } else { 1.0 });
    }
    bold
}

#[test]
#[ignore = "slow: 1000 vehicles"]
fn without_an_effect_few_tests_speak_up() {
    null_check(Course::Independent, 31).check(500, 0.06);
}

#[test]
#[ignore = "slow: 1000 vehicles"]
fn without_an_effect_but_in_spells_few_tests_speak_up() {
    null_check(Course::InSpells, 32).check(500, 0.06);
}

// Within vehicles of a fleet: eight vehicles of unlike risk and climate, no effect within any.
#[test]
#[ignore = "slow: 1000 fleets"]
fn without_an_effect_within_vehicles_a_fleet_keeps_quiet() {
    let (mut state, mut bold) = (33, Bold::default());
    for _ in 0..1000 {
        let rows: Vec<(Vec<Exposure>, Vec<Incident>)> = (0..8)
            .map(|_| {
                let (climate, risk) = (uniform(&mut state), 0.2 * uniform(&mut state).powi(3));
                let row = |_| Invented {
                    cold: uniform(&mut state) < climate,
                    incident_s: (uniform(&mut state) < risk * (0.2 + climate))
                        .then(|| 1800.0 * uniform(&mut state)),
                    ..Invented::PLAIN
                };
                let drawn: Vec<Invented> = (0..40).map(row).collect();
                starts(&drawn)
            })
            .collect();
        let vehicles: Vec<Vec<Trial<'_>>> = rows.iter().map(|(e, i)| trials(e, i)).collect();
        let cold = fleet_risks(&vehicles).into_iter().find(|r| r.condition == FAMILY[0].name);
        let Some(cold) = cold else { continue };
        bold.note("fleet, exact", cold.p_value.expect("tables"));
        bold.note("fleet, log-rank", cold.log_rank_p.unwrap_or(1.0));
    }
    bold.check(900, 0.06);
}

// Cold and wet: the interval of the contrast at the four cells' own risks. 1500 vehicles, seed 34.
#[test]
#[ignore = "slow: 1500 vehicles"]
fn the_interval_of_the_contrast_covers() {
    let mut state = 34;
    for risks in [[0.45, 0.1, 0.05, 0.02], [0.15, 0.15, 0.15, 0.15]] {
        let truth = risks[0] - risks[1] - risks[2] + risks[3];
        let (mut told, mut inside) = (0u32, 0u32);
        while told < 750 {
            let rows: Vec<Invented> = (0..80)
                .map(|_| {
                    let [cold, wet] = [0.4, 0.4].map(|p| uniform(&mut state) < p);
                    let risk = risks[match (cold, wet) {
                        (true, true) => 0,
                        (true, false) => 1,
                        (false, true) => 2,
                        (false, false) => 3,
                    }];
                    let incident_s = (uniform(&mut state) < risk).then_some(40.0);
                    Invented { cold, wet, incident_s, ..Invented::PLAIN }
                })
                .collect();
            let (exposures, incidents) = starts(&rows);
            let Ok(found) = super::interaction::interaction(&trials(&exposures, &incidents)) else {
                continue;
            };
            told += 1;
            inside += u32::from(found.low <= truth && truth <= found.high);
        }
        // Three standard errors of .95 in 750 are .024.
        let share = f64::from(inside) / f64::from(told);
        assert!((0.92..=0.99).contains(&share), "{risks:?}: covers {share}");
    }
}

// The plan's promise: in `starts_needed` starts of the proposed kind it is seen at least once with
// 90 %, on the mean over vehicles whose risk is as uncertain as the plan says. Risk under the
// trigger uniform between .05 and .9. 1500 vehicles, seed 35.
#[test]
#[ignore = "slow: 1500 vehicles"]
fn the_starts_of_the_plan_suffice_nine_times_in_ten() {
    let mut state = 35;
    let none = WeatherTable::default();
    let ahead = Ahead { forecast: &none, given: false, site: None, zone: Tz::UTC };
    let (mut planned, mut seen) = (0u32, 0.0);
    while planned < 1500 {
        let risk = 0.05 + 0.85 * uniform(&mut state);
        let rows: Vec<Invented> = (0..50)
            .map(|at| {
                let kind = if at % 3 == 0 { Invented::TRIGGER } else { Invented::PLAIN };
                let own = if at % 3 == 0 { risk } else { 0.01 };
                if uniform(&mut state) < own { kind.hit() } else { kind }
            })
            .collect();
        let (exposures, incidents) = starts(&rows);
        let plan = reproduce::reproduction(&trials(&exposures, &incidents), &ahead);
        let Some(plan) = plan.filter(|plan| !plan.conditions.is_empty()) else { continue };
        let Some(starts) = plan.starts_needed else { continue };
        planned += 1;
        seen += 1.0 - (1.0 - risk).powf(starts as f64);
    }
    let share = seen / f64::from(planned);
    assert!((0.87..=0.96).contains(&share), "seen in {share}");
}
