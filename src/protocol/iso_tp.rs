//! ISO-TP (ISO 15765-2) with normal addressing: what one frame is, and whole messages out of many.
//!
//! | frame | first byte | rest |
//! |---|---|---|
//! | single | `0L`, L = 1 to 7; CAN FD: `00`, then the length | data |
//! | first | `1L LL`, 8 to 4,095; `10 00`, then 32 bits | data |
//! | consecutive | `2N`, N = 1 to F, then 0 | data |
//! | flow control | `3S`: 0 go, 1 wait, 2 overflow | block size, separation time |
//!
//! Anything else is not ISO-TP. A log may keep fewer bytes of a long CAN FD frame than were sent; a
//! message with such a hole is given as far as it is whole, and says so. What a frame claims to be
//! long costs nothing until the bytes come, and then it is bounded.

use std::collections::BTreeMap;

use crate::vocabulary::{Identifier, Instant};

/// Transfers under way at once; one more displaces the one that has waited longest.
const MOST_TRANSFERS: usize = 64;
/// Bytes kept of one message; longer ones (downloads) are given up.
const MOST_BYTES: usize = 64 * 1024;
/// N_Cr and N_Bs of the general standard: the longest wait inside a message (nanoseconds).
const LONGEST_WAIT: i64 = 1_000_000_000;

/// What one frame is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part<'a> {
    /// A whole message; `data` is shorter than `length` where the log kept less.
    Single {
        /// Bytes of the message.
        length: u32,
        /// As many of them as the log kept.
        data: &'a [u8],
    },
    /// The beginning of a message.
    First {
        /// Bytes of the message, as claimed.
        length: u32,
        /// The bytes of this frame that the log kept.
        data: &'a [u8],
        /// Bytes that this frame carried.
        carried: u32,
    },
    /// A further piece.
    Consecutive {
        /// 0 to 15, counting on from 1 behind the first frame.
        sequence: u8,
        /// The bytes of this frame that the log kept.
        data: &'a [u8],
        /// Bytes that this frame carried.
        carried: u32,
    },
    /// The receiver's word to the sender.
    FlowControl(FlowControl),
}

/// What a receiver says to the sender of a long message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FlowControl {
    /// Go, wait or overflow.
    pub state: FlowState,
    /// Frames until the next flow control; 0 = all that are left.
    pub block: u8,
    /// Least time between frames, microseconds; `None`: a reserved value.
    pub separation_us: Option<u32>,
}

/// The state of a flow control frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FlowState {
    /// Continue to send.
    Go,
    /// Wait for another flow control.
    Wait,
    /// The message is too long for the receiver.
    Overflow,
}

/// Reads a frame; `bytes` are the data bytes kept, `length` is how many were sent (8 to 64 for FD).
/// `None` when it is not ISO-TP.
#[must_use]
pub fn part(bytes: &[u8], length: usize) -> Option<Part<'_>> {
    let bytes = bytes.get(..length.min(bytes.len()))?;
    let first = *bytes.first()?;
    let low = first & 0x0F;
    // The bytes kept behind a header, and how many were sent behind it.
    let behind = |header: usize| {
        let carried = u32::try_from(length.saturating_sub(header)).ok()?;
        Some((bytes.get(header..).unwrap_or_default(), carried))
    };
    match first >> 4 {
        0 => {
            let (header, size) = match (low, length > 8) {
                (0, true) => (2, *bytes.get(1)?),
                (1..=7, _) => (1, low),
                _ => return None,
            };
            let (data, carried) = behind(header)?;
            let whole = usize::from(size);
            (size > 0 && u32::from(size) <= carried).then(|| Part::Single {
                length: u32::from(size),
                data: data.get(..whole).unwrap_or(data),
            })
        }
        1 if length >= 8 => {
            let short = u32::from(low) << 8 | u32::from(*bytes.get(1)?);
            let (header, size) = match short {
                0 => (6, u32::from_be_bytes(bytes.get(2..6)?.try_into().ok()?)),
                _ => (2, short),
            };
            let (data, carried) = behind(header)?;
            // What fits into a single frame, or 32 bits where 12 would do, is no first frame.
            let least = if short == 0 { 4096 } else { 8 };
            (size >= least && size > carried).then_some(Part::First { length: size, data, carried })
        }
        2 if length >= 2 => {
            let (data, carried) = behind(1)?;
            Some(Part::Consecutive { sequence: low, data, carried })
        }
        3 if length >= 3 => {
            let state = match low {
                0 => FlowState::Go,
                1 => FlowState::Wait,
                2 => FlowState::Overflow,
                _ => return None,
            };
            let separation_us = match *bytes.get(2)? {
                ms @ 0..=0x7F => Some(u32::from(ms) * 1000),
                tenths @ 0xF1..=0xF9 => Some(u32::from(tenths - 0xF0) * 100),
                _ => None,
            };
            Some(Part::FlowControl(FlowControl { state, block: *bytes.get(1)?, separation_us }))
        }
        _ => None,
    }
}

