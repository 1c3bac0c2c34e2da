//! Scan reports: what each node told a tester, as JSON or CSV.

use serde_json::{Map, Value, json};

use crate::rehearse::chance::Chance;
use crate::rehearse::life::Vehicle;
use crate::rehearse::memory::{Memory, Told};
use crate::rehearse::output::Ready;
use crate::rehearse::scenario::{Scenario, VehiclePlan};
use crate::rehearse::starts::Begin;
use crate::rehearse::visits::Visit;
use crate::vocabulary::{Instant, NANOS_PER_SECOND, seconds};

/// The tester that a vehicle's workshop uses.
pub(crate) struct Tester {
    clock_s: f64,
    csv: bool,
}

impl Tester {
    /// Draws a tester.
    pub(crate) fn draw(scenario: &Scenario, plan: &VehiclePlan, chance: &mut Chance) -> Tester {
        let clock_s = scenario.evidence.tester_clock_s * chance.normal();
        let mut habit = Chance::of(scenario.seed, &["tester", &plan.name]);
        Tester { clock_s, csv: habit.happens(scenario.evidence.csv_reports) }
    }
}

/// A moment in which a tester asks all nodes.
pub(crate) struct Look {
    /// The start.
    pub(crate) begin: Begin,
    /// The visit.
    pub(crate) visit: Visit,
    /// The nodes that cannot answer.
    pub(crate) mute: Vec<bool>,
    /// The supply in volts.
    pub(crate) volts: f64,
}

/// One node's part of a report.
struct Part {
    node: String,
    answered: bool,
    codes: Vec<Told>,
}

/// Codes that wear and tear puts into any memory.
const NOISE: [&str; 6] = ["B1318", "C0040", "P0420", "B10A2", "P0128", "U0184"];

/// Writes a report.
pub(crate) fn report(
    vehicle: &Vehicle<'_>,
    tester: &Tester,
    memory: &Memory,
    look: &Look,
    chance: &mut Chance,
) -> Ready {
    let parts = asked(vehicle, memory, look, chance);
    let at = look.begin.at.plus_seconds(seconds(look.visit.at) + tester.clock_s);
    let at = Instant(at.0 - at.0.rem_euclid(NANOS_PER_SECOND));
    let name = &vehicle.plan.name;
    let path = format!("scans/{name}/{}", at.utc().format("%Y%m%dT%H%M%SZ"));
    if tester.csv {
        Ready { path: format!("{path}.csv"), bytes: as_csv(name, at, look, &parts).into_bytes() }
    } else {
        Ready { path: format!("{path}.json"), bytes: as_json(name, at, look, &parts).into_bytes() }
    }
}

fn asked(vehicle: &Vehicle<'_>, memory: &Memory, look: &Look, chance: &mut Chance) -> Vec<Part> {
    let model = vehicle.model;
    let evidence = &vehicle.scenario.evidence;
    // A clumsy tester leaves out a run of neighbours in its own order.
    let skips = if look.visit.clumsy { 3 + chance.index(3) } else { 0 };
    let from = chance.index(model.nodes.len());
    let mut parts = Vec::new();
    for (node, habits) in model.nodes.iter().enumerate() {
        let place = (node + model.nodes.len() - from) % model.nodes.len();
        let missed = place < skips || chance.happens(evidence.answers_missing);
        let answered = !look.mute[node] && !missed;
        let mut codes = Vec::new();
        if answered {
            codes = memory.told(model, node, look.visit.turn);
            codes.retain(|_| !chance.happens(evidence.codes_missing));
        }
        let noisy = chance.happens(evidence.noise_codes / model.nodes.len() as f64);
        if answered && noisy {
            let code = NOISE[chance.index(NOISE.len())].to_owned();
            let since = (chance.within([2.0, 900.0]) * 10.0).round() / 10.0;
            codes.push(Told {
                code,
                failure_type: String::new(),
                status: "stored".to_owned(),
                occurrences: chance.whole(1, 9),
                since_start_s: since,
            });
        }
        parts.push(Part { node: habits.name.clone(), answered, codes });
    }
    parts
}

fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

fn as_json(vehicle: &str, at: Instant, look: &Look, parts: &[Part]) -> String {
    let nodes: Vec<Value> = parts
        .iter()
        .map(|part| {
            let mut node = Map::new();
            node.insert("node".to_owned(), json!(part.node));
            node.insert("answered".to_owned(), json!(part.answered));
            if part.answered {
                node.insert("codes".to_owned(), part.codes.iter().map(code_json).collect());
            }
            Value::Object(node)
        })
        .collect();
    let report = json!({
        "schema": "buswitness/scan-report/1",
        "vehicle": vehicle,
        "taken_at": at.to_string(),
        "odometer_km": look.begin.odometer_km,
        "conditions": {
            "ambient_c": tenth(look.begin.ambient_c),
            "humidity_pct": look.begin.humidity_pct.round(),
            "battery_v": tenth(look.volts),
            "since_start_s": seconds(look.visit.at).round(),
        },
        "nodes": nodes,
    });
    format!("{report:#}\n")
}

fn code_json(told: &Told) -> Value {
    let mut code = Map::new();
    code.insert("code".to_owned(), json!(told.code));
    if !told.failure_type.is_empty() {
        code.insert("failure_type".to_owned(), json!(told.failure_type));
    }
    code.insert("status".to_owned(), json!(told.status));
    code.insert("occurrences".to_owned(), json!(told.occurrences));
    code.insert("since_start_s".to_owned(), json!(told.since_start_s));
    Value::Object(code)
}

fn as_csv(vehicle: &str, at: Instant, look: &Look, parts: &[Part]) -> String {
    let mut text = String::from(
        "taken_at,vehicle,node,answered,code,failure_type,status,occurrences,\
         ambient_c,battery_v,since_start_s,code_since_start_s\n",
    );
    let conditions =
        format!("{:.1},{:.1},{:.0}", look.begin.ambient_c, look.volts, seconds(look.visit.at));
    for part in parts {
        let head = format!("{at},{vehicle},{},{}", part.node, part.answered);
        if part.codes.is_empty() {
            text.push_str(&format!("{head},,,,,{conditions},\n"));
        }
        for told in &part.codes {
            text.push_str(&format!(
                "{head},{},{},{},{},{conditions},{:.1}\n",
                told.code, told.failure_type, told.status, told.occurrences, told.since_start_s
            ));
        }
    }
    text
}
