//! Where a vehicle stands, in what order vehicles are listed, and the answer in a sentence.

use std::cmp::Ordering;

use crate::reports::wording::{count, decibans, mechanism, percent, shown, the_suspect};
use crate::suspects::{SuspectFinding, VehicleFinding};
use crate::vocabulary::{Suspect, Verdict};

/// Where a vehicle stands. The order of the variants is the order of the overview.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Standing {
    /// A suspect leads clearly.
    Decided,
    /// Incidents, but the leaders are not separated.
    Undecided,
    /// Starts that could have shown an incident, and none did.
    Quiet,
    /// Nothing from which an incident could have been seen.
    NoData,
}

/// Where a vehicle stands. A vehicle of which no start could have shown an incident is not quiet.
pub(super) fn standing(finding: &VehicleFinding) -> Standing {
    match finding.verdict {
        Verdict::Suspect(_) => Standing::Decided,
        Verdict::Undecided => Standing::Undecided,
        Verdict::Quiet if finding.exposures.iter().any(|e| e.judged) => Standing::Quiet,
        Verdict::Quiet => Standing::NoData,
    }
}

/// The suspect that the verdict names, else the most probable one.
pub(super) fn leader(finding: &VehicleFinding) -> Option<&SuspectFinding> {
    let named = match &finding.verdict {
        Verdict::Suspect(named) => finding.suspects.iter().find(|s| s.suspect == *named),
        Verdict::Undecided | Verdict::Quiet => None,
    };
    named.or_else(|| finding.suspects.first())
}

/// Decided first, then by probability (highest first), then by name.
pub(super) fn listing_order(a: &VehicleFinding, b: &VehicleFinding) -> Ordering {
    let probability = |f| leader(f).map_or(0.0, |s| s.probability);
    standing(a)
        .cmp(&standing(b))
        .then_with(|| probability(b).total_cmp(&probability(a)))
        .then_with(|| a.vehicle.cmp(&b.vehicle))
}

/// The findings by vehicle name: the order of every data file.
pub(super) fn by_name(findings: &[VehicleFinding]) -> Vec<&VehicleFinding> {
    let mut sorted: Vec<&VehicleFinding> = findings.iter().collect();
    sorted.sort_by(|a, b| a.vehicle.cmp(&b.vehicle));
    sorted
}

/// How many starts could have shown an incident.
pub(super) fn judged(finding: &VehicleFinding) -> usize {
    finding.exposures.iter().filter(|e| e.judged).count()
}

/// What a verdict rests on, as in `7 incidents in 41 starts`.
pub(super) fn basis(finding: &VehicleFinding) -> String {
    let starts = finding.exposures.len();
    let mut text =
        format!("{} in {}", count(finding.incidents.len(), "incident"), count(starts, "start"));
    let blind = starts - judged(finding);
    if blind > 0 {
        text.push_str(&format!(" ({blind} of them too poorly recorded to show one)"));
    }
    text
}

/// The answer about one vehicle in one sentence.
pub(super) fn answer(finding: &VehicleFinding) -> String {
    let Some(first) = leader(finding) else {
        return match standing(finding) {
            Standing::NoData => "No data: no start of this vehicle could have shown an incident, \
                so nothing can be said about it."
                .to_owned(),
            _ => format!("Quiet: {}.", basis(finding)),
        };
    };
    let chance = percent(first.probability);
    match finding.verdict {
        Verdict::Suspect(Suspect::None) => format!(
            "Most likely no bus fault, or the tester\u{2019}s own doing: probability {chance}, \
             from {}.",
            basis(finding)
        ),
        Verdict::Suspect(_) => {
            let way = first
                .mechanisms
                .iter()
                .max_by(|a, b| a.1.total_cmp(&b.1))
                .map_or_else(String::new, |m| format!("; it most likely {}", mechanism(m.0)));
            format!(
                "Most likely {}: probability {chance}, from {}{way}.",
                shown(&the_suspect(&first.suspect), 120),
                basis(finding)
            )
        }
        Verdict::Undecided | Verdict::Quiet => undecided(finding, first),
    }
}

fn undecided(finding: &VehicleFinding, first: &SuspectFinding) -> String {
    let name = |s: &SuspectFinding| {
        format!("{} ({})", shown(&the_suspect(&s.suspect), 120), percent(s.probability))
    };
    match finding.suspects.get(1) {
        Some(second) => format!(
            "Undecided: {} and {} lead, {} decibans apart, from {}.",
            name(first),
            name(second),
            decibans(10.0 * (first.probability / second.probability).log10())
                .trim_start_matches('+'),
            basis(finding)
        ),
        None => format!("Undecided: only {} is left, from {}.", name(first), basis(finding)),
    }
}

/// What to do when no test is proposed: in a table, and in a sentence.
pub(super) fn without_test(finding: &VehicleFinding) -> (&'static str, &'static str) {
    match finding.verdict {
        Verdict::Suspect(ref named) if *named != Suspect::None => (
            "inspect the suspect itself",
            "no listed test would tell the suspects further apart. Inspect the one named above by \
             the maker\u{2019}s procedure before anything is replaced",
        ),
        _ => ("none proposed", "no test is proposed; more recorded starts would tell more"),
    }
}

/// The next step about one vehicle in one sentence; `None` when no test is worth proposing.
pub(super) fn next_step(finding: &VehicleFinding) -> Option<String> {
    let test = finding.next_tests.first()?;
    Some(format!(
        "{} (about {:.0} min, expected to tell {:.2} bits)",
        shown(&test.test, 300),
        test.minutes,
        test.bits
    ))
}
