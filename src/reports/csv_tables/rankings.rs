//! The ranked tables: suspects, their evidence, conditions, next tests.

use std::io::Write;

use super::{Cell, Sheet, list, maybe, plain, text};
use crate::reports::ReportError;
use crate::reports::culprits_json::{decimals, digits};
use crate::reports::whole_file::Output;
use crate::suspects::{NextTest, SuspectFinding, TestStep, VehicleFinding};
use crate::vocabulary::Mechanism;

/// Columns of the suspects.
pub(super) const CULPRITS: &str = "vehicle network starts incidents verdict rank suspect probability prior \
                                   disturbs drops_out for against because";
/// Columns of the evidence.
pub(super) const EVIDENCE: &str = "vehicle suspect weight_db what places where";

/// A row per vehicle and suspect; a vehicle without suspects has one row with an empty suspect.
pub(super) fn culprits(
    findings: &[&VehicleFinding],
    mut sheet: Sheet<&mut dyn Write>,
) -> Result<(), ReportError> {
    for finding in findings {
        if finding.suspects.is_empty() {
            sheet.row(culprit(finding, None))?;
        }
        for ranked in finding.suspects.iter().enumerate() {
            sheet.row(culprit(finding, Some(ranked)))?;
        }
    }
    sheet.end()
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
pub(super) fn evidence(
    findings: &[&VehicleFinding],
    mut sheet: Sheet<&mut dyn Write>,
) -> Result<(), ReportError> {
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
    sheet.end()
}

/// A row per vehicle and condition.
pub(super) fn conditions(findings: &[&VehicleFinding]) -> Result<Output<'static>, ReportError> {
    let mut sheet = Sheet::new(
        "conditions.csv",
        "vehicle condition incidents_with starts_with incidents_without starts_without \
         starts_unknown risk_ratio low high p_value smallest_p",
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

/// A row per vehicle and proposed test; `in_sequence` is its place among the tests in a row, if it has one,
/// and `decided` the probability that the case is decided after it.
pub(super) fn next_tests(findings: &[&VehicleFinding]) -> Result<Output<'static>, ReportError> {
    let columns = "vehicle rank test target bits minutes setup_minutes if_positive_leader \
                   if_positive_probability if_negative_leader if_negative_probability order_holds \
                   in_sequence decided setup meaning caution";
    let mut sheet = Sheet::new("next_tests.csv", columns)?;
    for finding in findings {
        for (rank, test) in finding.next_tests.iter().enumerate() {
            let step = finding.sequence.iter().enumerate().find(|(_, s)| s.test == test.test);
            sheet.row(proposed(&finding.vehicle, Some(rank + 1), test, step))?;
        }
        // A step may be a longer form of a listed test, or one too slow for the list.
        for step in finding.sequence.iter().enumerate() {
            if !finding.next_tests.iter().any(|t| t.test == step.1.test) {
                let test = NextTest {
                    test: step.1.test.clone(),
                    target: Some(step.1.target.clone()),
                    bits: f64::NAN,
                    minutes: step.1.minutes,
                    setup_minutes: step.1.setup_minutes,
                    ..NextTest::default()
                };
                sheet.row(proposed(&finding.vehicle, None, &test, Some(step)))?;
            }
        }
    }
    sheet.done()
}

fn proposed(
    vehicle: &str,
    rank: Option<usize>,
    test: &NextTest,
    step: Option<(usize, &TestStep)>,
) -> [Cell; 17] {
    let empty = || Cell(String::new());
    let outcome = |at: usize| test.outcomes.get(at);
    let leader = |at| outcome(at).map_or_else(empty, |o| text(&o.leader.to_string()));
    let probability = |at| maybe(outcome(at).and_then(|o| digits(o.leader_probability)));
    [
        text(vehicle),
        rank.map_or_else(empty, plain),
        text(&test.test),
        test.target.as_ref().map_or_else(empty, |t| text(&t.to_string())),
        maybe(digits(test.bits)),
        maybe(digits(test.minutes)),
        maybe(digits(test.setup_minutes)),
        leader(0),
        probability(0),
        leader(1),
        probability(1),
        if rank.is_some() { text(if test.order_holds { "yes" } else { "no" }) } else { empty() },
        step.map_or_else(empty, |(at, _)| plain(at + 1)),
        maybe(step.and_then(|(_, s)| digits(s.decided))),
        text(&test.setup),
        text(&test.meaning),
        text(&test.caution),
    ]
}
