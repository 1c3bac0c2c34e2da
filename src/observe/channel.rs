//! One bus of one log while it streams by: everything that must be seen frame by frame.
//!
//! In: frames in file order. Kept: a tracker per identifier, gaps of the whole bus, runs of error
//! frames, windows with unusual load. Refused: keeping frames.

use std::collections::BTreeMap;

use super::clock::Clock;
use super::diagnostics::Diagnostics;
use super::gaps::{Gap, GapList};
use super::locks::Moments;
use super::runs::{ErrorRun, Surge, SurgeWatch};
use super::signals::Signals;
use super::step_watch::StepWatch;
use super::tracker::Tracker;
use crate::protocol::error_frames::{self, ErrorMeaning};
use crate::protocol::frame_timing;
use crate::read::frames::{Frame, FrameKind};
use crate::vocabulary::{Identifier, Instant};

/// Identifiers one bus may have; further ones are counted, not tracked.
const MOST_IDENTIFIERS: usize = 4096;
/// Slots of the table of 29-bit identifiers: a power of two, four times the identifiers.
const SLOTS: usize = 16 * 1024;
/// Error frames nearer than this to each other are one run (nanoseconds).
const RUN_JOINS: i64 = 1_000_000_000;
const MOST_RUNS: usize = 4096;
const NONE: u16 = u16::MAX;
/// A failed frame that is sent again is on the wire within this (nanoseconds): its own length at 125 kbit/s.
const RETRY: i64 = 1_500_000;

/// Frames of identifiers past the bound.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Untracked {
    pub frames: u64,
    pub bits: u64,
    pub begin: Instant,
    pub end: Instant,
    pub line: u64,
}

/// The streaming state of one bus.
#[derive(Debug)]
pub(super) struct Channel {
    pub interface: String,
    pub trackers: Vec<Tracker>,
    pub clock: Clock,
    pub begin: Instant,
    pub begin_line: u64,
    pub now: Instant,
    pub now_line: u64,
    pub data_frames: u64,
    pub error_frames: u64,
    pub bus_gaps: GapList,
    pub error_runs: Vec<ErrorRun>,
    /// Where the logger says that it lost frames: last frame before, first behind, line.
    pub logger_blind: Vec<(Instant, Instant, u64)>,
    /// Marks of that among what was pushed; they are no frames.
    pub lost_marks: u64,
    pub surges: Vec<Surge>,
    pub untracked: Untracked,
    pub signals: Signals,
    pub diagnostics: Diagnostics,
    pub steps: StepWatch,
    pub moments: Moments,
    /// Frames with the error state indicator: how many, first, last, line of the first.
    pub passives: BTreeMap<Identifier, (u64, Instant, Instant, u64)>,
    /// Error frames since the last frame, each right after the one before, and when the last stood.
    pub failing: (u32, Instant),
    pub watch: SurgeWatch,
    base: Box<[u16; 2048]>,
    extended: Box<[(u32, u16)]>,
    shortest: i64,
}

impl Channel {
    pub(super) fn new(interface: String, frame: &Frame) -> Channel {
        let clock = Clock::default();
        let begin = clock.time(frame.time);
        Channel {
            interface,
            trackers: Vec::new(),
            clock,
            begin,
            begin_line: frame.line,
            now: begin,
            now_line: frame.line,
            data_frames: 0,
            error_frames: 0,
            bus_gaps: GapList::new(1_000_000_000),
            error_runs: Vec::new(),
            logger_blind: Vec::new(),
            lost_marks: 0,
            surges: Vec::new(),
            untracked: Untracked::default(),
            signals: Signals::default(),
            diagnostics: Diagnostics::default(),
            steps: StepWatch::default(),
            moments: Moments::default(),
            passives: BTreeMap::new(),
            failing: (0, begin),
            watch: SurgeWatch::new(begin),
            base: Box::new([NONE; 2048]),
            extended: vec![(u32::MAX, NONE); SLOTS].into_boxed_slice(),
            shortest: i64::MAX,
        }
    }

