//! What a frame says beside its time and place, from a SocketCAN identifier word and data bytes.
//!
//! Every format but the text log comes through here, so that the same traffic gives the same frames
//! whichever way it was written. The identifier word is that of the kernel's `linux/can.h`: bit 31
//! marks 29 bits, bit 30 a remote frame, bit 29 an error message frame.

use super::frame::{Frame, FrameKind};
use crate::vocabulary::{Identifier, Instant};

/// The flag of a 29-bit identifier.
pub(super) const EXTENDED: u32 = 0x8000_0000;
/// The flag of a remote frame.
pub(super) const REMOTE: u32 = 0x4000_0000;
/// The flag of an error message frame.
pub(super) const ERROR: u32 = 0x2000_0000;
/// The identifier's own 29 bits.
pub(super) const ID_BITS: u32 = 0x1FFF_FFFF;

/// Data lengths of CAN FD by length code (ISO 11898-1).
const FD_LENGTHS: [u8; 16] = [0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64];

/// A frame without time and place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Content {
    pub id: Identifier,
    pub kind: FrameKind,
    /// Data length in bytes.
    pub length: u8,
    /// The first eight data bytes, first byte most significant.
    pub data: u64,
}

impl Content {
    /// The frame with the error state indicator of CAN FD, when it bears it: its sender is error passive.
    pub(super) fn with_indicator(self, set: bool) -> Content {
        let passive = set && self.kind == FrameKind::Data;
        Content { kind: if passive { FrameKind::PassiveData } else { self.kind }, ..self }
    }

    /// The frame with its time and place; its channel is 0 until the log names one.
    pub(super) fn at(self, time: Instant, line: u64, channel: u16) -> Frame {
        let Content { id, kind, length, data } = self;
        Frame { time, data, line, id, channel, length, kind }
    }
}

/// The bytes of a length code: 0 to 8 themselves, 9 to 15 the lengths of CAN FD.
pub(super) fn length_of_code(code: u8) -> Option<u8> {
    FD_LENGTHS.get(usize::from(code)).copied()
}

/// Whether a frame of CAN FD can have this many data bytes.
pub(super) fn is_fd_length(length: u8) -> bool {
    FD_LENGTHS.contains(&length)
}

/// Puts a frame together. `length` is the stated data length in bytes; `data` may be longer (padding).
///
/// # Errors
/// A reason in words when no frame on a bus can be so.
pub(super) fn content(
    word: u32,
    length: u8,
    data: &[u8],
    fd: bool,
) -> Result<Content, &'static str> {
    if !fd && length > 8 {
        return Err("more than 8 data bytes in a classic frame");
    }
    if !is_fd_length(length) {
        return Err("a length that no CAN FD frame can have");
    }
    let kind = match (word & ERROR != 0, word & REMOTE != 0) {
        (true, _) => FrameKind::Error,
        (false, true) if fd => return Err("a remote frame in CAN FD, which has none"),
        (false, true) => FrameKind::Remote,
        (false, false) => FrameKind::Data,
    };
    let id = match kind {
        FrameKind::Error => Identifier(word & ID_BITS),
        _ if word & EXTENDED != 0 => Identifier::extended(word),
        _ if word & ID_BITS > 0x7FF => return Err("an 11-bit identifier above 7FF"),
        _ => Identifier::base(word),
    };
    if kind == FrameKind::Remote {
        return Ok(Content { id, kind, length, data: 0 });
    }
    let stated = data
        .get(..usize::from(length))
        .ok_or("fewer data bytes than stated; the record may be cut short")?;
    Ok(Content { id, kind, length, data: first_eight(stated) })
}

/// The first eight bytes as a number, first byte most significant, missing ones zero.
pub(super) fn first_eight(data: &[u8]) -> u64 {
    let mut eight = [0u8; 8];
    for (place, byte) in eight.iter_mut().zip(data) {
        *place = *byte;
    }
    u64::from_be_bytes(eight)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_and_lengths() {
        let frame = content(0x98FE_CA0B, 8, &[4, 255, 211, 7, 9, 0, 255, 255], false).unwrap();
        assert_eq!((frame.id, frame.length), (Identifier::extended(0x18FE_CA0B), 8));
        assert_eq!(frame.data, 0x04FF_D307_0900_FFFF);
        let remote = content(REMOTE | 0x123, 8, &[], false).unwrap();
        assert_eq!((remote.kind, remote.length, remote.data), (FrameKind::Remote, 8, 0));
        let error = content(ERROR | EXTENDED | 0x288, 8, &[0; 8], false).unwrap();
        assert_eq!((error.kind, error.id), (FrameKind::Error, Identifier(0x288)));
        let long = content(0x123, 12, &[7; 64], true).unwrap();
        assert_eq!((long.length, long.data), (12, 0x0707_0707_0707_0707));
    }

    #[test]
    fn what_no_bus_carries_is_refused() {
        for (word, length, data, fd, part) in [
            (0x800, 0, &[][..], false, "above 7FF"),
            (0x123, 9, &[0; 9][..], false, "more than 8"),
            (0x123, 9, &[0; 9][..], true, "no CAN FD"),
            (0x123, 4, &[0; 3][..], false, "fewer data bytes"),
            (REMOTE | 0x123, 4, &[][..], true, "remote"),
        ] {
            let reason = content(word, length, data, fd).unwrap_err();
            assert!(reason.contains(part), "{reason}");
        }
    }

    #[test]
    fn codes() {
        assert_eq!((0..17).map(length_of_code).filter(Option::is_some).count(), 16);
        assert_eq!(length_of_code(13), Some(32));
        assert!(is_fd_length(64) && !is_fd_length(63));
    }
}
