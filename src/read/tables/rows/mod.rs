//! The four tables beside the logs and reports: rows become records.

use std::io::Read;
use std::sync::Arc;

use chrono_tz::Tz;

use crate::read::account::{Account, Reading};
use crate::read::nearest::suggestion;
use crate::read::tables::forms::{
    AFTER_PART, ColumnChoices, MODULES, SERVICE, SEVERITY, VEHICLES, WEATHER,
};
use crate::read::tables::sheet::Sheet;
use crate::read::{
    AfterPartRow, ModuleRow, ServiceAction, ServiceNote, ServiceOutcome, SeverityRow, VehicleRow,
    WeatherRow,
};
use crate::vocabulary::Suspect;

/// Reads a vehicles table.
pub fn read_vehicles(
    source: impl Read,
    name: &Arc<str>,
    choices: &ColumnChoices,
    zone: Tz,
) -> Reading<Vec<VehicleRow>> {
    rows(Sheet::open(source, name, &VEHICLES, choices, zone), |sheet| {
        Some(VehicleRow {
            vehicle: sheet.must_text("vehicle")?,
            network: sheet.text("network"),
            model: sheet.text("model"),
            site: sheet.text("site"),
            in_service: sheet.time("in_service"),
            odometer_km: sheet.number("odometer_km"),
            place: sheet.place(),
        })
    })
}

/// Reads a modules table.
pub fn read_modules(
    source: impl Read,
    name: &Arc<str>,
    choices: &ColumnChoices,
    zone: Tz,
) -> Reading<Vec<ModuleRow>> {
    rows(Sheet::open(source, name, &MODULES, choices, zone), |sheet| {
        Some(ModuleRow {
            vehicle: sheet.must_text("vehicle")?,
            node: sheet.must_text("node")?,
            part_number: sheet.text("part_number"),
            hardware: sheet.text("hardware"),
            software: sheet.text("software"),
            batch: sheet.text("batch"),
            built_on: sheet.time("built_on"),
            installed_on: sheet.time("installed_on"),
            removed_on: sheet.time("removed_on"),
            removal_reason: removal_reason(sheet),
            place: sheet.place(),
        })
    })
}

/// Reads a weather table.
pub fn read_weather(
    source: impl Read,
    name: &Arc<str>,
    choices: &ColumnChoices,
    zone: Tz,
) -> Reading<Vec<WeatherRow>> {
    rows(Sheet::open(source, name, &WEATHER, choices, zone), |sheet| {
        Some(WeatherRow {
            site: sheet.must_text("site")?,
            time: sheet.must_time("time")?,
            temperature_c: sheet.number("temperature_c"),
            humidity_pct: sheet.number("humidity_pct"),
            precipitation_mm: sheet.number("precipitation_mm"),
            place: sheet.place(),
        })
    })
}

/// Reads service notes.
pub fn read_service(
    source: impl Read,
    name: &Arc<str>,
    choices: &ColumnChoices,
    zone: Tz,
) -> Reading<Vec<ServiceNote>> {
    rows(Sheet::open(source, name, &SERVICE, choices, zone), |sheet| {
        let time = sheet.must_time("time")?;
        let vehicle = sheet.must_text("vehicle")?;
        let action = sheet.must_text("action")?;
        let Some(action) = chosen(&ACTIONS, &action) else {
            let known = ACTIONS.map(|(known, _)| known);
            sheet.refuse(format!("unknown action `{action}`; {}", suggestion(&action, &known)));
            return None;
        };
        Some(ServiceNote {
            time,
            vehicle,
            action,
            target: target(sheet),
            outcome: outcome(sheet),
            note: sheet.text("note").unwrap_or_default(),
            place: sheet.place(),
        })
    })
}

/// Reads the table of what follows a replaced part. Lists in a cell are separated by `;`.
pub fn read_after_part(
    source: impl Read,
    name: &Arc<str>,
    choices: &ColumnChoices,
    zone: Tz,
) -> Reading<Vec<AfterPartRow>> {
    let mut seen: Vec<String> = Vec::new();
    rows(Sheet::open(source, name, &AFTER_PART, choices, zone), move |sheet| {
        let class = sheet.must_text("class")?.to_lowercase();
        if seen.contains(&class) {
            sheet.refuse(format!("a second row for class `{class}`; the first one is used"));
            return None;
        }
        let words = list(&sheet.text("words").unwrap_or_default());
        if words.is_empty() && class != "any" {
            sheet.refuse(format!(
                "`words` is empty: without a word no module is of class `{class}`; only the class \
                 `any` needs none"
            ));
            return None;
        }
        let needed = list(&sheet.must_text("needed")?);
        seen.push(class.clone());
        let cautions = list(&sheet.text("caution").unwrap_or_default());
        Some(AfterPartRow { class, words, needed, cautions, place: sheet.place() })
    })
}

