//! The proposed tests of a vehicle as `culprits.json` has them.

use schemars::JsonSchema;
use serde::Serialize;

use crate::reports::culprits_json::{finite, probability};
use crate::suspects::{NextTest, TestOutcome, TestStep};
use crate::vocabulary::Suspect;

/// A proposed test.
#[derive(Serialize, JsonSchema)]
pub(super) struct Test<'a> {
    test: &'a str,
    target: Option<&'a Suspect>,
    bits: Option<f64>,
    minutes: Option<f64>,
    setup: Option<&'a str>,
    setup_minutes: Option<f64>,
    meaning: &'a str,
    outcomes: Vec<Outcome<'a>>,
    caution: Option<&'a str>,
    order_holds: bool,
}

/// One outcome and what it would leave.
#[derive(Serialize, JsonSchema)]
struct Outcome<'a> {
    outcome: &'a str,
    probability: Option<f64>,
    leader: &'a Suspect,
    leader_probability: Option<f64>,
    decided: bool,
}

/// One of several tests in a row.
#[derive(Serialize, JsonSchema)]
pub(super) struct Step<'a> {
    test: &'a str,
    target: &'a Suspect,
    minutes: Option<f64>,
    setup_minutes: Option<f64>,
    decided_probability: Option<f64>,
}

fn given(text: &str) -> Option<&str> {
    Some(text).filter(|t| !t.is_empty())
}

pub(super) fn test(test: &NextTest) -> Test<'_> {
    Test {
        test: &test.test,
        target: test.target.as_ref(),
        bits: finite(test.bits),
        minutes: finite(test.minutes),
        setup: given(&test.setup),
        setup_minutes: finite(test.setup_minutes),
        meaning: &test.meaning,
        outcomes: test.outcomes.iter().map(outcome).collect(),
        caution: given(&test.caution),
        order_holds: test.order_holds,
    }
}

fn outcome(outcome: &TestOutcome) -> Outcome<'_> {
    Outcome {
        outcome: &outcome.outcome,
        probability: probability(outcome.probability),
        leader: &outcome.leader,
        leader_probability: probability(outcome.leader_probability),
        decided: outcome.decided,
    }
}

pub(super) fn step(step: &TestStep) -> Step<'_> {
    Step {
        test: &step.test,
        target: &step.target,
        minutes: finite(step.minutes),
        setup_minutes: finite(step.setup_minutes),
        decided_probability: probability(step.decided),
    }
}
