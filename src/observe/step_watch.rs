//! Looks for steps of the log's clock while it streams by, told from gaps by the beats of many identifiers.
//!
//! A gap, whoever made it, leaves every identifier on its own beat: each resumes at a whole number of
//! *its* periods. A step of the clock moves the beats of all identifiers by one amount, for good. So every
//! half second a few steady identifiers, of as many senders as there are, are asked whether they stand off
//! where they stood a second before. If the middle sender does, the beats of up to 32 are laid out a second and a
//! half later: a line through what each did before (robust, over a mark each tenth of a second for 25 s), and how
//! far it stands off that line since. One amount that nearly all agree on, and that is not a whole number of everybody's periods, is a step.
//! Only identifiers whose own scatter leaves the amount apart from nothing by eight standard errors have a say, so
//! that agreement by chance is below 1e-4 for each of them. The step is put where the sum of absolute
//! deviations of all marks from "before" and "behind" is least. Steps under 2 ms are not looked for; they
//! drown in the traffic's jitter and change no finding.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use super::step_lines::{FEWEST_MARKS, Line, Mark, beat};
use super::steps::Step;
use super::tracker::Tracker;
use crate::numerics::centre::median;
use crate::protocol::j1939;
use crate::vocabulary::Instant;

/// Smallest step (nanoseconds).
const SMALLEST: f64 = 2_000_000.0;
/// A movement of the middle sender that makes all be asked (nanoseconds).
const MOVED: f64 = 1_400_000.0;
/// Windows between two marks of the watched identifiers, and between two points for the fit of clocks.
const MARK: u64 = 5;
const LOOK: u64 = 10;
/// Windows from a movement to the decision.
const WAIT: u64 = 15;
/// When a movement shows, the step was between these spans before (nanoseconds).
const SINCE: i64 = 2_500_000_000;
const UNTIL: i64 = 200_000_000;
/// Windows remembered to lay out beats, to place a step, and the last ones in which none is placed.
const KEPT: usize = 256;
const WINDOWS: usize = 32;
const BEHIND: usize = 5;
/// How many steady identifiers are watched, how many of them asked, and fewest that can tell.
const WATCHED: usize = 32;
const ASKED: usize = 16;
const FEWEST: usize = 3;
/// Marks kept of each, and fewest to ask by.
const MARKS: usize = 24;
const ASKING_MARKS: usize = 6;
/// Share of the identifiers that must have moved by the common amount.
const AGREE: f64 = 0.8;
/// From here on (nanoseconds) periods must differ by four times at least: one node's restart looks alike.
const LONG: f64 = 500_000_000.0;
const MOST_STEPS: usize = 1024;
/// How far apart two levels may stand and agree: this (nanoseconds) and so many standard errors.
const SLACK: f64 = 500_000.0;
const ERRORS: f64 = 4.0;

/// An identifier whose beats are laid out when there may have been a step.
#[derive(Debug)]
struct Watched {
    place: usize,
    /// Its source address, where identifiers have one.
    source: Option<u8>,
    period: f64,
    marks: VecDeque<Mark>,
    /// Its place in each of [`StepWatch::ends`].
    column: usize,
}

/// A window: begin, line of its first frame.
type Window = (Instant, u64);

#[derive(Debug)]
struct Pending {
    due: u64,
    /// The step lies between.
    since: Instant,
    until: Instant,
}

/// Looks for steps while a log streams by.
#[derive(Debug, Default)]
pub(super) struct StepWatch {
    watched: Vec<Watched>,
    /// What each of the watched was at the end of each of the last windows, by the number of the window: those of
    /// one window beside each other.
    ends: Vec<[Mark; WATCHED]>,
    pending: Option<Pending>,
    recent: VecDeque<Window>,
    windows: u64,
    /// By place of the identifier: only looks that are a multiple of this are kept of it. Beside each other, so
    /// that a look at a thousand identifiers touches those that it is kept of.
    strides: Vec<u32>,
    /// By place: the beat by so many of the first frames.
    beats: Vec<(usize, Option<(f64, f64)>)>,
    /// Steps found, by time.
    pub found: Vec<Step>,
}