/// A message put together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// Its bytes, as far as they are whole.
    pub payload: Vec<u8>,
    /// The log kept fewer bytes than were sent: `payload` ends before the message does.
    pub cut: bool,
    /// Its first frame.
    pub begin: Instant,
    /// Its last frame.
    pub end: Instant,
    /// The line of its first frame.
    pub line: u64,
}

/// Why a message was given up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Abort {
    /// A frame was lost, or came twice: the next number was another.
    Sequence {
        /// The number that was due.
        expected: u8,
        /// The number that came.
        found: u8,
    },
    /// The sender began another message.
    Replaced,
    /// The sender stopped though it was free to go on.
    SenderStopped,
    /// Nobody let the sender go on: the receiver is lost or refused.
    ReceiverStopped,
    /// More bytes than are kept.
    TooLong,
    /// Too many messages under way at once.
    Displaced,
}

/// A message that was given up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Aborted {
    /// Whose message.
    pub id: Identifier,
    /// Why.
    pub reason: Abort,
    /// Its first frame.
    pub begin: Instant,
    /// Its last frame.
    pub last: Instant,
    /// The line of its first frame.
    pub line: u64,
}

/// What one frame led to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Step {
    /// A message is whole.
    pub message: Option<Message>,
    /// A message is lost.
    pub aborted: Option<Aborted>,
}

/// What the receiver allows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Grant {
    /// Nothing was heard of the receiver yet.
    Unheard,
    Free,
    Frames(u8),
    Held,
}

#[derive(Debug, Clone)]
struct Transfer {
    length: u32,
    counted: u32,
    bytes: Vec<u8>,
    whole: bool,
    next: u8,
    grant: Grant,
    pieces: u32,
    begin: Instant,
    last: Instant,
    line: u64,
}

/// Messages under way, one a sender.
#[derive(Debug, Clone, Default)]
pub struct Reassembly {
    open: BTreeMap<Identifier, Transfer>,
}

impl Reassembly {
    /// Takes a frame of `id`; flow control frames do nothing here, see [`Reassembly::flow`].
    pub fn frame(&mut self, id: Identifier, part: Part<'_>, time: Instant, line: u64) -> Step {
        match part {
            Part::Single { length, data } => {
                let aborted = self.give_up(id, Abort::Replaced);
                let cut = (data.len() as u64) < u64::from(length);
                let payload = data.to_vec();
                let message = Some(Message { payload, cut, begin: time, end: time, line });
                Step { message, aborted }
            }
            Part::First { length, data, carried } => {
                let mut aborted = self.give_up(id, Abort::Replaced);
                if self.open.len() >= MOST_TRANSFERS {
                    let oldest = self.open.iter().min_by_key(|(id, t)| (t.last, **id));
                    let oldest = oldest.map(|(id, _)| *id);
                    aborted = oldest.and_then(|id| self.give_up(id, Abort::Displaced));
                }
                let transfer = Transfer {
                    length,
                    counted: carried,
                    whole: data.len() as u64 == u64::from(carried),
                    bytes: data.to_vec(),
                    next: 1,
                    grant: Grant::Unheard,
                    pieces: 0,
                    begin: time,
                    last: time,
                    line,
                };
                self.open.insert(id, transfer);
                Step { message: None, aborted }
            }
            Part::Consecutive { sequence, data, carried } => {
                self.consecutive(id, sequence, data, carried, time)
            }
            Part::FlowControl(_) => Step::default(),
        }
    }

