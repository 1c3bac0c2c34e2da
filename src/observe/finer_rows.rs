//! The finer facts: what more a log tells of a disturbance, a silence, a clock or a sender.
//!
//! They stand in tables of their own beside those of `rows`, which they refer to by bus, start and begin.

use serde::{Deserialize, Serialize};

use crate::vocabulary::{Identifier, Instant, Place};

/// The finer facts of one log file.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct FinerFacts {
    /// Error frames of each disturbance by class and place in the frame.
    pub errors: Vec<ErrorDetailRow>,
    /// Whose schedule each disturbance keeps.
    pub locks: Vec<LockRow>,
    /// How nodes came back from silence.
    pub returns: Vec<ReturnRow>,
    /// Who fell silent before whom, where the periods let it be told.
    pub orders: Vec<OrderRow>,
    /// Nodes whose CAN FD frames say that they are error passive.
    pub passives: Vec<PassiveRow>,
    /// Steps of the log's clock.
    pub clock_steps: Vec<ClockStepRow>,
    /// Identifiers that run by one clock.
    pub clock_groups: Vec<ClockGroupRow>,
}

impl FinerFacts {
    /// Keeps only what belongs to starts that `wanted` keeps; clocks belong to the whole log.
    pub(super) fn keep_starts(&mut self, wanted: &impl Fn(Instant) -> bool) {
        self.errors.retain(|r| wanted(r.start));
        self.locks.retain(|r| wanted(r.start));
        self.returns.retain(|r| wanted(r.start));
        self.orders.retain(|r| wanted(r.start));
        self.passives.retain(|r| wanted(r.start));
    }

    /// All times, to be moved.
    pub(super) fn times(&mut self) -> Vec<&mut Instant> {
        let mut times: Vec<&mut Instant> = Vec::new();
        times.extend(self.errors.iter_mut().flat_map(|r| [&mut r.start, &mut r.begin]));
        times.extend(self.locks.iter_mut().flat_map(|r| [&mut r.start, &mut r.begin]));
        times.extend(self.returns.iter_mut().flat_map(|r| [&mut r.start, &mut r.due]));
        times.extend(self.orders.iter_mut().flat_map(|r| [&mut r.start, &mut r.begin]));
        for r in &mut self.passives {
            times.extend([&mut r.start, &mut r.first, &mut r.last]);
        }
        times.extend(self.clock_steps.iter_mut().map(|r| &mut r.at));
        times
    }
}

/// Error frames of one disturbance that have one class and stand at one place in the frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ErrorDetailRow {
    /// The bus.
    pub bus: String,
    /// Begin of the start.
    pub start: Instant,
    /// Begin of the disturbance.
    pub begin: Instant,
    /// Class and kind in words, as `protocol violation: stuff` or `transceiver`.
    pub class: String,
    /// Where in the frame, or which wire; `None` when the message names no place.
    pub spot: Option<String>,
    /// How many messages.
    pub frames: u64,
    /// Whether it names a fault of the wires.
    pub wires: bool,
}

/// From what it was told whose schedule a disturbance keeps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum LockBasis {
    /// From the times of error frames.
    ErrorFrames,
    /// From the times at which other nodes' frames were lost.
    MissingFrames,
}

/// Whether a disturbance keeps the schedule of one node.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LockRow {
    /// The bus.
    pub bus: String,
    /// Begin of the start.
    pub start: Instant,
    /// Begin of the disturbance.
    pub begin: Instant,
    /// The node.
    pub node: String,
    /// From what.
    pub basis: LockBasis,
    /// Moments of disturbance; error frames within 5 ms are one.
    pub moments: u64,
    /// Of these, moments at which a frame of the node was due.
    pub hits: u64,
    /// How many would be by chance.
    pub expected: f64,
    /// Probability of so many or more by chance, times the number of nodes tested, at most 1.
    pub p: f64,
}

/// How a node came back from a silence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum ReturnKind {
    /// Beat and counters went on: it ran all the time and was only not heard.
    InPhase,
    /// Counters began again, the beat is a new one, or it claimed its address: it had no power or was reset.
    Restarted,
    /// Its silences have one fixed length, again and again, without restart: bus-off and recovery.
    BusOff,
}

/// How a node came back from one silence; no row when nothing tells.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReturnRow {
    /// The bus.
    pub bus: String,
    /// Begin of the start.
    pub start: Instant,
    /// The node.
    pub node: String,
    /// The `due` of the silence.
    pub due: Instant,
    /// How it came back.
    pub kind: ReturnKind,
    /// What tells, in words.
    pub why: String,
}

/// One node fell silent before another, with a probability above 0.95 by their periods.
#[derive(Debug, Clone, PartialEq)]
pub struct OrderRow {
    /// The bus.
    pub bus: String,
    /// Begin of the start.
    pub start: Instant,
    /// Last frame of the earlier node.
    pub begin: Instant,
    /// Who fell silent first.
    pub earlier: String,
    /// Who later.
    pub later: String,
    /// Probability of this order.
    pub probability: f64,
}

/// A node whose CAN FD frames carry the error state indicator.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PassiveRow {
    /// The bus.
    pub bus: String,
    /// Begin of the start.
    pub start: Instant,
    /// The node: error passive while it sent these.
    pub node: String,
    /// How many frames of the log.
    pub frames: u64,
    /// The first.
    pub first: Instant,
    /// The last.
    pub last: Instant,
    /// Where the first stands.
    pub place: Place,
}

/// A step of the log's clock.
#[derive(Debug, Clone, PartialEq)]
pub struct ClockStepRow {
    /// The bus.
    pub bus: String,
    /// When, in repaired time.
    pub at: Instant,
    /// How far the clock jumped, seconds; negative: back.
    pub step_s: f64,
    /// Identifiers whose beats moved by this, and how many could tell; 0 of 0: only the stamps tell.
    pub agreed: (u32, u32),
    /// The first frame after it.
    pub place: Place,
}

/// An identifier that runs by the same clock as others of the log.
#[derive(Debug, Clone, PartialEq)]
pub struct ClockGroupRow {
    /// The bus.
    pub bus: String,
    /// The identifier.
    pub id: Identifier,
    /// Number of the group in this log and bus.
    pub group: u32,
    /// Off the group's first identifier, parts per million, with its standard error.
    pub skew: (f64, f64),
    /// Probability that the group is one sender, as far as chance goes.
    pub confidence: f64,
}
