//! The facts: all that is kept of the raw logs and reports, one type a table.
//!
//! These rows are what `facts` stores as Parquet and what every later stage reads.
//! Names, types, units and nullability of the stored columns stand in `facts/schema.rs`.

use super::blind_spots::SAID;
use super::finer_rows::FinerFacts;
use super::logged_rows::{AnswerReading, BusEventRow, LoggedAnswerRow, LoggedCodeRow};
use crate::vocabulary::{Code, CodeStatus, Identifier, Instant, Place};

/// All facts of one log file.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LogFacts {
    /// Starts seen in the log, by time.
    pub starts: Vec<StartRow>,
    /// Which node was seen in which start, and how.
    pub presences: Vec<PresenceRow>,
    /// Silences of nodes.
    pub silences: Vec<SilenceRow>,
    /// Disturbances of a bus.
    pub disturbances: Vec<DisturbanceRow>,
    /// What each disturbance cost each node.
    pub losses: Vec<LossRow>,
    /// Spans in which the logger itself did not record.
    pub blind_spots: Vec<BlindSpotRow>,
    /// Identifiers with period and jitter.
    pub identifiers: Vec<IdentifierRow>,
    /// Physical values read from the log (temperature, voltage).
    pub signals: Vec<SignalRow>,
    /// Codes that nodes told in the log.
    pub logged_codes: Vec<LoggedCodeRow>,
    /// Who was asked in the log, and whether it replied.
    pub logged_answers: Vec<LoggedAnswerRow>,
    /// Restarts, conflicts of addresses, codes cleared.
    pub bus_events: Vec<BusEventRow>,
    /// What more the log tells of disturbances, silences, clocks and senders.
    pub finer: FinerFacts,
}

impl LogFacts {
    /// Keeps only what belongs to starts that `wanted` keeps; returns how many starts went.
    pub fn keep_starts(&mut self, wanted: impl Fn(Instant) -> bool) -> u64 {
        let before = self.starts.len();
        self.starts.retain(|r| wanted(r.begin));
        self.presences.retain(|r| wanted(r.start));
        self.silences.retain(|r| wanted(r.start));
        self.disturbances.retain(|r| wanted(r.start));
        self.losses.retain(|r| wanted(r.start));
        self.blind_spots.retain(|r| wanted(r.start));
        self.logged_codes.retain(|r| wanted(r.start));
        self.logged_answers.retain(|r| wanted(r.start));
        self.bus_events.retain(|r| wanted(r.start));
        self.finer.keep_starts(&wanted);
        (before - self.starts.len()) as u64
    }

    /// Moves every time by `nanos`.
    pub fn shift(&mut self, nanos: i64) {
        let mut times: Vec<&mut Instant> = Vec::new();
        for r in &mut self.starts {
            times.extend([&mut r.begin, &mut r.end]);
        }
        for r in &mut self.presences {
            times.extend([&mut r.start, &mut r.first, &mut r.last]);
        }
        for r in &mut self.silences {
            times.extend([&mut r.start, &mut r.last_heard, &mut r.due, &mut r.end]);
        }
        for r in &mut self.disturbances {
            times.extend([&mut r.start, &mut r.begin, &mut r.end]);
        }
        for r in &mut self.losses {
            times.extend([&mut r.start, &mut r.begin]);
        }
        for r in &mut self.blind_spots {
            times.extend([&mut r.start, &mut r.begin, &mut r.end]);
        }
        for r in &mut self.logged_codes {
            times.extend([&mut r.start, &mut r.first, &mut r.last]);
        }
        for r in &mut self.logged_answers {
            times.extend([&mut r.start, &mut r.first, &mut r.last]);
        }
        for r in &mut self.bus_events {
            times.extend([&mut r.start, &mut r.time]);
        }
        times.extend(self.signals.iter_mut().map(|r| &mut r.time));
        times.extend(self.finer.times());
        for time in times {
            time.0 = time.0.saturating_add(nanos);
        }
    }
}

