//! What is kept of one identifier while a log streams by: last frame, gaps, a histogram of gaps.

use super::gaps::{Gap, GapList};
use super::steps::{Points, Repair};
use crate::protocol::{frame_timing, live_values};
use crate::read::frames::Frame;
use crate::vocabulary::{Identifier, Instant};

/// Gaps kept exactly, from the beginning, to learn the period from.
pub(super) const SAMPLES: usize = 256;
/// After so many gaps a first period is set, so that gaps can be told from then on.
const FIRST_LOOK: usize = 24;
/// Before a period is known, a gap is worth noting from here on (nanoseconds).
pub(super) const UNKNOWN_PERIOD_LIMIT: i64 = 5_000_000_000;
/// Histogram: eight bins an octave over all of i64.
const BINS: usize = 64 * 8;
/// A burst of frames far above the rate is kept from this many frames on.
const BURST: u32 = 20;
const MOST_BURSTS: usize = 256;

/// One frame kept exactly.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sample {
    pub time: Instant,
    pub data: u64,
    pub line: u64,
}

/// Frames of one identifier whose length is not that of its first frame.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct OddLengths {
    pub frames: u64,
    pub begin: Instant,
    pub end: Instant,
    pub line: u64,
}

impl OddLengths {
    fn add(&mut self, frame: &Frame, time: Instant) {
        if self.frames == 0 {
            self.begin = time;
            self.line = frame.line;
        }
        self.frames += 1;
        self.end = time;
    }
}

/// A run of frames of one identifier at more than three times its rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Burst {
    pub begin: Instant,
    pub end: Instant,
    pub frames: u32,
    pub line: u64,
}

/// The state of one identifier. In the order written: what every frame touches is one cache line.
#[derive(Debug, Clone)]
#[repr(C, align(64))]
pub(super) struct Tracker {
    pub last: Instant,
    limit: i64,
    fast: i64,
    pub data: u64,
    pub line: u64,
    pub count: u64,
    histogram: Box<[u32; BINS]>,
    /// Frames may bear a physical value.
    pub bears: bool,
    /// Frames may belong to a talk with a tester, or tell codes.
    pub talks: bool,
    // What only few frames touch.
    pub id: Identifier,
    pub first: Instant,
    pub first_line: u64,
    pub samples: Vec<Sample>,
    pub gaps: GapList,
    pub bursts: Vec<Burst>,
    /// Last frames at regular looks, for the fit of clocks.
    pub points: Points,
    /// Data length of the first frame, and spans of frames with another one.
    length: u8,
    pub odd: OddLengths,
    /// Bits of frames with another length, beyond what the first one's would be.
    odd_bits: i64,
    /// Its beat, once learned (nanoseconds), for what must be known while the log streams.
    pub beat: Option<i64>,
    /// Place by first appearance.
    pub place: usize,
    burst: Option<Burst>,
}

impl Tracker {
    pub(super) fn new(frame: &Frame, time: Instant) -> Tracker {
        let mut samples = Vec::with_capacity(32);
        samples.push(Sample { time, data: frame.data, line: frame.line });
        Tracker {
            last: time,
            limit: UNKNOWN_PERIOD_LIMIT,
            fast: i64::MIN,
            data: frame.data,
            line: frame.line,
            count: 1,
            histogram: Box::new([0; BINS]),
            id: frame.id,
            first: time,
            first_line: frame.line,
            bears: live_values::may_bear(frame.id),
            talks: true,
            samples,
            gaps: GapList::new(UNKNOWN_PERIOD_LIMIT),
            bursts: Vec::new(),
            points: Points::default(),
            length: frame.length,
            odd: OddLengths::default(),
            odd_bits: 0,
            beat: None,
            place: 0,
            burst: None,
        }
    }

    /// Takes one more frame of this identifier, whose line counts from behind so many `lines`. Returns true when its
    /// first period was just set.
    #[inline]
    pub(super) fn frame(&mut self, frame: &Frame, lines: u64, time: Instant) -> bool {
        let gap = time.0 - self.last.0;
        self.histogram[bin(gap)] += 1;
        if gap > self.limit || gap < self.fast || frame.length != self.length {
            self.unusual(frame, lines, time, gap);
        }
        self.last = time;
        self.data = frame.data;
        self.line = frame.line + lines;
        self.count += 1;
        // As many samples as frames are held until there are enough.
        if self.count <= SAMPLES as u64 + 1 {
            return self.sample(frame, time);
        }
        false
    }

