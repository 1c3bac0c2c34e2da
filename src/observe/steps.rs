//! Steps of the log's clock, told from gaps by the beats of many identifiers.
//!
//! A gap, whoever made it, leaves every identifier on its own beat: each resumes at a whole number of
//! *its* periods. A step of the clock moves the beats of all identifiers by one amount. So, once a window, a
//! few steady identifiers are asked whether their beats moved together; if so, all are compared with what they
//! were up to a second before, and a second later it is decided: one common amount that is not a whole
//! number of everybody's periods is a step. What is a whole number of all periods is left alone: nothing tells.
//! Steps under 2 ms are not looked for; they drown in the traffic's jitter and change no finding.

use super::gaps::Gap;
use super::tracker::Tracker;
use crate::protocol::j1939;
use crate::vocabulary::Instant;

/// Smallest step (nanoseconds).
const SMALLEST: f64 = 2_000_000.0;
/// A movement of the few that makes all be asked.
const MOVED: f64 = 1_400_000.0;
/// Windows between two looks at all identifiers.
const LOOK: u64 = 10;
/// Windows from a movement to the decision.
const WAIT: u64 = 13;
/// How many steady identifiers are asked each window, and fewest that can tell.
const ASKED: usize = 8;
const FEWEST: usize = 3;
/// Share of the identifiers that must have moved by the common amount.
const AGREE: f64 = 0.8;
/// Identifiers slower than this cannot tell in time (nanoseconds).
const SLOWEST: f64 = 1_100_000_000.0;
/// From here on (nanoseconds) periods must differ by four times at least: one node's restart looks alike.
const LONG: f64 = 500_000_000.0;
const MOST_STEPS: usize = 1024;
/// Stamps before this are no absolute time: 1990-01-01 (nanoseconds).
const ABSOLUTE: i64 = 631_152_000_000_000_000;

/// One step of the clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Step {
    /// Stamps from here on are off, in the stream's own time.
    pub at: Instant,
    /// By how much the stream's time jumped too far (nanoseconds); to be taken out.
    pub by: i64,
    /// By how much the log's clock was set back here beyond that (nanoseconds), already taken out.
    pub back: i64,
    /// Line of the first frame after it, or of the first of the window in which it lies.
    pub line: u64,
    /// Identifiers that moved by this amount, of how many; 0 of 0 when only the stamps tell.
    pub agreed: (u32, u32),
}

/// What an identifier was at a look: last frame and count.
type Mark = (i64, u64);

#[derive(Debug, Clone, Copy)]
struct Beat {
    place: usize,
    period: f64,
    mark: Mark,
}

#[derive(Debug)]
struct Pending {
    due: u64,
    at: Instant,
    line: u64,
    /// How far the steady few moved there (nanoseconds).
    moved: f64,
}

/// Looks for steps while a log streams by.
#[derive(Debug, Default)]
pub(super) struct StepWatch {
    asked: Vec<Beat>,
    marks: Vec<Mark>,
    pending: Option<Pending>,
    windows: u64,
    /// Steps found, by time.
    pub found: Vec<Step>,
}

