//! The ranked tables: suspects, their evidence, conditions, next tests.

use super::{Cell, Sheet, list, maybe, plain, text};
use crate::reports::ReportError;
use crate::reports::culprits_json::{decimals, digits};
use crate::reports::whole_file::Output;
use crate::suspects::{SuspectFinding, VehicleFinding};
use crate::vocabulary::Mechanism;

/// A row per vehicle and suspect; a vehicle without suspects has one row with an empty suspect.
pub(super) fn culprits(findings: &[&VehicleFinding]) -> Result<Output, ReportError> {
    let columns = "vehicle network starts incidents verdict rank suspect probability prior disturbs \
                   drops_out for against because";
    let columns: Vec<&str> = columns.split_whitespace().collect();
    let mut sheet = Sheet::new("culprits.csv", &columns)?;
    for finding in findings {
        if finding.suspects.is_empty() {
            sheet.row(culprit(finding, None))?;
        }
        for ranked in finding.suspects.iter().enumerate() {
            sheet.row(culprit(finding, Some(ranked)))?;
        }
    }
    sheet.done()
}

fn culprit(finding: &VehicleFinding, ranked: Option<(usize, &SuspectFinding)>) -> [Cell; 14] {
    let suspect = ranked.map(|(_, suspect)| suspect);
    let share = |wanted: Mechanism| {
        let mechanism = suspect.and_then(|s| s.mechanisms.iter().find(|(m, _)| *m == wanted));
        maybe(mechanism.and_then(|(_, p)| decimals(*p, 1e12)))
    };
    let empty = || Cell(String::new());
    [
        text(&finding.vehicle),
        text(finding.network.as_deref().unwrap_or_default()),
        plain(finding.exposures.len()),
        plain(finding.incidents.len()),
        text(&finding.verdict.to_string()),
        ranked.map_or_else(empty, |(index, _)| plain(index + 1)),
        suspect.map_or_else(empty, |s| text(&s.suspect.to_string())),
        maybe(suspect.and_then(|s| decimals(s.probability, 1e12))),
        maybe(suspect.and_then(|s| decimals(s.prior, 1e12))),
        share(Mechanism::Disturbs),
        share(Mechanism::DropsOut),
        suspect.map_or_else(empty, |s| plain(s.speaking_for().count())),
        suspect.map_or_else(empty, |s| plain(s.speaking_against().count())),
        text(&finding.because),
    ]
}

/// A row per piece of evidence.
pub(super) fn evidence(findings: &[&VehicleFinding]) -> Result<Output, ReportError> {
    let mut sheet = Sheet::new(
        "evidence.csv",
        &["vehicle", "suspect", "weight_db", "what", "places", "where"],
    )?;
    for finding in findings {
        for suspect in &finding.suspects {
            for piece in &suspect.evidence {
                let places: Vec<String> = piece.places.iter().map(ToString::to_string).collect();
                sheet.row([
                    text(&finding.vehicle),
                    text(&suspect.suspect.to_string()),
                    maybe(decimals(piece.weight_db, 1e3)),
                    text(&piece.what),
                    plain(places.len()),
                    list(places.iter().map(String::as_str)),
                ])?;
            }
        }
    }
    sheet.done()
}

/// A row per vehicle and condition.
pub(super) fn conditions(findings: &[&VehicleFinding]) -> Result<Output, ReportError> {
    let mut sheet = Sheet::new(
        "conditions.csv",
        &[
            "vehicle",
            "condition",
            "incidents_with",
            "starts_with",
            "incidents_without",
            "starts_without",
            "starts_unknown",
            "risk_ratio",
            "low",
            "high",
            "p_value",
            "smallest_p",
        ],
    )?;
    for finding in findings {
        for risk in &finding.conditions {
            sheet.row([
                text(&finding.vehicle),
                text(&risk.condition),
                plain(risk.incidents_with),
                plain(risk.starts_with),
                plain(risk.incidents_without),
                plain(risk.starts_without),
                plain(risk.starts_unknown),
                maybe(risk.risk_ratio.and_then(digits)),
                maybe(risk.low.and_then(digits)),
                maybe(risk.high.and_then(digits)),
                maybe(digits(risk.p_value)),
                maybe(digits(risk.smallest_p)),
            ])?;
        }
    }
    sheet.done()
}

/// A row per vehicle and proposed test.
pub(super) fn next_tests(findings: &[&VehicleFinding]) -> Result<Output, ReportError> {
    let mut sheet = Sheet::new(
        "next_tests.csv",
        &["vehicle", "rank", "test", "bits", "minutes", "meaning", "caution"],
    )?;
    for finding in findings {
        for (rank, test) in finding.next_tests.iter().enumerate() {
            sheet.row([
                text(&finding.vehicle),
                plain(rank + 1),
                text(&test.test),
                maybe(digits(test.bits)),
                maybe(digits(test.minutes)),
                text(&test.meaning),
                text(&test.caution),
            ])?;
        }
    }
    sheet.done()
}