    fn consecutive(
        &mut self,
        id: Identifier,
        sequence: u8,
        data: &[u8],
        carried: u32,
        time: Instant,
    ) -> Step {
        let stop = |step: Option<Aborted>| Step { message: None, aborted: step };
        // A piece of a message whose beginning was not seen.
        let Some(open) = self.open.get_mut(&id) else { return Step::default() };
        if time.0.saturating_sub(open.last.0) > LONGEST_WAIT {
            let reason = open.stopped_by();
            return stop(self.give_up(id, reason));
        }
        if sequence != open.next {
            let expected = open.next;
            return stop(self.give_up(id, Abort::Sequence { expected, found: sequence }));
        }
        if open.bytes.len() + data.len() > MOST_BYTES {
            return stop(self.give_up(id, Abort::TooLong));
        }
        open.next = (open.next + 1) & 0x0F;
        open.last = time;
        open.pieces = open.pieces.saturating_add(1);
        if let Grant::Frames(left) = open.grant {
            open.grant = Grant::Frames(left.saturating_sub(1));
        }
        let wanted = open.length.saturating_sub(open.counted).min(carried);
        open.counted = open.counted.saturating_add(wanted);
        if open.whole {
            let kept = data.len().min(wanted as usize);
            open.bytes.extend_from_slice(&data[..kept]);
            open.whole = kept as u64 == u64::from(wanted);
        }
        if open.counted < open.length {
            return Step::default();
        }
        let done = self.open.remove(&id).map(|t| Message {
            payload: t.bytes,
            cut: !t.whole,
            begin: t.begin,
            end: time,
            line: t.line,
        });
        Step { message: done, aborted: None }
    }

    /// The receiver's word about the message that `sender` has under way.
    pub fn flow(&mut self, sender: Identifier, word: FlowControl) {
        let Some(open) = self.open.get_mut(&sender) else { return };
        open.grant = match (word.state, word.block) {
            (FlowState::Go, 0) => Grant::Free,
            (FlowState::Go, frames) => Grant::Frames(frames),
            (FlowState::Wait | FlowState::Overflow, _) => Grant::Held,
        };
    }

    /// Messages that have waited too long by `now`, by identifier.
    pub fn expire(&mut self, now: Instant) -> Vec<Aborted> {
        let late: Vec<(Identifier, Abort)> = self
            .open
            .iter()
            .filter(|(_, t)| now.0.saturating_sub(t.last.0) > LONGEST_WAIT)
            .map(|(id, t)| (*id, t.stopped_by()))
            .collect();
        late.into_iter().filter_map(|(id, reason)| self.give_up(id, reason)).collect()
    }

    /// Messages under way.
    #[must_use]
    pub fn under_way(&self) -> usize {
        self.open.len()
    }

    /// Bytes kept of them.
    #[must_use]
    pub fn bytes(&self) -> usize {
        self.open.values().map(|t| t.bytes.capacity()).sum()
    }

    fn give_up(&mut self, id: Identifier, reason: Abort) -> Option<Aborted> {
        let t = self.open.remove(&id)?;
        Some(Aborted { id, reason, begin: t.begin, last: t.last, line: t.line })
    }
}

impl Transfer {
    /// Whose fault it is that no further piece comes.
    fn stopped_by(&self) -> Abort {
        match self.grant {
            Grant::Unheard if self.pieces == 0 => Abort::ReceiverStopped,
            Grant::Frames(0) | Grant::Held => Abort::ReceiverStopped,
            Grant::Unheard | Grant::Free | Grant::Frames(_) => Abort::SenderStopped,
        }
    }
}
