//! What each test would show under each hypothesis.
//!
//! Every hypothesis stands in one of a few links to a test (its target, close by, elsewhere); the rates of a test
//! give the probability of the positive outcome by link. Outcome models: METHODS 4.1.

use super::risk::{clean, with_odds};
use crate::read::{TestKind, TestTerms};
use crate::suspects::hypotheses::{Hypothesis, Manner, Space};
use crate::vocabulary::Suspect;

/// How a hypothesis stands to a test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Link {
    Finds,
    Partly,
    Near,
    Elsewhere,
    /// Elsewhere, and a module that disturbs: moving wires does not stir it.
    Disturbs,
    /// Codes of an old fault: no new incident comes.
    Old,
    Other,
}

/// Probability of the positive outcome, by link.
pub(super) type Rates = [f64; 7];

/// Old codes do not come back. (J)
const STAYS_AWAY: f64 = 0.95;

/// The link of a hypothesis to a test of `target`.
pub(super) fn link(kind: TestKind, target: &Suspect, h: &Hypothesis, space: &Space) -> Link {
    let own = h.suspect == *target;
    let struck_alone = || h.struck.iter().filter(|s| **s).count() == 1;
    let strikes = match target {
        Suspect::Node(name) => space.node(name).is_some_and(|n| h.struck.get(n) == Some(&true)),
        _ => shares(target, h, space),
    };
    let line = matches!(h.manner, Manner::Feed | Manner::Ground);
    match (kind, h.manner) {
        (TestKind::SecondTester, Manner::Artefact | Manner::Stale) => Link::Finds,
        (_, Manner::Other) => Link::Other,
        (TestKind::Disconnect, _) if own => Link::Finds,
        // Without the only module that it strikes, nothing is left to be seen.
        (TestKind::Disconnect, Manner::Branch | Manner::Feed | Manner::Ground) if strikes => {
            if struck_alone() {
                Link::Finds
            } else {
                Link::Partly
            }
        }
        (TestKind::Swap, _) if own => Link::Finds,
        (TestKind::Swap, Manner::Branch | Manner::Feed | Manner::Ground) if strikes => Link::Partly,
        (TestKind::Disconnect | TestKind::Swap, Manner::Stale) => Link::Old,
        (TestKind::ModuleSupply, _) if line && strikes => Link::Finds,
        (TestKind::ModuleSupply, Manner::Dead) if own => Link::Partly,
        (TestKind::ModuleSupply | TestKind::ModuleConnector, Manner::Branch) if strikes => {
            Link::Near
        }
        (TestKind::ModuleConnector, Manner::CutOff) if own => Link::Finds,
        (TestKind::ModuleConnector, Manner::Dead) if own => Link::Partly,
        (TestKind::SupplyLine, _) if own => Link::Finds,
        (TestKind::SupplyLine, Manner::Dead) if strikes => Link::Partly,
        (TestKind::SupplyLine, Manner::Branch) if strikes => Link::Near,
        (TestKind::Wiggle, _) if own => Link::Finds,
        (TestKind::Wiggle, _) if line && strikes => Link::Partly,
        (TestKind::Wiggle, Manner::Branch) if strikes => Link::Near,
        (TestKind::Wiggle, _) if disturbs(h) => Link::Disturbs,
        (TestKind::BusResistance, _) if own => Link::Finds,
        (TestKind::BusResistance, Manner::Branch) => Link::Partly,
        (TestKind::CrankingVoltage, Manner::Supply) => Link::Finds,
        (TestKind::CrankingVoltage, Manner::Feed | Manner::Ground) => Link::Partly,
        _ => Link::Elsewhere,
    }
}

fn disturbs(h: &Hypothesis) -> bool {
    matches!(h.manner, Manner::Talks | Manner::BusOff | Manner::Floods | Manner::Strays)
}

/// Whether the hypothesis strikes a node that the target strikes, too.
fn shares(target: &Suspect, h: &Hypothesis, space: &Space) -> bool {
    space
        .hypotheses
        .iter()
        .filter(|t| t.suspect == *target)
        .any(|t| t.struck.iter().zip(&h.struck).any(|(a, b)| *a && *b))
}

/// The rates of a test with `starts` starts at a risk; without starts, of a measurement.
pub(super) fn rates(terms: &TestTerms, starts: u32, risk: (f64, f64)) -> Rates {
    if starts == 0 {
        let TestTerms { finds, partly, near, false_alarm, other, .. } = *terms;
        return [finds, partly, near, false_alarm, false_alarm / 2.0, false_alarm, other];
    }
    let by_luck = clean(risk, starts);
    let residual = |n: u32| (1.0 - terms.residual).powi(i32::try_from(n).unwrap_or(i32::MAX));
    let cured = residual(starts);
    let reseated = terms.reseats * cured + (1.0 - terms.reseats) * by_luck;
    [cured, reseated, reseated, by_luck, by_luck, STAYS_AWAY.max(by_luck), terms.other]
}

/// The same test with its rates of error, and the odds of an incident, multiplied.
pub(super) fn scaled(terms: &TestTerms, risk: (f64, f64), factor: f64) -> (TestTerms, (f64, f64)) {
    let error = |rate: f64| (rate * factor).clamp(0.0, 0.95);
    let scaled = TestTerms {
        finds: 1.0 - error(1.0 - terms.finds),
        false_alarm: error(terms.false_alarm),
        residual: error(terms.residual),
        reseats: error(terms.reseats),
        ..terms.clone()
    };
    (scaled, with_odds(risk, factor, f64::INFINITY))
}
