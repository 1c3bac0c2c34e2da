//! Reads the reports of unknown layout, once the networks, the vehicles and the report words are known.

use std::sync::Arc;

use rayon::prelude::*;

use super::plan::Plan;
use super::sources::Sources;
use crate::read::finding::Found;
use crate::read::scan_reports::free_form::{Around, Document, Understood, Words, read_free_form};
use crate::read::{Account, Reading};

/// A report taken apart into lines, still to be understood.
#[derive(Debug)]
pub(super) struct TextReport {
    pub found: Found,
    pub document: Document,
}

/// Reads them all; what each was understood as stands in `taken_for`.
pub(super) fn read(plan: &Plan, sources: &mut Sources) {
    let mut words = Words::english();
    sources.words.sort();
    for (name, bytes) in std::mem::take(&mut sources.words) {
        let reading = words.add(&bytes, &name);
        let wrong = reading.account.rejects.len();
        let wrong = if wrong > 0 { format!(", {wrong} rejected") } else { String::new() };
        note(sources, &name, format!("report words, language {}{wrong}", reading.records));
        reading.account.pour_into(&mut sources.tally);
    }
    let mut texts = std::mem::take(&mut sources.texts);
    texts.sort_by(|a, b| a.found.name.cmp(&b.found.name));
    let vehicles: Vec<String> = sources.vehicles.iter().map(|row| row.vehicle.clone()).collect();
    let read: Vec<(Arc<str>, &'static str, Reading<Understood>)> = texts
        .into_par_iter()
        .map(|text| {
            let captures = &text.found.captures;
            let around = Around {
                words: &words,
                path_vehicle: captures.vehicle.as_deref().or(plan.only_vehicle.as_deref()),
                path_start: captures.start.as_deref(),
                zone: plan.timezone,
                vehicles: &vehicles,
                network_of: &|vehicle| sources.network_of(vehicle),
            };
            let form = text.document.form;
            let name = Arc::clone(&text.found.name);
            let reading = read_free_form(text.document, &name, &around);
            (name, form, reading)
        })
        .collect();
    for (name, form, reading) in read {
        let Reading { records, account } = reading;
        note(sources, &name, shown(form, &records, &account));
        let bare = records.report.as_ref().is_none_or(|report| report.nodes.is_empty());
        if bare && !account.rejects.is_empty() {
            sources.remarks.push(format!(
                "{name}: hardly anything of it could be placed; if it is in another language, or uses other words \
                 than the built-in English ones, name a file of them under `report_words` \
                 (src/read/scan_reports/free_form/german.toml is an example)"
            ));
        }
        account.pour_into(&mut sources.tally);
        if let Some(report) = records.report {
            sources.tally.scan_reports += 1;
            sources.reports.push(report);
        }
    }
}

fn note(sources: &mut Sources, name: &str, what: String) {
    match sources.taken_for.iter_mut().find(|(known, _)| known == name) {
        Some((_, known)) => *known = what,
        None => sources.taken_for.push((name.to_owned(), what)),
    }
}

/// What a report was understood as: a line, and one more for each thing understood.
fn shown(form: &str, understood: &Understood, account: &Account) -> String {
    let mut what = match understood.report {
        Some(_) => format!("1 scan report(s) read from {form}"),
        None => format!("refused: no scan report in the {form}"),
    };
    if !account.rejects.is_empty() {
        what.push_str(&format!(", {} rejected", account.rejects.len()));
    }
    for line in &understood.lines {
        what.push_str("\n  ");
        what.push_str(line);
    }
    what
}
