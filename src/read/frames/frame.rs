//! One CAN frame as a log shows it.

use crate::vocabulary::{Identifier, Instant};

/// What kind of frame it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[repr(u8)]
pub enum FrameKind {
    /// A data frame (classic or FD).
    Data,
    /// A CAN FD data frame whose sender says, by its error state indicator, that it is error passive.
    PassiveData,
    /// A remote frame: a request without data.
    Remote,
    /// A SocketCAN error message frame: the logger's controller speaks of the bus.
    Error,
    /// No frame: the logger says that it lost some between the frame before and the one behind.
    Lost,
}

/// One frame, 32 bytes, without allocation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frame {
    /// Time stamp as written, nanoseconds (since 1970, or since the log's own zero).
    pub time: Instant,
    /// The first eight data bytes, first byte in the most significant place, the rest zero.
    pub data: u64,
    /// Line of the log, counted from 1; in captures the packet's number, in other tables the row's.
    pub line: u64,
    /// Identifier; for error frames the error class bits.
    pub id: Identifier,
    /// Which interface: position in the reader's list of interfaces.
    pub channel: u16,
    /// Data length in bytes, 0 to 64.
    pub length: u8,
    /// Kind of frame.
    pub kind: FrameKind,
}

impl Frame {
    /// The frame with its line counted from before so many `lines`.
    #[inline]
    #[must_use]
    pub fn behind(&self, lines: u64) -> Frame {
        Frame { line: self.line + lines, ..*self }
    }
}
