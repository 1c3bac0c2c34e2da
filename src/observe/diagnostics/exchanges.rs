//! Requests and answers of one bus while the log streams by.
//!
//! A request is open until it is asked anew or its time is over; what became of it joins the run of its
//! like. FACTS 6.3: an answer begins within 50 ms (P2), reaches the tester within 150 ms, and comes
//! within 5 s after each "pending" (P2*). An answer up to two seconds late is an answer.

use std::collections::BTreeMap;

use super::held::{By, HeldCodes, Holder, Listed};
use super::outcomes::{Outcome, Outcomes, Run};
use super::pairs::Pairs;
use crate::observe::signals::Signals;
use crate::protocol::iso_tp::{Abort, Aborted, Message, Part, Reassembly};
use crate::protocol::obd;
use crate::protocol::uds::{self, Answer, CodesRead, Refusal};
use crate::vocabulary::{CodeStatus, Identifier, Instant};

const MS: i64 = 1_000_000;
/// P2 of the server, and of the client with transit.
const IN_TIME: i64 = 50 * MS;
const ANSWER_DUE: i64 = 150 * MS;
/// An answer may come so late.
const OVER: i64 = 2_000 * MS;
/// P2* after a "pending".
const PENDING: i64 = 5_000 * MS;
/// Requests open at once, identifiers and events noted, and answering identifiers told apart.
const MOST_OPEN: usize = 64;
const MOST_NOTED: usize = 4096;
const MOST_ANSWERING: usize = 64;
/// An identifier of the maker's own that asks so often without an answer is no tester.
const MOST_VAIN: u32 = 20;

/// A moment that is told by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Cleared {
    pub by: Identifier,
    pub time: Instant,
    pub line: u64,
}

#[derive(Debug, Clone, Copy)]
struct Open {
    service: u8,
    first: Instant,
    last: Instant,
    line: u64,
    who: u64,
    late: bool,
    pending: Option<Instant>,
    behind: bool,
    broken: Option<Instant>,
}

/// The streaming state.
#[derive(Debug, Default)]
pub(super) struct Exchanges {
    pub pairs: Pairs,
    pub outcomes: Outcomes,
    pub cleared: Vec<Cleared>,
    pub answering: Vec<Identifier>,
    /// Messages that were given up, by whose they were.
    pub cut: BTreeMap<Identifier, u64>,
    pub partial: u64,
    dropped: u64,
    reassembly: Reassembly,
    open: BTreeMap<Identifier, Open>,
    vain: BTreeMap<Identifier, u32>,
    checked: Instant,
}

impl Exchanges {
    /// Takes a frame of ISO-TP; returns whether its identifier belongs to a talk, as far as it seems.
    pub(super) fn part(
        &mut self,
        id: Identifier,
        part: Part<'_>,
        time: Instant,
        line: u64,
        to: (&mut HeldCodes, &mut Signals),
    ) -> bool {
        self.expire(time);
        match part {
            Part::FlowControl(word) => {
                let sender = self.pairs.answer_of(id).filter(|a| *a != id);
                for sender in sender.into_iter().chain(self.pairs.request_of(id)) {
                    self.reassembly.flow(sender, word);
                }
                return self.known(id);
            }
            Part::First { data, .. } => {
                // What the first bytes say is heard at once: who answers, and that it began in time.
                if let Some(answer) = uds::answer(data) {
                    self.answered(id, &answer, time);
                }
            }
            Part::Single { .. } | Part::Consecutive { .. } => {}
        }
        let step = self.reassembly.frame(id, part, time, line);
        if let Some(aborted) = step.aborted {
            self.lost(aborted);
        }
        match step.message {
            Some(message) => self.message(id, &message, to),
            None => true,
        }
    }

    /// Whether an identifier asks or answers, by the standard or as learned.
    pub(super) fn known(&self, id: Identifier) -> bool {
        self.pairs.is_request(id) || self.pairs.is_answer(id)
    }

    fn message(
        &mut self,
        id: Identifier,
        message: &Message,
        to: (&mut HeldCodes, &mut Signals),
    ) -> bool {
        self.partial += u64::from(message.cut);
        if let Some(request) = uds::request(&message.payload) {
            if request.answer_due {
                self.asked(id, request.service, message);
            }
            let vain = self.vain.get(&id).copied().unwrap_or(0);
            return self.known(id) || vain < MOST_VAIN;
        }
        let Some(answer) = uds::answer(&message.payload) else { return self.known(id) };
        if message.begin == message.end {
            self.answered(id, &answer, message.begin);
        }
        // Only who is known to answer is believed: the bytes alone may be anything.
        if !self.pairs.is_answer(id) {
            return self.in_vain(id);
        }
        self.read(id, &answer, message, to);
        true
    }