/// Period (mean over regular gaps of the first frames, `until` some time) and jitter of an identifier, nanoseconds.
fn beat(tracker: &Tracker, until: Instant) -> Option<(f64, f64)> {
    let median = tracker.sample_median().filter(|m| *m > 0)?;
    // All regular gaps, however late or early: only then do delays cancel to the last one.
    let gaps: Vec<i64> = tracker
        .samples
        .windows(2)
        .take_while(|w| w[1].time <= until)
        .map(|w| w[1].time.0.saturating_sub(w[0].time.0))
        .collect();
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

impl StepWatch {
    /// Ends a window that began at `begin` with the frame of `first_line`.
    pub(super) fn window(&mut self, trackers: &mut [Tracker], begin: Instant, first_line: u64) {
        self.windows += 1;
        let moved = self.moved(trackers);
        match &mut self.pending {
            None if moved >= MOVED => {
                let due = self.windows + WAIT;
                self.pending = Some(Pending { due, at: begin, line: first_line, moved });
            }
            // What opened the question may have been a crowded moment: the step is where most moved.
            Some(pending) if moved > pending.moved => {
                (pending.at, pending.line, pending.moved) = (begin, first_line, moved);
            }
            _ => {}
        }
        if self.pending.as_ref().is_some_and(|p| self.windows >= p.due) {
            self.decide(trackers);
            self.look(trackers);
        } else if self.pending.is_none() && self.windows.is_multiple_of(LOOK) {
            self.look(trackers);
        }
    }

    /// How far the middle one of the steady few moved in this window, nanoseconds.
    fn moved(&mut self, trackers: &[Tracker]) -> f64 {
        let mut moves = [0.0f64; ASKED];
        let mut count = 0;
        for beat in &mut self.asked {
            let Some(tracker) = trackers.get(beat.place) else { continue };
            let frames = tracker.count - beat.mark.1;
            if frames > 0 {
                moves[count] = (tracker.last.0 - beat.mark.0) as f64 - frames as f64 * beat.period;
                count += 1;
                beat.mark = (tracker.last.0, tracker.count);
            }
        }
        if count < FEWEST {
            return 0.0;
        }
        let moves = &mut moves[..count];
        moves.sort_unstable_by(f64::total_cmp);
        moves[count / 2].abs()
    }

    /// Marks all identifiers, and chooses anew whom to ask.
    #[cold]
    fn look(&mut self, trackers: &mut [Tracker]) {
        self.marks.clear();
        self.marks.extend(trackers.iter().map(|t| (t.last.0, t.count)));
        let number = u32::try_from(self.windows / LOOK).unwrap_or(u32::MAX);
        for tracker in trackers.iter_mut() {
            tracker.points.push(number, tracker.last);
        }
        let looks = self.windows / LOOK;
        if looks.is_power_of_two() || looks.is_multiple_of(32) {
            self.choose(trackers);
        }
    }

    fn choose(&mut self, trackers: &[Tracker]) {
        let mut steady: Vec<(f64, f64, usize)> = trackers
            .iter()
            .enumerate()
            .filter_map(|(place, t)| {
                beat(t, Instant(i64::MAX)).map(|(period, jitter)| (jitter, period, place))
            })
            .filter(|(_, period, _)| *period <= 1.2e8)
            .collect();
        steady.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.2.cmp(&b.2)));
        steady.truncate(ASKED);
        self.asked = steady
            .into_iter()
            .map(|(_, period, place)| {
                let mark = (trackers[place].last.0, trackers[place].count);
                Beat { place, period, mark }
            })
            .collect();
    }

    #[cold]
    fn decide(&mut self, trackers: &[Tracker]) {
        let Some(pending) = self.pending.take() else { return };
        // Period, jitter, source, movement.
        let mut telling: Vec<(f64, f64, Option<u8>, f64)> = Vec::new();
        for (tracker, mark) in trackers.iter().zip(&self.marks) {
            let frames = tracker.count - mark.1;
            let Some((period, jitter)) = beat(tracker, Instant(mark.0)).filter(|_| frames > 0)
            else {
                continue;
            };
            let source = j1939::header(tracker.id).map(|h| h.source);
            let moved = (tracker.last.0 - mark.0) as f64 - frames as f64 * period;
            telling.push((period, jitter, source, moved));
        }
        let moves: Vec<f64> = telling.iter().map(|t| t.3).collect();
        let Some(step) = crate::numerics::centre::median(&moves) else { return };
        let slack = |period: f64, jitter: f64| 700_000.0 + 4.0 * jitter + 1e-4 * period;
        let agreed: Vec<_> =
            telling.iter().filter(|t| (t.3 - step).abs() <= slack(t.0, t.1)).collect();
        let whole = |t: &&&(f64, f64, Option<u8>, f64)| {
            let beats = (step / t.0).round();
            beats.abs() > 0.5 && (step - beats * t.0).abs() <= slack(t.0, t.1)
        };
        let wholes = agreed.iter().filter(whole).count();
        let sources: std::collections::BTreeSet<Option<u8>> = agreed.iter().map(|t| t.2).collect();
        let one_source = sources.len() == 1 && !sources.contains(&None);
        let period = |pick: fn(f64, f64) -> f64| agreed.iter().map(|t| t.0).reduce(pick);
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
        // The mean of those that agree: a single jitter does not count.
        let mean = agreed.iter().map(|t| t.3).sum::<f64>() / agreed.len() as f64;
        #[expect(clippy::cast_possible_truncation, reason = "saturating is right here")]
        let by = mean.round() as i64;
        let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        self.found.push(Step {
            at: pending.at,
            by,
            back: 0,
            line: pending.line,
            agreed: (count(agreed.len()), count(telling.len())),
        });
    }

    /// Puts each step where the stamps show it: at a gap of the whole bus that is long enough, or where
    /// the clock went back. `backs` are the places at which it did: time, line, by how much.
    pub(super) fn settle(&mut self, gaps: &[Gap], backs: &[(Instant, u64, i64)]) {
        const NEAR: i64 = 250_000_000;
        for step in &mut self.found {
            let near = |time: Instant| (time.0 - step.at.0).abs() <= NEAR;
            let gap = gaps
                .iter()
                .filter(|g| step.by > 0 && (near(g.from) || near(g.to)) && g.nanos() >= step.by)
                .min_by_key(|g| (g.nanos() - step.by, g.from));
            if let Some(gap) = gap {
                (step.at, step.line) = (Instant(gap.from.0.saturating_add(1)), gap.line + 1);
            }
        }
        for (time, line, back) in backs {
            let same = self.found.iter_mut().find(|s| {
                s.back == 0 && (time.0 - s.at.0).abs() <= NEAR && s.by.abs() < *back + NEAR
            });
            match same {
                Some(step) => (step.at, step.line, step.back) = (*time, *line, *back),
                None => self.found.push(Step {
                    at: *time,
                    by: 0,
                    back: *back,
                    line: *line,
                    agreed: (0, 0),
                }),
            }
        }
        self.found.sort_by_key(|s| (s.at, s.line));
    }

    /// The way from the stream's time to time without steps.
    pub(super) fn repair(&self) -> Repair {
        let mut steps: Vec<(Instant, i64)> = Vec::new();
        let mut sum = 0i64;
        for step in self.found.iter().filter(|s| s.by != 0) {
            sum = sum.saturating_add(step.by);
            steps.push((step.at, sum));
        }
        // A clock that was only set while the log ran is right afterwards, not before.
        let set = self.found.iter().find(|s| {
            s.at.0.saturating_sub(s.by) < ABSOLUTE && s.at.0.saturating_add(s.by) >= ABSOLUTE
        });
        let base = set.and_then(|s| steps.iter().find(|(at, _)| *at == s.at)).map_or(0, |s| s.1);
        Repair { steps, base }
    }
}

