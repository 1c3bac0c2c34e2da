//! How many bits a data frame takes on the wire, stuff bits counted one by one.
//!
//! Classic CAN as in ISO 11898-1: start bit to end of checksum is stuffed (after five equal bits
//! one opposite bit, which begins the next run); delimiters, acknowledge, end of frame and the
//! three bits of rest between frames are not.

use crate::vocabulary::Identifier;

/// The bits of rest between two frames.
pub(crate) const REST_BITS: i64 = 3;

/// The bits after the checksum: its delimiter, two of the acknowledge, seven of the end.
const TAIL_BITS: i64 = 10;

/// Counts bits and stuff bits, and keeps the checksum.
struct Line {
    bits: i64,
    run: u32,
    last: bool,
    crc: u32,
}

impl Line {
    fn send(&mut self, bit: bool) {
        let high = (self.crc >> 14) & 1 == 1;
        self.crc = (self.crc << 1) & 0x7FFF;
        if high != bit {
            self.crc ^= 0x4599;
        }
        self.place(bit);
    }

    fn place(&mut self, bit: bool) {
        self.bits += 1;
        self.run = if bit == self.last { self.run + 1 } else { 1 };
        self.last = bit;
        if self.run == 5 {
            self.bits += 1;
            self.run = 1;
            self.last = !bit;
        }
    }

    fn number(&mut self, value: u32, width: u32) {
        for at in (0..width).rev() {
            self.send((value >> at) & 1 == 1);
        }
    }
}

/// The bits of a data frame, with the rest after it.
pub(crate) fn frame_bits(id: Identifier, data: &[u8]) -> i64 {
    let mut line = Line { bits: 0, run: 0, last: true, crc: 0 };
    line.send(false);
    if id.is_extended() {
        line.number(id.value() >> 18, 11);
        line.number(0b11, 2);
        line.number(id.value() & 0x3_FFFF, 18);
        line.number(0, 3);
    } else {
        line.number(id.value(), 11);
        line.number(0, 3);
    }
    line.number(u32::try_from(data.len()).unwrap_or(8), 4);
    for &byte in data {
        line.number(u32::from(byte), 8);
    }
    let crc = line.crc;
    for at in (0..15).rev() {
        line.place((crc >> at) & 1 == 1);
    }
    line.bits + TAIL_BITS + REST_BITS
}

#[cfg(test)]
mod tests {
    use super::frame_bits;
    use crate::vocabulary::Identifier;

    #[test]
    fn lengths_of_worked_frames() {
        // Lengths with the rest, from a bit-exact encoder outside this crate.
        let base: [(u32, &[u8], i64); 6] = [
            (0x123, &[], 48),
            (0x000, &[0], 59),
            (0x000, &[0; 8], 127),
            (0x7FF, &[0xFF; 8], 126),
            (0x14B, &[1, 2, 3, 4, 5, 6, 7, 8], 119),
            (0x078, &[0x3C; 8], 131),
        ];
        for (id, data, bits) in base {
            assert_eq!(frame_bits(Identifier::base(id), data), bits, "{id:03X}");
        }
        let torque = [0xF0, 0x7D, 0x7D, 0x68, 0x13, 0xFF, 0xFF, 0xFF];
        assert_eq!(frame_bits(Identifier::extended(0x0CF0_0400), &torque), 143);
        assert_eq!(frame_bits(Identifier::extended(0x1FFF_FFFF), &[]), 74);
    }
}
