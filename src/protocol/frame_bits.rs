//! A classic CAN frame bit by bit: CRC, stuff bits, exact length; and CAN FD in sums of fields.
//!
//! Source: ISO 11898-1. The CRC runs over the bits from start of frame to the end of the data, before
//! stuffing; stuffing runs from start of frame to the end of the CRC.

use crate::vocabulary::Identifier;

/// Polynomial of the CRC-15 of classic CAN, without its leading one.
const POLYNOMIAL: u16 = 0x4599;
/// CRC delimiter, acknowledge slot and delimiter, end of frame; and the space between frames.
const TAIL: u32 = 1 + 1 + 1 + 7;
const SPACE: u32 = 3;

/// What a data frame comes to on the wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OnWire {
    /// CRC-15 of the frame.
    pub crc: u16,
    /// Stuff bits.
    pub stuffed: u32,
    /// All bits, the space of three bits behind it included.
    pub bits: u32,
}

/// CRC-15 of a row of bits, start value 0, nothing reflected.
#[must_use]
pub fn crc15(bits: impl IntoIterator<Item = bool>) -> u16 {
    bits.into_iter().fold(0, |crc: u16, bit| {
        let turn = bit != (crc >> 14 & 1 == 1);
        let moved = crc << 1 & 0x7FFF;
        if turn { moved ^ POLYNOMIAL } else { moved }
    })
}

/// A data frame with up to eight bytes (further ones are left out), exactly.
#[must_use]
pub fn on_wire(id: Identifier, data: &[u8]) -> OnWire {
    let data = &data[..data.len().min(8)];
    let mut bits: Vec<bool> = Vec::with_capacity(128);
    let value = id.value();
    let mut put = |value: u32, width: u32| {
        bits.extend((0..width).rev().map(|n| value >> n & 1 == 1));
    };
    put(0, 1);
    if id.is_extended() {
        put(value >> 18, 11);
        put(0b11, 2);
        put(value & 0x3_FFFF, 18);
        put(0b000, 3);
    } else {
        put(value, 11);
        put(0b000, 3);
    }
    put(u32::try_from(data.len()).unwrap_or(8), 4);
    for byte in data {
        put(u32::from(*byte), 8);
    }
    let crc = crc15(bits.iter().copied());
    bits.extend((0..15).rev().map(|n| crc >> n & 1 == 1));
    let stuffed = stuff_bits(&bits);
    let length = u32::try_from(bits.len()).unwrap_or(u32::MAX);
    OnWire { crc, stuffed, bits: length + stuffed + TAIL + SPACE }
}

/// After five equal bits one opposite bit is sent; it counts as the first of the next run.
fn stuff_bits(bits: &[bool]) -> u32 {
    let (mut last, mut run, mut stuffed) = (None, 0, 0);
    for bit in bits {
        run = if last == Some(*bit) { run + 1 } else { 1 };
        last = Some(*bit);
        if run == 5 {
            stuffed += 1;
            (last, run) = (Some(!*bit), 1);
        }
    }
    stuffed
}

/// Seconds that a CAN FD frame with a base identifier takes without dynamic stuff bits: 30 bits at the
/// nominal rate, the rest (indicator, length code, data, stuff count, CRC with its fixed stuff bits) at the data rate.
///
/// `None` when a rate is 0.
#[must_use]
pub fn fd_seconds(length: u8, nominal: u32, fast: u32) -> Option<f64> {
    let (crc, fixed) = if length <= 16 { (17, 6) } else { (21, 7) };
    let bits = 1 + 4 + 8 * u32::from(length.min(64)) + 4 + crc + fixed;
    (nominal > 0 && fast > 0).then(|| 30.0 / f64::from(nominal) + f64::from(bits) / f64::from(fast))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// EX-4b to EX-4l (FACTS 4.2; CRC by an outside library, stuffing by a bit-exact encoder).
    #[test]
    fn published_frames() {
        let base = Identifier::base;
        let wide = Identifier::extended;
        for (id, data, crc, stuffed, bits) in [
            (base(0x123), &[][..], 0x6858, 1, 48),
            (base(0), &[0], 0x4426, 4, 59),
            (base(0), &[0; 8], 0x145B, 16, 127),
            (base(0x7FF), &[0xFF; 8], 0x4C89, 15, 126),
            (base(0x555), &[0x55; 8], 0x1B04, 1, 112),
            (base(0x14B), &[1, 2, 3, 4, 5, 6, 7, 8], 0x4A6A, 8, 119),
            (base(0x7E8), &[0x03, 0x7F, 0x19, 0x78, 0, 0, 0, 0], 0x7AFB, 13, 124),
            (base(0x078), &[0x3C; 8], 0x1921, 20, 131),
            (wide(0x0CF0_0400), &[0xF0, 0x7D, 0x7D, 0x68, 0x13, 0xFF, 0xFF, 0xFF], 0x717B, 12, 143),
            (wide(0x18FE_CA0B), &[0x04, 0xFF, 0xD3, 0x07, 0x09, 0x00, 0xFF, 0xFF], 0x54CE, 10, 141),
            (wide(0x1FFF_FFFF), &[], 0x1C88, 7, 74),
        ] {
            assert_eq!(on_wire(id, data), OnWire { crc, stuffed, bits }, "{id}");
        }
    }

    /// Entry `q7.frame_exact` of the team's notes, and the check value of the CRC.
    #[test]
    fn exact_frames_of_the_notes() {
        for (id, data, bits, crc) in [
            (0x123, &[0; 8][..], 125, 1102),
            (0x7FF, &[0xFF; 8], 126, 19_593),
            (0x2A5, &[0x12, 0x34, 0x56, 0x78], 80, 11_910),
            (0x100, &[], 51, 14_346),
        ] {
            let found = on_wire(Identifier::base(id), data);
            assert_eq!((found.bits, found.crc), (bits, crc), "{id:X}");
        }
        let bits = b"123456789".iter().flat_map(|b| (0..8).rev().map(move |n| b >> n & 1 == 1));
        assert_eq!(crc15(bits), 0x059E);
    }

    /// EX-4w (FACTS 4.6): 64 bytes, base identifier, 500 kbit/s and 2 Mbit/s.
    #[test]
    fn fd_frame() {
        let seconds = fd_seconds(64, 500_000, 2_000_000).unwrap();
        assert!((seconds - 334.5e-6).abs() < 1e-9, "{seconds}");
        assert_eq!(fd_seconds(8, 0, 1), None);
    }
}
