//! Facts of what testers and nodes say in a log: codes, answers, and events that a protocol tells of.

use serde::{Deserialize, Serialize};

use crate::vocabulary::{Code, CodeStatus, Instant, Place};

/// A code that a node held in a log, from when it was first told to when it was last.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedCodeRow {
    /// The bus.
    pub bus: String,
    /// Begin of the start.
    pub start: Instant,
    /// The node that holds the code.
    pub reporter: String,
    /// How it was told: `uds-19-02`, `obd-03`, `dm1`, …
    pub by: String,
    /// The code.
    pub code: Code,
    /// Its status.
    pub status: CodeStatus,
    /// Occurrences by the node's counter.
    pub occurrences: Option<u32>,
    /// When it was first told.
    pub first: Instant,
    /// When it was last told.
    pub last: Instant,
    /// How often it was told.
    pub times: u32,
    /// Whether the log shows that it was not there before `first`.
    pub dated: bool,
    /// Where it was first told.
    pub place: Place,
}

/// What is to be read out of an answer or its absence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum AnswerReading {
    /// It answered in time.
    Answered,
    /// It answered, but late.
    Late,
    /// No answer, and nothing shows whether it was alive.
    NotAnswered,
    /// No answer, and its cyclic frames were gone too.
    OffTheWire,
    /// No answer, though its cyclic frames came: alive, diagnostics not served.
    AliveUnserved,
    /// A gateway said that it is mute.
    BehindGateway,
    /// It asked for time and never came back to it.
    LostAfterPending,
    /// Its answer stopped in the middle.
    LostInAnswer,
}

impl AnswerReading {
    /// All readings.
    pub const ALL: [AnswerReading; 8] = [
        AnswerReading::Answered,
        AnswerReading::Late,
        AnswerReading::NotAnswered,
        AnswerReading::OffTheWire,
        AnswerReading::AliveUnserved,
        AnswerReading::BehindGateway,
        AnswerReading::LostAfterPending,
        AnswerReading::LostInAnswer,
    ];

    /// Whether it answered.
    #[must_use]
    pub fn answered(self) -> bool {
        matches!(self, AnswerReading::Answered | AnswerReading::Late)
    }

    /// Whether it is an answer or a missing one, as a tester's report tells them. A node that is alive and does
    /// not serve a service may have the wrong session, address or a filter before it: that is neither, and
    /// reaches an incident by the log alone, where it speaks a little for the node.
    #[must_use]
    pub fn weighs(self) -> bool {
        self != AnswerReading::AliveUnserved
    }

    /// The word that the facts store.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            AnswerReading::Answered => "answered",
            AnswerReading::Late => "late",
            AnswerReading::NotAnswered => "not-answered",
            AnswerReading::OffTheWire => "off-the-wire",
            AnswerReading::AliveUnserved => "alive-unserved",
            AnswerReading::BehindGateway => "behind-gateway",
            AnswerReading::LostAfterPending => "lost-after-pending",
            AnswerReading::LostInAnswer => "lost-in-answer",
        }
    }
}

/// Requests to a node in a row with the same outcome.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedAnswerRow {
    /// The bus on which it was asked.
    pub bus: String,
    /// Begin of the start.
    pub start: Instant,
    /// The node.
    pub node: String,
    /// What came of it.
    pub reading: AnswerReading,
    /// The first request; where an answer broke off, its last frame.
    pub first: Instant,
    /// The last request.
    pub last: Instant,
    /// How many requests.
    pub times: u32,
    /// Where the first request stands.
    pub place: Place,
}

/// What a protocol tells beside codes and answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum BusEventKind {
    /// The node's codes were cleared.
    CodesCleared,
    /// The node claimed its address though it had been there: it restarted.
    Restarted,
    /// Two nodes claimed the same address.
    AddressConflict,
    /// A node found no address.
    CannotClaim,
}

impl BusEventKind {
    /// All kinds.
    pub const ALL: [BusEventKind; 4] = [
        BusEventKind::CodesCleared,
        BusEventKind::Restarted,
        BusEventKind::AddressConflict,
        BusEventKind::CannotClaim,
    ];

    /// The word that the facts store.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            BusEventKind::CodesCleared => "codes-cleared",
            BusEventKind::Restarted => "restarted",
            BusEventKind::AddressConflict => "address-conflict",
            BusEventKind::CannotClaim => "cannot-claim",
        }
    }

    /// What happened to `node`, in words.
    #[must_use]
    pub fn words(self, node: &str) -> String {
        match self {
            BusEventKind::CodesCleared => format!("the codes of {node} were cleared"),
            BusEventKind::Restarted => {
                format!("{node} claimed its address anew though it had been there: it restarted")
            }
            BusEventKind::AddressConflict => format!("two nodes claim the address of {node}"),
            BusEventKind::CannotClaim => "a node found no free address".to_owned(),
        }
    }
}

/// One such event.
#[derive(Debug, Clone, PartialEq)]
pub struct BusEventRow {
    /// The bus.
    pub bus: String,
    /// Begin of the start.
    pub start: Instant,
    /// When.
    pub time: Instant,
    /// The node.
    pub node: String,
    /// What.
    pub kind: BusEventKind,
    /// Where it stands.
    pub place: Place,
}
