//! Rehearsed vehicles with a planted trigger: it is found, what merely comes with it is called so, and
//! a vehicle without a trigger is given none.
//!
//! Ignored in an ordinary run; `.ci/run` runs it in a step of its own (`cargo test slow:: --
//! --ignored`). Every start of these vehicles is logged, since the soak is only known between logged
//! starts. The rehearsal wets connectors by rain of the last hours or damp air, while the program
//! asks for rain in twelve hours or air near its dew point: so "wet" is blurred, as in life.

use std::fmt::Write as _;
use std::fs;

use buswitness::rehearse::rehearse;
use serde_json::Value;

use crate::program::{done, folder, items, json, word};

const PIPELINE: &str = r#"
[inputs]
bus_logs = ["bus/{vehicle}/*"]
weather = ["weather.csv"]
vehicles = "vehicles.csv"
networks = ["networks/*.toml"]
[output]
folder = "out"
formats = ["json"]
"#;

/// Triggers by vehicle: name, conditions in the scenario's words, and the program's.
const TRIGGERS: [(&str, &str, &[&str]); 4] = [
    ("COLD", ", below_c = 2.0", &["ambient_c < 2"]),
    ("WET", ", wet = true", &["wet"]),
    ("REST", ", soak_h = 6.0", &["soak_h >= 6"]),
    ("NONE", "", &[]),
];

/// A fleet of four on one site. `weather` is the site's.
fn scenario(seed: u64, weather: &str) -> String {
    let mut text = format!(
        r#"
title = "planted triggers"
seed = {seed}
period = {{from = "2026-01-05", to = "2026-02-09"}}
[evidence]
blind_spots = 0.0
live_values = 0.0
[[site]]
name = "yard"
{weather}
[[network]]
name = "N1"
model = "invented"
[[network.bus]]
name = "chassis"
bitrate = 250000
interface = "can0"
"#
    );
    for (node, id) in
        [("crane", "0x1B0"), ("body", "0x1A0"), ("winch", "0x1C0"), ("lights", "0x1D0")]
    {
        writeln!(
            text,
            "[[network.node]]\nname = \"{node}\"\ntitle = \"{node}\"\nbus = [\"chassis\"]\nsends = [{{id = \"{id}\", \
             period_ms = 50}}]"
        )
        .expect("text");
    }
    for (name, conditions, _) in TRIGGERS {
        let (met, otherwise) = if conditions.is_empty() { (0.12, 0.12) } else { (0.5, 0.02) };
        writeln!(
            text,
            "[[vehicle]]\nname = \"{name}\"\nnetwork = \"N1\"\nsite = \"yard\"\nin_service = \
             \"2024-01-01\"\nodometer_km = 5000\nstarts_per_day = [2, 3]\nlogs = {{incidents = 999, \
             healthy = 999, seconds = [12.0, 13.0]}}\nscans = {{after = 0.0, during = 0.0, later = \
             0.0, weekly = false}}\n[[vehicle.fault]]\nsuspect = \"node:crane\"\nhow = \
             \"supply-lost\"\ntrigger = {{met = {met}, otherwise = {otherwise}{conditions}}}\nonset_s \
             = [3.0, 6.0]\nseconds = [2.0, 4.0]"
        )
        .expect("text");
    }
    text
}

/// Days that differ, and nights that do not: cold spells, little between morning and noon.
const SPELLS: &str =
    "mean_c = 2.0\ndaily_swing_c = 2.0\nslow_c = 5.0\nhumidity_pct = 72.0\nrain_share = 0.08";
/// The vehicles of some fleets, each by its name.
fn vehicles(weather: &str, seeds: std::ops::Range<u64>) -> Vec<Value> {
    let mut found = Vec::new();
    for seed in seeds {
        let room = folder();
        rehearse(&scenario(seed, weather), room.path()).expect("the rehearsal runs");
        fs::write(room.path().join("p.toml"), PIPELINE).expect("a pipeline");
        done(room.path(), &["run", "--quiet", "--strict", "p.toml"]);
        let culprits = json(&room.path().join("out/culprits.json"));
        found.extend(items(&culprits, "vehicles").iter().cloned());
    }
    found
}

fn planted(vehicle: &Value) -> &'static [&'static str] {
    let name = word(vehicle, "vehicle");
    TRIGGERS.iter().find(|own| own.0 == name).expect("one of them").2
}

fn texts(value: &Value) -> Vec<&str> {
    value.as_array().map(|list| list.iter().filter_map(Value::as_str).collect()).unwrap_or_default()
}

fn p_value(vehicle: &Value, condition: &str) -> f64 {
    let row = items(vehicle, "conditions").iter().find(|row| word(row, "condition") == condition);
    row.and_then(|row| row["p_value"].as_f64()).unwrap_or(1.0)
}

/// What was counted over all vehicles.
#[derive(Debug, Default)]
struct Counts {
    vehicles: u32,
    /// Its own condition has p ≤ .05 …
    clear: u32,
    /// … and is in the set to arrange.
    arranged: u32,
    /// The planted condition itself is called a mere companion.
    slandered: u32,
    /// Pairs of the planted condition with one that looks like a trigger too.
    pairs: u32,
    /// Those that are reported as such, or whose other condition is called the companion.
    told: u32,
}

fn count(vehicles: &[Value]) -> Counts {
    let mut counts = Counts::default();
    for vehicle in vehicles {
        let &[own] = planted(vehicle) else { continue };
        counts.vehicles += 1;
        counts.clear += u32::from(p_value(vehicle, own) <= 0.05);
        let set = texts(&vehicle["reproduce"]["conditions"]);
        counts.arranged += u32::from(set.contains(&own));
        let pairs = items(&vehicle["risk"], "confounded");
        counts.slandered += u32::from(pairs.iter().any(|pair| pair["companion"] == own));
        for row in items(vehicle, "conditions") {
            let other = word(row, "condition");
            let ratio = row["risk_ratio"].as_f64().unwrap_or(0.0);
            let looks = row["p_value"].as_f64().is_some_and(|p| p <= 0.05) && ratio > 1.0;
            if other == own || other == "ambient_c < 2 and wet" || !looks {
                continue;
            }
            counts.pairs += 1;
            let told = pairs.iter().any(|pair| {
                let names = texts(&pair["conditions"]);
                names.contains(&own) && names.contains(&other)
            });
            counts.told += u32::from(told);
        }
    }
    counts
}

// Three fleets of about 85 starts a vehicle. On 2026-11-26: of nine vehicles with a trigger seven had
// p ≤ .05 (one had hardly a start without its condition, one only three incidents), nine plans
// asked for it; the first start of a day came with a night's rest in three and was called so in all
// three; no plan asked the three vehicles without a trigger for a condition.
#[test]
#[ignore = "slow: 1000 logs"]
fn planted_triggers_are_found_and_companions_called_so() {
    let fleets = vehicles(SPELLS, 1..4);
    let counts = count(&fleets);
    assert_eq!(counts.vehicles, 9);
    assert!(counts.clear >= 6 && counts.arranged >= 8, "{counts:?}");
    assert_eq!(counts.slandered, 0, "{counts:?}");
    assert!(counts.pairs >= 3 && counts.told == counts.pairs, "{counts:?}");
    let given = fleets
        .iter()
        .filter(|own| planted(own).is_empty())
        .filter(|own| !texts(&own["reproduce"]["conditions"]).is_empty())
        .count();
    assert!(given <= 1, "{given} of 3 without a trigger were given one");
}
