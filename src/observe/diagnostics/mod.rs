//! What testers and nodes say in a log by the open standards: who was asked and replied, codes read or
//! broadcast, address claims.
//!
//! In: the frames of one bus whose identifier may carry such words; one flag per identifier decides, so
//! ordinary traffic costs nothing. Out, when the log ends: [`LoggedCodeRow`], [`LoggedAnswerRow`] and
//! [`BusEventRow`], a row for a change and not for a repetition; and from these, scan reports like
//! those of a tester, so that later stages need not know where testimony came from.
//!
//! The tester is no node. A node that nothing in the log or the description shows to be fitted is never
//! called mute: testers ask many identifiers that nobody has.
//!
//! [`LoggedCodeRow`]: super::LoggedCodeRow
//! [`LoggedAnswerRow`]: super::LoggedAnswerRow
//! [`BusEventRow`]: super::BusEventRow

mod broadcasts;
mod ending;
mod exchanges;
mod held;
mod outcomes;
mod pairs;
mod reading;
mod reports;
#[cfg(test)]
mod tests;

pub(super) use broadcasts::ClaimWord;
pub(super) use ending::{Named, rows};
pub(super) use reading::settle;
pub use reports::{logged_reports, mark_answers};

use std::collections::BTreeMap;

use self::broadcasts::Broadcasts;
use self::exchanges::Exchanges;
use self::held::{HeldCodes, Holder};
use super::signals::Signals;
use crate::protocol::j1939::{self, claim, transport, trouble};
use crate::protocol::{iso_tp, uds};
use crate::read::frames::Frame;
use crate::vocabulary::{Identifier, Instant};

/// Every identifier is listened to for so many frames; one that has not spoken by then never does.
const YOUNG: u64 = 16;
/// Share of the frames of a maker's own request or answer that have the form of ISO-TP (a counter in the
/// first byte has it in about one frame of six); trade judgement, no source.
const TALK: f64 = 0.5;
/// Identifiers whose fitting frames are counted.
const MOST: usize = 4096;

/// The streaming state of one bus.
#[derive(Debug, Default)]
pub(super) struct Diagnostics {
    exchanges: Exchanges,
    broadcasts: Broadcasts,
    held: HeldCodes,
    /// Frames in the form of ISO-TP, by identifier of the maker's own.
    fitting: BTreeMap<Identifier, u64>,
}

/// What an identifier carries, by its own bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Carries {
    /// ISO-TP by the standard's addresses.
    Exchange,
    /// One of J1939's words about codes and addresses.
    Broadcast,
    /// Perhaps ISO-TP on the maker's own identifiers: the frames decide.
    Perhaps,
}

fn carries(id: Identifier) -> Carries {
    if super::is_tester_traffic(id) {
        return Carries::Exchange;
    }
    match j1939::header(id).map(|h| h.group) {
        Some(
            claim::CLAIM
            | claim::REQUEST
            | transport::MANAGEMENT
            | transport::DATA
            | trouble::ACTIVE
            | trouble::PREVIOUS,
        ) => Carries::Broadcast,
        _ => Carries::Perhaps,
    }
}

impl Diagnostics {
    /// Takes a data frame; `seen` is how many of its identifier came before. Returns whether frames of
    /// this identifier are to be shown again.
    #[cold]
    #[inline(never)]
    pub(super) fn frame(
        &mut self,
        frame: &Frame,
        time: Instant,
        seen: u64,
        signals: &mut Signals,
    ) -> bool {
        let data = frame.data.to_be_bytes();
        let length = usize::from(frame.length);
        let bytes = &data[..length.min(data.len())];
        match carries(frame.id) {
            Carries::Broadcast => {
                self.broadcasts.frame(frame.id, bytes, time, frame.line, &mut self.held);
                true
            }
            Carries::Exchange => {
                if let Some(part) = iso_tp::part(bytes, length) {
                    let to = (&mut self.held, signals);
                    self.exchanges.part(frame.id, part, time, frame.line, to);
                }
                true
            }
            Carries::Perhaps => {
                let part = iso_tp::part(bytes, length);
                let room = self.fitting.len() < MOST || self.fitting.contains_key(&frame.id);
                if part.is_some() && room {
                    *self.fitting.entry(frame.id).or_default() += 1;
                }
                let heard = part.filter(|p| speaks(*p)).is_some_and(|part| {
                    let to = (&mut self.held, signals);
                    self.exchanges.part(frame.id, part, time, frame.line, to)
                });
                heard || seen < YOUNG || self.exchanges.known(frame.id)
            }
        }
    }

