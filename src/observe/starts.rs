//! Cuts a log into starts: from the first frame after sleep to sleep, or to the end of the log.
//!
//! A long span without any frame is sleep, a logger that was blind, or a bus that was dead. Blind: the
//! nodes come back on their old beat and no error frame stands near. Dead: all stopped at once and
//! came back at once. Otherwise the network had gone to sleep.

use super::channel::Channel;
use super::gaps::Gap;
use super::period::Period;
use super::phases;
use crate::vocabulary::Instant;

/// A span without any frame is looked at as possible sleep from here on (nanoseconds).
pub(super) const SLEEP: i64 = 5_000_000_000;
/// A dead bus is not believed for longer than this without any frame; then it was sleep.
const DEAD_AT_MOST: i64 = 120_000_000_000;
/// A start shorter than this cannot be judged (nanoseconds).
const SHORTEST_START: i64 = 1_000_000_000;
/// Share of identifiers on the beat that says the nodes never stopped.
pub(super) const ON_BEAT_SHARE: f64 = 0.8;
/// Fewest identifiers whose beat must be known.
pub(super) const FEWEST_BEATS: u32 = 3;

/// One start as a span of the log.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Span {
    pub begin: Instant,
    pub end: Instant,
    pub line: u64,
    pub woke: bool,
    pub slept: bool,
}

impl Span {
    pub(super) fn holds(&self, time: Instant) -> bool {
        self.begin <= time && time <= self.end
    }
}

/// Cuts the log of one bus into starts.
pub(super) fn cut(channel: &Channel, periods: &[Option<Period>]) -> Vec<Span> {
    let mut spans = Vec::new();
    let mut begin = channel.begin;
    let mut line = channel.begin_line;
    let mut woke = joined_late(channel, periods, channel.begin) || channel.begin.0 < SLEEP;
    for gap in &channel.bus_gaps.gaps {
        if gap.nanos() >= SLEEP && is_sleep(channel, periods, gap) {
            spans.push(Span { begin, end: gap.from, line, woke, slept: true });
            begin = gap.to;
            line = gap.line + 1;
            woke = true;
        }
    }
    spans.push(Span { begin, end: channel.now, line, woke, slept: false });
    spans
}

fn is_sleep(channel: &Channel, periods: &[Option<Period>], gap: &Gap) -> bool {
    let (on, all) = phases::beats_after(channel, periods, gap.from, gap.to);
    if all >= FEWEST_BEATS && f64::from(on) >= ON_BEAT_SHARE * f64::from(all) {
        return false;
    }
    if gap.nanos() >= DEAD_AT_MOST {
        return true;
    }
    stopped_one_by_one(channel, periods, gap) || joined_late(channel, periods, gap.to)
}

/// Whether a third of the cyclic identifiers had stopped well before the span began.
fn stopped_one_by_one(channel: &Channel, periods: &[Option<Period>], gap: &Gap) -> bool {
    let (mut early, mut all) = (0, 0);
    for (tracker, period) in channel.trackers.iter().zip(periods) {
        let Some(period) = period.filter(|p| p.cyclic) else { continue };
        let Some(own) = phases::covering(tracker, gap.from, gap.to) else { continue };
        all += 1;
        early += i32::from(gap.from.0 - own.from.0 > period.nanos * 3);
    }
    all > 0 && early * 3 >= all
}

/// Whether a third of the cyclic identifiers came later than their period allows after `begin`: the
/// network was waking, it had not been awake.
fn joined_late(channel: &Channel, periods: &[Option<Period>], begin: Instant) -> bool {
    let (mut late, mut all) = (0, 0);
    for (tracker, period) in channel.trackers.iter().zip(periods) {
        let Some(period) = period.filter(|p| p.cyclic) else { continue };
        let first = if begin == channel.begin {
            tracker.first
        } else {
            match tracker.gaps.gaps.iter().find(|g| g.from < begin && g.to >= begin) {
                Some(gap) => gap.to,
                None => continue,
            }
        };
        all += 1;
        late += i32::from(first.0 - begin.0 > period.nanos * 3 / 2 + 5_000_000);
    }
    all > 0 && late * 3 >= all
}

/// Why silence cannot be judged in a start; empty when it can.
pub(super) fn why_not(span: &Span, channel: &Channel, periods: &[Option<Period>]) -> String {
    if span.end.0 - span.begin.0 < SHORTEST_START {
        return "shorter than a second: no period can be told".to_owned();
    }
    let cyclic = periods.iter().flatten().filter(|p| p.cyclic).count();
    let telling = periods.iter().flatten().zip(&channel.trackers).filter(|(_, t)| t.count > 8);
    let all = telling.count();
    if cyclic == 0 || (all >= 10 && cyclic * 10 < all) {
        return format!(
            "{cyclic} of {all} identifiers keep a period: the logger loses too many frames (or \
             the log is too short) to call any node silent"
        );
    }
    String::new()
}
