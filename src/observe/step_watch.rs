//! Looks for steps of the log's clock while it streams by, told from gaps by the beats of many identifiers.
//!
//! A gap, whoever made it, leaves every identifier on its own beat: each resumes at a whole number of
//! *its* periods. A step of the clock moves the beats of all identifiers by one amount, for good. So, once
//! a window, a few steady identifiers are asked whether their beats moved together. If so, the beats of up to
//! 64 are laid out two seconds later: a line through what each did before (robust, over its last 24
//! marks), and how far it stands off that line since. One amount that nearly all agree on, and that is not
//! a whole number of everybody's periods, is a step. Only identifiers whose own scatter leaves the amount
//! clearly apart from nothing have a say, so that agreement by chance is below 1e-4 for each of them.
//! Steps under 2 ms are not looked for; they drown in the traffic's jitter and change no finding.

use std::collections::{BTreeSet, VecDeque};

use super::steps::Step;
use super::tracker::Tracker;
use crate::numerics::centre::median;
use crate::protocol::j1939;
use crate::vocabulary::Instant;

/// Smallest step (nanoseconds).
const SMALLEST: f64 = 2_000_000.0;
/// A movement of the few that makes all be asked: at least this, and so many of their jitters.
const MOVED: f64 = 1_400_000.0;
const MOVED_JITTERS: f64 = 3.0;
/// Windows between two marks of the watched identifiers, and between two points for the fit of clocks.
const MARK: u64 = 5;
const LOOK: u64 = 10;
/// Windows from a movement to the decision.
const WAIT: u64 = 21;
/// Windows remembered to place a step.
const PLACES: usize = 8;
/// How many steady identifiers are asked each window, and fewest that can tell.
const ASKED: usize = 8;
const FEWEST: usize = 3;
/// How many identifiers are watched, and marks kept of each.
const WATCHED: usize = 64;
const MARKS: usize = 24;
/// Fewest marks that make a line.
const FEWEST_MARKS: usize = 4;
/// Share of the identifiers that must have moved by the common amount.
const AGREE: f64 = 0.8;
/// Identifiers slower than this cannot tell in time (nanoseconds).
const SLOWEST: f64 = 1_100_000_000.0;
/// Those that are asked each window are faster than this (nanoseconds).
const QUICK: f64 = 120_000_000.0;
/// From here on (nanoseconds) periods must differ by four times at least: one node's restart looks alike.
const LONG: f64 = 500_000_000.0;
const MOST_STEPS: usize = 1024;
/// How far apart two levels may stand and agree: this (nanoseconds) and so many standard errors.
const SLACK: f64 = 500_000.0;
const ERRORS: f64 = 4.0;

/// Last frame of an identifier (nanoseconds of the stream) and how many there were.
type Mark = (i64, u64);

/// An identifier whose beats are laid out when there may have been a step.
#[derive(Debug)]
struct Watched {
    place: usize,
    source: Option<u8>,
    marks: VecDeque<Mark>,
}

/// One of the few that are asked each window: its last frames at the ends of the last two windows.
#[derive(Debug, Clone, Copy)]
struct Beat {
    place: usize,
    period: f64,
    marks: [Mark; 2],
}

/// A window: begin, line of its first frame, how far the few moved in it (nanoseconds).
type Window = (Instant, u64, f64);

#[derive(Debug)]
struct Pending {
    due: u64,
    /// The movement is in the window that began here, or in the one before.
    window: Instant,
    before: Instant,
    moved: f64,
    /// The windows about it.
    about: Vec<Window>,
}

/// Looks for steps while a log streams by.
#[derive(Debug, Default)]
pub(super) struct StepWatch {
    asked: Vec<Beat>,
    jitter: f64,
    watched: Vec<Watched>,
    pending: Option<Pending>,
    recent: VecDeque<Window>,
    windows: u64,
    /// Steps found, by time.
    pub found: Vec<Step>,
}

/// Period (mean over regular gaps of the first frames) and jitter of an identifier, nanoseconds.
fn beat(tracker: &Tracker) -> Option<(f64, f64)> {
    let median = tracker.sample_median().filter(|m| *m > 0)?;
    // All regular gaps, however late or early: only then do delays cancel to the last one.
    let gaps: Vec<i64> =
        tracker.samples.windows(2).map(|w| w[1].time.0.saturating_sub(w[0].time.0)).collect();
    let regular: Vec<i64> =
        gaps.iter().copied().filter(|g| (g - median).abs().saturating_mul(4) <= median).collect();
    if regular.len() < 16 || regular.len() * 10 < gaps.len() * 8 {
        return None;
    }
    let mut off: Vec<i64> = gaps.iter().map(|g| (g - median).abs()).collect();
    let middle = off.len() / 2;
    let jitter = 1.4826 * *off.select_nth_unstable(middle).1 as f64;
    let period = regular.iter().sum::<i64>() as f64 / regular.len() as f64;
    (period <= SLOWEST && jitter <= 0.05 * period).then_some((period, jitter))
}

