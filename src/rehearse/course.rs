//! The course of a start: what happens to supplies and wires while a network is awake.
//!
//! In: the faults that act in a start. Out: spans in which nodes have no supply, are cut off,
//! are garbled or flooded, and the supply voltage. Nothing here decides what a node says about
//! it: that follows from the traffic.

use crate::rehearse::chance::Chance;
use crate::rehearse::model::{Model, ns};
use crate::rehearse::scenario::How;
use crate::vocabulary::Identifier;

/// A span, in nanoseconds since the start.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Span {
    /// Its begin.
    pub(crate) from: i64,
    /// Its end.
    pub(crate) to: i64,
}

impl Span {
    /// Whether it holds a moment.
    pub(crate) fn holds(self, at: i64) -> bool {
        self.from <= at && at < self.to
    }
}

/// Why a node cannot be heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Why {
    /// It has no supply and boots afterwards.
    Unpowered,
    /// It is cut off, together with the others of the same group.
    Cut(usize),
    /// Its whole bus is dead.
    Dead,
}

/// A span in which a node cannot be heard on a bus.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Block {
    /// The node.
    pub(crate) node: usize,
    /// The bus; none: all of them.
    pub(crate) bus: Option<usize>,
    /// When.
    pub(crate) span: Span,
    /// Why.
    pub(crate) why: Why,
}

/// A burst in which frames are garbled.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Burst {
    /// The bus.
    pub(crate) bus: usize,
    /// When.
    pub(crate) span: Span,
    /// The nodes whose own frames fail more often.
    pub(crate) by: Option<usize>,
    /// The probability that a frame of `by` fails.
    pub(crate) own: f64,
    /// The probability that a frame of another node fails.
    pub(crate) others: f64,
}

/// A flood of one identifier.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Flood {
    /// The bus.
    pub(crate) bus: usize,
    /// When.
    pub(crate) span: Span,
    /// Who.
    pub(crate) by: usize,
    /// The identifier.
    pub(crate) id: Identifier,
    /// Whether it is one that the node sends anyway: who watches the node takes it for a sign of life.
    pub(crate) known: bool,
    /// Nanoseconds between two frames.
    pub(crate) gap: i64,
}

/// The supply voltage in a span.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sag {
    /// When.
    pub(crate) span: Span,
    /// Volts.
    pub(crate) volts: f64,
}

/// All that happens in one start.
#[derive(Default, Clone)]
pub(crate) struct Course {
    /// The incidents, for the truth file.
    pub(crate) incidents: Vec<Span>,
    /// Nodes that cannot be heard.
    pub(crate) blocks: Vec<Block>,
    /// Garbling, in order of time.
    pub(crate) bursts: Vec<Burst>,
    /// Floods.
    pub(crate) floods: Vec<Flood>,
    /// Voltage below rest.
    pub(crate) sags: Vec<Sag>,
}

impl Course {
    /// The volts of the supply at a moment; `rest` when nothing pulls on it.
    pub(crate) fn volts(&self, at: i64, rest: f64) -> f64 {
        let sags = self.sags.iter().filter(|sag| sag.span.holds(at)).map(|sag| sag.volts);
        sags.fold(rest, f64::min)
    }

    /// Cranking: a short deep dip, then a plateau. Nodes reset below what they bear.
    pub(crate) fn crank(&mut self, model: &Model, at: i64, dip: f64, plateau: f64, turn_ns: i64) {
        let bottom = Span { from: at, to: at + ns(0.12) };
        let turning = Span { from: bottom.to, to: bottom.to + turn_ns };
        self.sags.push(Sag { span: bottom, volts: dip });
        self.sags.push(Sag { span: turning, volts: plateau });
        for (node, habits) in model.nodes.iter().enumerate() {
            let to = if plateau < habits.min_v { turning.to } else { bottom.to };
            if dip < habits.min_v {
                let span = Span { from: at, to };
                self.blocks.push(Block { node, bus: None, span, why: Why::Unpowered });
            }
        }
    }

    /// Lets a fault act from `from` for `length` nanoseconds.
    pub(crate) fn act(&mut self, model: &Model, how: How, hit: &Hit, chance: &mut Chance) {
        let span = Span { from: hit.from, to: hit.from + hit.length };
        match how {
            How::ErrorBursts => {
                let law = Law { own: 0.3, others: 0.85, burst_s: 0.03, gap_s: 0.07 };
                self.garble(hit, span, law, chance);
            }
            How::BusOff => {
                let law = Law { own: 0.97, others: 0.06, burst_s: 1.2, gap_s: 0.25 };
                self.garble(hit, span, law, chance);
            }
            How::WiresNoisy => {
                let law = Law { own: 0.0, others: 0.9, burst_s: 0.8, gap_s: 0.06 };
                self.garble(&Hit { nodes: Vec::new(), ..hit.clone() }, span, law, chance);
            }
            How::Babbling => {
                let by = hit.nodes.first().copied().unwrap_or(0);
                let strange = Identifier::base(0x008 + u32::try_from(by % 32).unwrap_or(0));
                let own = hit.own_identifier.then(|| model.strongest(by, hit.bus)).flatten();
                let (id, known) = own.map_or((strange, false), |id| (id, true));
                // Shorter than its own frame: while it lasts, nobody weaker gets through.
                let gap = model.bit_ns[hit.bus] * 110;
                for span in flaps(span, 1.5, chance) {
                    self.floods.push(Flood { bus: hit.bus, span, by, id, known, gap });
                }
            }
            How::SupplyLost | How::FeedLost => self.unpower(hit, span, chance),
            How::GroundLost => {
                let first = Span { from: span.from, to: span.from + ns(0.4) };
                let law = Law { own: 0.5, others: 0.15, burst_s: 0.02, gap_s: 0.05 };
                self.garble(hit, first, law, chance);
                self.unpower(hit, Span { from: first.to, to: span.to.max(first.to) }, chance);
            }
            How::ConnectorOpen | How::BranchOpen => {
                let group = self.blocks.len() + 1;
                for span in flaps(span, 3.0, chance) {
                    self.block(hit, Some(hit.bus), span, Why::Cut(group));
                    self.edges(hit, span, chance);
                }
            }
            How::WiresShorted => self.short(model, hit, span, chance),
            How::WeakBattery => self.sag(model, span, chance),
            How::BadTester | How::StaleCodes => return,
        }
        self.incidents.push(span);
    }