    /// Counts what an unknown identifier says to nobody; whether it may still be a tester or its partner.
    fn in_vain(&mut self, id: Identifier) -> bool {
        if self.vain.len() >= MOST_NOTED && !self.vain.contains_key(&id) {
            return false;
        }
        let vain = self.vain.entry(id).or_default();
        *vain = vain.saturating_add(1);
        *vain <= MOST_VAIN
    }

    /// A request begins; one that is open on the same identifier ends, or is asked again.
    fn asked(&mut self, id: Identifier, service: u8, message: &Message) {
        if !self.known(id) && !self.in_vain(id) {
            return;
        }
        let time = message.begin;
        if let Some(open) = self.open.get_mut(&id) {
            let untold = open.who == 0 && open.pending.is_none();
            if untold && open.service == service && time.0.saturating_sub(open.first.0) < OVER {
                open.last = time;
                return;
            }
            self.end(id, time);
        }
        if self.open.len() >= MOST_OPEN {
            self.dropped += 1;
            return;
        }
        let (first, line) = (time, message.line);
        let open = Open {
            service,
            first,
            last: time,
            line,
            who: 0,
            late: false,
            pending: None,
            behind: false,
            broken: None,
        };
        self.open.insert(id, open);
    }

    /// An answer begins on `id`: whose request is it?
    fn answered(&mut self, id: Identifier, answer: &Answer<'_>, time: Instant) {
        let Some(request) = self.asked_by(id, answer.service(), time) else { return };
        self.pairs.learn(request, id);
        self.vain.remove(&request);
        let Some(place) = self.place(id) else { return };
        let Some(open) = self.open.get_mut(&request) else { return };
        let since = open.pending.unwrap_or(open.last);
        match answer {
            Answer::Negative { why: Refusal::PENDING, .. } => open.pending = Some(time),
            Answer::Negative { why: Refusal::NO_RESPONSE_BEHIND, .. } => {
                open.behind = true;
                open.who |= 1 << place;
            }
            _ => {
                open.late |= open.pending.is_none() && time.0.saturating_sub(since.0) > IN_TIME;
                open.pending = None;
                open.who |= 1 << place;
            }
        }
    }

    fn place(&mut self, id: Identifier) -> Option<usize> {
        if let Some(place) = self.answering.iter().position(|a| *a == id) {
            return Some(place);
        }
        if self.answering.len() >= MOST_ANSWERING {
            self.dropped += 1;
            return None;
        }
        self.answering.push(id);
        Some(self.answering.len() - 1)
    }

    /// The open request that an answer belongs to.
    fn asked_by(&self, id: Identifier, service: u8, time: Instant) -> Option<Identifier> {
        let fits = |open: &Open, within: i64| {
            open.service == service
                && (open.pending.is_some() || time.0.saturating_sub(open.last.0) <= within)
        };
        if let Some(own) = self.pairs.request_of(id)
            && self.open.get(&own).is_some_and(|open| fits(open, OVER))
        {
            return Some(own);
        }
        let everybody = self
            .open
            .iter()
            .filter(|(r, open)| self.pairs.is_functional(**r) && fits(open, OVER))
            .max_by_key(|(r, open)| (open.last, **r));
        if let Some((request, _)) = everybody {
            return Some(*request);
        }
        // A pair of the maker's own: the only request that nobody else is known to answer.
        if super::super::is_tester_traffic(id) {
            return None;
        }
        let mut free = self.open.iter().filter(|(r, open)| {
            **r != id
                && self.pairs.answer_of(**r).is_none_or(|a| a == id || open.who != 0)
                && !super::super::is_tester_traffic(**r)
                && fits(open, ANSWER_DUE)
        });
        match (free.next(), free.next()) {
            (Some((request, _)), None) => Some(*request),
            _ => None,
        }
    }