    /// Closes what is open when the log ends at `now`; `frames` has how many came of each identifier.
    ///
    /// A counter in ordinary traffic looks like a word of a tester for a few frames. Who asks or answers
    /// on an identifier of the maker's own hardly sends anything else: the others are forgotten.
    pub(super) fn close(&mut self, now: Instant, frames: impl Fn(Identifier) -> u64) {
        self.exchanges.close(now);
        self.broadcasts.close(now);
        let talks = |id: Identifier| {
            let fitting = self.fitting.get(&id).copied().unwrap_or(0);
            carries(id) != Carries::Perhaps || fitting as f64 >= TALK * frames(id) as f64
        };
        self.exchanges.forget(|id| !talks(id));
        self.held.held.retain(|held| match held.holder {
            Holder::Answers(id) => talks(id),
            Holder::Address(_) => true,
        });
    }

    /// Whether a tester speaks on this identifier, as far as the log shows.
    pub(super) fn is_request(&self, id: Identifier) -> bool {
        self.exchanges.pairs.is_request(id)
    }

    /// Whether this identifier answers a tester.
    pub(super) fn is_answer(&self, id: Identifier) -> bool {
        self.exchanges.pairs.is_answer(id)
    }

    /// Requests for address claims and claims, in order of time.
    pub(super) fn claim_words(&self) -> &[ClaimWord] {
        &self.broadcasts.words
    }

    /// All times that are kept, to be freed of steps of the clock.
    pub(super) fn times(&mut self) -> impl Iterator<Item = &mut Instant> {
        let words = self.broadcasts.words.iter_mut().map(|word| &mut word.time);
        let claims = self.broadcasts.claims.iter_mut().map(|claimed| &mut claimed.time);
        let cleared = self.exchanges.cleared.iter_mut().map(|cleared| &mut cleared.time);
        let runs = self.exchanges.outcomes.runs.iter_mut();
        let held = self.held.held.iter_mut();
        words
            .chain(claims)
            .chain(cleared)
            .chain(runs.flat_map(|run| [&mut run.first, &mut run.last]))
            .chain(held.flat_map(|held| [&mut held.first, &mut held.last]))
    }

    /// What was let pass, with how often.
    pub(super) fn leniencies(&self) -> [(&'static str, u64); 3] {
        [
            ("diagnostic messages cut short: nothing read from them", self.cut()),
            ("diagnostic messages longer than the log keeps: read in part", self.exchanges.partial),
            (
                "codes, answers or claims past the bound: not kept",
                self.held.dropped + self.exchanges.dropped() + self.broadcasts.dropped,
            ),
        ]
    }

    fn cut(&self) -> u64 {
        self.exchanges.cut.values().sum::<u64>() + self.broadcasts.cut
    }
}

/// Whether a frame on an identifier of the maker's own may belong to a talk with a tester.
fn speaks(part: iso_tp::Part<'_>) -> bool {
    match part {
        iso_tp::Part::Single { data, .. } | iso_tp::Part::First { data, .. } => {
            uds::request(data).is_some() || uds::answer(data).is_some()
        }
        iso_tp::Part::Consecutive { .. } | iso_tp::Part::FlowControl(_) => true,
    }
}
