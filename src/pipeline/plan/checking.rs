//! The checks of a pipeline file, section by section; every fault is noted with its line.

use std::path::Path;
use std::sync::Arc;

use chrono_tz::{TZ_VARIANTS, Tz};
use toml::de::{DeTable, DeValue};

use crate::pipeline::plan::columns::columns;
use crate::pipeline::plan::{CONFIDENCE, Format, Inputs, Output, Plan, PlanFaults, View};
use crate::read::finding::{ObjectPattern, Pattern};
use crate::read::nearest::{nearest, suggestion};
use crate::read::objects::is_url;
use crate::read::times::parse_day;
use crate::read::toml_text::{TomlText, Word};
use crate::vocabulary::{Instant, Place, Reject};

const KEYS: [&str; 8] =
    ["title", "view", "timezone", "inputs", "columns", "period", "repairs", "output"];
const INPUT_KEYS: [&str; 13] = [
    "bus_logs",
    "scan_reports",
    "weather",
    "forecast",
    "vehicles",
    "modules",
    "service",
    "networks",
    "report_words",
    "after_part",
    "severity",
    "tests",
    "facts",
];

pub(super) fn check(bytes: &[u8], name: &Arc<str>, base: &Path) -> Result<Plan, PlanFaults> {
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let place = Place::byte(name, error.valid_up_to() as u64);
        let reason = "not UTF-8, expected a pipeline file; save it as UTF-8";
        PlanFaults(vec![Reject::one(place, reason)])
    })?;
    let (mut file, table) = TomlText::parse(text, name);
    file.check_keys(&table, &KEYS, "the pipeline file");
    let title = file.word(&table, "title").map(|word| word.text);
    let view = view(&mut file, &table);
    let timezone = file.word(&table, "timezone").and_then(|word| zone(&mut file, &word));
    let timezone = timezone.unwrap_or(Tz::UTC);
    let inputs = inputs(&mut file, &table);
    let columns = columns(&mut file, &table);
    let period = period(&mut file, &table, timezone);
    let confidence = confidence(&mut file, &table);
    let output = output(&mut file, &table);
    if !file.faults.is_empty() {
        let mut faults = file.faults;
        faults.sort_by_key(|fault| fault.place.spot);
        return Err(PlanFaults(faults));
    }
    let stem = || {
        let last = name.rsplit('/').next().unwrap_or(name);
        last.strip_suffix(".toml").unwrap_or(last).to_owned()
    };
    Ok(Plan {
        title: title.unwrap_or_else(stem),
        view,
        timezone,
        base: base.to_owned(),
        inputs,
        columns,
        period,
        confidence,
        output,
        only_vehicle: None,
    })
}

/// An IANA zone; the nearest known name is given for an unknown one.
pub(super) fn zone(file: &mut TomlText<'_>, word: &Word) -> Option<Tz> {
    let found = word.text.trim().parse().ok();
    if found.is_none() {
        let near = nearest(&word.text, TZ_VARIANTS.iter().map(|zone| zone.name()));
        let hint = near.map_or("expected a name like Europe/Paris".to_owned(), |name| {
            format!("did you mean `{name}`?")
        });
        file.fault(&word.span, format!("unknown time zone `{}`; {hint}", word.text));
    }
    found
}

fn view(file: &mut TomlText<'_>, table: &DeTable<'_>) -> View {
    let Some(word) = file.word(table, "view") else { return View::Fleet };
    match word.text.as_str() {
        "session" => View::Session,
        "fleet" => View::Fleet,
        "batches" => View::Batches,
        other => {
            let hint = suggestion(other, &["session", "fleet", "batches"]);
            file.fault(&word.span, format!("unknown view `{other}`; {hint}"));
            View::Fleet
        }
    }
}

fn inputs(file: &mut TomlText<'_>, table: &DeTable<'_>) -> Inputs {
    let Some((section, span)) = file.table(table, "inputs") else {
        if !table.contains_key("inputs") {
            file.fault_of_file(format!(
                "no [inputs]; name at least one of {}",
                INPUT_KEYS.join(", ")
            ));
        }
        return Inputs::default();
    };
    file.check_keys(section, &INPUT_KEYS, "[inputs]");
    let mut patterns = |key: &str| {
        let mut kept = Vec::new();
        for word in file.words(section, key) {
            match checked(key, &word.text) {
                Ok(()) => kept.push(word.text.trim().to_owned()),
                Err(reason) => file.fault(&word.span, format!("`{key}`: {reason}")),
            }
        }
        kept
    };
    let inputs = Inputs {
        bus_logs: patterns("bus_logs"),
        scan_reports: patterns("scan_reports"),
        weather: patterns("weather"),
        forecast: patterns("forecast"),
        vehicles: patterns("vehicles"),
        modules: patterns("modules"),
        service: patterns("service"),
        networks: patterns("networks"),
        report_words: patterns("report_words"),
        after_part: patterns("after_part"),
        severity: patterns("severity"),
        tests: patterns("tests"),
        facts: patterns("facts"),
        by_content: Vec::new(),
    };
    let read = Inputs { report_words: Vec::new(), ..inputs.clone() };
    if read == Inputs::default() && file.faults.is_empty() {
        let reason =
            format!("[inputs] names nothing to read; give one of {}", INPUT_KEYS.join(", "));
        file.fault(&span, reason);
    }
    inputs
}