/// How far an identifier stands off its line, all in nanoseconds.
#[derive(Debug, Clone, Copy)]
struct Moved {
    line: Line,
    source: Option<u8>,
    by: f64,
    slack: f64,
    /// Its position among the watched.
    place: usize,
}

impl Watched {
    fn mark(&mut self, tracker: &Tracker) {
        if self.marks.back().is_some_and(|m| m.1 == tracker.count) {
            return;
        }
        if self.marks.len() >= MARKS {
            self.marks.pop_front();
        }
        self.marks.push_back((tracker.last.0, tracker.count));
    }

    /// How far the last two marks stand off those three and four back, by its period.
    fn drift(&self) -> Option<f64> {
        let last = self.marks.len().checked_sub(ASKING_MARKS)?;
        let base = self.marks.get(last)?;
        let off = |back: usize| -> Option<f64> {
            let mark = self.marks.get(self.marks.len() - back)?;
            Some((mark.0 - base.0) as f64 - (mark.1 - base.1) as f64 * self.period)
        };
        Some((off(1)? + off(2)? - off(4)? - off(5)?) / 2.0)
    }

    /// How far the windows from `until` on stand off the line through those before `since`; `all` are its marks at
    /// their ends, `place` its own among the watched.
    fn stands_off(&self, place: usize, mut all: Vec<Mark>, pending: &Pending) -> Option<Moved> {
        all.dedup_by_key(|mark| mark.1);
        let old = all.partition_point(|m| m.0 < pending.since.0);
        let line = Line::through(&all[..old])?;
        let behind: Vec<Mark> =
            all[old..].iter().copied().filter(|m| m.0 >= pending.until.0).collect();
        let middle = behind.get(behind.len() / 2)?.0;
        let off: Vec<f64> = behind.iter().map(|m| line.stands_off(*m)).collect();
        let by = median(&off)?;
        // Standard errors of two medians, the line's as it is carried on from its middle; a step is no way to carry.
        let (first, last) = (all[0].0, all[old - 1].0);
        let ahead = (middle - last / 2 - first / 2) as f64 - by;
        let carried = ahead / (last - first).max(1) as f64;
        let parts = 1.0 / off.len() as f64 + (1.0 + 12.0 * carried.powi(2)) / line.marks as f64;
        let error = line.scatter * (std::f64::consts::FRAC_PI_2 * parts).sqrt();
        Some(Moved { line, source: self.source, by, slack: SLACK + ERRORS * error, place })
    }
}

impl StepWatch {
    /// Ends a window that began at `begin` with the frame of `first_line`.
    pub(super) fn window(&mut self, trackers: &mut [Tracker], begin: Instant, first_line: u64) {
        let slot = usize::try_from(self.windows % KEPT as u64).unwrap_or(0);
        self.windows += 1;
        if self.recent.len() >= WINDOWS + BEHIND {
            self.recent.pop_front();
        }
        self.recent.push_back((begin, first_line));
        if let Some(ends) = self.ends.get_mut(slot) {
            for watched in &self.watched {
                if let Some(tracker) = trackers.get(watched.place) {
                    ends[watched.column] = (tracker.last.0, tracker.count);
                }
            }
        }
        if self.windows.is_multiple_of(MARK) {
            for watched in &mut self.watched {
                if let Some(tracker) = trackers.get(watched.place) {
                    watched.mark(tracker);
                }
            }
            if self.pending.is_none() && self.may_have_stepped() {
                let at = |nanos: i64| Instant(begin.0.saturating_sub(nanos));
                let (since, until) = (at(SINCE), at(UNTIL));
                let due = self.windows + WAIT;
                self.pending = Some(Pending { due, since, until });
            }
        }
        if self.pending.as_ref().is_some_and(|pending| pending.due <= self.windows) {
            self.decide(slot);
        }
        if self.windows.is_multiple_of(LOOK) {
            self.look(trackers);
        }
    }

