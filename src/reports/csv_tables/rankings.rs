//! The ranked tables: suspects, their evidence, conditions, next tests.

use super::{Cell, Sheet, list, maybe, plain, text};
use crate::reports::ReportError;
use crate::reports::culprits_json::{decimals, digits};
use crate::reports::whole_file::Output;
use crate::suspects::VehicleFinding;
use crate::vocabulary::Mechanism;

/// A row per vehicle and suspect; a vehicle without suspects has one row with an empty suspect.
pub(super) fn culprits(findings: &[&VehicleFinding]) -> Result<Output, ReportError> {
    let mut sheet = Sheet::new(
        "culprits.csv",
        &[
            "vehicle",
            "network",
            "starts",
            "incidents",
            "verdict",
            "rank",
            "suspect",
            "probability",
            "prior",
            "disturbs",
            "drops_out",
            "for",
            "against",
            "because",
        ],
    )?;
    for finding in findings {
        let head = || {
            [
                text(&finding.vehicle),
                text(finding.network.as_deref().unwrap_or_default()),
                plain(finding.exposures.len()),
                plain(finding.incidents.len()),
                text(&finding.verdict.to_string()),
            ]
        };
        if finding.suspects.is_empty() {
            let [vehicle, network, starts, incidents, verdict] = head();
            let empty = || Cell(String::new());
            sheet.row([
                vehicle,
                network,
                starts,
                incidents,
                verdict,
                empty(),
                empty(),
                empty(),
                empty(),
                empty(),
                empty(),
                empty(),
                empty(),
                text(&finding.because),
            ])?;
        }
        for (rank, suspect) in finding.suspects.iter().enumerate() {
            let share = |wanted: Mechanism| {
                maybe(
                    suspect
                        .mechanisms
                        .iter()
                        .find(|(m, _)| *m == wanted)
                        .and_then(|(_, p)| decimals(*p, 1e12)),
                )
            };
            let [vehicle, network, starts, incidents, verdict] = head();
            sheet.row([
                vehicle,
                network,
                starts,
                incidents,
                verdict,
                plain(rank + 1),
                text(&suspect.suspect.to_string()),
                maybe(decimals(suspect.probability, 1e12)),
                maybe(decimals(suspect.prior, 1e12)),
                share(Mechanism::Disturbs),
                share(Mechanism::DropsOut),
                plain(suspect.speaking_for().count()),
                plain(suspect.speaking_against().count()),
                text(&finding.because),
            ])?;
        }
    }
    sheet.done()
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