    /// Takes one frame.
    #[inline]
    pub(super) fn frame(&mut self, frame: &Frame) {
        let mut time = self.clock.time(frame.time);
        if time < self.now {
            time = self.clock.went_back(self.now, time, frame.line);
        }
        if time.0 - self.now.0 > self.bus_gaps.limit {
            self.bus_gap(time);
        }
        if time >= self.watch.window_end {
            self.window(time);
        }
        let before = self.now;
        self.now = time;
        self.now_line = frame.line;
        if frame.kind != FrameKind::Data {
            self.other(frame, time, before);
            if frame.kind != FrameKind::PassiveData {
                return;
            }
        }
        self.watch.count += 1;
        if self.watch.count == 1 {
            self.watch.line = frame.line;
        }
        self.data_frames += 1;
        let place = self.place(frame.id);
        if self.failing.0 > 0 {
            self.passed(place, time);
        }
        match self.trackers.get_mut(usize::from(place)) {
            Some(tracker) => {
                if tracker.bears {
                    self.signals.frame(frame, time);
                }
                if tracker.talks {
                    let (seen, signals) = (tracker.count, &mut self.signals);
                    tracker.talks = self.diagnostics.frame(frame, time, seen, signals);
                }
                if tracker.frame(frame, 0, time) {
                    self.period_known(place);
                }
            }
            None => self.newcomer(frame, time),
        }
    }

    /// A window of the load ends before `time`.
    #[cold]
    #[inline(never)]
    fn window(&mut self, time: Instant) {
        self.steps.window(&mut self.trackers, self.watch.begin(), self.watch.line);
        self.watch.roll(time, &mut self.surges);
    }

    #[inline]
    fn slot(&self, id: u32) -> usize {
        let mut slot = (id.wrapping_mul(0x9E37_79B1) >> 18) as usize & (SLOTS - 1);
        while self.extended[slot].0 != id && self.extended[slot].1 != NONE {
            slot = (slot + 1) & (SLOTS - 1);
        }
        slot
    }

    #[inline]
    pub(super) fn place(&self, id: Identifier) -> u16 {
        if id.is_extended() {
            self.extended[self.slot(id.0)].1
        } else {
            self.base[id.0 as usize & 0x7FF]
        }
    }

    /// Bits of all data frames without stuffing.
    pub(super) fn bits(&self) -> u64 {
        self.trackers.iter().map(Tracker::bits).sum::<u64>() + self.untracked.bits
    }

    #[cold]
    fn newcomer(&mut self, frame: &Frame, time: Instant) {
        let place = self.trackers.len();
        if place >= MOST_IDENTIFIERS {
            if self.untracked.frames == 0 {
                self.untracked.begin = time;
                self.untracked.line = frame.line;
            }
            self.untracked.frames += 1;
            let extended = frame.id.is_extended();
            let bits = frame_timing::bits_without_stuffing(extended, frame.length);
            self.untracked.bits += u64::from(bits);
            self.untracked.end = time;
            return;
        }
        let Ok(number) = u16::try_from(place) else { return };
        if frame.id.is_extended() {
            let slot = self.slot(frame.id.0);
            self.extended[slot] = (frame.id.0, number);
        } else {
            self.base[frame.id.0 as usize & 0x7FF] = number;
        }
        let mut tracker = Tracker::new(frame, time);
        tracker.place = place;
        if tracker.bears {
            self.signals.frame(frame, time);
        }
        tracker.talks = self.diagnostics.frame(frame, time, 0, &mut self.signals);
        self.trackers.push(tracker);
    }

    /// The bus as a whole is worth watching for gaps of four times its shortest period.
    #[cold]
    pub(super) fn period_known(&mut self, place: u16) {
        if let Some(median) = self.trackers[usize::from(place)].sample_median() {
            self.shortest = self.shortest.min(median);
            let limit = self.shortest.saturating_mul(4).clamp(50_000_000, 1_000_000_000);
            if self.bus_gaps.dropped == 0 {
                self.bus_gaps.limit = self.bus_gaps.limit.min(limit);
            }
        }
    }

    #[cold]
    fn bus_gap(&mut self, time: Instant) {
        self.bus_gaps.push(Gap {
            from: self.now,
            to: time,
            line: self.now_line,
            seen: self.data_frames,
            before: 0,
            after: 0,
            late: 0,
        });
    }

    /// The sender of this frame is error passive.
    fn passive(&mut self, frame: &Frame, time: Instant) {
        if self.passives.len() >= MOST_IDENTIFIERS && !self.passives.contains_key(&frame.id) {
            return;
        }
        let seen = self.passives.entry(frame.id).or_insert((0, time, time, frame.line));
        seen.0 += 1;
        seen.2 = time;
    }

