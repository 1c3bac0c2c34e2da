//! The overview: the answer for all vehicles first, then a row per vehicle with incidents.

use std::collections::BTreeMap;

use serde::Serialize;

use super::{NAME, SENTENCE, Top, at, conditions, intake};
use crate::read::Tally;
use crate::reports::Heading;
use crate::reports::standing::{
    Standing, answer, leader, listing_order, next_step, standing, without_test,
};
use crate::reports::wording::{count, number, percent, shown, suspect};
use crate::suspects::VehicleFinding;
use crate::vocabulary::Suspect;

/// Most quiet vehicles named on the page.
const MOST_NAMED: usize = 400;

#[derive(Serialize)]
pub(super) struct OverviewPage {
    top: Top,
    answer: String,
    record_more: bool,
    first: Option<First>,
    rows: Vec<Row>,
    rows_all: usize,
    shared: Vec<Shared>,
    quiet: Vec<(String, usize)>,
    quiet_left: usize,
    quiet_words: String,
    silent: Vec<(String, String)>,
    silent_words: String,
    silent_left: usize,
    intake: intake::Intake,
}

#[derive(Serialize)]
struct First {
    vehicle: String,
    page: String,
    answer: String,
    next: Option<String>,
}

#[derive(Serialize)]
struct Row {
    vehicle: String,
    page: String,
    decided: bool,
    verdict: String,
    percent: String,
    width: String,
    incidents: usize,
    starts: usize,
    when: String,
    next: String,
    minutes: Option<String>,
}

/// A suspect that leads, or might, in more than one vehicle.
#[derive(Serialize)]
struct Shared {
    suspect: String,
    leads: usize,
    expected: String,
    vehicles: usize,
}

pub(super) fn page(
    heading: &Heading,
    findings: &[VehicleFinding],
    tally: &Tally,
    names: &BTreeMap<String, String>,
) -> OverviewPage {
    let mut sorted: Vec<&VehicleFinding> = findings.iter().collect();
    sorted.sort_by(|a, b| listing_order(a, b));
    let of = |wanted| sorted.iter().copied().filter(move |f| standing(f) == wanted);
    let listed: Vec<&VehicleFinding> =
        sorted.iter().copied().filter(|f| standing(f) <= Standing::Undecided).collect();
    let page_of = |f: &VehicleFinding| names.get(&f.vehicle).cloned().unwrap_or_default();
    let with_page = || listed.iter().filter(|f| names.contains_key(&f.vehicle));
    let quiet = of(Standing::Quiet);
    let quiet_starts = quiet.clone().map(|f| f.exposures.len()).sum();
    OverviewPage {
        top: Top::new(heading),
        answer: match sorted.as_slice() {
            // Of one vehicle its own answer; a leading suspect has a page of its own.
            [one] if listed.is_empty() => answer(one),
            all => totals(all),
        },
        record_more: listed.is_empty() && !sorted.is_empty(),
        first: with_page().next().map(|f| First {
            vehicle: shown(&f.vehicle, NAME),
            page: page_of(f),
            answer: answer(f),
            next: next_step(f),
        }),
        rows: with_page().map(|f| row(f, page_of(f))).collect(),
        rows_all: listed.len(),
        shared: shared(&listed),
        quiet_words: format!(
            "{} in {}",
            count(quiet.clone().count(), "quiet vehicle"),
            count(quiet_starts, "start")
        ),
        quiet_left: quiet.clone().count().saturating_sub(MOST_NAMED),
        quiet: quiet
            .take(MOST_NAMED)
            .map(|f| (shown(&f.vehicle, NAME), f.exposures.len()))
            .collect(),
        silent_words: count(of(Standing::NoData).count(), "vehicle"),
        silent_left: of(Standing::NoData).count().saturating_sub(MOST_NAMED),
        silent: of(Standing::NoData)
            .take(MOST_NAMED)
            .map(|f| (shown(&f.vehicle, NAME), shown(&f.because, SENTENCE)))
            .collect(),
        intake: intake::intake(tally),
    }
}

fn totals(sorted: &[&VehicleFinding]) -> String {
    if sorted.is_empty() {
        return "No vehicle was found in the inputs.".to_owned();
    }
    let of = |wanted| sorted.iter().filter(|f| standing(f) == wanted).count();
    let mut parts = vec![format!(
        "{} of {} a leading suspect",
        of(Standing::Decided),
        if sorted.len() == 1 {
            "1 vehicle has".to_owned()
        } else {
            format!("{} vehicles have", sorted.len())
        }
    )];
    for (n, words) in [
        (of(Standing::Undecided), "undecided"),
        (of(Standing::Quiet), "quiet"),
        (of(Standing::NoData), "without data"),
    ] {
        if n > 0 {
            parts.push(format!("{n} {} {words}", if n == 1 { "is" } else { "are" }));
        }
    }
    format!("{}.", parts.join(", "))
}

fn row(finding: &VehicleFinding, page: String) -> Row {
    let first = leader(finding);
    let named = first.map_or_else(String::new, |s| shown(&suspect(&s.suspect), NAME));
    let chance = first.map_or(0.0, |s| s.probability);
    let test = finding.next_tests.first();
    Row {
        vehicle: shown(&finding.vehicle, NAME),
        page,
        decided: standing(finding) == Standing::Decided,
        verdict: named,
        percent: percent(chance),
        width: at(chance.clamp(0.0, 1.0) * 100.0),
        incidents: finding.incidents.len(),
        starts: finding.exposures.len(),
        when: conditions::strongest(finding).unwrap_or_else(|| {
            let few = conditions::too_few(finding);
            if few { "too few starts to tell" } else { "no clear condition" }.to_owned()
        }),
        next: test.map_or_else(|| without_test(finding).0.to_owned(), |t| shown(&t.test, 90)),
        minutes: test.map(|t| number(t.minutes, 0)),
    }
}

/// Suspects that more than one vehicle gives at least one chance in twenty.
fn shared(listed: &[&VehicleFinding]) -> Vec<Shared> {
    let mut sums: BTreeMap<&Suspect, (f64, usize, usize)> = BTreeMap::new();
    for finding in listed {
        let leading = leader(finding).map(|s| &s.suspect);
        for ranked in finding.suspects.iter().filter(|s| s.probability >= 0.05) {
            let sum = sums.entry(&ranked.suspect).or_default();
            sum.0 += ranked.probability;
            sum.1 += 1;
            sum.2 += usize::from(leading == Some(&ranked.suspect));
        }
    }
    let mut rows: Vec<_> = sums.into_iter().filter(|(_, sum)| sum.1 > 1).collect();
    rows.sort_by(|a, b| b.1.0.total_cmp(&a.1.0).then_with(|| a.0.cmp(b.0)));
    rows.into_iter()
        .take(12)
        .map(|(which, (expected, vehicles, leads))| Shared {
            suspect: shown(&suspect(which), NAME),
            leads,
            expected: number(expected, 1),
            vehicles,
        })
        .collect()
}
