//! The vehicle, the time and the conditions of a scan, out of its labelled values.
//!
//! A value that two places give differently is not taken. Values that stand among the findings of a module
//! (frozen when a code was set) are not about the scan.

use super::Around;
use super::dates::{FoundDate, find_dates, read_clock};
use super::document::Document;
use super::gathered::{Gathered, Labelled};
use super::numbers::measured;
use super::phrases::tokens;
use super::words::{DayOrder, Label, Words};
use crate::read::tables::{
    AMBIENT_C, BATTERY_V, HUMIDITY_PCT, ODOMETER_KM, Quantity, SINCE_START_S,
};
use crate::read::times::{parse_path_time, parse_time};
use crate::vocabulary::{Instant, Place};

/// How many lines from the top an unlabelled date or vehicle is looked for.
const HEAD: usize = 40;

/// Something found, with its place (`None`: from the path), and what was doubtful.
#[derive(Debug, Clone)]
pub(super) struct Sought<T> {
    pub found: Option<(T, Option<Place>)>,
    pub doubts: Vec<(Place, String)>,
    pub notes: Vec<String>,
}

impl<T> Sought<T> {
    fn none() -> Sought<T> {
        Sought { found: None, doubts: Vec::new(), notes: Vec::new() }
    }
}

/// The vehicle: as labelled, else as the path says, else the one known vehicle that the report names.
pub(super) fn vehicle(
    gathered: &Gathered,
    document: &Document,
    around: &Around<'_>,
) -> Sought<String> {
    let mut sought = Sought::none();
    let labelled = |label: Label| {
        let values = gathered.values.iter().filter(move |v| v.label == label && !v.inside);
        values.map(|v| (clean(&v.text), &v.place)).filter(|(text, _)| !text.is_empty())
    };
    let mut named: Vec<(String, &Place)> = Vec::new();
    for (text, place) in labelled(Label::Vehicle).chain(labelled(Label::Vin)) {
        if !named.iter().any(|(known, _)| *known == text) {
            named.push((text, place));
        }
    }
    let mut known: Vec<(String, &Place)> = Vec::new();
    for value in gathered.values.iter().filter(|v| matches!(v.label, Label::Vehicle | Label::Vin)) {
        for vehicle in around.vehicles.iter().filter(|vehicle| mentions(&value.text, vehicle)) {
            if !known.iter().any(|(name, _)| name == vehicle) {
                known.push((vehicle.clone(), &value.place));
            }
        }
    }
    let path = around.path_vehicle;
    let path_is_known = path.is_some_and(|path| around.vehicles.iter().any(|v| v == path));
    sought.found = match (known.as_slice(), named.as_slice(), path) {
        ([(vehicle, place)], ..) => Some((vehicle.clone(), Some((*place).clone()))),
        ([(a, place), (b, _), ..], ..) => {
            let reason = format!("names vehicle `{a}` and vehicle `{b}`; split it into files");
            sought.doubts.push(((*place).clone(), reason));
            None
        }
        ([], _, Some(path)) if path_is_known => Some((path.to_owned(), None)),
        ([], [(vehicle, place)], _) => Some((vehicle.clone(), Some((*place).clone()))),
        ([], [(_, place), ..], path) => match (path, vin_last(gathered, &named)) {
            (_, Some((vehicle, place))) => Some((vehicle, Some(place))),
            (Some(path), None) => Some((path.to_owned(), None)),
            (None, None) => {
                let all: Vec<&str> = named.iter().map(|(text, _)| text.as_str()).collect();
                let reason = format!(
                    "the vehicle may be {}; name it in the vehicles table or the path",
                    all.join(" or ")
                );
                sought.doubts.push(((*place).clone(), reason));
                None
            }
        },
        ([], [], Some(path)) => Some((path.to_owned(), None)),
        ([], [], None) => only_known(document, around),
    };
    if let (Some((vehicle, Some(_))), Some(path)) = (&sought.found, path)
        && vehicle != path
    {
        sought.notes.push(format!("the path says vehicle {path}, the report {vehicle}"));
    }
    sought
}

