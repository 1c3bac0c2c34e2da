//! One log from first frame to facts.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::blind_spots::{self, Blind};
use super::channel::Channel;
use super::diagnostics::{self, Named};
use super::disturbances::{self, Sign};
use super::finer;
use super::locks;
use super::losses;
use super::period::{self, Period};
use super::plain_frames::interfaces_of;
use super::rows::{
    BlindSpotRow, DisturbanceRow, IdentifierRow, LogFacts, LossRow, PresenceRow, SignalRow,
    SilenceRow, StartRow,
};
use super::senders::{Senders, TESTER, comes_and_goes};
use super::shared_gaps::{SharedGaps, excused};
use super::silences::{self, NodeView, Silence};
use super::starts::{self, Span};
use super::tracker::Tracker;
use crate::protocol::frame_timing;
use crate::read::frames::Frame;
use crate::vocabulary::Place;

/// Watches one log. Push frames in file order, then [`Observer::finish`].
#[derive(Debug, Default)]
pub struct Observer {
    channels: Vec<Channel>,
    /// Position in `channels` by the reader's channel number.
    places: Vec<Option<usize>>,
    frames: u64,
    /// Further hands that help to finish.
    helping: usize,
}

/// What a log held, beside its facts.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Seen {
    /// The facts.
    pub facts: LogFacts,
    /// Frames of all kinds.
    pub frames: u64,
    /// Leniencies used, with how often.
    pub leniencies: Vec<(String, u64)>,
}

impl Observer {
    /// Lets so many further threads help to finish; what is found is the same.
    #[must_use]
    pub fn helped_by(mut self, hands: usize) -> Observer {
        self.helping = hands;
        self
    }

    /// Takes frames. `interfaces` are the reader's interface names by channel number.
    pub fn push(&mut self, frames: &[Frame], interfaces: &[String]) {
        self.push_behind(0, frames, interfaces);
    }

    /// Takes frames whose lines count from behind so many `lines`.
    pub fn push_behind(&mut self, lines: u64, frames: &[Frame], interfaces: &[String]) {
        self.frames += frames.len() as u64;
        // Buses know nothing of each other while the log streams by: each takes its own. Most logs are of one.
        let Some(first) = frames.first().map(|frame| frame.channel) else { return };
        if self.push_of(first, lines, frames, interfaces) == frames.len() {
            return;
        }
        for number in interfaces_of(frames).into_iter().filter(|number| *number != first) {
            self.push_of(number, lines, frames, interfaces);
        }
    }

    /// Takes those of one interface; returns how many they were.
    fn push_of(&mut self, number: u16, lines: u64, frames: &[Frame], names: &[String]) -> usize {
        let known = self.places.get(usize::from(number)).copied().flatten();
        let place = known.or_else(|| {
            let first = frames.iter().find(|frame| frame.channel == number)?;
            self.place(&first.behind(lines), names)
        });
        let channel = place.and_then(|place| self.channels.get_mut(place));
        channel.map_or(0, |channel| channel.frames((frames, lines), number))
    }

    #[cold]
    fn place(&mut self, first: &Frame, names: &[String]) -> Option<usize> {
        let number = usize::from(first.channel);
        if self.places.len() <= number {
            self.places.resize(number + 1, None);
        }
        let name = names.get(number).cloned().unwrap_or_default();
        self.places[number] = Some(self.channels.len());
        self.channels.push(Channel::new(name, first));
        self.places[number]
    }

    /// Reads the facts off what was kept. `bus` is what the path says of the bus, `shift` is added
    /// to every time (for logs without absolute time, whose start the path gives), nanoseconds.
    #[must_use]
    pub fn finish(
        mut self,
        senders: &Senders,
        bus: Option<&str>,
        file: &Arc<str>,
        shift: i64,
    ) -> Seen {
        let mut seen = Seen { frames: self.frames, ..Seen::default() };
        let (mut steps, mut reordered, mut untracked, mut unsure) = (0, 0, 0, Vec::new());
        self.channels.sort_by(|a, b| a.interface.cmp(&b.interface));
        self.channels.iter_mut().for_each(Channel::close);
        for channel in &self.channels {
            steps += channel.clock.steps;
            reordered += channel.clock.reordered;
            untracked += channel.untracked.frames;
            seen.frames -= channel.lost_marks;
            let name = senders.bus(&channel.interface, bus);
            let senders = &senders.on_a_bus_with(channel.trackers.iter().map(|t| t.id));
            let bus = Bus::new(channel, senders, name.clone(), file);
            bus.facts(&self.channels, self.helping + 1, &mut seen.facts);
            let named = Named { senders, bus: &name, file };
            let sends = |id| channel.trackers.binary_search_by_key(&id, |t| t.id).is_ok();
            unsure.extend(diagnostics::rows(&channel.diagnostics, &named, &sends, &mut seen.facts));
            for (what, times) in channel.diagnostics.leniencies().into_iter().filter(|l| l.1 > 0) {
                seen.leniencies.push((what.to_owned(), times));
            }
        }
        diagnostics::settle(&mut seen.facts, unsure, senders);
        for (what, times) in [
            ("clock stepped back: step taken out", steps),
            ("frames stamped a little out of order: put level", reordered),
            ("frames of identifiers past the 4,096th: counted, not tracked", untracked),
        ] {
            if times > 0 {
                seen.leniencies.push((what.to_owned(), times));
            }
        }
        if shift != 0 {
            seen.facts.shift(shift);
        }
        seen
    }
}

