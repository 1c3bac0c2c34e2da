//! Runs of error frames, and windows in which a bus carried far more frames than it usually does.

use crate::numerics::centre::NORMAL_SCALE;
use crate::protocol::{error_details, error_frames};
use crate::read::frames::Frame;
use crate::vocabulary::Instant;

/// Error frames close together.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ErrorRun {
    pub begin: Instant,
    pub end: Instant,
    pub frames: u64,
    /// All class bits seen.
    pub classes: u32,
    /// A wire fault that the transceiver named.
    pub wire_fault: Option<&'static str>,
    pub line: u64,
    /// Messages by what their detail depends on; at most [`MOST_DETAILS`] of them.
    pub details: Vec<(u64, u64)>,
    /// Identifiers, by place of first appearance, whose frame was the first to pass after failed ones, and how many
    /// error frames stood before all of these; at most [`MOST_RETRIED`] of them.
    pub retried: Vec<(u16, u32)>,
}

/// Identifiers kept of one run.
const MOST_RETRIED: usize = 512;

/// Different details kept of one run; further ones are counted in `frames` only.
const MOST_DETAILS: usize = 64;

impl ErrorRun {
    pub(super) fn new(frame: &Frame, time: Instant) -> ErrorRun {
        ErrorRun {
            begin: time,
            end: time,
            frames: 1,
            classes: frame.id.0,
            wire_fault: error_frames::wire_fault(frame.id.0, frame.data),
            line: frame.line,
            details: vec![(error_details::kept_bits(frame.id.0, frame.data), 1)],
            retried: Vec::new(),
        }
    }

    /// A frame passed right after so many error frames: a failed frame is sent again at once, unless a stronger one
    /// is waiting.
    pub(super) fn passed(&mut self, place: u16, failed: u32) {
        let known = self.retried.iter().position(|(kept, _)| *kept == place);
        if let Some((_, count)) = known.and_then(|n| self.retried.get_mut(n)) {
            *count = count.saturating_add(failed);
        } else if self.retried.len() < MOST_RETRIED {
            self.retried.push((place, failed));
        }
    }

    pub(super) fn add(&mut self, frame: &Frame, time: Instant) {
        self.end = time;
        self.frames += 1;
        self.classes |= frame.id.0;
        if self.wire_fault.is_none() {
            self.wire_fault = error_frames::wire_fault(frame.id.0, frame.data);
        }
        let bits = error_details::kept_bits(frame.id.0, frame.data);
        let known = self.details.iter().position(|(kept, _)| *kept == bits);
        if let Some((_, count)) = known.and_then(|n| self.details.get_mut(n)) {
            *count += 1;
        } else if self.details.len() < MOST_DETAILS {
            self.details.push((bits, 1));
        }
    }
}

/// A span of windows with far more frames than usual.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Surge {
    pub begin: Instant,
    pub end: Instant,
    /// Frames above the usual.
    pub surplus: u64,
    /// All frames.
    pub frames: u64,
    pub line: u64,
}

/// Length of a window, nanoseconds.
const WINDOW: i64 = 100_000_000;
/// Windows seen before any is judged.
const LEARN: u64 = 20;
/// A surge has this many times the usual frames, and this many more.
const TIMES: u32 = 3;
const HALVES: u32 = 2;
const MORE: u32 = 15;
/// A surge stands out of the bus's own ups and downs by so many standard deviations: with ten windows a
/// second, less than once in a thousand hours even when they are not quite normal.
const SIGMAS: f64 = 6.0;
const MOST_SURGES: usize = 4096;
const LEVELS: usize = 4096;

/// The first value at which half of all `count` is reached.
fn middle(values: impl Iterator<Item = (u32, u32)>, count: u64) -> u32 {
    let mut seen = 0;
    for (value, times) in values {
        seen += u64::from(times);
        if seen * 2 >= count {
            return value;
        }
    }
    0
}

/// Counts frames in windows of 100 ms and notes those far above the median of the windows so far.
#[derive(Debug)]
pub(super) struct SurgeWatch {
    pub window_end: Instant,
    pub count: u32,
    pub line: u64,
    levels: Box<[u32; LEVELS]>,
    windows: u64,
    usual: u32,
}

impl SurgeWatch {
    pub(super) fn new(begin: Instant) -> SurgeWatch {
        SurgeWatch {
            window_end: Instant(begin.0.saturating_add(WINDOW)),
            count: 0,
            line: 0,
            levels: Box::new([0; LEVELS]),
            windows: 0,
            usual: 0,
        }
    }

    /// Begin of the window under way.
    pub(super) fn begin(&self) -> Instant {
        Instant(self.window_end.0.saturating_sub(WINDOW))
    }

    /// Drops surges that the bus, seen to its end, carries as a matter of course: nodes had only joined, or
    /// its load is restless and such a surplus no more than its own ups and downs.
    pub(super) fn settle(&self, surges: &mut Vec<Surge>) {
        let usual = self.median();
        let scatter = self.scatter(usual);
        surges.retain(|s| {
            let windows = ((s.end.0 - s.begin.0) / WINDOW).max(1).unsigned_abs();
            let mean = s.frames / windows;
            mean > u64::from(usual * TIMES / HALVES + MORE)
                && s.surplus as f64 > SIGMAS * scatter * (windows as f64).sqrt()
        });
    }

    /// Ends the window; the next one holds `time`. Windows without frames are not counted: sleep
    /// and blind spots are no usual load.
    #[cold]
    pub(super) fn roll(&mut self, time: Instant, surges: &mut Vec<Surge>) {
        if self.count > 0 {
            let begin = Instant(self.window_end.0 - WINDOW);
            if self.windows >= LEARN && self.count > self.usual * TIMES / HALVES + MORE {
                self.surge(begin, surges);
            }
            self.levels[(self.count as usize).min(LEVELS - 1)] += 1;
            self.windows += 1;
            if self.windows.is_power_of_two() || self.windows.is_multiple_of(16) {
                self.usual = self.median();
            }
        }
        self.count = 0;
        let windows = (time.0.saturating_sub(self.window_end.0)) / WINDOW + 1;
        self.window_end = Instant(self.window_end.0.saturating_add(windows.saturating_mul(WINDOW)));
    }

    fn surge(&self, begin: Instant, surges: &mut Vec<Surge>) {
        let surplus = u64::from(self.count - self.usual);
        let room = surges.len() < MOST_SURGES;
        match surges.last_mut() {
            Some(last) if begin.0 - last.end.0 <= WINDOW => {
                last.end = self.window_end;
                last.surplus += surplus;
                last.frames += u64::from(self.count);
            }
            _ if room => {
                surges.push(Surge {
                    begin,
                    end: self.window_end,
                    surplus,
                    frames: u64::from(self.count),
                    line: self.line,
                });
            }
            _ => {}
        }
    }

    fn median(&self) -> u32 {
        middle((0u32..).zip(self.levels.iter().copied()), self.windows)
    }

    /// Standard deviation of the frames of a window, by the median distance from the median.
    fn scatter(&self, usual: u32) -> f64 {
        let at = |level: u32| self.levels.get(level as usize).copied().unwrap_or(0);
        let distances = (0u32..).take(LEVELS).map(|distance| {
            let below = usual.checked_sub(distance).filter(|_| distance > 0).map_or(0, at);
            (distance, below + at(usual.saturating_add(distance)))
        });
        NORMAL_SCALE * f64::from(middle(distances, self.windows))
    }
}
