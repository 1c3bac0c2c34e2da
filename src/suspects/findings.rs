//! What the analysis has found, vehicle by vehicle: the input of every report.

use serde::{Deserialize, Serialize};

use crate::conditions::{ConditionRisk, Exposure};
use crate::incidents::Incident;
use crate::vocabulary::{Mechanism, Place, Suspect, Verdict};

/// How a remark begins that says what one more input would have decided; a page puts these together.
pub const ONE_MORE_INPUT: &str = "one more input: ";

/// All that is concluded about one vehicle.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct VehicleFinding {
    /// The vehicle.
    pub vehicle: String,
    /// Its network description's name, when it has one.
    pub network: Option<String>,
    /// The verdict.
    pub verdict: Verdict,
    /// Why the verdict is what it is, in one sentence (what separates the leaders when undecided).
    pub because: String,
    /// The suspects, most probable first; empty when quiet.
    pub suspects: Vec<SuspectFinding>,
    /// How many incidents the leader explains: all but those that clearly favour another suspect.
    pub explained: usize,
    /// Further causes, of incidents that the leader does not explain.
    pub other_causes: Vec<OtherCause>,
    /// What the verdict hangs on: sources of weight without which it would be another, in words.
    pub hangs_on: Vec<String>,
    /// Every start with its conditions, by time.
    pub exposures: Vec<Exposure>,
    /// The incidents, by time.
    pub incidents: Vec<Incident>,
    /// How risk depends on conditions, strongest first.
    pub conditions: Vec<ConditionRisk>,
    /// What to test next, best first.
    pub next_tests: Vec<NextTest>,
    /// Up to three tests in a row, each done only while the case is undecided; empty when it is decided, or
    /// when no order of the tests is worth its time.
    pub sequence: Vec<TestStep>,
    /// Identifiers of unnamed senders: name and identifiers.
    pub unnamed_senders: Vec<(String, Vec<String>)>,
    /// Codes and reports that could not be placed in a start, in words, with their places.
    pub unplaced: Vec<(String, Place)>,
    /// What a person should know before believing this: missing inputs, blind spots, refusals.
    pub remarks: Vec<String>,
}

/// A second cause: a suspect that clearly explains incidents that the leader does not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OtherCause {
    /// The suspect.
    pub suspect: Suspect,
    /// Its probability as the cause of these incidents.
    pub probability: f64,
    /// How many incidents it explains.
    pub incidents: usize,
    /// Of how many the vehicle had in all.
    pub of: usize,
}

/// One suspect of one vehicle.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct SuspectFinding {
    /// The suspect.
    pub suspect: Suspect,
    /// Its probability, all evidence weighed; a vehicle's suspects add up to 1.
    pub probability: f64,
    /// The least and the greatest probability that it would have if any one source of weight (a kind of
    /// evidence, a service note) were left out; its own probability lies between them or at an end.
    pub range: (f64, f64),
    /// Its probability before any evidence.
    pub prior: f64,
    /// How it may act, with the share of the probability.
    pub mechanisms: Vec<(Mechanism, f64)>,
    /// The evidence for and against, largest weight first.
    pub evidence: Vec<Evidence>,
}

impl SuspectFinding {
    /// Evidence with positive weight, largest first.
    pub fn speaking_for(&self) -> impl Iterator<Item = &Evidence> {
        self.evidence.iter().filter(|e| e.weight_db > 0.0)
    }

    /// Evidence with negative weight, largest first.
    pub fn speaking_against(&self) -> impl Iterator<Item = &Evidence> {
        self.evidence.iter().filter(|e| e.weight_db < 0.0)
    }
}

/// One observation with its weight for or against a suspect.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// Decibans by which this evidence moved the suspect's probability, all evidence before it already
    /// weighed: 10 log10 of prior plus all weights is 10 log10 of the probability. Positive speaks for.
    pub weight_db: f64,
    /// In words, with counts.
    pub what: String,
    /// Where it was read.
    pub places: Vec<Place>,
}

/// A test worth doing next.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct NextTest {
    /// What to do, in words.
    pub test: String,
    /// The suspect that the test is about.
    pub target: Option<Suspect>,
    /// Expected information about which suspect it is, bits.
    pub bits: f64,
    /// How long it takes, minutes, the set-up included.
    pub minutes: f64,
    /// What must be done first to bring about the conditions of the fault; empty when nothing.
    pub setup: String,
    /// How long that takes, minutes.
    pub setup_minutes: f64,
    /// What each outcome would mean, in words.
    pub meaning: String,
    /// The positive outcome, then the negative one.
    pub outcomes: Vec<TestOutcome>,
    /// The caution that goes with it; empty when none.
    pub caution: String,
    /// Whether its place in the order is the same with its rates halved and doubled.
    pub order_holds: bool,
}

/// One outcome of a test, and where the suspects would stand after it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TestOutcome {
    /// What would be seen.
    pub outcome: String,
    /// Its probability.
    pub probability: f64,
    /// Who would lead.
    pub leader: Suspect,
    /// The leader's probability then.
    pub leader_probability: f64,
    /// Whether that would be enough for a verdict.
    pub decided: bool,
}

/// One of several tests in a row.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TestStep {
    /// What to do, in words.
    pub test: String,
    /// The suspect that the test is about.
    pub target: Suspect,
    /// How long it takes, minutes, with the set-up that no step before it has made.
    pub minutes: f64,
    /// The part of it that is set-up.
    pub setup_minutes: f64,
    /// Probability that the case is decided after this step, whatever the outcomes.
    pub decided: f64,
}
