//! Steps of the log's clock: what is known of each, and how they are taken out.
//!
//! `step_watch` finds them by the beats of many identifiers while the log streams by; the stamps themselves
//! tell of steps back. Here each is put where the stamps show it, and times are freed of all of them.

use super::gaps::Gap;
use super::step_watch::StepWatch;
use crate::vocabulary::Instant;

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

impl StepWatch {
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

    /// Only looks that are a multiple of this are kept.
    pub(super) fn stride(&self) -> u32 {
        self.stride.max(1)
    }

    pub(super) fn push(&mut self, look: u32, last: Instant) {
        let stride = self.stride();
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
        let mut watch = StepWatch::default();
        watch.found.extend([step(1000, 400), step(3000, -200)]);
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
