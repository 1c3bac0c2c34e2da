//! The tables of a fleet: vehicles, modules, service notes, weather.

use chrono::{Days, NaiveDate};

use crate::rehearse::RehearseError;
use crate::rehearse::chance::Chance;
use crate::rehearse::scenario::{NetworkPlan, NodePlan, PartPlan, Scenario, VehiclePlan};
use crate::rehearse::weather::Weather;

/// Rows of text under a header, as CSV.
fn table(header: &str, rows: &[Vec<String>]) -> Result<Vec<u8>, RehearseError> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(header.split(','))?;
    for row in rows {
        writer.write_record(row)?;
    }
    writer.into_inner().map_err(|unfinished| unfinished.into_error().into())
}

/// `vehicles.csv`.
pub(crate) fn vehicles(
    plans: &[VehiclePlan],
    networks: &[NetworkPlan],
) -> Result<Vec<u8>, RehearseError> {
    let rows: Vec<Vec<String>> = plans
        .iter()
        .map(|plan| {
            let network = networks.iter().find(|network| network.name == plan.network);
            vec![
                plan.name.clone(),
                plan.network.clone(),
                network.map_or_else(String::new, |network| network.model.clone()),
                plan.site.clone(),
                plan.in_service.to_string(),
                plan.odometer_km.to_string(),
            ]
        })
        .collect();
    table("vehicle,network,model,site,in_service,odometer_km", &rows)
}

/// `modules.csv`: the parts that the scenario tells, and an ordinary row for every other node.
pub(crate) fn modules(
    scenario: &Scenario,
    plans: &[VehiclePlan],
    networks: &[NetworkPlan],
) -> Result<Vec<u8>, RehearseError> {
    let mut rows = Vec::new();
    for plan in plans {
        let Some(network) = networks.iter().find(|network| network.name == plan.network) else {
            continue;
        };
        for (place, node) in network.node.iter().enumerate() {
            let mut chance = Chance::of(scenario.seed, &["part", &plan.name, &node.name]);
            let told: Vec<&PartPlan> =
                plan.part.iter().filter(|part| part.node == node.name).collect();
            if told.is_empty() {
                let ordinary = PartPlan {
                    node: node.name.clone(),
                    batch: ordinary_batch(node, plan.in_service, &mut chance),
                    built_on: None,
                    installed_on: None,
                    removed_on: None,
                    removal_reason: String::new(),
                };
                rows.push(module_row(plan, place, &ordinary, &mut chance));
            }
            for part in told {
                rows.push(module_row(plan, place, part, &mut chance));
            }
        }
    }
    let header = "vehicle,node,part_number,hardware,software,batch,built_on,installed_on,\
                  removed_on,removal_reason";
    table(header, &rows)
}

fn ordinary_batch(node: &NodePlan, fitted: NaiveDate, chance: &mut Chance) -> String {
    let letters: String = node.name.chars().filter(char::is_ascii_alphabetic).take(2).collect();
    let quarter = 1 + chance.whole(0, 3);
    format!("{}{}Q{quarter}", letters.to_uppercase(), fitted.format("%y"))
}

fn module_row(
    plan: &VehiclePlan,
    place: usize,
    part: &PartPlan,
    chance: &mut Chance,
) -> Vec<String> {
    let installed = part.installed_on.unwrap_or(plan.in_service);
    let before = Days::new(u64::from(chance.whole(40, 110)));
    let built = part.built_on.or_else(|| installed.checked_sub_days(before));
    let day = |date: Option<NaiveDate>| date.map_or_else(String::new, |date| date.to_string());
    vec![
        plan.name.clone(),
        part.node.clone(),
        format!("{}-{:03}-{}", plan.network, 410 + 7 * place, ["A", "B"][chance.index(2)]),
        format!("H{:02}", chance.whole(3, 5)),
        format!("S{}.{}", chance.whole(1, 3), chance.whole(0, 4)),
        part.batch.clone(),
        day(built),
        installed.to_string(),
        day(part.removed_on),
        part.removal_reason.clone(),
    ]
}

/// `service.csv`, in order of time.
pub(crate) fn service(plans: &[VehiclePlan]) -> Result<Vec<u8>, RehearseError> {
    let mut rows: Vec<Vec<String>> = Vec::new();
    for plan in plans {
        for note in &plan.note {
            rows.push(vec![
                note.time.to_rfc3339_opts(chrono::SecondsFormat::Secs, true),
                plan.name.clone(),
                note.action.clone(),
                note.target.clone(),
                note.outcome.clone(),
                note.note.clone(),
            ]);
        }
    }
    rows.sort();
    table("time,vehicle,action,target,outcome,note", &rows)
}

/// `weather.csv`, hourly.
pub(crate) fn weather(sites: &[Weather]) -> Result<Vec<u8>, RehearseError> {
    let mut rows = Vec::new();
    for site in sites {
        let mut time = site.from;
        for hour in &site.hours {
            rows.push(vec![
                site.site.clone(),
                time.to_string(),
                format!("{:.1}", hour.temperature_c),
                format!("{:.0}", hour.humidity_pct),
                format!("{:.1}", hour.rain_mm),
            ]);
            time = time.plus_seconds(3600.0);
        }
    }
    table("site,time,temperature_c,humidity_pct,precipitation_mm", &rows)
}