/// One start: one waking of the network as one log saw it on one bus.
#[derive(Debug, Clone, PartialEq)]
pub struct StartRow {
    /// The bus.
    pub bus: String,
    /// First frame after sleep.
    pub begin: Instant,
    /// Last frame before sleep or end of log.
    pub end: Instant,
    /// Whether the log shows the bus asleep (or the log's clock at zero) just before `begin`.
    pub woke: bool,
    /// Whether the log shows the bus asleep after `end`.
    pub slept: bool,
    /// Data frames.
    pub frames: u64,
    /// Error message frames (bus errors; logger overflow is not among them).
    pub error_frames: u64,
    /// Mean bus load, 0 to 1; `None` when the bit rate is not known.
    pub load: Option<f64>,
    /// Whether silence can be judged in this start; when not, `why` says the reason.
    pub judged: bool,
    /// Why silence cannot be judged; empty when it can.
    pub why: String,
    /// Where the start begins.
    pub place: Place,
}

/// A node as seen in one start.
#[derive(Debug, Clone, PartialEq)]
pub struct PresenceRow {
    /// The bus.
    pub bus: String,
    /// Begin of the start.
    pub start: Instant,
    /// The node.
    pub node: String,
    /// Its first frame.
    pub first: Instant,
    /// Its last frame.
    pub last: Instant,
    /// Its frames.
    pub frames: u64,
    /// The period of its fastest cyclic identifier, seconds; `None`: it sends only on events.
    pub fastest_period_s: Option<f64>,
}

/// A span in which all cyclic identifiers of a node that should have come did not.
#[derive(Debug, Clone, PartialEq)]
pub struct SilenceRow {
    /// The bus.
    pub bus: String,
    /// Begin of the start.
    pub start: Instant,
    /// The node.
    pub node: String,
    /// Its last frame before the silence: it was alive here.
    pub last_heard: Instant,
    /// When the next frame was due: it had fallen silent by then.
    pub due: Instant,
    /// When it was heard again, or the end of the start.
    pub end: Instant,
    /// Whether it was heard again in this start.
    pub returned: bool,
    /// Whether the node restarted meanwhile: true when its counters began again or its beat is a new
    /// one, false when both went on; `None` when that cannot be told.
    pub restarted: Option<bool>,
    /// How many of its cyclic identifiers were missing.
    pub identifiers: u32,
    /// Where its last frame stands.
    pub place: Place,
}

/// What disturbed a bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum DisturbanceKind {
    /// Error message frames from the logger's controller.
    ErrorFrames,
    /// One identifier far above its rate, or the load far above its usual.
    Flood,
    /// Identifiers that nobody sent before.
    UnknownIdentifiers,
    /// Many nodes' cyclic frames missing in part or late.
    Thinned,
    /// Low priorities starve while high ones pass.
    Starved,
}

/// A span in which the bus was garbled, flooded or thinned out.
#[derive(Debug, Clone, PartialEq)]
pub struct DisturbanceRow {
    /// The bus.
    pub bus: String,
    /// Begin of the start.
    pub start: Instant,
    /// What it was.
    pub kind: DisturbanceKind,
    /// Begin of the disturbance.
    pub begin: Instant,
    /// End of the disturbance.
    pub end: Instant,
    /// How many frames (error frames, unknown frames, surplus frames, missing frames).
    pub count: u64,
    /// The identifier that floods, when one does.
    pub identifier: Option<Identifier>,
    /// The node that owns that identifier, when known.
    pub node: Option<String>,
    /// In words: classes of the error frames, rates.
    pub detail: String,
    /// Where it begins.
    pub place: Place,
}