    /// Whether the log's clock may have moved: the middle sender (of each sender the middle identifier) stands off where it stood, and half of
    /// them off their beats too: frames lost only move by whole periods.
    fn may_have_stepped(&self) -> bool {
        let mut drifts = [(0u32, 0.0f64, false); ASKED];
        let mut count = 0;
        for (number, watched) in (0u32..).zip(self.watched.iter().take(ASKED)) {
            if let (Some(drift), Some(slot)) = (watched.drift(), drifts.get_mut(count)) {
                let beats = (drift / watched.period).round() * watched.period;
                // Without an address everybody counts as a sender.
                let sender = watched.source.map_or(1000 + number, u32::from);
                *slot = (sender, drift, (drift - beats).abs() >= MOVED);
                count += 1;
            }
        }
        if count < FEWEST {
            return false;
        }
        let drifts = &mut drifts[..count];
        drifts.sort_unstable_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let mut middles = [0.0f64; ASKED];
        let (mut senders, mut off) = (0, 0);
        for of_one in drifts.chunk_by(|a, b| a.0 == b.0) {
            let middle = of_one[of_one.len() / 2];
            middles[senders] = middle.1;
            off += usize::from(middle.2);
            senders += 1;
        }
        let middles = &mut middles[..senders];
        middles.sort_unstable_by(f64::total_cmp);
        middles[senders / 2].abs() >= MOVED && 2 * off >= senders
    }

    /// Notes points for the fit of clocks, and chooses anew whom to watch.
    #[cold]
    fn look(&mut self, trackers: &mut [Tracker]) {
        let looks = self.windows / LOOK;
        let number = u32::try_from(looks).unwrap_or(u32::MAX);
        self.strides.resize(trackers.len(), 1);
        for (stride, tracker) in self.strides.iter_mut().zip(trackers.iter_mut()) {
            if number.is_multiple_of(*stride) {
                tracker.points.push(number, tracker.last);
                *stride = tracker.points.stride();
            }
        }
        if self.pending.is_none() && (looks.is_power_of_two() || looks.is_multiple_of(32)) {
            self.choose(trackers);
        }
    }

