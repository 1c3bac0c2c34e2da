//! What was gathered becomes one scan report.
//!
//! A code that a summary repeats counts once; its details may come from either place. A code under no
//! module that stands under one elsewhere is such a repeat; else it is refused with its place. A module that is
//! not fitted is left out: it does not exist, so it cannot be silent.

use std::sync::Arc;

use super::document::Document;
use super::gathered::{Gathered, Item, Mention, Module};
use super::understood::lines;
use super::values::{Sought, condition, taken_at};
use super::words::{Answer, Label};
use super::{Around, Understood};
use crate::read::account::{Account, Reading};
use crate::read::{CodeReport, NodeReport, ScanReport};
use crate::vocabulary::{Code, CodeStatus, Network, Place, TroubleCode};

/// The most doubts that are told one by one.
const MOST_DOUBTS: usize = 200;

pub(super) fn close(
    mut gathered: Gathered,
    vehicle: Sought<String>,
    document: Document,
    network: Option<&Network>,
    name: &Arc<str>,
    around: &Around<'_>,
) -> Reading<Understood> {
    let taken_at = taken_at(&gathered, &document, around);
    let labels =
        [Label::Odometer, Label::Ambient, Label::Humidity, Label::Battery, Label::SinceStart];
    let conditions = labels.map(|label| (label, condition(&gathered, label, around.words)));
    let mut account = document.account;
    let mut doubts = std::mem::take(&mut gathered.doubts);
    doubts.extend(vehicle.doubts.iter().cloned());
    doubts.extend(taken_at.doubts.iter().cloned());
    doubts.extend(conditions.iter().flat_map(|(_, sought)| sought.doubts.iter().cloned()));
    let nodes = nodes(&mut gathered, network, &mut account, &mut doubts);
    let passed_over = mentions(&gathered, &nodes, &mut account, &mut doubts);
    doubts.sort();
    doubts.dedup();
    let more = doubts.len().saturating_sub(MOST_DOUBTS);
    for (place, reason) in doubts.into_iter().take(MOST_DOUBTS) {
        account.reject(place, reason);
    }
    if more > 0 {
        account.reject(Place::whole(name), format!("and {more} more doubtful places"));
    }
    for note in vehicle.notes.iter().chain(&taken_at.notes) {
        account.lenient(note);
    }
    let value = |wanted: Label| {
        conditions
            .iter()
            .find(|(label, _)| *label == wanted)
            .and_then(|(_, sought)| sought.found.as_ref())
    };
    let lines = lines(&vehicle, &taken_at, &conditions, &nodes, &gathered, &passed_over);
    let number = |label: Label| value(label).map(|(found, _)| *found);
    let report = match (&vehicle.found, &taken_at.found) {
        _ if nodes.is_empty() => {
            let reason =
                "no code stands under a module and no module answers, expected a scan report";
            account.reject(Place::whole(name), reason);
            None
        }
        (Some((vehicle, _)), Some((taken_at, _))) => Some(ScanReport {
            vehicle: vehicle.clone(),
            taken_at: *taken_at,
            odometer_km: number(Label::Odometer),
            ambient_c: number(Label::Ambient),
            humidity_pct: number(Label::Humidity),
            battery_v: number(Label::Battery),
            since_start_s: number(Label::SinceStart),
            nodes,
            place: document.lines.first().map_or(Place::whole(name), |line| line.place.clone()),
        }),
        (found, _) => {
            let missing = if found.is_none() {
                "no vehicle: label it (`Vehicle: …`) or capture `{vehicle}` from the path"
            } else {
                "no time at which it was taken: label it (`Date: …`) or capture `{start}` from the path"
            };
            account.reject(Place::whole(name), format!("scan report with {missing}"));
            None
        }
    };
    Reading { records: Understood { report, lines }, account }
}