    #[cold]
    #[inline(never)]
    fn unusual(&mut self, frame: &Frame, lines: u64, time: Instant, gap: i64) {
        if gap > self.limit {
            self.gaps.push(Gap {
                from: self.last,
                to: time,
                line: self.line,
                seen: self.count,
                before: self.data,
                after: frame.data,
                late: 0,
            });
            self.limit = self.gaps.limit;
        }
        if frame.length != self.length {
            self.odd.add(&frame.behind(lines), time);
            let bits = |length| i64::from(frame_timing::bits_without_stuffing(false, length));
            self.odd_bits += bits(frame.length) - bits(self.length);
        }
        if gap >= self.fast {
            return;
        }
        if let Some(last) = self.gaps.gaps.last_mut()
            && self.count == last.seen + 1 + u64::from(last.late)
        {
            last.late = last.late.saturating_add(1);
        }
        match &mut self.burst {
            Some(burst) if self.last.0 - burst.end.0 <= self.limit => {
                burst.end = time;
                burst.frames += 1;
            }
            _ => {
                self.close_burst();
                self.burst =
                    Some(Burst { begin: self.last, end: time, frames: 2, line: self.line });
            }
        }
    }

    /// Bits of all its frames without stuffing.
    pub(super) fn bits(&self) -> u64 {
        let of_one = frame_timing::bits_without_stuffing(self.id.is_extended(), self.length);
        (self.count * u64::from(of_one)).saturating_add_signed(self.odd_bits)
    }

    pub(super) fn close_burst(&mut self) {
        if let Some(burst) = self.burst.take()
            && burst.frames >= BURST
            && self.bursts.len() < MOST_BURSTS
        {
            self.bursts.push(burst);
        }
    }

    #[cold]
    #[inline(never)]
    fn sample(&mut self, frame: &Frame, time: Instant) -> bool {
        self.samples.push(Sample { time, data: frame.data, line: self.line });
        let gaps = self.samples.len() - 1;
        if gaps == FIRST_LOOK || gaps == SAMPLES {
            self.learn();
            return true;
        }
        false
    }

    /// The median gap of the samples, in nanoseconds; `None` with fewer than two frames.
    pub(super) fn sample_median(&self) -> Option<i64> {
        let mut gaps: Vec<i64> =
            self.samples.windows(2).map(|w| w[1].time.0 - w[0].time.0).collect();
        if gaps.is_empty() {
            return None;
        }
        let middle = gaps.len() / 2;
        Some(*gaps.select_nth_unstable(middle).1)
    }

    /// Sets the limits of what is worth noting from the samples, and looks back over them.
    pub(super) fn learn(&mut self) {
        let Some(median) = self.sample_median().filter(|m| *m > 0) else { return };
        let first_look = self.samples.len() <= FIRST_LOOK + 1;
        // 1.7 periods, and never less than 8 ms over: one missed frame shows, jitter does not.
        let limit = (median.saturating_mul(17) / 10).max(median.saturating_add(8_000_000));
        let limit = limit.min(UNKNOWN_PERIOD_LIMIT);
        self.gaps.limit = if first_look { limit } else { self.gaps.limit.max(limit) };
        self.limit = self.gaps.limit;
        self.fast = median / 3;
        self.beat = Some(median);
        if first_look {
            self.look_back();
        }
    }

    /// Finds the gaps among the samples that were seen before the period was known.
    fn look_back(&mut self) {
        self.gaps.gaps.clear();
        for n in 1..self.samples.len() {
            let (a, b) = (self.samples[n - 1], self.samples[n]);
            if b.time.0 - a.time.0 > self.limit {
                let behind = self.samples[n..].windows(2);
                let late = behind.take_while(|w| w[1].time.0 - w[0].time.0 < self.fast).count();
                self.gaps.push(Gap {
                    from: a.time,
                    to: b.time,
                    line: a.line,
                    seen: n as u64,
                    before: a.data,
                    after: b.data,
                    late: u32::try_from(late).unwrap_or(u32::MAX),
                });
            }
        }
        self.limit = self.gaps.limit;
    }