/// How far an identifier stands off its line, all in nanoseconds.
#[derive(Debug, Clone, Copy)]
struct Moved {
    period: f64,
    source: Option<u8>,
    by: f64,
    slack: f64,
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

    /// How far the marks from `after` on stand off the line through those before `before`.
    fn moved(&self, before: Instant, after: Instant) -> Option<Moved> {
        let old: Vec<Mark> = self.marks.iter().copied().filter(|m| m.0 < before.0).collect();
        let (first, last) = (*old.first()?, *old.last()?);
        if old.len() < FEWEST_MARKS {
            return None;
        }
        let slopes: Vec<f64> = old
            .windows(2)
            .map(|w| (w[1].0 - w[0].0) as f64 / (w[1].1 - w[0].1).max(1) as f64)
            .collect();
        let rough = median(&slopes).filter(|p| *p > 0.0)?;
        // Beats by cumulative rounding: a lost frame is a beat all the same.
        let mut beats = vec![0.0];
        let mut at = 0.0;
        for pair in old.windows(2) {
            at += ((pair[1].0 - pair[0].0) as f64 / rough).round();
            beats.push(at);
        }
        let off = |period: f64| -> Vec<f64> {
            old.iter().zip(&beats).map(|(m, n)| (m.0 - first.0) as f64 - n * period).collect()
        };
        // The line through the middles of the first and the last third.
        let third = (old.len() / 3).max(1);
        let rest = old.len() - third;
        let residuals = off(rough);
        let rise = median(&residuals[rest..])? - median(&residuals[..third])?;
        let run = median(&beats[rest..])? - median(&beats[..third])?;
        if run <= 0.0 {
            return None;
        }
        let period = rough + rise / run;
        let residuals = off(period);
        let level = median(&residuals[old.len() / 2..])?;
        let apart: Vec<f64> = residuals.iter().map(|r| (r - level).abs()).collect();
        let scatter = 1.4826 * median(&apart)?;
        let since: Vec<f64> = self
            .marks
            .iter()
            .filter(|m| m.0 >= after.0)
            .map(|m| {
                let beats = at + m.1.saturating_sub(last.1) as f64;
                (m.0 - first.0) as f64 - beats * period
            })
            .collect();
        let by = median(&since)? - level;
        // Standard errors of two medians, and of the line carried on by about half its length.
        let parts = 1.0 / since.len() as f64 + 3.0 / old.len() as f64;
        let error = scatter * (std::f64::consts::FRAC_PI_2 * parts).sqrt();
        Some(Moved { period, source: self.source, by, slack: SLACK + ERRORS * error })
    }
}

impl StepWatch {
    /// Ends a window that began at `begin` with the frame of `first_line`.
    pub(super) fn window(&mut self, trackers: &mut [Tracker], begin: Instant, first_line: u64) {
        self.windows += 1;
        let (one, two) = self.moved(trackers);
        let before = self.recent.back().map_or(begin, |w| w.0);
        if self.recent.len() >= PLACES {
            self.recent.pop_front();
        }
        self.recent.push_back((begin, first_line, one));
        let least = MOVED.max(MOVED_JITTERS * self.jitter);
        // What opened the question may have been a crowded moment: the step is where most moved.
        if two.abs() >= self.pending.as_ref().map_or(least, |p| p.moved * 1.5) {
            let due = self.windows + WAIT;
            let (moved, about) = (two.abs(), Vec::new());
            self.pending = Some(Pending { due, window: begin, before, moved, about });
        }
        if let Some(pending) = &mut self.pending
            && pending.due - self.windows == WAIT - 2
        {
            pending.about = self.recent.iter().copied().collect();
        }
        if self.windows.is_multiple_of(MARK) {
            for watched in &mut self.watched {
                if let Some(tracker) = trackers.get(watched.place) {
                    watched.mark(tracker);
                }
            }
        }
        if self.pending.as_ref().is_some_and(|p| self.windows >= p.due) {
            self.decide();
        }
        if self.windows.is_multiple_of(LOOK) {
            self.look(trackers);
        }
    }

    /// How far the middle of the steady few moved in this window, and in this one and the one before.
    fn moved(&mut self, trackers: &[Tracker]) -> (f64, f64) {
        let (mut one, mut two) = ([0.0f64; ASKED], [0.0f64; ASKED]);
        let mut count = 0;
        for beat in &mut self.asked {
            let Some(tracker) = trackers.get(beat.place) else { continue };
            let since = |mark: Mark| {
                (tracker.last.0 - mark.0) as f64 - (tracker.count - mark.1) as f64 * beat.period
            };
            let slot = (one.get_mut(count), two.get_mut(count));
            if let (Some(one), Some(two)) = slot
                && tracker.count > beat.marks[0].1
            {
                (*one, *two) = (since(beat.marks[1]), since(beat.marks[0]));
                count += 1;
            }
            beat.marks = [beat.marks[1], (tracker.last.0, tracker.count)];
        }
        if count < FEWEST {
            return (0.0, 0.0);
        }
        let (one, two) = (&mut one[..count], &mut two[..count]);
        one.sort_unstable_by(f64::total_cmp);
        two.sort_unstable_by(f64::total_cmp);
        // Of one window the mean of the middle half: it tells how many had moved already.
        let inner = &one[count / 4..count - count / 4];
        (inner.iter().sum::<f64>() / inner.len() as f64, two[count / 2])
    }