/// Reads a table of severities. Lists in a cell are separated by `;`; only the classes `any` and `supply`, which are
/// told without a module's name, need no words.
pub fn read_severity(
    source: impl Read,
    name: &Arc<str>,
    choices: &ColumnChoices,
    zone: Tz,
) -> Reading<Vec<SeverityRow>> {
    let mut seen: Vec<String> = Vec::new();
    rows(Sheet::open(source, name, &SEVERITY, choices, zone), move |sheet| {
        let class = sheet.must_text("class")?.to_lowercase();
        if seen.contains(&class) {
            sheet.refuse(format!("a second row for class `{class}`; the first one is used"));
            return None;
        }
        let words = list(&sheet.text("words").unwrap_or_default());
        if words.is_empty() && class != "any" && class != "supply" {
            sheet.refuse(format!(
                "`words` is empty: without a word no module is of class `{class}`; only the classes `any` \
                 and `supply` need none"
            ));
            return None;
        }
        if sheet.text("severity").is_none() {
            sheet.refuse("`severity` is empty, expected a number from 1 to 10");
            return None;
        }
        // A number that cannot be true has been refused with its place; the row then says nothing.
        let severity = sheet.number("severity")?;
        seen.push(class.clone());
        Some(SeverityRow {
            class,
            words,
            severity,
            safety: sheet.flag("safety").unwrap_or(false),
            hands_off: sheet.flag("hands_off").unwrap_or(false),
            why: sheet.text("why").unwrap_or_default(),
            place: sheet.place(),
        })
    })
}

/// The parts of a list in a cell.
fn list(cell: &str) -> Vec<String> {
    cell.split(';').map(str::trim).filter(|s| !s.is_empty()).map(str::to_owned).collect()
}

/// Reads all rows of a table with `row`, which gives `None` for a row that it refused.
fn rows<R: Read, T>(
    sheet: Result<Sheet<R>, Account>,
    mut row: impl FnMut(&mut Sheet<R>) -> Option<T>,
) -> Reading<Vec<T>> {
    let mut records = Vec::new();
    match sheet {
        Err(account) => Reading { records, account },
        Ok(mut sheet) => {
            while sheet.advance() {
                records.extend(row(&mut sheet));
            }
            Reading { records, account: sheet.account }
        }
    }
}

const ACTIONS: [(&str, ServiceAction); 8] = [
    ("disconnect", ServiceAction::Disconnect),
    ("reconnect", ServiceAction::Reconnect),
    ("replace", ServiceAction::Replace),
    ("repair", ServiceAction::Repair),
    ("clean", ServiceAction::Clean),
    ("inspect", ServiceAction::Inspect),
    ("initialise", ServiceAction::Initialise),
    ("road-test", ServiceAction::RoadTest),
];

const OUTCOMES: [(&str, ServiceOutcome); 3] = [
    ("recovered", ServiceOutcome::Recovered),
    ("no-change", ServiceOutcome::NoChange),
    ("worse", ServiceOutcome::Worse),
];

const REMOVAL_REASONS: [(&str, ()); 4] =
    [("network-fault", ()), ("other-fault", ()), ("upgrade", ()), ("accident", ())];

/// Looks a word up; case, `_` and blanks for `-` do not matter.
fn chosen<T: Copy>(known: &[(&'static str, T)], word: &str) -> Option<T> {
    let plain = word.to_lowercase().replace(['_', ' '], "-");
    known.iter().find(|(name, _)| *name == plain).map(|(_, value)| *value)
}

fn removal_reason<R: Read>(sheet: &mut Sheet<R>) -> Option<String> {
    let word = sheet.text("removal_reason")?;
    if chosen(&REMOVAL_REASONS, &word).is_none() {
        let known = REMOVAL_REASONS.map(|(known, ())| known);
        sheet.refuse(format!("unknown removal_reason `{word}`; {}", suggestion(&word, &known)));
        return None;
    }
    Some(word.to_lowercase().replace(['_', ' '], "-"))
}

/// A note without a readable target is kept: it still tells that somebody worked on the vehicle.
fn target<R: Read>(sheet: &mut Sheet<R>) -> Option<Suspect> {
    let word = sheet.text("target")?;
    let target = Suspect::parse(&word).filter(|suspect| *suspect != Suspect::None);
    if target.is_none() {
        sheet.refuse(format!(
            "unknown target `{word}`, expected node:NAME, branch:NAME, feed:NAME, ground:NAME, \
             bus:NAME or supply"
        ));
    }
    target
}

fn outcome<R: Read>(sheet: &mut Sheet<R>) -> Option<ServiceOutcome> {
    let word = sheet.text("outcome")?;
    let outcome = chosen(&OUTCOMES, &word);
    if outcome.is_none() {
        let known = OUTCOMES.map(|(known, _)| known);
        sheet.refuse(format!("unknown outcome `{word}`; {}", suggestion(&word, &known)));
    }
    outcome
}

#[cfg(test)]
mod tests;
