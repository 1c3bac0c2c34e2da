//! Traffic: one bus, frame by frame.
//!
//! In: a model, the course of a start and a window of it. Out: every frame and error as a
//! listening logger would see it, and what the nodes conclude. Frames queue; the strongest
//! identifier goes first and takes the time of its bits; a failed frame costs an error flag, is
//! counted by its sender and tried again; a sender whose counter reaches 256 leaves the bus and
//! comes back after its own fixed wait with its counter cleared.

mod streams;
mod wire;
mod witness;

pub(crate) use streams::weakness;
pub(crate) use wire::REST_BITS;
pub(crate) use witness::Accusation;

use crate::rehearse::chance::Chance;
use crate::rehearse::course::{Block, Course, Span, Why};
use crate::rehearse::model::Model;
use crate::vocabulary::Identifier;
use streams::{NEVER, Stream, streams};
use witness::Witness;

/// Something a logger may record.
#[derive(Clone, Copy)]
pub(crate) struct Seen {
    /// The end of the frame or error flag, in nanoseconds since the start.
    pub(crate) at: i64,
    /// The bus.
    pub(crate) bus: usize,
    /// The identifier; none: an error.
    pub(crate) id: Option<Identifier>,
    /// Payload length; for an error the place code of byte 3.
    pub(crate) length: usize,
    /// The payload.
    pub(crate) data: [u8; 8],
}

/// What a window of traffic comes to.
pub(crate) struct Outcome {
    /// What the nodes concluded.
    pub(crate) accusations: Vec<Accusation>,
    /// When each node had left the bus by its error counter.
    pub(crate) off: Vec<Vec<Span>>,
}

/// What to run.
pub(crate) struct Window<'a> {
    /// The vehicle model.
    pub(crate) model: &'a Model,
    /// The bus.
    pub(crate) bus: usize,
    /// The course of the start.
    pub(crate) course: &'a Course,
    /// The window.
    pub(crate) span: Span,
    /// When each node falls asleep.
    pub(crate) sleeps: &'a [i64],
    /// The supply's voltage at rest.
    pub(crate) rest_v: f64,
    /// Tester questions `(when, node asked, question, answer)`.
    pub(crate) polls: &'a [Poll],
}

/// A question for a live value and its answer.
#[derive(Clone, Copy)]
pub(crate) struct Poll {
    /// When it is asked.
    pub(crate) at: i64,
    /// The identifier of question or answer.
    pub(crate) id: Identifier,
    /// The payload.
    pub(crate) data: [u8; 8],
}

struct Bus<'a> {
    window: &'a Window<'a>,
    blocks: Vec<Vec<Block>>,
    off_until: Vec<i64>,
    errors: Vec<i64>,
    burst: usize,
    witness: Witness<'a>,
    chance: Chance,
}

/// Runs a window and shows everything to `logger`.
pub(crate) fn run(window: &Window<'_>, chance: Chance, logger: &mut dyn FnMut(Seen)) -> Outcome {
    let mut chance = chance;
    let model = window.model;
    let begin = window.span.from;
    let wakes: Vec<i64> = model
        .nodes
        .iter()
        .map(
            |node| {
                if begin > 0 { begin } else { ns_scaled(node.boot_ns, chance.within([0.9, 1.1])) }
            },
        )
        .collect();
    let mut all = streams(model, window.bus, &wakes, &mut chance);
    for flood in window.course.floods.iter().filter(|flood| flood.bus == window.bus) {
        all.push(Stream::flood(flood));
    }
    all.sort_by_key(|stream| weakness(stream.id));
    let count = model.nodes.len();
    let of_bus = |block: &&Block| block.bus.is_none_or(|bus| bus == window.bus);
    let blocks = (0..count)
        .map(|node| {
            let own = window.course.blocks.iter().filter(|block| block.node == node);
            own.filter(of_bus).copied().collect()
        })
        .collect();
    let mut bus = Bus {
        window,
        blocks,
        off_until: vec![i64::MIN; count],
        errors: vec![0; count],
        burst: 0,
        witness: Witness::new(model, window.bus, window.course, &wakes, window.rest_v),
        chance,
    };
    bus.live(&mut all, logger);
    let awake = window.sleeps.iter().copied().min().unwrap_or(window.span.to);
    bus.close(window.span.to.min(awake));
    let Witness { accusations, off, .. } = bus.witness;
    Outcome { accusations, off }
}

fn ns_scaled(time: i64, factor: f64) -> i64 {
    crate::rehearse::model::ns(time as f64 / 1e9 * factor)
}