    /// Notes points for the fit of clocks, and chooses anew whom to watch.
    #[cold]
    fn look(&mut self, trackers: &mut [Tracker]) {
        let looks = self.windows / LOOK;
        let number = u32::try_from(looks).unwrap_or(u32::MAX);
        for tracker in trackers.iter_mut() {
            tracker.points.push(number, tracker.last);
        }
        if self.pending.is_none() && (looks.is_power_of_two() || looks.is_multiple_of(32)) {
            self.choose(trackers);
        }
    }

    /// The steadiest identifiers, by turns from every source address.
    fn choose(&mut self, trackers: &[Tracker]) {
        let mut steady: Vec<(f64, f64, usize)> = trackers
            .iter()
            .enumerate()
            .filter_map(|(place, t)| beat(t).map(|(period, jitter)| (jitter, period, place)))
            .collect();
        steady.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.2.cmp(&b.2)));
        let quick = steady.iter().filter(|s| s.1 <= QUICK).take(ASKED);
        self.asked = quick
            .map(|(_, period, place)| {
                let mark = (trackers[*place].last.0, trackers[*place].count);
                Beat { place: *place, period: *period, marks: [mark; 2] }
            })
            .collect();
        let jitters: Vec<f64> =
            steady.iter().filter(|s| s.1 <= QUICK).take(ASKED).map(|s| s.0).collect();
        self.jitter = median(&jitters).unwrap_or(0.0);
        let source = |place: usize| j1939::header(trackers[place].id).map(|h| h.source);
        let mut turns = std::collections::BTreeMap::new();
        let mut order: Vec<(usize, usize)> = Vec::with_capacity(steady.len());
        for (number, (_, _, place)) in steady.iter().enumerate() {
            let turn: &mut usize = turns.entry(source(*place)).or_default();
            order.push((*turn, number));
            *turn += 1;
        }
        order.sort_unstable();
        let mut kept = std::mem::take(&mut self.watched);
        for (_, number) in order.into_iter().take(WATCHED) {
            let place = steady[number].2;
            let known = kept.iter().position(|w| w.place == place);
            self.watched.push(known.map_or_else(
                || Watched { place, source: source(place), marks: VecDeque::with_capacity(MARKS) },
                |at| kept.swap_remove(at),
            ));
        }
    }

    #[cold]
    fn decide(&mut self) {
        let Some(pending) = self.pending.take() else { return };
        let after = Instant(pending.window.0.saturating_add(200_000_000));
        let all: Vec<Moved> =
            self.watched.iter().filter_map(|w| w.moved(pending.before, after)).collect();
        let amounts: Vec<f64> = all.iter().map(|m| m.by).collect();
        let Some(step) = median(&amounts) else { return };
        let telling: Vec<Moved> = all.into_iter().filter(|m| 2.0 * m.slack <= step.abs()).collect();
        let agreed: Vec<&Moved> =
            telling.iter().filter(|m| (m.by - step).abs() <= m.slack).collect();
        let whole = |m: &&&Moved| {
            let beats = (step / m.period).round();
            beats.abs() > 0.5 && (step - beats * m.period).abs() <= m.slack
        };
        let wholes = agreed.iter().filter(whole).count();
        let sources: BTreeSet<Option<u8>> = agreed.iter().map(|m| m.source).collect();
        let one_source = sources.len() == 1 && !sources.contains(&None);
        let period = |pick: fn(f64, f64) -> f64| agreed.iter().map(|m| m.period).reduce(pick);
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
        let (at, line) = pending.place(amount);
        let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        let agreed = (count(agreed.len()), count(telling.len()));
        self.found.push(Step { at, by, back: 0, line, agreed });
        // What was before is carried over to the clock as it is now.
        for mark in self.watched.iter_mut().flat_map(|w| &mut w.marks) {
            if mark.0 < at.0 {
                mark.0 = mark.0.saturating_add(by);
            }
        }
    }
}

impl Pending {
    /// The window in which the first fifth of the few had moved: its begin and line.
    fn place(&self, amount: f64) -> (Instant, u64) {
        let mut sum = 0.0;
        for (begin, line, moved) in self.about.iter().filter(|w| w.0 >= self.before) {
            sum += moved;
            if sum / amount >= 0.2 {
                return (*begin, *line);
            }
        }
        let last = self.about.iter().find(|w| w.0 == self.window);
        last.map_or((self.window, 0), |w| (w.0, w.1))
    }
}