    fn block(&mut self, hit: &Hit, bus: Option<usize>, span: Span, why: Why) {
        let blocks = hit.nodes.iter().map(|&node| Block { node, bus, span, why });
        self.blocks.extend(blocks);
    }

    fn unpower(&mut self, hit: &Hit, span: Span, chance: &mut Chance) {
        for span in flaps(span, 3.5, chance) {
            self.block(hit, None, span, Why::Unpowered);
        }
    }

    /// The wires touch: a moment of garbling, then nobody gets through.
    fn short(&mut self, model: &Model, hit: &Hit, span: Span, chance: &mut Chance) {
        let law = Law { own: 0.0, others: 0.8, burst_s: 0.05, gap_s: 0.02 };
        let begin = Span { from: span.from - ns(0.15), to: span.from };
        self.garble(&Hit { nodes: Vec::new(), ..hit.clone() }, begin, law, chance);
        let all = Hit { nodes: (0..model.nodes.len()).collect(), ..hit.clone() };
        for span in flaps(span, 4.0, chance) {
            self.block(&all, Some(hit.bus), span, Why::Dead);
        }
    }

    /// A weak battery: one attempt to crank after another, each with a deep dip.
    fn sag(&mut self, model: &Model, span: Span, chance: &mut Chance) {
        let mut at = span.from;
        while at < span.to {
            let (dip, plateau) = (chance.within([5.6, 7.4]), chance.within([7.2, 9.2]));
            let turn = ns(chance.within([1.5, 5.0]));
            self.crank(model, at, dip, plateau, turn);
            at += turn + ns(chance.within([1.0, 3.0]));
        }
    }

    /// A contact that opens or closes spoils the frames of that moment.
    fn edges(&mut self, hit: &Hit, span: Span, chance: &mut Chance) {
        let law = Law { own: 0.5, others: 0.5, burst_s: 0.004, gap_s: 0.003 };
        for at in [span.from, span.to] {
            if chance.happens(0.5) {
                let edge = Span { from: at - ns(0.006), to: at + ns(0.006) };
                self.garble(&Hit { nodes: Vec::new(), ..hit.clone() }, edge, law, chance);
            }
        }
    }

    fn garble(&mut self, hit: &Hit, span: Span, law: Law, chance: &mut Chance) {
        let mut at = span.from;
        while at < span.to {
            let to = (at + ns(chance.wait(law.burst_s)).max(200_000)).min(span.to);
            for by in
                hit.nodes.iter().map(|&node| Some(node)).chain(hit.nodes.is_empty().then_some(None))
            {
                let span = Span { from: at, to };
                self.bursts.push(Burst {
                    bus: hit.bus,
                    span,
                    by,
                    own: law.own,
                    others: law.others,
                });
            }
            at = to + ns(chance.wait(law.gap_s)).max(100_000);
        }
    }

    /// Puts bursts and blocks in order of time.
    pub(crate) fn settle(&mut self) {
        self.blocks.sort_by_key(|block| (block.span.from, block.node));
        self.bursts.sort_by_key(|burst| burst.span.from);
    }
}

/// What a fault hits, and when.
#[derive(Clone)]
pub(crate) struct Hit {
    /// The nodes.
    pub(crate) nodes: Vec<usize>,
    /// The bus.
    pub(crate) bus: usize,
    /// The onset, in nanoseconds since the start.
    pub(crate) from: i64,
    /// The length in nanoseconds.
    pub(crate) length: i64,
    /// Whether a flood is of an identifier that the node sends anyway.
    pub(crate) own_identifier: bool,
}

/// How a garbling fault behaves inside an incident.
#[derive(Clone, Copy)]
struct Law {
    own: f64,
    others: f64,
    burst_s: f64,
    gap_s: f64,
}

/// A loose contact: one to a few spans in which it is open.
fn flaps(span: Span, mean_s: f64, chance: &mut Chance) -> Vec<Span> {
    let mut open = Vec::new();
    let mut at = span.from;
    while at < span.to && open.len() < 6 {
        let to = (at + ns(0.6 + chance.wait(mean_s))).min(span.to);
        open.push(Span { from: at, to });
        at = to + ns(0.2 + chance.wait(0.5));
    }
    open
}