/// One bus of a finished log, with names.
struct Bus<'a> {
    channel: &'a Channel,
    senders: &'a Senders,
    name: String,
    file: &'a Arc<str>,
    periods: Vec<Option<Period>>,
    /// Positions of trackers by node.
    nodes: BTreeMap<String, Vec<usize>>,
}

impl<'a> Bus<'a> {
    fn new(
        channel: &'a Channel,
        senders: &'a Senders,
        name: String,
        file: &'a Arc<str>,
    ) -> Bus<'a> {
        let mut nodes: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        let mut periods = Vec::with_capacity(channel.trackers.len());
        let shared = SharedGaps::new(channel, senders, &name);
        for (place, tracker) in channel.trackers.iter().enumerate() {
            let talk = &channel.diagnostics;
            let node = match senders.knows(&name, tracker.id) {
                false if talk.is_request(tracker.id) => TESTER.to_owned(),
                false if talk.is_answer(tracker.id) => senders.answering(&name, tracker.id),
                _ => senders.node(&name, tracker.id),
            };
            let mut judged =
                period::judge(tracker, |gap| excused(channel, gap) || shared.by_others(&node, gap));
            let talks = talk.is_request(tracker.id) || talk.is_answer(tracker.id);
            if (talks || comes_and_goes(tracker.id))
                && let Some(p) = &mut judged
            {
                p.cyclic = false;
            }
            periods.push(judged);
            nodes.entry(node).or_default().push(place);
        }
        Bus { channel, senders, name, file, periods, nodes }
    }

    fn facts(&self, all: &[Channel], hands: usize, facts: &mut LogFacts) {
        let spans = starts::cut(self.channel, &self.periods);
        let blind = blind_spots::find(self.channel, &self.periods, &spans, all);
        self.identifiers(facts);
        self.signals(facts);
        let at = (self.name.as_str(), self.file);
        finer::of_log(self.channel, &self.periods, at, hands, &mut facts.finer);
        for span in &spans {
            let why = starts::why_not(span, self.channel, &self.periods);
            self.start(span, &why, facts);
            self.presences(span, facts);
            for spot in blind.iter().filter(|b| span.holds(b.begin)) {
                facts.blind_spots.push(BlindSpotRow {
                    bus: self.name.clone(),
                    start: span.begin,
                    begin: spot.begin,
                    end: spot.end,
                    why: spot.why.clone(),
                    place: Place::line(self.file, spot.line),
                });
            }
            self.disturbances(span, &blind, facts);
            let (node, at) = (|id| self.senders.node(&self.name, id), (self.name.as_str(), span));
            finer::passives(self.channel, at, node, self.file, &mut facts.finer);
            if why.is_empty() {
                self.silences(span, &blind, facts);
            }
        }
        let node = |id| self.senders.node(&self.name, id);
        finer::of_silences(self.channel, &self.name, node, facts);
    }

    fn start(&self, span: &Span, why: &str, facts: &mut LogFacts) {
        let frames: u64 = self.channel.trackers.iter().map(|t| silences::frames_in(t, span)).sum();
        let seconds = span.end.seconds_since(span.begin);
        let bits = if self.channel.data_frames == 0 {
            0.0
        } else {
            self.channel.bits() as f64 * frames as f64 / self.channel.data_frames as f64
        };
        let errors = self.channel.error_runs.iter().filter(|r| span.holds(r.begin));
        facts.starts.push(StartRow {
            bus: self.name.clone(),
            begin: span.begin,
            end: span.end,
            woke: span.woke,
            slept: span.slept,
            frames,
            error_frames: errors.map(|r| r.frames).sum(),
            load: self
                .senders
                .bitrate(&self.name)
                .and_then(|bitrate| frame_timing::load(bits, seconds, bitrate)),
            judged: why.is_empty(),
            why: why.to_owned(),
            place: Place::line(self.file, span.line),
        });
    }

    fn members(&self, node: &[usize]) -> Vec<(&'a Tracker, &Period)> {
        let mut members: Vec<(&Tracker, &Period)> = node
            .iter()
            .filter_map(|place| {
                let period = self.periods[*place].as_ref().filter(|p| p.cyclic)?;
                Some((&self.channel.trackers[*place], period))
            })
            .collect();
        members.sort_by_key(|(t, p)| (p.nanos, t.id));
        members
    }

    fn presences(&self, span: &Span, facts: &mut LogFacts) {
        for (node, places) in self.nodes.iter().filter(|(node, _)| *node != TESTER) {
            let trackers = || places.iter().map(|p| &self.channel.trackers[*p]);
            let first = trackers().filter_map(|t| silences::first_in(t, span)).min();
            let last = trackers().filter_map(|t| silences::last_in(t, span)).max();
            let (Some(first), Some((last, _))) = (first, last) else { continue };
            facts.presences.push(PresenceRow {
                bus: self.name.clone(),
                start: span.begin,
                node: node.clone(),
                first,
                last,
                frames: trackers().map(|t| silences::frames_in(t, span)).sum(),
                fastest_period_s: self.members(places).first().map(|(_, p)| p.mean / 1e9),
            });
        }
    }

    fn silences(&self, span: &Span, blind: &[Blind], facts: &mut LogFacts) {
        let views: Vec<NodeView<'_>> = self
            .nodes
            .iter()
            .map(|(name, places)| NodeView { name, cyclic: self.members(places) })
            .filter(|v| v.cyclic.iter().any(|(t, _)| silences::frames_in(t, span) > 0))
            .collect();
        let mut found: Vec<(usize, Silence)> = silences::open(&views, span);
        for (place, view) in views.iter().enumerate() {
            let claims = self.channel.diagnostics.claim_words();
            found.extend(
                silences::closed(view, span, blind, claims).into_iter().map(|s| (place, s)),
            );
        }
        found.sort_by_key(|(place, s)| (s.due, *place));
        for (place, silence) in found {
            facts.silences.push(SilenceRow {
                bus: self.name.clone(),
                start: span.begin,
                node: views[place].name.to_owned(),
                last_heard: silence.last_heard,
                due: silence.due,
                end: silence.end,
                returned: silence.returned,
                restarted: silence.restarted,
                identifiers: silence.identifiers,
                place: Place::line(self.file, silence.line),
            });
        }
    }

    fn disturbances(&self, span: &Span, blind: &[Blind], facts: &mut LogFacts) {
        let mut members = Vec::new();
        for (number, places) in self.nodes.values().enumerate() {
            members.extend(self.members(places).into_iter().map(|(t, p)| (number, t, p)));
        }
        let signs =
            disturbances::find(self.channel, &members, span, blind, self.senders, &self.name);
        let nodes: Vec<(&str, locks::Members<'_>)> = self
            .nodes
            .iter()
            .map(|(name, places)| {
                let heard = |(t, _): &(&Tracker, &Period)| silences::frames_in(t, span) > 0;
                let members = self.members(places).into_iter().filter(heard);
                (name.as_str(), members.map(|(t, p)| (t.place, t, p)).collect())
            })
            .collect();
        for sign in &signs {
            self.losses(span, sign, facts);
            let at = (self.name.as_str(), span.begin);
            finer::of_disturbance(self.channel, &nodes, at, sign, &mut facts.finer);
        }
        for sign in signs {
            facts.disturbances.push(DisturbanceRow {
                bus: self.name.clone(),
                start: span.begin,
                kind: sign.kind,
                begin: sign.begin,
                end: sign.end,
                count: sign.count,
                identifier: sign.identifier,
                node: sign
                    .identifier
                    .filter(|id| {
                        !self.senders.describes(&self.name) || self.senders.knows(&self.name, *id)
                    })
                    .map(|id| self.senders.node(&self.name, id)),
                detail: sign.detail,
                place: Place::line(self.file, sign.line),
            });
        }
    }

    /// Counts, node by node, the cyclic frames that a disturbance cost.
    fn losses(&self, span: &Span, sign: &Sign, facts: &mut LogFacts) {
        let runs = &self.channel.error_runs;
        for (node, places) in &self.nodes {
            let heard = |(t, _): &(&Tracker, &Period)| silences::frames_in(t, span) > 0;
            let members: Vec<_> = self.members(places).into_iter().filter(heard).collect();
            let each = members.iter().map(|(t, p)| losses::of(t, p, sign.begin, sign.end));
            let (expected, missing) =
                each.fold((0.0, 0.0), |sum, own| (sum.0 + own.0, sum.1 + own.1));
            if expected >= 1.0 {
                facts.losses.push(LossRow {
                    bus: self.name.clone(),
                    start: span.begin,
                    begin: sign.begin,
                    node: node.clone(),
                    expected,
                    missing: missing.min(expected),
                    failed: losses::failed(&members, runs, sign.begin, sign.end),
                });
            }
        }
    }

    fn signals(&self, facts: &mut LogFacts) {
        facts.signals.extend(self.channel.signals.kept.iter().map(|s| SignalRow {
            time: s.time,
            quantity: s.quantity.name().to_owned(),
            value: s.value,
            place: Place::line(self.file, s.line),
        }));
    }

    fn identifiers(&self, facts: &mut LogFacts) {
        for (node, places) in &self.nodes {
            for place in places {
                let tracker = &self.channel.trackers[*place];
                let period = self.periods[*place];
                facts.identifiers.push(IdentifierRow {
                    bus: self.name.clone(),
                    id: tracker.id,
                    node: node.clone(),
                    frames: tracker.count,
                    cyclic: period.is_some_and(|p| p.cyclic),
                    period_s: period.map(|p| p.nanos as f64 / 1e9),
                    jitter_s: period.map(|p| p.jitter as f64 / 1e9),
                });
            }
        }
    }
}