    /// Takes steps of the clock out of everything kept; gaps that were only steps go.
    pub(super) fn repair(&mut self, repair: &Repair) {
        let mut times =
            vec![&mut self.first, &mut self.last, &mut self.odd.begin, &mut self.odd.end];
        times.extend(self.samples.iter_mut().map(|s| &mut s.time));
        times.extend(self.gaps.gaps.iter_mut().flat_map(|g| [&mut g.from, &mut g.to]));
        times.extend(self.bursts.iter_mut().flat_map(|b| [&mut b.begin, &mut b.end]));
        times.extend(self.points.kept.iter_mut().map(|(_, t)| t));
        for time in times {
            *time = repair.time(*time);
        }
        let limit = self.gaps.limit;
        self.gaps.gaps.retain(|g| g.nanos() > limit);
    }

    /// Share of all gaps between `low` and `high` nanoseconds, by the histogram (bins of 9 to 12 %).
    pub(super) fn share_between(&self, low: i64, high: i64) -> f64 {
        let gaps = self.count.saturating_sub(1);
        if gaps == 0 {
            return 0.0;
        }
        let inside: u64 = self.histogram[bin(low)..=bin(high)].iter().map(|n| u64::from(*n)).sum();
        inside as f64 / gaps as f64
    }

    /// The gap in the middle of the histogram: lower end of its bin, nanoseconds.
    pub(super) fn histogram_median(&self) -> Option<i64> {
        let half = self.count.saturating_sub(1).div_ceil(2);
        if half == 0 {
            return None;
        }
        let mut seen = 0u64;
        for (place, n) in self.histogram.iter().enumerate() {
            seen += u64::from(*n);
            if seen >= half {
                return Some(lower_end(place));
            }
        }
        None
    }
}

/// The bin of a gap: the octave, and the three bits behind the leading one.
#[inline]
fn bin(gap: i64) -> usize {
    // A number with a floating point is kept as just that: the octave, then the eighth of it (gaps over 104 days
    // are rounded).
    ((gap.max(8) as f64).to_bits().wrapping_sub(1023 << 52) >> 49) as usize & (BINS - 1)
}

/// The smallest gap of a bin.
fn lower_end(bin: usize) -> i64 {
    let octave = bin >> 3;
    if octave < 3 { 0 } else { (8 | (bin & 7) as i64) << (octave - 3) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bins_are_in_order_and_no_wider_than_an_eighth() {
        let mut last = 0;
        for shift in 3..53u32 {
            for part in 0..8i64 {
                let gap = (8 + part) << (shift - 3);
                let place = bin(gap);
                assert!(place >= last && place < BINS);
                assert_eq!(lower_end(place), gap);
                assert_eq!(bin(gap + (1i64 << (shift - 3)) - 1), place);
                last = place;
            }
        }
        assert_eq!(bin(-5), bin(0));
    }

    // 100 ms apart, held up for half a second before the period was known: three frames at once make it good.
    #[test]
    fn frames_that_were_held_up_are_counted_from_the_first_gap_on() {
        let ms = [0, 100, 200, 300, 800, 802, 804, 806, 900, 1000, 1100, 1200];
        let frame = Frame {
            time: Instant(0),
            data: 0,
            line: 1,
            id: Identifier::base(0x100),
            channel: 0,
            length: 8,
            kind: crate::read::frames::FrameKind::Data,
        };
        let mut tracker = Tracker::new(&frame, Instant(0));
        for at in ms.into_iter().skip(1) {
            tracker.samples.push(Sample { time: Instant(at * 1_000_000), data: 0, line: 1 });
        }
        tracker.learn();
        let [gap] = tracker.gaps.gaps.as_slice() else { panic!("{:?}", tracker.gaps.gaps) };
        assert_eq!((gap.from.0, gap.late), (300_000_000, 3));
    }
}