    /// Remote and error frames, frames of error passive senders, and marks of loss.
    #[cold]
    fn other(&mut self, frame: &Frame, time: Instant, before: Instant) {
        if frame.kind == FrameKind::PassiveData {
            self.passive(frame, time);
            return;
        }
        if frame.kind == FrameKind::Remote {
            self.data_frames += 1;
            return;
        }
        if frame.kind == FrameKind::Lost {
            self.lost_marks += 1;
            return self.blind(before, time, frame.line);
        }
        match error_frames::meaning(frame.id.0, frame.data) {
            ErrorMeaning::State => {}
            ErrorMeaning::LoggerBlind => self.blind(before, time, frame.line),
            ErrorMeaning::Bus => self.error_frame(frame, time),
        }
    }

    /// A frame passes after failed ones.
    #[cold]
    fn passed(&mut self, place: u16, time: Instant) {
        let (failed, last) = std::mem::replace(&mut self.failing, (0, time));
        if place != NONE
            && time.0 - last.0 <= RETRY
            && let Some(run) = self.error_runs.last_mut()
        {
            run.passed(place, failed);
        }
    }

    /// The logger says that it lost frames between `from` and `to`.
    fn blind(&mut self, from: Instant, to: Instant, line: u64) {
        if self.logger_blind.len() < MOST_RUNS {
            self.logger_blind.push((from, to, line));
        }
    }

    fn error_frame(&mut self, frame: &Frame, time: Instant) {
        self.error_frames += 1;
        let (failed, last) = self.failing;
        let again = failed > 0 && time.0 - last.0 <= RETRY;
        self.failing = (if again { failed.saturating_add(1) } else { 1 }, time);
        self.moments.error(time, &self.trackers);
        let full = self.error_runs.len() >= MOST_RUNS;
        match self.error_runs.last_mut() {
            Some(run) if full || time.0 - run.end.0 <= RUN_JOINS => run.add(frame, time),
            _ => self.error_runs.push(ErrorRun::new(frame, time)),
        }
    }

    /// Closes what is still open when the log ends.
    pub(super) fn close(&mut self) {
        self.watch.roll(Instant(i64::MAX), &mut self.surges);
        self.watch.settle(&mut self.surges);
        let counts: BTreeMap<Identifier, u64> =
            self.trackers.iter().map(|t| (t.id, t.count)).collect();
        let all = |id| counts.get(&id).copied().unwrap_or(u64::MAX);
        self.diagnostics.close(self.now, all);
        for tracker in &mut self.trackers {
            tracker.close_burst();
            if tracker.samples.len() < super::tracker::SAMPLES {
                tracker.learn();
            }
        }
        self.repair();
        self.trackers.sort_by_key(|t| t.id);
    }

    /// Takes steps of the clock out of everything kept.
    fn repair(&mut self) {
        self.steps.settle(&self.bus_gaps.gaps, &self.clock.backs);
        let repair = self.steps.repair();
        if repair.changes_nothing() {
            return;
        }
        for tracker in &mut self.trackers {
            tracker.repair(&repair);
        }
        let mut times = vec![&mut self.begin, &mut self.now];
        times.extend([&mut self.untracked.begin, &mut self.untracked.end]);
        times.extend(self.bus_gaps.gaps.iter_mut().flat_map(|g| [&mut g.from, &mut g.to]));
        times.extend(self.error_runs.iter_mut().flat_map(|r| [&mut r.begin, &mut r.end]));
        times.extend(self.passives.values_mut().flat_map(|p| [&mut p.1, &mut p.2]));
        times.extend(self.moments.kept.iter_mut().map(|m| &mut m.time));
        times.extend(self.logger_blind.iter_mut().flat_map(|(a, b, _)| [a, b]));
        times.extend(self.surges.iter_mut().flat_map(|s| [&mut s.begin, &mut s.end]));
        times.extend(self.diagnostics.times());
        times.extend(self.signals.kept.iter_mut().map(|s| &mut s.time));
        for time in times {
            *time = repair.time(*time);
        }
        let limit = self.bus_gaps.limit;
        self.bus_gaps.gaps.retain(|g| g.nanos() > limit);
    }
}
