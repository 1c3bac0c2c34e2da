//! What each node hears, and what it concludes when it hears a sender no longer.

use crate::rehearse::course::{Course, Span, Why};
use crate::rehearse::model::{Model, ns};

/// A code that a node sets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Accusation {
    /// Nanoseconds since the start.
    pub(crate) at: i64,
    /// Who sets it.
    pub(crate) reporter: usize,
    /// Whom it means; none: the bus.
    pub(crate) accused: Option<usize>,
}

/// The hearing of all nodes on one bus.
pub(crate) struct Witness<'a> {
    model: &'a Model,
    listeners: Vec<Vec<usize>>,
    heard: Vec<i64>,
    patience: Vec<i64>,
    deaf: Vec<Vec<Span>>,
    /// The spans in which a node had left the bus by its error counter.
    pub(crate) off: Vec<Vec<Span>>,
    /// What was concluded so far.
    pub(crate) accusations: Vec<Accusation>,
}

impl<'a> Witness<'a> {
    /// Everybody begins to listen when awake and enabled.
    pub(crate) fn new(
        model: &'a Model,
        bus: usize,
        course: &Course,
        wakes: &[i64],
        rest_v: f64,
    ) -> Witness<'a> {
        let count = model.nodes.len();
        let mut witness = Witness {
            model,
            listeners: vec![Vec::new(); count],
            heard: vec![0; count * count],
            patience: vec![0; count * count],
            deaf: vec![Vec::new(); count],
            off: vec![Vec::new(); count],
            accusations: Vec::new(),
        };
        for (node, habits) in model.nodes.iter().enumerate() {
            witness.deaf[node] = deaf_spans(course, node, habits.watch_v, habits.boot_ns, rest_v);
            if !habits.buses.contains(&bus) {
                continue;
            }
            for sender in (0..count).filter(|&sender| habits.hears[sender]) {
                let Some(fastest) = model.fastest(sender, bus) else { continue };
                witness.listeners[sender].push(node);
                witness.heard[node * count + sender] = wakes[node].max(0) + habits.enable_ns;
                witness.patience[node * count + sender] = habits.timeout_ns.max(fastest * 5);
            }
        }
        witness
    }

    /// Who listens to a sender.
    pub(crate) fn listeners(&self, sender: usize) -> usize {
        self.listeners[sender].len()
    }

    /// The listener at a place of a sender's list.
    pub(crate) fn listener(&self, sender: usize, at: usize) -> usize {
        self.listeners[sender][at]
    }

    /// A node hears a sender.
    pub(crate) fn hears(&mut self, node: usize, sender: usize, at: i64) {
        let place = node * self.model.nodes.len() + sender;
        let last = self.heard[place];
        if at - last > self.patience[place] {
            self.conclude(node, sender, at);
        }
        self.heard[place] = at.max(self.heard[place]);
    }

    /// A node hears a sender all through, on a stretch of wire that nobody simulates.
    pub(crate) fn heard_aside(&mut self, node: usize, sender: usize, at: i64) {
        let place = node * self.model.nodes.len() + sender;
        self.heard[place] = at.max(self.heard[place]);
    }

    /// Was the silence up to `at` long enough, in time that the node could watch?
    fn conclude(&mut self, node: usize, sender: usize, at: i64) {
        let place = node * self.model.nodes.len() + sender;
        let habits = &self.model.nodes[node];
        let mut from = self.heard[place];
        for span in &self.deaf[node] {
            if span.from < at && span.to > from {
                from = span.to + habits.enable_ns / 2;
            }
        }
        let sets = from + self.patience[place];
        if sets >= at {
            return;
        }
        let own_fault = self.off[node].iter().any(|span| span.from < sets && span.to > from);
        if own_fault && !habits.accuses_when_off {
            return;
        }
        self.accusations.push(Accusation { at: sets, reporter: node, accused: Some(sender) });
    }

    /// The end of the watch: silences that still last are concluded too.
    pub(crate) fn close(&mut self, end: i64) {
        let count = self.model.nodes.len();
        for sender in 0..count {
            for at in 0..self.listeners[sender].len() {
                let node = self.listeners[sender][at];
                let place = node * count + sender;
                if end - self.heard[place] > self.patience[place] {
                    self.conclude(node, sender, end);
                }
            }
        }
        for node in 0..count {
            let Some(last) = self.off[node].last().copied() else { continue };
            let lost: i64 = self.off[node].iter().map(|span| span.to - span.from).sum();
            if self.model.nodes[node].bus_code.is_some() && lost > ns(0.45) {
                let at = last.from + ns(0.05);
                self.accusations.push(Accusation { at, reporter: node, accused: None });
            }
        }
    }
}

/// When a node does not watch: without supply, booting, or below its voltage window.
fn deaf_spans(course: &Course, node: usize, watch_v: f64, boot_ns: i64, rest_v: f64) -> Vec<Span> {
    let mut spans = Vec::new();
    for block in course.blocks.iter().filter(|block| block.node == node) {
        if block.why == Why::Unpowered {
            spans.push(Span { from: block.span.from, to: block.span.to + boot_ns });
        }
    }
    for sag in &course.sags {
        if sag.volts.min(rest_v) < watch_v {
            spans.push(sag.span);
        }
    }
    spans.sort_by_key(|span| span.from);
    spans
}