impl Bus<'_> {
    fn live(&mut self, all: &mut [Stream], logger: &mut dyn FnMut(Seen)) {
        let mut now = self.window.span.from;
        let mut poll = 0;
        while now < self.window.span.to {
            if let Some(question) = self.window.polls.get(poll)
                && question.at <= now
            {
                now = self.put(now, question.id, &question.data, logger);
                poll += 1;
                continue;
            }
            let mut soonest = self.window.polls.get(poll).map_or(NEVER, |question| question.at);
            let mut ready = None;
            for (at, stream) in all.iter().enumerate() {
                if stream.due <= now {
                    ready = Some(at);
                    break;
                }
                soonest = soonest.min(stream.due);
            }
            let Some(at) = ready else {
                now = soonest;
                continue;
            };
            let stream = &mut all[at];
            if !self.held_back(stream, now) {
                now = self.attempt(stream, now, logger);
            }
        }
    }

    /// Moves a stream on when its node cannot send now.
    fn held_back(&mut self, stream: &mut Stream, now: i64) -> bool {
        let node = stream.node;
        if now >= self.window.sleeps[node] {
            stream.due = NEVER;
            return true;
        }
        if let Some(block) = self.block(node, now) {
            if block.why == Why::Unpowered {
                self.errors[node] = 0;
                self.off_until[node] = i64::MIN;
                let back = block.span.to + self.window.model.nodes[node].boot_ns;
                stream.boots_at(back, &mut self.chance);
            } else {
                stream.unheard_until(block.span.to, &mut self.chance);
                self.heard_inside(node, block);
            }
            return true;
        }
        if now < self.off_until[node] {
            stream.unheard_until(self.off_until[node], &mut self.chance);
            return true;
        }
        false
    }

    fn block(&self, node: usize, at: i64) -> Option<Block> {
        self.blocks[node].iter().find(|block| block.span.holds(at)).copied()
    }

    /// Nodes that are cut off together still hear each other.
    fn heard_inside(&mut self, sender: usize, block: Block) {
        let Why::Cut(group) = block.why else { return };
        for at in 0..self.witness.listeners(sender) {
            let node = self.witness.listener(sender, at);
            let inside = self.blocks[node]
                .iter()
                .any(|other| other.why == Why::Cut(group) && other.span.from == block.span.from);
            if inside {
                self.witness.heard_aside(node, sender, block.span.to);
            }
        }
    }

    fn attempt(&mut self, stream: &mut Stream, now: i64, logger: &mut dyn FnMut(Seen)) -> i64 {
        let node = stream.node;
        let risk = self.garbled(node, now);
        if risk > 0.0 && self.chance.happens(risk) {
            return self.fail(node, now, logger);
        }
        let mut data = [0; 8];
        let length = stream.payload(&mut self.chance, &mut data);
        let end = self.put(now, stream.id, &data[..length], logger);
        self.errors[node] = (self.errors[node] - 1).max(0);
        // Time-outs belong to identifiers: a strange one is no sign of life of whoever sends it.
        let listeners = if stream.watched { self.witness.listeners(node) } else { 0 };
        for at in 0..listeners {
            let listener = self.witness.listener(node, at);
            if self.off_until[listener] <= now && self.block(listener, now).is_none() {
                self.witness.hears(listener, node, end);
            }
        }
        stream.advance(end, &mut self.chance);
        end
    }

    /// A frame gets through; returns when the bus is free again.
    fn put(&mut self, now: i64, id: Identifier, data: &[u8], logger: &mut dyn FnMut(Seen)) -> i64 {
        let bit = self.window.model.bit_ns[self.window.bus];
        let bits = wire::frame_bits(id, data);
        let mut seen = Seen {
            at: now + (bits - REST_BITS) * bit,
            bus: self.window.bus,
            id: Some(id),
            length: data.len(),
            data: [0; 8],
        };
        seen.data[..data.len()].copy_from_slice(data);
        logger(seen);
        now + bits * bit
    }

    /// The probability that a frame of this node fails now.
    fn garbled(&mut self, node: usize, now: i64) -> f64 {
        let bursts = &self.window.course.bursts;
        while bursts.get(self.burst).is_some_and(|burst| burst.span.to <= now) {
            self.burst += 1;
        }
        let current = bursts[self.burst.min(bursts.len())..]
            .iter()
            .take_while(|burst| burst.span.from <= now)
            .filter(|burst| burst.bus == self.window.bus && burst.span.holds(now));
        current
            .map(|burst| if burst.by == Some(node) { burst.own } else { burst.others })
            .fold(0.0, f64::max)
    }

    /// A frame fails at some bit: error flags, the sender's counter, perhaps bus-off.
    fn fail(&mut self, node: usize, now: i64, logger: &mut dyn FnMut(Seen)) -> i64 {
        let bit = self.window.model.bit_ns[self.window.bus];
        let done = i64::from(self.chance.whole(18, 100));
        let flags = i64::from(self.chance.whole(6, 12));
        let end = now + (done + flags + 8) * bit;
        self.errors[node] += 8;
        let kind = [0x04, 0x02, 0x08, 0x10, 0x04, 0x04][self.chance.index(6)];
        let place = match done {
            ..20 => 0x0B,
            20..84 => 0x0A,
            84..99 => 0x08,
            _ => 0x18,
        };
        let mut data = [0, 0, kind, place, 0, 0, 0, 0];
        data[7] = u8::try_from(self.errors.iter().sum::<i64>().min(120)).unwrap_or(120);
        logger(Seen { at: end, bus: self.window.bus, id: None, length: 8, data });
        if self.errors[node] >= 256 {
            let wait = 1408 * bit + self.window.model.nodes[node].recovery_ns;
            self.errors[node] = 0;
            self.off_until[node] = end + wait;
            self.witness.off[node].push(Span { from: end, to: end + wait });
        }
        end + REST_BITS * bit
    }

    fn close(&mut self, end: i64) {
        for sender in 0..self.blocks.len() {
            for block in self.blocks[sender].clone() {
                if block.span.holds(end) {
                    self.heard_inside(sender, block);
                }
            }
        }
        // A dead bus sends every controller that tries off the bus.
        for node in 0..self.blocks.len() {
            let dead = self.blocks[node].iter().filter(|b| b.why == Why::Dead && b.span.from < end);
            let spans: Vec<Span> = dead.map(|block| block.span).collect();
            self.witness.off[node].extend(spans);
        }
        self.witness.close(end);
    }
}

#[cfg(test)]
mod tests;
