//! What became of requests: those in a row with the same outcome are one.

use std::collections::BTreeMap;

use crate::vocabulary::{Identifier, Instant};

/// Requests further apart than this are no run: the vehicle may have slept between (nanoseconds).
const APART: i64 = 10_000_000_000;
/// Runs kept of one bus.
const MOST: usize = 4096;

/// What became of requests.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Outcome {
    Answered,
    Late,
    /// Nothing came.
    Mute,
    /// "Pending", and then nothing.
    LostAfterPending,
    /// The answer stopped in the middle.
    LostInAnswer,
    /// A gateway said that the node behind it is mute.
    BehindGateway,
}

/// Requests in a row with the same outcome.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Run {
    pub request: Identifier,
    /// The service, where the request asks everybody; else 0.
    pub service: u8,
    pub functional: bool,
    pub outcome: Outcome,
    /// Who answered: bits by position in `answering`.
    pub who: u64,
    pub first: Instant,
    pub last: Instant,
    pub times: u32,
    pub line: u64,
}

/// All outcomes of one bus.
#[derive(Debug, Clone, Default)]
pub(super) struct Outcomes {
    pub runs: Vec<Run>,
    pub dropped: u64,
    latest: BTreeMap<(Identifier, u8), usize>,
}

impl Outcomes {
    /// Adds what became of one request.
    pub(super) fn add(&mut self, new: Run) {
        let key = (new.request, new.service);
        let latest = self.latest.get(&key).and_then(|place| self.runs.get_mut(*place));
        if let Some(run) = latest
            && (run.outcome, run.who) == (new.outcome, new.who)
            && new.first.0.saturating_sub(run.last.0) <= APART
        {
            run.last = new.last;
            run.times = run.times.saturating_add(new.times);
            return;
        }
        if self.runs.len() >= MOST {
            self.dropped += 1;
            return;
        }
        self.latest.insert(key, self.runs.len());
        self.runs.push(new);
    }
}