/// Of several names the one that is not the vehicle identification number, when there is only one such.
fn vin_last(gathered: &Gathered, named: &[(String, &Place)]) -> Option<(String, Place)> {
    let is_vin = |text: &str| {
        gathered.values.iter().any(|v| v.label == Label::Vin && clean(&v.text) == text)
    };
    let mut plain = named.iter().filter(|(text, _)| !is_vin(text));
    match (plain.next(), plain.next()) {
        (Some((text, place)), None) => Some((text.clone(), (*place).clone())),
        _ => None,
    }
}

/// The only known vehicle that the head of the report names.
fn only_known(document: &Document, around: &Around<'_>) -> Option<(String, Option<Place>)> {
    let mut found: Option<(String, Option<Place>)> = None;
    for line in document.lines.iter().take(HEAD) {
        let text = line.text();
        for vehicle in around.vehicles.iter().filter(|v| mentions(&text, v)) {
            match &found {
                Some((known, _)) if known == vehicle => {}
                Some(_) => return None,
                None => found = Some((vehicle.clone(), Some(line.place.clone()))),
            }
        }
    }
    found
}

/// Whether a text holds a name, word by word.
fn mentions(text: &str, name: &str) -> bool {
    let (text, name) = (tokens(text), tokens(name));
    !name.is_empty()
        && text.windows(name.len()).any(|w| w.iter().zip(&name).all(|(a, b)| a.text == b.text))
}

/// A value up to what only explains it.
fn clean(text: &str) -> String {
    let first = text.split(['(', ',', ';', '|', '·', '\n']).next().unwrap_or("");
    let first = first.split("  ").next().unwrap_or("");
    first.trim().trim_matches(['"', '\'', '`', '#']).trim().chars().take(80).collect()
}

/// When the tester asked.
pub(super) fn taken_at(
    gathered: &Gathered,
    document: &Document,
    around: &Around<'_>,
) -> Sought<Instant> {
    let mut sought = Sought::none();
    let order = day_order(gathered, around.words);
    let mut found: Vec<(FoundDate, Place)> = Vec::new();
    for value in about_scan(gathered, Label::Date) {
        let dates = find_dates(&value.text, around.words, order);
        if dates.is_empty()
            && value.text.chars().any(|c| c.is_ascii_digit())
            && read_clock(&value.text, around.words).is_none()
        {
            let shown = crate::read::times::shortened(&value.text);
            sought
                .doubts
                .push((value.place.clone(), format!("`{shown}` is no date that is known")));
        }
        found.extend(dates.into_iter().map(|date| (date, value.place.clone())));
    }
    if found.is_empty() {
        // The label may stand over the value, or there may be none: the head's only date.
        for line in document.lines.iter().take(HEAD) {
            let text = line.text();
            let other = gathered
                .values
                .iter()
                .any(|v| v.place == line.place && matches!(v.label, Label::OtherDate));
            if !other && !labelled_other(&text, around.words) {
                let dates = find_dates(&text, around.words, order);
                found.extend(dates.into_iter().map(|date| (date, line.place.clone())));
            }
        }
        if !found.is_empty() {
            sought
                .notes
                .push("no label for the date; the only one in the head is taken".to_owned());
        }
    }
    let path = around.path_start.and_then(|text| parse_path_time(text, around.zone).ok());
    let Some((first, place)) = found.first().cloned() else {
        sought.found = path.map(|read| (read.instant, None));
        return sought;
    };
    if let Some((other, place)) = found.iter().find(|(date, _)| date.days != first.days) {
        let reason = format!(
            "`{}` and `{}` may both be when the scan was taken; split the file or relabel one",
            first.text, other.text
        );
        sought.doubts.push((place.clone(), reason));
        return sought;
    }
    let mut first = first;
    if first.days.len() > 1 {
        // The path may say which is meant.
        let by_path = path.map(|read| read.instant.utc().date_naive());
        first.days.retain(|day| by_path.is_none_or(|path| path == *day));
    }
    let [day] = first.days.as_slice() else {
        let days: Vec<String> = first.days.iter().map(ToString::to_string).collect();
        let reason = format!(
            "date `{}` may be {}; say which with `slash_dates` in report words",
            first.text,
            days.join(" or ")
        );
        sought.doubts.push((place, reason));
        return sought;
    };
    let clock = found.iter().find_map(|(date, _)| date.clock.clone()).or_else(|| {
        let times = about_scan(gathered, Label::Time);
        let texts = times.into_iter().chain(about_scan(gathered, Label::Date));
        texts.into_iter().find_map(|v| read_clock(&v.text, around.words)).map(|(clock, _)| clock)
    });
    let text = match &clock {
        None => day.to_string(),
        Some(clock) => {
            let offset = clock.offset.map_or(String::new(), |seconds| {
                let sign = if seconds < 0 { '-' } else { '+' };
                let minutes = seconds.abs() / 60;
                format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
            });
            format!("{day} {}{offset}", clock.text)
        }
    };
    match parse_time(&text, around.zone) {
        Ok(read) => {
            sought.notes.extend(read.leniency.map(str::to_owned));
            sought.found = Some((read.instant, Some(place)));
        }
        Err(reason) => sought.doubts.push((place, reason)),
    }
    sought
}