/// A pattern of files; for logs also one of objects.
fn checked(key: &str, text: &str) -> Result<(), String> {
    match (is_url(text.trim()), key) {
        (true, "bus_logs") => ObjectPattern::parse(text).map(|_| ()),
        (true, _) => Err(format!(
            "`{text}` is a URL; only bus_logs may lie in an object store, name a file here"
        )),
        (false, _) => Pattern::parse(text).map(|_| ()),
    }
}

fn period(
    file: &mut TomlText<'_>,
    table: &DeTable<'_>,
    zone: Tz,
) -> Option<(Option<Instant>, Option<Instant>)> {
    let (section, span) = file.table(table, "period")?;
    file.check_keys(section, &["from", "to"], "[period]");
    let from = date(file, section, "from", zone);
    let to = date(file, section, "to", zone);
    if let (Some(from), Some(to)) = (from, to)
        && from >= to
    {
        let reason = "[period] is empty: `to` is exclusive and must lie after `from`";
        file.fault(&span, reason);
    }
    Some((from, to))
}

/// `[repairs] confidence`: between 0.5 and 1, both left out.
fn confidence(file: &mut TomlText<'_>, table: &DeTable<'_>) -> f64 {
    let Some((section, _)) = file.table(table, "repairs") else { return CONFIDENCE };
    file.check_keys(section, &["confidence"], "[repairs]");
    let Some(value) = section.get("confidence") else { return CONFIDENCE };
    let found = match value.get_ref() {
        DeValue::Float(number) => number.as_str().parse::<f64>().ok(),
        _ => None,
    };
    match found.filter(|found| *found > 0.5 && *found < 1.0) {
        Some(found) => found,
        None => {
            file.wrong(value, "confidence", "a number between 0.5 and 1, like 0.95");
            CONFIDENCE
        }
    }
}

/// A day or time, as a text or as TOML's own date.
fn date(file: &mut TomlText<'_>, section: &DeTable<'_>, key: &str, zone: Tz) -> Option<Instant> {
    let value = section.get(key)?;
    let text = match value.get_ref() {
        DeValue::String(text) => text.to_string(),
        DeValue::Datetime(date) => date.to_string(),
        _ => {
            file.wrong(value, key, "a date like \"2026-01-05\"");
            return None;
        }
    };
    match parse_day(&text, zone) {
        Ok(read) => Some(read.instant),
        Err(reason) => {
            file.fault(&value.span(), format!("`{key}`: {reason}"));
            None
        }
    }
}

const FORMATS: [(&str, Format); 4] = [
    ("html", Format::Html),
    ("json", Format::Json),
    ("csv", Format::Csv),
    ("parquet", Format::Parquet),
];

fn output(file: &mut TomlText<'_>, table: &DeTable<'_>) -> Output {
    let mut output =
        Output { folder: "out".to_owned(), formats: FORMATS.map(|(_, format)| format).to_vec() };
    let Some((section, _)) = file.table(table, "output") else { return output };
    file.check_keys(section, &["folder", "formats"], "[output]");
    if let Some(word) = file.word(section, "folder") {
        output.folder = word.text.trim().trim_end_matches('/').to_owned();
        if output.folder.is_empty() || output.folder.contains(['*', '?', '{']) {
            file.fault(&word.span, format!("`folder`: `{}` is not a plain folder", word.text));
        }
    }
    if section.contains_key("formats") {
        output.formats.clear();
        for word in file.words(section, "formats") {
            match FORMATS.iter().find(|(name, _)| *name == word.text) {
                Some((_, format)) => output.formats.push(*format),
                None => {
                    let hint = suggestion(&word.text, &FORMATS.map(|(name, _)| name));
                    file.fault(&word.span, format!("unknown format `{}`; {hint}", word.text));
                }
            }
        }
        output.formats.sort_unstable();
        output.formats.dedup();
    }
    output
}