    /// The steadiest identifiers, by turns from every source address.
    fn choose(&mut self, trackers: &[Tracker]) {
        self.beats.resize(trackers.len(), (0, None));
        for (known, tracker) in self.beats.iter_mut().zip(trackers) {
            if known.0 != tracker.samples.len() {
                *known = (tracker.samples.len(), beat(tracker));
            }
        }
        let beats = self.beats.iter().enumerate();
        let mut steady: Vec<(f64, f64, usize)> = beats
            .filter_map(|(place, (_, beat))| beat.map(|(period, jitter)| (jitter, period, place)))
            .collect();
        steady.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.2.cmp(&b.2)));
        let source = |place: usize| j1939::header(trackers[place].id).map(|h| h.source);
        let mut turns: BTreeMap<Option<u8>, usize> = BTreeMap::new();
        let mut order: Vec<(usize, usize)> = Vec::with_capacity(steady.len());
        for (number, (_, _, place)) in steady.iter().enumerate() {
            let turn = turns.entry(source(*place)).or_default();
            order.push((*turn, number));
            *turn += 1;
        }
        order.sort_unstable();
        order.truncate(WATCHED);
        let mut kept = std::mem::take(&mut self.watched);
        kept.retain(|w| order.iter().any(|(_, number)| steady[*number].2 == w.place));
        let mut free: Vec<usize> =
            (0..WATCHED).filter(|column| kept.iter().all(|w| w.column != *column)).collect();
        self.ends.resize(KEPT, [Mark::default(); WATCHED]);
        for (_, number) in order {
            let (_, period, place) = steady[number];
            let known = kept.iter().position(|w| w.place == place);
            let mut watched = match known {
                Some(at) => kept.swap_remove(at),
                None => {
                    // As many are free as there are new ones.
                    let Some(column) = free.pop() else { continue };
                    let now = (trackers[place].last.0, trackers[place].count);
                    self.ends.iter_mut().for_each(|ends| ends[column] = now);
                    let marks = VecDeque::with_capacity(MARKS);
                    Watched { place, source: source(place), period, marks, column }
                }
            };
            // The first frames tell the period only roughly.
            if watched.marks.len() >= 2 * FEWEST_MARKS {
                let line = Line::through(watched.marks.make_contiguous());
                watched.period = line.map_or(period, |line| line.period);
            }
            self.watched.push(watched);
        }
    }

    #[cold]
    fn decide(&mut self, slot: usize) {
        let Some(pending) = self.pending.take() else { return };
        let all: Vec<Moved> = self
            .watched
            .iter()
            .enumerate()
            .filter_map(|(place, w)| w.stands_off(place, self.last_ends(w, slot), &pending))
            .collect();
        let amounts: Vec<f64> = all.iter().map(|m| m.by).collect();
        let Some(step) = median(&amounts) else { return };
        let telling: Vec<Moved> = all.into_iter().filter(|m| 2.0 * m.slack <= step.abs()).collect();
        let agreed: Vec<Moved> =
            telling.iter().copied().filter(|m| (m.by - step).abs() <= m.slack).collect();
        let whole = |m: &&Moved| {
            let beats = (step / m.line.period).round();
            beats.abs() > 0.5 && (step - beats * m.line.period).abs() <= m.slack
        };
        let wholes = agreed.iter().filter(whole).count();
        let sources: BTreeSet<Option<u8>> = agreed.iter().map(|m| m.source).collect();
        let one_source = sources.len() == 1 && !sources.contains(&None);
        let period = |pick: fn(f64, f64) -> f64| agreed.iter().map(|m| m.line.period).reduce(pick);
        let spread =
            period(f64::max).zip(period(f64::min)).map_or(1.0, |(most, least)| most / least);
        if step.abs() < SMALLEST
            || agreed.len() < FEWEST
            || (agreed.len() as f64) < AGREE * telling.len() as f64
            || wholes * 2 > agreed.len()
            || one_source
            || (step.abs() > LONG && spread < 4.0)
            || self.found.len() >= MOST_STEPS
        {
            return;
        }
        // The middle of those that agree: a single jitter does not count.
        let amounts: Vec<f64> = agreed.iter().map(|m| m.by).collect();
        let amount = median(&amounts).unwrap_or(step);
        #[expect(clippy::cast_possible_truncation, reason = "saturating is right here")]
        let by = amount.round() as i64;
        let (at, line) = self.place(slot, &agreed, amount).unwrap_or((pending.since, 0));
        let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        let agreed = (count(agreed.len()), count(telling.len()));
        self.found.push(Step { at, by, back: 0, line, agreed });
        // What was before is carried over to the clock as it is now.
        let marks = self.watched.iter_mut().flat_map(|watched| watched.marks.iter_mut());
        for mark in marks.chain(self.ends.iter_mut().flatten()).filter(|mark| mark.0 < at.0) {
            mark.0 = mark.0.saturating_add(by);
        }
    }

    /// What one of the watched was at the ends of the last windows; `slot` is that of the last.
    fn last_ends(&self, watched: &Watched, slot: usize) -> Vec<Mark> {
        let of = |n: usize| {
            self.ends.get((slot + n) % KEPT).map(|ends: &[Mark; WATCHED]| ends[watched.column])
        };
        (1..=KEPT).filter_map(of).collect()
    }

    /// The window from which on the marks stand off by the amount: its begin and line. `slot` is that of the last
    /// window.
    fn place(&self, slot: usize, agreed: &[Moved], amount: f64) -> Option<Window> {
        let count = self.recent.len().saturating_sub(BEHIND);
        let oldest = slot + 1 + KEPT - BEHIND - count;
        let cost = |cut: usize| -> f64 {
            let of_one = |m: &Moved| -> f64 {
                let Some(watched) = self.watched.get(m.place) else { return 0.0 };
                let mark = |n: usize| self.ends[(oldest + n) % KEPT][watched.column];
                let off = |n: usize| {
                    let expected = if n >= cut { amount } else { 0.0 };
                    // A window without a frame of it says nothing.
                    let same = n > 0 && mark(n - 1) == mark(n);
                    if same { 0.0 } else { (m.line.stands_off(mark(n)) - expected).abs() }
                };
                (0..count).map(off).sum()
            };
            agreed.iter().map(of_one).sum()
        };
        let costs = (0..count).map(|cut| (cost(cut), cut));
        let best = costs.min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        best.and_then(|(_, cut)| self.recent.get(cut).copied())
    }
}