/// Takes steps out of times.
#[derive(Debug, Clone, Default)]
pub(super) struct Repair {
    steps: Vec<(Instant, i64)>,
    base: i64,
}

impl Repair {
    pub(super) fn changes_nothing(&self) -> bool {
        self.steps.is_empty()
    }

    /// A time of the stream without the steps before it; never before the step itself.
    pub(super) fn time(&self, time: Instant) -> Instant {
        let after = self.steps.partition_point(|(at, _)| *at <= time);
        let Some(place) = after.checked_sub(1) else {
            return Instant(time.0.saturating_add(self.base));
        };
        let (at, sum) = self.steps[place];
        let before = place.checked_sub(1).map_or(0, |p| self.steps[p].1);
        let least = at.0.saturating_sub(before);
        Instant(time.0.saturating_sub(sum).max(least.saturating_sub(1)).saturating_add(self.base))
    }
}

/// Times of last frames at looks a second or more apart, for the fit of clocks; at most 256 of them.
#[derive(Debug, Clone, Default)]
pub(super) struct Points {
    /// Number of the look, time of the last frame before it.
    pub kept: Vec<(u32, Instant)>,
    /// Only looks that are a multiple of this are kept (a power of two; 0 stands for 1).
    stride: u32,
}

impl Points {
    const MOST: usize = 256;

    fn push(&mut self, look: u32, last: Instant) {
        let stride = self.stride.max(1);
        if !look.is_multiple_of(stride) || self.kept.last().is_some_and(|(_, t)| *t == last) {
            return;
        }
        if self.kept.len() >= Self::MOST {
            self.stride = stride.saturating_mul(2);
            let wide = self.stride;
            self.kept.retain(|(look, _)| look.is_multiple_of(wide));
        }
        self.kept.push((look, last));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn repair_takes_steps_out_and_never_goes_back() {
        let step =
            |at: i64, by: i64| Step { at: Instant(at), by, back: 0, line: 1, agreed: (5, 5) };
        let watch =
            StepWatch { found: vec![step(1000, 400), step(3000, -200)], ..StepWatch::default() };
        let repair = watch.repair();
        let times: Vec<i64> = (0..5000).map(|t| repair.time(Instant(t)).0).collect();
        assert!(times.windows(2).all(|w| w[0] <= w[1]));
        assert_eq!((times[500], times[2000], times[4000]), (500, 1600, 3800));
    }

    #[test]
    fn points_stay_few() {
        let mut points = Points::default();
        for look in 0..100_000u32 {
            points.push(look, Instant(i64::from(look)));
        }
        assert!(points.kept.len() <= Points::MOST && points.kept.len() >= Points::MOST / 4);
    }
}
