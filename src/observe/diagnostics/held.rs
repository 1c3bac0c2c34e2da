//! Lists of codes as nodes give them, again and again: only what changes is kept.

use std::collections::BTreeMap;

use crate::vocabulary::{Code, CodeStatus, Identifier, Instant};

/// Codes kept of one bus; a code that comes, goes and comes again is several.
const MOST: usize = 4096;

/// A list that did not come for so long is known no more: the vehicle may have slept. Broadcasts come
/// each second, testers when they like (nanoseconds).
const BROADCAST_RESTS: i64 = 10_000_000_000;
const TESTER_RESTS: i64 = 600_000_000_000;

/// Who holds codes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Holder {
    /// Whoever answers a tester on this identifier.
    Answers(Identifier),
    /// The J1939 node of this source address.
    Address(u8),
}

/// By which service or group a list came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum By {
    /// UDS service 19, with its report.
    Uds(u8),
    /// Service of SAE J1979.
    Obd(u8),
    /// J1939 active codes.
    Active,
    /// J1939 previously active codes.
    Previous,
}

impl By {
    /// The word that the facts store.
    pub(super) fn word(self) -> String {
        match self {
            By::Uds(report) => format!("uds-19-{report:02x}"),
            By::Obd(service) => format!("obd-{service:02x}"),
            By::Active => "dm1".to_owned(),
            By::Previous => "dm2".to_owned(),
        }
    }
}

/// A code that a node held for a while.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Held {
    pub holder: Holder,
    pub by: By,
    pub code: Code,
    pub status: CodeStatus,
    pub occurrences: Option<u32>,
    pub first: Instant,
    pub last: Instant,
    pub times: u32,
    /// The log shows that it was not there before.
    pub dated: bool,
    pub line: u64,
}

/// One list as it came.
#[derive(Debug, Clone, Copy)]
pub(super) struct Listed<'a> {
    pub holder: Holder,
    pub by: By,
    /// Whether it names every code that the node holds.
    pub whole: bool,
    pub codes: &'a [(Code, CodeStatus, Option<u32>)],
    pub time: Instant,
    pub line: u64,
}

/// All codes of one bus.
#[derive(Debug, Default)]
pub(super) struct HeldCodes {
    pub held: Vec<Held>,
    pub dropped: u64,
    /// Positions of what a list held when it last came.
    current: BTreeMap<(Holder, By), (Instant, Vec<usize>)>,
}

impl HeldCodes {
    /// Takes a list.
    pub(super) fn list(&mut self, listed: Listed<'_>) {
        let key = (listed.holder, listed.by);
        if !self.current.contains_key(&key) && self.current.len() >= MOST {
            self.dropped += 1;
            return;
        }
        let rests = match listed.holder {
            Holder::Address(_) => BROADCAST_RESTS,
            Holder::Answers(_) => TESTER_RESTS,
        };
        let before = self.current.remove(&key);
        let before = before.filter(|(at, _)| listed.time.0.saturating_sub(at.0) <= rests);
        let known = before.is_some();
        let before = before.map(|(_, places)| places).unwrap_or_default();
        let mut now = Vec::with_capacity(before.len());
        for (code, status, occurrences) in listed.codes {
            let same = before.iter().copied().find(|place| {
                let held = &self.held[*place];
                held.code == *code && held.status == *status && held.occurrences == *occurrences
            });
            if let Some(place) = same {
                if !now.contains(&place) {
                    let held = &mut self.held[place];
                    held.last = listed.time;
                    held.times = held.times.saturating_add(1);
                    now.push(place);
                }
                continue;
            }
            if self.held.len() >= MOST {
                self.dropped += 1;
                continue;
            }
            now.push(self.held.len());
            self.held.push(Held {
                holder: listed.holder,
                by: listed.by,
                code: *code,
                status: *status,
                occurrences: *occurrences,
                first: listed.time,
                last: listed.time,
                times: 1,
                dated: known && listed.whole,
                line: listed.line,
            });
        }
        if !listed.whole {
            now.extend(before.iter().filter(|p| !now.contains(p)).copied().collect::<Vec<_>>());
        }
        self.current.insert(key, (listed.time, now));
    }
}
