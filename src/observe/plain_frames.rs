//! The quick way of frames through a bus: as long as there is nothing to do but to count them.
//!
//! Nearly every frame is one of a known identifier, on time, in the window under way. Such frames are taken in a row;
//! everything else goes to [`Channel::frame`], which does all that there is to do. Both come to the same.

use super::channel::Channel;
use crate::read::frames::{Frame, FrameKind};

/// Numbers of interfaces that are told apart by a bit each.
const BITS: u16 = 64;

/// The interfaces of these frames.
pub(super) fn interfaces_of(frames: &[Frame]) -> Vec<u16> {
    let (mut seen, mut all) = (0u64, 0u16);
    for frame in frames {
        seen |= 1 << (frame.channel % BITS);
        all |= frame.channel;
    }
    if all < BITS {
        return (0..BITS).filter(|number| seen >> number & 1 == 1).collect();
    }
    let mut numbers: Vec<u16> = frames.iter().map(|frame| frame.channel).collect();
    numbers.sort_unstable();
    numbers.dedup();
    numbers
}

impl Channel {
    /// Takes, of these frames, whose lines count from behind so many `lines`, those of interface `number`; returns how
    /// many they were.
    pub(super) fn frames(&mut self, (frames, lines): (&[Frame], u64), number: u16) -> usize {
        let (mut rest, mut own) = (frames, 0);
        loop {
            let (passed, taken) = self.plain((rest, lines), number);
            own += taken;
            let Some((frame, behind)) = rest.get(passed..).and_then(<[Frame]>::split_first) else {
                return own;
            };
            self.frame(&frame.behind(lines));
            own += 1;
            rest = behind;
        }
    }

    /// Takes frames as long as nothing is to be done but to count them: data of known identifiers without
    /// further meaning, in one window, one behind the other. Returns how many were passed, with those of other
    /// interfaces, and how many of them were taken; the next one, if there is one, is of this.
    fn plain(&mut self, (frames, lines): (&[Frame], u64), number: u16) -> (usize, usize) {
        let (mut now, mut line, mut taken, mut known) = (self.now, self.now_line, 0u32, None);
        let usual = self.failing.0 == 0 && self.clock.is_plain() && self.watch.count > 0;
        let limit = self.bus_gaps.limit.unsigned_abs();
        let end = self.watch.window_end.min(self.clock.last());
        let mut passed = frames.len();
        for (place, frame) in frames.iter().enumerate() {
            if frame.channel != number {
                continue;
            }
            let time = frame.time;
            // Earlier than the one before is a great number too.
            let since = time.0.wrapping_sub(now.0).cast_unsigned();
            if since > limit || time >= end || frame.kind != FrameKind::Data || !usual {
                passed = place;
                break;
            }
            let who = self.place(frame.id);
            let tracker = self.trackers.get_mut(usize::from(who));
            let Some(tracker) = tracker.filter(|t| !(t.bears | t.talks)) else {
                passed = place;
                break;
            };
            (now, line) = (time, frame.line + lines);
            taken += 1;
            if tracker.frame(frame, lines, time) {
                known = Some(who);
                passed = place + 1;
                break;
            }
        }
        (self.now, self.now_line) = (now, line);
        self.watch.count += taken;
        self.data_frames += u64::from(taken);
        if let Some(who) = known {
            self.period_known(who);
            let others = frames[passed..].iter().take_while(|f| f.channel != number).count();
            return (passed + others, taken as usize);
        }
        (passed, taken as usize)
    }
}
