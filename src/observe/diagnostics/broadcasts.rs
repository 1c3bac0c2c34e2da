//! J1939: lists of codes that nodes broadcast, and address claims.

use std::collections::BTreeMap;

use super::held::{By, HeldCodes, Holder, Listed};
use crate::protocol::j1939::claim::{self, Name};
use crate::protocol::j1939::{self, transport, trouble};
use crate::vocabulary::{Code, CodeStatus, Identifier, Instant};

/// Claims kept of one bus.
const MOST: usize = 1024;
/// Words about claims kept of one bus; further ones excuse no pause.
const MOST_WORDS: usize = 4096;
/// A claim within this after a request for claims, or after another's claim, is an answer (nanoseconds).
const ANSWERS: i64 = 1_250_000_000;

/// A claim that nobody had asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Claimed {
    pub address: u8,
    pub time: Instant,
    pub line: u64,
    pub what: What,
}

/// What a claim amounts to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum What {
    /// A node has come up, or come up again: `observe` knows whether it had been there.
    Up,
    /// Two nodes want the same address.
    Conflict,
    /// A node found no address.
    CannotClaim,
}

/// A request for a claim, or a claim.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::observe) struct ClaimWord {
    pub time: Instant,
    /// The address asked (255: all), or the one that is claimed.
    pub address: u8,
    pub asked: bool,
}

/// The streaming state.
#[derive(Debug, Default)]
pub(super) struct Broadcasts {
    pub claims: Vec<Claimed>,
    /// Requests for claims and claims, in order.
    pub words: Vec<ClaimWord>,
    pub cut: u64,
    pub dropped: u64,
    transport: transport::Transport,
    names: BTreeMap<u8, (Name, Instant)>,
    asked: Option<Instant>,
}

impl Broadcasts {
    /// Takes a frame of one of the groups about codes, addresses and long messages.
    pub(super) fn frame(
        &mut self,
        id: Identifier,
        bytes: &[u8],
        time: Instant,
        line: u64,
        held: &mut HeldCodes,
    ) {
        let Some(h) = j1939::header(id) else { return };
        match h.group {
            claim::CLAIM => {
                self.word(time, h.source, false);
                self.claim(h.source, bytes, time, line);
            }
            claim::REQUEST if claim::requested(bytes) == Some(claim::CLAIM) => {
                self.word(time, h.destination, true);
                self.asked = Some(time);
            }
            trouble::ACTIVE | trouble::PREVIOUS => {
                list(h.source, h.group, bytes, time, line, held);
            }
            transport::MANAGEMENT | transport::DATA => {
                let data = h.group == transport::DATA;
                let step = self.transport.frame(data, h.source, h.destination, bytes, time, line);
                self.cut += u64::from(step.cut.is_some_and(tells_codes));
                if let Some(m) = step.message.filter(|m| tells_codes(m.group)) {
                    list(h.source, m.group, &m.payload, time, m.line, held);
                }
            }
            _ => {}
        }
    }

    fn word(&mut self, time: Instant, address: u8, asked: bool) {
        if self.words.len() < MOST_WORDS {
            self.words.push(ClaimWord { time, address, asked });
        }
    }

    fn claim(&mut self, address: u8, bytes: &[u8], time: Instant, line: u64) {
        let Ok(bytes) = <[u8; 8]>::try_from(bytes) else { return };
        let name = claim::name(bytes);
        let recent =
            |at: Option<Instant>| at.is_some_and(|at| time.0.saturating_sub(at.0) <= ANSWERS);
        let before = self.names.insert(address, (name, time));
        let what = if address == claim::NULL_ADDRESS {
            What::CannotClaim
        } else {
            match before {
                // Another NAME at the same address at the same time: the two argue about it.
                Some((other, at)) if other != name && recent(Some(at)) => What::Conflict,
                // The same claim twice in a row is one coming up.
                Some((_, at)) if recent(Some(at)) => return,
                _ if recent(self.asked) => return,
                _ => What::Up,
            }
        };
        if self.claims.len() >= MOST {
            self.dropped += 1;
            return;
        }
        self.claims.push(Claimed { address, time, line, what });
    }

    /// Drops what is under way when the log ends.
    pub(super) fn close(&mut self, now: Instant) {
        let cut = self.transport.expire(now);
        self.cut += cut.iter().filter(|(_, group)| tells_codes(*group)).count() as u64;
    }
}

fn tells_codes(group: u32) -> bool {
    matches!(group, trouble::ACTIVE | trouble::PREVIOUS)
}

fn list(address: u8, group: u32, payload: &[u8], time: Instant, line: u64, held: &mut HeldCodes) {
    let Some(list) = trouble::trouble_list(payload) else { return };
    let (by, status) = match group {
        trouble::ACTIVE => (By::Active, CodeStatus::Confirmed),
        _ => (By::Previous, CodeStatus::Stored),
    };
    let codes: Vec<(Code, CodeStatus, Option<u32>)> =
        list.codes.iter().map(|(code, n)| (Code::from(*code), status, n.map(u32::from))).collect();
    held.list(Listed {
        holder: Holder::Address(address),
        by,
        whole: true,
        codes: &codes,
        time,
        line,
    });
}