    /// What an answer tells beside that it came.
    fn read(
        &mut self,
        id: Identifier,
        answer: &Answer<'_>,
        message: &Message,
        (held, signals): (&mut HeldCodes, &mut Signals),
    ) {
        let Answer::Positive { service, body } = *answer else { return };
        let (holder, time, line) = (Holder::Answers(id), message.end, message.line);
        match service {
            uds::READ_CODES => {
                if let Some(CodesRead::List { whole, codes }) = uds::codes_read(body, message.cut) {
                    let codes: Vec<_> = codes
                        .into_iter()
                        .map(|(code, status)| (code.into(), status, None))
                        .collect();
                    let by = By::Uds(body.first().copied().unwrap_or(0));
                    held.list(Listed { holder, by, whole, codes: &codes, time, line });
                }
            }
            uds::CLEAR_CODES | uds::CLEAR_EMISSION_CODES => {
                if self.cleared.len() < MOST_NOTED {
                    self.cleared.push(Cleared { by: id, time, line });
                } else {
                    self.dropped += 1;
                }
            }
            _ => {
                for (quantity, value) in obd::live_values(&message.payload) {
                    signals.value(quantity, value, time, line);
                }
                if let Some(found) = obd::codes(&message.payload) {
                    let codes: Vec<_> =
                        found.codes.iter().map(|c| ((*c).into(), found.status, None)).collect();
                    let whole = found.status != CodeStatus::Stored && !message.cut;
                    let by = By::Obd(found.service);
                    held.list(Listed { holder, by, whole, codes: &codes, time, line });
                }
            }
        }
    }

    /// A message was given up. Only between a tester and who answers was it one: on any other identifier the
    /// first bytes only looked alike.
    fn lost(&mut self, aborted: Aborted) {
        if !self.known(aborted.id) {
            return;
        }
        if self.cut.len() < MOST_NOTED || self.cut.contains_key(&aborted.id) {
            *self.cut.entry(aborted.id).or_default() += 1;
        }
        if aborted.reason != Abort::SenderStopped {
            return;
        }
        let own = self.pairs.request_of(aborted.id);
        if let Some(open) = own.and_then(|own| self.open.get_mut(&own)) {
            open.broken = Some(aborted.last);
        }
    }

    /// Ends what has waited too long by `now`.
    fn expire(&mut self, now: Instant) {
        // Waiting is counted in tenths of a second: no need to look at every frame.
        if now.0.saturating_sub(self.checked.0) < 100 * MS {
            return;
        }
        self.checked = now;
        for aborted in self.reassembly.expire(now) {
            self.lost(aborted);
        }
        let over: Vec<Identifier> = self
            .open
            .iter()
            .filter(|(_, open)| match open.pending {
                Some(since) => now.0.saturating_sub(since.0) > PENDING,
                None => now.0.saturating_sub(open.last.0) > OVER,
            })
            .map(|(id, _)| *id)
            .collect();
        for id in over {
            self.end(id, now);
        }
    }

    /// What became of a request that ends at `now`; nothing is said when it ends too early to tell.
    fn end(&mut self, id: Identifier, now: Instant) {
        let Some(open) = self.open.remove(&id) else { return };
        let functional = self.pairs.is_functional(id);
        let waited = now.0.saturating_sub(open.last.0);
        let outcome = match open.pending {
            Some(since) if now.0.saturating_sub(since.0) > PENDING => Outcome::LostAfterPending,
            Some(_) => return,
            None if open.broken.is_some() => Outcome::LostInAnswer,
            None if open.behind => Outcome::BehindGateway,
            None if open.who == 0 && waited < ANSWER_DUE => return,
            None if open.who == 0 => Outcome::Mute,
            None if functional && waited < ANSWER_DUE => return,
            None if open.late => Outcome::Late,
            None => Outcome::Answered,
        };
        let first = open.broken.or(open.pending).unwrap_or(open.first);
        let service = if functional { open.service } else { 0 };
        self.outcomes.add(Run {
            request: id,
            service,
            functional,
            outcome,
            who: open.who,
            first,
            last: open.last.max(first),
            times: 1,
            line: open.line,
        });
    }

    /// Forgets those who turned out to be ordinary traffic, and what was taken for their words.
    pub(super) fn forget(&mut self, no_talk: impl Fn(Identifier) -> bool) {
        self.pairs.forget(&no_talk);
        self.cut.retain(|id, _| !no_talk(*id));
        self.cleared.retain(|c| !no_talk(c.by));
        self.outcomes.runs.retain(|r| !no_talk(r.request));
        // Positions in `answering` are bits of the outcomes: the place stays, its bit goes.
        let ordinary = self.answering.iter().enumerate().filter(|(_, id)| no_talk(**id));
        let gone = ordinary.fold(0u64, |bits, (place, _)| bits | 1 << place);
        for run in &mut self.outcomes.runs {
            run.who &= !gone;
        }
    }

    /// What was not kept, being past a bound.
    pub(super) fn dropped(&self) -> u64 {
        self.dropped + self.outcomes.dropped
    }

    /// Ends everything that the log tells the end of.
    pub(super) fn close(&mut self, now: Instant) {
        self.checked = Instant(i64::MIN);
        self.expire(now);
        let open: Vec<Identifier> = self.open.keys().copied().collect();
        for id in open {
            self.end(id, now);
        }
    }
}
