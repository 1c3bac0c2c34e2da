//! Which identifier answers which: by ISO 15765-4, or learned from the log.
//!
//! Standard: 7E0–7E7 are answered by 7E8–7EF, 18DAxxyy by 18DAyyxx; 7DF and 18DBxxyy ask everybody. A
//! maker's own pair is learned when an identifier that answers nobody yet gives the answer to the only
//! request it can belong to. A request that two answer asks everybody.

use std::collections::{BTreeMap, BTreeSet};

use crate::vocabulary::Identifier;

/// Learned pairs of one bus.
const MOST: usize = 256;

/// Who answers whom.
#[derive(Debug, Clone, Default)]
pub(super) struct Pairs {
    to: BTreeMap<Identifier, Identifier>,
    from: BTreeMap<Identifier, Identifier>,
    functional: BTreeSet<Identifier>,
}

/// The answer to a request by the standard.
pub(super) fn standard_answer(request: Identifier) -> Option<Identifier> {
    if !request.is_extended() {
        let id = request.value();
        return (0x7E0..=0x7E7).contains(&id).then(|| Identifier::base(id + 8));
    }
    let [top, format, to, from] = request.value().to_be_bytes();
    (format == 0xDA).then(|| Identifier::extended(u32::from_be_bytes([top, format, from, to])))
}

/// The request that an identifier answers by the standard.
fn standard_request(answer: Identifier) -> Option<Identifier> {
    if answer.is_extended() {
        return standard_answer(answer);
    }
    let id = answer.value();
    (0x7E8..=0x7EF).contains(&id).then(|| Identifier::base(id - 8))
}

fn asks_everybody(request: Identifier) -> bool {
    if request.is_extended() {
        request.value() >> 16 & 0xFF == 0xDB
    } else {
        request.value() == 0x7DF
    }
}

impl Pairs {
    /// The identifier that answers a request, as far as known.
    pub(super) fn answer_of(&self, request: Identifier) -> Option<Identifier> {
        standard_answer(request).or_else(|| self.to.get(&request).copied())
    }

    /// The request that an identifier answers, as far as known.
    pub(super) fn request_of(&self, answer: Identifier) -> Option<Identifier> {
        standard_request(answer).or_else(|| self.from.get(&answer).copied())
    }

    /// Whether a request asks everybody.
    pub(super) fn is_functional(&self, request: Identifier) -> bool {
        asks_everybody(request) || self.functional.contains(&request)
    }

    /// Learns that `answer` answered `request`.
    pub(super) fn learn(&mut self, request: Identifier, answer: Identifier) {
        if standard_request(answer).is_some() || asks_everybody(request) {
            return;
        }
        match self.to.get(&request) {
            Some(other) if *other != answer => {
                self.functional.insert(request);
            }
            Some(_) => {}
            None if self.to.len() + self.functional.len() >= MOST => {}
            // It has a request of its own: this one asks everybody.
            None if self.from.contains_key(&answer) => {
                self.functional.insert(request);
            }
            None => {
                self.to.insert(request, answer);
                self.from.insert(answer, request);
            }
        }
    }

    /// Forgets the learned pairs in which one of the two is no partner of a talk.
    pub(super) fn forget(&mut self, no_talk: impl Fn(Identifier) -> bool) {
        self.to.retain(|request, answer| !no_talk(*request) && !no_talk(*answer));
        self.from.retain(|answer, request| !no_talk(*request) && !no_talk(*answer));
        self.functional.retain(|request| !no_talk(*request));
    }

    /// Whether this identifier is a request, by the standard or as learned.
    pub(super) fn is_request(&self, id: Identifier) -> bool {
        let standard = !id.is_extended() && (0x7DF..=0x7E7).contains(&id.value());
        let outside = id.is_extended() && {
            let [_, format, _, from] = id.value().to_be_bytes();
            matches!(format, 0xDA | 0xDB) && crate::protocol::j1939::addresses::is_outsider(from)
        };
        standard || outside || self.to.contains_key(&id) || self.functional.contains(&id)
    }

    /// Whether this identifier answers, by the standard or as learned.
    pub(super) fn is_answer(&self, id: Identifier) -> bool {
        !self.is_request(id) && (self.from.contains_key(&id) || super::super::is_tester_traffic(id))
    }
}
