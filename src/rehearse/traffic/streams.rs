//! A stream: one identifier of one node, with its own phase, jitter, clock skew and counter.

use crate::rehearse::chance::Chance;
use crate::rehearse::course::Flood;
use crate::rehearse::model::{Model, Sends, ns};
use crate::vocabulary::Identifier;

/// Never again.
pub(crate) const NEVER: i64 = i64::MAX;

/// One identifier of one node on one bus.
pub(crate) struct Stream {
    /// The node; none for a tester's question.
    pub(crate) node: usize,
    /// The identifier.
    pub(crate) id: Identifier,
    /// When the next frame is due, jitter included.
    pub(crate) due: i64,
    nominal: i64,
    period: Option<i64>,
    event_ns: i64,
    jitter: i64,
    bytes: usize,
    counter: u8,
    signal: [u8; 8],
    /// When a flood of a disturber ends.
    pub(crate) until: i64,
    /// Whether anybody watches for it.
    pub(crate) watched: bool,
}

impl Stream {
    fn of(node: usize, sent: &Sends, first: i64, chance: &mut Chance) -> Stream {
        // Crystals differ by some ten parts in a million.
        let skew = 1.0 + 40e-6 * chance.normal();
        #[expect(clippy::cast_possible_truncation, reason = "a period of at most minutes")]
        let period = sent.period_ns.map(|period| (period as f64 * skew) as i64);
        let phase = match period {
            Some(period) => ns(chance.unit() * period as f64 / 1e9),
            None => ns(chance.wait(sent.event_ns as f64 / 1e9)),
        };
        let mut signal = [0; 8];
        for byte in &mut signal {
            *byte = u8::try_from(chance.bits() >> 24).unwrap_or(0);
        }
        Stream {
            node,
            id: sent.id,
            due: first + phase,
            nominal: first + phase,
            period,
            event_ns: sent.event_ns,
            jitter: period.map_or(0, |period| (period / 50).min(700_000)),
            bytes: sent.bytes,
            counter: 0,
            signal,
            until: NEVER,
            watched: true,
        }
    }

    /// A flood: frames of a strong identifier at a short gap.
    pub(crate) fn flood(flood: &Flood) -> Stream {
        Stream {
            node: flood.by,
            id: flood.id,
            due: flood.span.from,
            nominal: flood.span.from,
            period: Some(flood.gap),
            event_ns: 0,
            jitter: 0,
            bytes: 8,
            counter: 0,
            signal: [0xFF; 8],
            until: flood.span.to,
            watched: flood.known,
        }
    }

    /// The payload of the frame that is due: a counter nibble, slow signals, a check byte.
    pub(crate) fn payload(&mut self, chance: &mut Chance, into: &mut [u8; 8]) -> usize {
        if chance.happens(0.03) {
            let at = 1 + chance.index(self.bytes.saturating_sub(2).max(1));
            let step = if chance.happens(0.5) { 1 } else { 255 };
            self.signal[at] = self.signal[at].wrapping_add(step);
        }
        *into = self.signal;
        into[0] = (self.signal[0] & 0xF0) | (self.counter & 0x0F);
        let last = self.bytes - 1;
        into[last] = into[..last].iter().fold(0x5A, |sum, byte| sum ^ byte);
        self.bytes
    }

    /// The frame was sent, or overwritten by newer ones: sets the next due time after `now`.
    pub(crate) fn advance(&mut self, now: i64, chance: &mut Chance) {
        self.counter = self.counter.wrapping_add(1);
        match self.period {
            Some(period) => {
                self.nominal += period;
                let late = now - self.nominal;
                if late > period {
                    // A full mailbox is overwritten: counters go on, frames are lost.
                    let lost = late / period;
                    self.nominal += lost * period;
                    self.counter = self.counter.wrapping_add(u8::try_from(lost & 0xF).unwrap_or(0));
                }
                self.due = self.nominal + ns(self.jitter as f64 / 1e9 * chance.unit());
            }
            None => {
                self.nominal = now + ns(chance.wait(self.event_ns as f64 / 1e9));
                self.due = self.nominal;
            }
        }
        if self.due >= self.until {
            self.due = NEVER;
        }
    }

    /// The node's software lives on unheard until `back`: the counter goes on.
    pub(crate) fn unheard_until(&mut self, back: i64, chance: &mut Chance) {
        while self.due < back {
            let at = self.due;
            self.advance(at, chance);
        }
    }

    /// The node boots and sends from `back`: the counter begins at zero.
    pub(crate) fn boots_at(&mut self, back: i64, chance: &mut Chance) {
        self.counter = 0;
        let spread = self.period.unwrap_or(self.event_ns) as f64 / 1e9;
        self.nominal = back + ns(spread * chance.unit());
        self.due = self.nominal;
    }
}

/// All streams of a bus, strongest identifier first, each beginning when its node wakes.
pub(crate) fn streams(
    model: &Model,
    bus: usize,
    wakes: &[i64],
    chance: &mut Chance,
) -> Vec<Stream> {
    let mut all = Vec::new();
    for (node, habits) in model.nodes.iter().enumerate() {
        for sent in habits.sends.iter().filter(|sent| sent.bus == bus) {
            all.push(Stream::of(node, sent, wakes[node], chance));
        }
    }
    all
}

/// A number that grows as an identifier loses arbitration: base identifiers beat extended ones
/// with the same eleven leading bits.
pub(crate) fn weakness(id: Identifier) -> u64 {
    let value = u64::from(id.value());
    if id.is_extended() {
        ((value >> 18) << 19) | (1 << 18) | (value & 0x3_FFFF)
    } else {
        value << 19
    }
}
