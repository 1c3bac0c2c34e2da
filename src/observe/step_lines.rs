//! The beat of one identifier as a line: frames counted against time, robust against single delays and losses.

use super::tracker::Tracker;
use crate::numerics::centre::{NORMAL_SCALE, median};
use crate::numerics::lines::cumulative_index;

/// Identifiers slower than this cannot tell in time (nanoseconds).
const SLOWEST: f64 = 1_100_000_000.0;
/// Fewest marks that make a line.
pub(super) const FEWEST_MARKS: usize = 4;

/// Last frame of an identifier (nanoseconds of the stream) and how many there were.
pub(super) type Mark = (i64, u64);

/// Period (mean over regular gaps of the first frames) and jitter of an identifier, nanoseconds.
pub(super) fn beat(tracker: &Tracker) -> Option<(f64, f64)> {
    // By what was learned of it so far it is far too slow: not worth the work.
    if tracker.beat.is_some_and(|beat| beat as f64 > 2.0 * SLOWEST) {
        return None;
    }
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
    let jitter = NORMAL_SCALE * *off.select_nth_unstable(middle).1 as f64;
    let period = regular.iter().sum::<i64>() as f64 / regular.len() as f64;
    (period <= SLOWEST && jitter <= 0.05 * period).then_some((period, jitter))
}

/// The line through what an identifier did, in nanoseconds.
#[derive(Debug, Clone, Copy)]
pub(super) struct Line {
    pub period: f64,
    /// Time and count of the last mark, and how far the line stands from it there.
    last: Mark,
    off: f64,
    pub scatter: f64,
    pub marks: usize,
}

impl Line {
    /// Robust: the middles of the first and last third give the slope, the later half the level.
    pub(super) fn through(old: &[Mark]) -> Option<Line> {
        let (first, last) = (*old.first()?, *old.last()?);
        if old.len() < FEWEST_MARKS {
            return None;
        }
        let slope = |w: &[Mark]| (w[1].0 - w[0].0) as f64 / (w[1].1 - w[0].1).max(1) as f64;
        let slopes: Vec<f64> = old.windows(2).map(slope).collect();
        let rough = median(&slopes).filter(|p| *p > 0.0)?;
        let times: Vec<f64> = old.iter().map(|m| (m.0 - first.0) as f64).collect();
        // A lost frame is a beat all the same.
        let beats = cumulative_index(&times, rough)?;
        let off = |period: f64| -> Vec<f64> {
            times.iter().zip(&beats).map(|(at, n)| at - n * period).collect()
        };
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
        let scatter = NORMAL_SCALE * median(&apart)?;
        let off = level - residuals.last()?;
        Some(Line { period, last, off, scatter, marks: old.len() })
    }

    /// How far a later mark stands off the line.
    pub(super) fn stands_off(&self, mark: Mark) -> f64 {
        let beats = mark.1 as f64 - self.last.1 as f64;
        (mark.0 - self.last.0) as f64 - beats * self.period - self.off
    }
}
