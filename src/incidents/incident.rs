//! An incident: what belongs together inside one start.

use serde::{Deserialize, Serialize};

use crate::observe::{AnswerReading, ErrorDetailRow, LockRow, PassiveRow, ReturnRow};
use crate::vocabulary::{Instant, Place, Word, word};

/// Silences, disturbances, accusations and missing answers that belong together in one start.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Incident {
    /// Begin of the start it lies in.
    pub start: Instant,
    /// First sign.
    pub begin: Instant,
    /// Last sign; equals `begin` when only codes tell of it.
    pub end: Instant,
    /// The bus, when known.
    pub bus: Option<String>,
    /// Seconds from start to first sign; `None` when only an undated code tells of it.
    pub since_start_s: Option<f64>,
    /// Nodes that fell silent, in the order in which they did, as far as the log tells.
    pub silent: Vec<SilentNode>,
    /// Nodes that the log shows alive throughout; empty when no log covers the incident.
    pub alive: Vec<String>,
    /// Whether a log covers it: without one, silence is unknown, not absent.
    pub logged: bool,
    /// Disturbances of the bus.
    pub disturbances: Vec<Disturbed>,
    /// What the disturbances cost each node: node, cyclic frames due, frames missing.
    pub losses: Vec<(String, f64, f64)>,
    /// Accusations: reporter, accused, how the accused was missed, place.
    pub accusations: Vec<Accusation>,
    /// Nodes that said the bus was down or that they were bus-off.
    pub bus_down: Vec<(String, Place)>,
    /// Nodes that said their own supply was low or missing.
    pub own_supply: Vec<(String, Place)>,
    /// Nodes that replied to the tester while the incident lasted or right after.
    pub answered: Vec<(String, Place)>,
    /// Nodes that did not reply.
    pub unanswered: Vec<(String, Place)>,
    /// Lowest supply voltage known for this start, volts.
    pub supply_v: Option<f64>,
    /// Every reporter asked: those that could have accused.
    pub reporters: Vec<String>,
    /// The reports that tell of it.
    pub reports: Vec<Place>,
    /// Whether nothing but codes that were already history in the first report tells of it.
    pub perhaps_old: bool,
    /// Later reports that hold the same codes unchanged and nothing fresh.
    pub repeats: u32,
    /// What more the logs tell of its disturbances and silences.
    pub finer: FinerSigns,
}

/// What more the logs tell of an incident: rows of the finer tables, under the names of its nodes.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct FinerSigns {
    /// Error frames by class and place; those with `wires` name a fault of the bus wires.
    pub errors: Vec<ErrorDetailRow>,
    /// Whose schedule the disturbances keep.
    pub locks: Vec<LockRow>,
    /// How silent nodes came back.
    pub returns: Vec<ReturnRow>,
    /// Nodes that said they were error passive.
    pub passives: Vec<PassiveRow>,
    /// Failed tries before frames of a node passed, and frames of it that passed, while the bus was disturbed.
    pub tries: Vec<(String, f64, f64)>,
    /// Answers of which a log tells more than that they came or not: node, reading, place.
    pub readings: Vec<(String, AnswerReading, Place)>,
}

/// A node that fell silent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SilentNode {
    /// The node.
    pub node: String,
    /// It was alive until here.
    pub last_heard: Instant,
    /// It was silent from here on.
    pub due: Instant,
    /// It was heard again here, or the log or start ended.
    pub end: Instant,
    /// Whether it was heard again.
    pub returned: bool,
    /// Whether it restarted meanwhile; `None` when the log cannot tell.
    pub restarted: Option<bool>,
    /// Where its last frame stands.
    pub place: Place,
}

/// A disturbance inside an incident.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Disturbed {
    /// `error-frames`, `flood`, `unknown-identifiers`, `thinned`, `starved`.
    #[serde(deserialize_with = "word")]
    pub kind: Word,
    /// From.
    pub begin: Instant,
    /// To.
    pub end: Instant,
    /// How many frames.
    pub count: u64,
    /// The node whose identifier floods, when known.
    pub node: Option<String>,
    /// In words.
    pub detail: String,
    /// Where it begins.
    pub place: Place,
}

/// One node's word about another.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Accusation {
    /// Who says so.
    pub reporter: String,
    /// About whom.
    pub accused: String,
    /// False: the accused was not heard. True: it was heard, but what came was invalid.
    pub heard: bool,
    /// The code as text.
    pub code: String,
    /// Where it stands.
    pub place: Place,
}