/// The nodes with their codes, in the order in which the report names them.
fn nodes(
    gathered: &mut Gathered,
    network: Option<&Network>,
    account: &mut Account,
    doubts: &mut Vec<(Place, String)>,
) -> Vec<NodeReport> {
    let placed: Vec<u16> =
        gathered.items.iter().filter(|i| i.module.is_some()).map(|i| i.code.word).collect();
    let mut repeats = 0;
    for item in gathered.items.iter().filter(|item| item.module.is_none()) {
        if placed.contains(&item.code.word) {
            repeats += 1;
        } else {
            let reason = format!("code {} stands under no module that is known", item.code);
            doubts.push((item.place.clone(), reason));
        }
    }
    let mut nodes = Vec::new();
    for (at, module) in gathered.modules.iter().enumerate() {
        let own = gathered.items.iter().filter(|item| item.module == Some(at));
        let codes = codes(own, &mut repeats, account);
        if module.by_class {
            account.lenient(&format!(
                "module `{}` taken for node `{}` by its class",
                module.called, module.name
            ));
        }
        if let (true, Some(network)) = (module.strange, network) {
            account.lenient(&format!(
                "module `{}` is no node of network {}; kept as `{}`",
                module.called, network.name, module.name
            ));
        }
        let answered = match (module.answer, codes.is_empty()) {
            (Some(Answer::NotFitted), true) => {
                account.lenient("module that is not fitted left out");
                continue;
            }
            (Some(Answer::NotFitted | Answer::Silent), false) => {
                doubts.push((
                    module.place.clone(),
                    format!("`{}` did not answer and yet has codes", module.called),
                ));
                None
            }
            (Some(Answer::Silent), true) => Some(false),
            (Some(Answer::Answered), _) | (None, false) => Some(true),
            (None, true) => None,
        };
        if answered.is_none() && codes.is_empty() && !is_known(module, network) {
            // A heading without findings that no network knows: most likely no module at all.
            continue;
        }
        nodes.push(NodeReport {
            node: module.name.clone(),
            answered,
            codes,
            place: module.place.clone(),
        });
    }
    account.lenient_times("code repeated in the report counted once", repeats);
    nodes
}

fn is_known(module: &Module, network: Option<&Network>) -> bool {
    network.is_some() && !module.strange
}

/// The codes of one module; those that are the same are one.
fn codes<'i>(
    items: impl Iterator<Item = &'i Item>,
    repeats: &mut u64,
    account: &mut Account,
) -> Vec<CodeReport> {
    let mut codes: Vec<CodeReport> = Vec::new();
    for item in items {
        let same = codes.iter_mut().find(|known| {
            known.code.bare() == Code::from(item.code).bare()
                && match (known.code.failure_type(), item.code.failure_type) {
                    (Some(a), Some(b)) => a == b,
                    _ => true,
                }
        });
        let status = item.status.unwrap_or(CodeStatus::Unknown);
        let Some(known) = same else {
            codes.push(CodeReport {
                code: item.code.into(),
                status,
                occurrences: item.occurrences,
                since_start_s: item.since_start_s,
                place: item.place.clone(),
            });
            continue;
        };
        *repeats += 1;
        if known.code.failure_type().is_none() {
            known.code = item.code.into();
        }
        known.occurrences = known.occurrences.or(item.occurrences);
        known.since_start_s = known.since_start_s.or(item.since_start_s);
        match (known.status, status) {
            (_, CodeStatus::Unknown) => {}
            (CodeStatus::Unknown, status) => known.status = status,
            (one, other) if one == other => {}
            (one, other) => {
                account
                    .lenient("code listed twice with another status; the more mature one is kept");
                if maturity(other) > maturity(one) {
                    known.status = other;
                }
            }
        }
    }
    codes
}

fn maturity(status: CodeStatus) -> u8 {
    match status {
        CodeStatus::Unknown => 0,
        CodeStatus::Pending => 1,
        CodeStatus::Stored => 2,
        CodeStatus::Raw(_) => 3,
        CodeStatus::Confirmed => 4,
    }
}

/// Codes that are only mentioned: told when nobody has them, counted otherwise. Gives those passed over.
fn mentions<'g>(
    gathered: &'g Gathered,
    nodes: &[NodeReport],
    account: &mut Account,
    doubts: &mut Vec<(Place, String)>,
) -> Vec<&'g Mention> {
    let mut passed_over = Vec::new();
    for mention in &gathered.mentions {
        let bare = Code::Trouble(TroubleCode { word: mention.word, failure_type: None });
        let has = nodes.iter().flat_map(|n| &n.codes).any(|code| code.code.bare() == bare);
        if has {
            account.lenient("code mentioned once more in text");
        } else if mention.plain {
            account.lenient("code in explaining text not taken");
            passed_over.push(mention);
        } else {
            doubts.push((mention.place.clone(), format!("code {bare} not taken: {}", mention.why)));
        }
    }
    passed_over
}