/// What one disturbance cost one node: the share of its cyclic frames that did not come.
#[derive(Debug, Clone, PartialEq)]
pub struct LossRow {
    /// The bus.
    pub bus: String,
    /// Begin of the start.
    pub start: Instant,
    /// Begin of the disturbance.
    pub begin: Instant,
    /// The node.
    pub node: String,
    /// Cyclic frames that were due.
    pub expected: f64,
    /// Of these, frames that did not come.
    pub missing: f64,
    /// Error frames that stood right before frames of the node, by and large its own failed tries; `None` without error
    /// frames.
    pub failed: Option<u32>,
}

/// A span in which the logger did not record.
#[derive(Debug, Clone, PartialEq)]
pub struct BlindSpotRow {
    /// The bus.
    pub bus: String,
    /// Begin of the start.
    pub start: Instant,
    /// Last frame before.
    pub begin: Instant,
    /// First frame after.
    pub end: Instant,
    /// Why this is the logger's doing.
    pub why: String,
    /// Where it begins.
    pub place: Place,
}

impl BlindSpotRow {
    /// Whether the logger itself says so: then nobody's word is held against it.
    #[must_use]
    pub fn is_said_by_the_logger(&self) -> bool {
        self.why == SAID
    }
}

/// One identifier in one log.
#[derive(Debug, Clone, PartialEq)]
pub struct IdentifierRow {
    /// The bus.
    pub bus: String,
    /// The identifier.
    pub id: Identifier,
    /// The node that sends it; unnamed senders have a name of their own.
    pub node: String,
    /// Frames.
    pub frames: u64,
    /// Whether it is cyclic; only cyclic identifiers can be missed.
    pub cyclic: bool,
    /// Median period, seconds; `None` when too few frames were seen.
    pub period_s: Option<f64>,
    /// Jitter: 1.4826 times the median absolute deviation of the gaps, seconds.
    pub jitter_s: Option<f64>,
}

/// A physical value.
#[derive(Debug, Clone, PartialEq)]
pub struct SignalRow {
    /// When.
    pub time: Instant,
    /// What: `ambient_c`, `coolant_c`, `intake_c`, `supply_v`, `engine_rpm`, `engine_run_s`.
    pub quantity: String,
    /// The value in the unit that the name states.
    pub value: f64,
    /// Where it stands.
    pub place: Place,
}

/// What one code of a report says: `accused` is `None` when the reporter speaks of the bus or of itself.
#[derive(Debug, Clone, PartialEq)]
pub struct CodeRow {
    /// The vehicle.
    pub vehicle: String,
    /// Position of the report among the vehicle's reports, by time and then place.
    pub report: u32,
    /// When the report was taken.
    pub taken_at: Instant,
    /// The node that holds the code.
    pub reporter: String,
    /// The code.
    pub code: Code,
    /// Its status.
    pub status: CodeStatus,
    /// Occurrences by the node's counter.
    pub occurrences: Option<u32>,
    /// Seconds after a start at which it was set.
    pub since_start_s: Option<f64>,
    /// What it says.
    pub kind: CodeKind,
    /// Whom it accuses.
    pub accused: Option<String>,
    /// Where it stands.
    pub place: Place,
}

/// What a code says for the question of the bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum CodeKind {
    /// The reporter did not hear the accused.
    NotHeard,
    /// The reporter heard the accused, but what came was invalid: it was on the wire.
    HeardInvalid,
    /// The reporter says the bus was down, or that it was itself bus-off.
    BusDown,
    /// The reporter's own supply or ground was low or missing.
    OwnSupply,
    /// Says nothing on the bus.
    Other,
}

/// Whether a node replied to the tester.
#[derive(Debug, Clone, PartialEq)]
pub struct AnswerRow {
    /// The vehicle.
    pub vehicle: String,
    /// Position of the report among the vehicle's reports.
    pub report: u32,
    /// When the report was taken.
    pub taken_at: Instant,
    /// The node.
    pub node: String,
    /// Whether it replied.
    pub answered: bool,
    /// What is to be read out of that.
    pub reading: AnswerReading,
    /// Where it stands.
    pub place: Place,
}