/// A line that begins with a label for another date.
fn labelled_other(text: &str, words: &Words) -> bool {
    let said = tokens(text);
    (0..said.len()).any(|at| matches!(words.labels.at(&said, at), Some((_, (Label::OtherDate, _)))))
}

/// The values of one label that are about the scan.
fn about_scan(gathered: &Gathered, label: Label) -> Vec<&Labelled> {
    gathered.values.iter().filter(|v| v.label == label && !v.inside).collect()
}

/// The language with most labels in the report; of equals the first.
fn language(gathered: &Gathered) -> usize {
    let mut best = (0, 0);
    for (at, count) in gathered.languages.iter().enumerate() {
        if *count > best.1 {
            best = (at, *count);
        }
    }
    best.0
}

fn day_order(gathered: &Gathered, words: &Words) -> DayOrder {
    let own = words.languages.get(language(gathered)).map(|l| l.slash_dates);
    match own {
        Some(order) if order != DayOrder::Unclear => order,
        _ => {
            // A file of words without labels is a setting for all languages.
            let mut setting =
                words.languages.iter().filter(|l| l.only_settings).map(|l| l.slash_dates);
            setting.rfind(|order| *order != DayOrder::Unclear).unwrap_or(DayOrder::Unclear)
        }
    }
}

/// One of the conditions of a scan.
pub(super) fn condition(gathered: &Gathered, label: Label, words: &Words) -> Sought<f64> {
    let (quantity, range, bare) = match label {
        Label::Odometer => (Quantity::Distance, ODOMETER_KM, false),
        Label::Ambient => (Quantity::Temperature, AMBIENT_C, false),
        Label::Humidity => (Quantity::Share, HUMIDITY_PCT, false),
        Label::Battery => (Quantity::Voltage, BATTERY_V, false),
        _ => (Quantity::Duration, SINCE_START_S, false),
    };
    let comma = words.languages.get(language(gathered)).is_some_and(|l| l.decimal_comma);
    let mut sought = Sought::none();
    for value in about_scan(gathered, label) {
        // A label such as `Battery` may stand over words that are no number at all.
        if !value.text.chars().any(|c| c.is_ascii_digit()) {
            continue;
        }
        match measured(&value.text, quantity, range, value.unit.as_deref(), bare, comma) {
            Err(reason) => {
                sought.doubts.push((value.place.clone(), format!("{}: {reason}", title(label))))
            }
            Ok(found) => match &sought.found {
                None => sought.found = Some((found, Some(value.place.clone()))),
                Some((known, _)) if (known - found).abs() < 1e-9 => {}
                Some((known, _)) => {
                    let reason =
                        format!("{} is {known} in one place and {found} here", title(label));
                    sought.doubts.push((value.place.clone(), reason));
                }
            },
        }
    }
    let contradicted =
        sought.doubts.iter().any(|(_, reason)| reason.contains(" in one place and "));
    if contradicted {
        sought.found = None;
    }
    sought
}

/// What a label is called in messages.
pub(super) fn title(label: Label) -> &'static str {
    match label {
        Label::Odometer => "odometer_km",
        Label::Ambient => "ambient_c",
        Label::Humidity => "humidity_pct",
        Label::Battery => "battery_v",
        Label::SinceStart => "since_start_s",
        _ => "value",
    }
}
