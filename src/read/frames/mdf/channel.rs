//! One channel: which bits of a record are its value, and how a master channel becomes a time.

use super::blocks::{u16_at, u32_at, u64_at};

/// How the bits are a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Form {
    Whole {
        big_endian: bool,
        signed: bool,
    },
    Float {
        big_endian: bool,
    },
    /// Bytes, text or anything else that is no number.
    Bytes,
}

/// Where a value stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Where {
    /// In the record.
    Record,
    /// In the record, with a length that another channel gives.
    Sized,
    /// Elsewhere; the record holds the offset.
    Elsewhere,
    /// Nowhere: it follows from the number of the record.
    Counted,
}

/// A channel's place and form.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Channel {
    pub place: Where,
    pub form: Form,
    pub bit_offset: u8,
    pub byte_offset: u32,
    pub bit_count: u32,
    /// The bit that marks the value as invalid, behind the record's data.
    pub invalid_bit: Option<u32>,
    /// Whether this is the group's time.
    pub is_time: bool,
}

impl Channel {
    /// Reads the data part of a CN block.
    pub(super) fn of_data(data: &[u8]) -> Option<Channel> {
        let (kind, sync) = (*data.first()?, *data.get(1)?);
        let flags = u32_at(data, 12)?;
        Some(Channel {
            place: match kind {
                1 => Where::Elsewhere,
                3 | 6 => Where::Counted,
                5 => Where::Sized,
                _ => Where::Record,
            },
            form: match *data.get(2)? {
                kind @ 0..=3 => Form::Whole { big_endian: kind & 1 != 0, signed: kind > 1 },
                kind @ 4..=5 => Form::Float { big_endian: kind == 5 },
                _ => Form::Bytes,
            },
            bit_offset: *data.get(3)?,
            byte_offset: u32_at(data, 4)?,
            bit_count: u32_at(data, 8)?,
            invalid_bit: if flags & 2 != 0 { Some(u32_at(data, 16)?) } else { None },
            is_time: matches!(kind, 2 | 3) && sync == 1,
        })
    }

    /// The bytes in which the value stands; `None` when the record is too short for it.
    pub(super) fn bytes<'r>(&self, record: &'r [u8]) -> Option<&'r [u8]> {
        let bits = u64::from(self.bit_count) + u64::from(self.bit_offset);
        let count = usize::try_from(bits.div_ceil(8)).ok()?;
        record.get(usize::try_from(self.byte_offset).ok()?..)?.get(..count)
    }

    /// The value as bits of a whole number; `None` when it is none, or longer than 64 bits.
    #[inline]
    pub(super) fn whole(&self, record: &[u8]) -> Option<u64> {
        let Form::Whole { big_endian, .. } = self.form else { return None };
        if self.bit_count > 64 || self.bit_offset > 7 {
            return None;
        }
        let bytes = self.bytes(record)?;
        let add = |sum: u128, byte: &u8| sum << 8 | u128::from(*byte);
        let all =
            if big_endian { bytes.iter().fold(0, add) } else { bytes.iter().rev().fold(0, add) };
        let mask = (1u128 << self.bit_count) - 1;
        u64::try_from(all >> self.bit_offset & mask).ok()
    }

    /// Whether the record marks the value as invalid; `record` is with its invalidation bytes.
    pub(super) fn is_invalid(&self, record: &[u8], data_bytes: usize) -> bool {
        let Some(bit) = self.invalid_bit else { return false };
        let byte = usize::try_from(bit / 8).ok().and_then(|byte| byte.checked_add(data_bytes));
        byte.and_then(|at| record.get(at)).is_some_and(|byte| byte >> (bit % 8) & 1 != 0)
    }

    fn float(&self, record: &[u8]) -> Option<f64> {
        let Form::Float { big_endian } = self.form else { return None };
        let bytes = self.bytes(record)?;
        match (bytes.len(), big_endian) {
            (8, false) => Some(f64::from_le_bytes(bytes.try_into().ok()?)),
            (8, true) => Some(f64::from_be_bytes(bytes.try_into().ok()?)),
            (4, false) => Some(f32::from_le_bytes(bytes.try_into().ok()?).into()),
            (4, true) => Some(f32::from_be_bytes(bytes.try_into().ok()?).into()),
            _ => None,
        }
    }
}

/// The master channel with its way to nanoseconds: `offset + factor · raw`, seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Time {
    pub channel: Channel,
    pub offset: f64,
    pub factor: f64,
}

impl Time {
    /// Reads the data part of a conversion block; `None` when times cannot be converted so.
    pub(super) fn of_conversion(channel: Channel, data: &[u8]) -> Option<Time> {
        let plain = Time { channel, offset: 0.0, factor: 1.0 };
        match *data.first()? {
            0 => Some(plain),
            1 if u16_at(data, 6)? >= 2 => Some(Time {
                offset: f64::from_bits(u64_at(data, 24)?),
                factor: f64::from_bits(u64_at(data, 32)?),
                ..plain
            }),
            _ => None,
        }
    }

    /// Nanoseconds since the measurement's start of the `number`th record, counted from 0.
    pub(super) fn nanos(&self, record: &[u8], number: u64) -> Option<i64> {
        let raw = match self.channel.place {
            Where::Counted => Some(number),
            _ => self.channel.whole(record),
        };
        let Some(raw) = raw else {
            return nanos_of(self.offset + self.factor * self.channel.float(record)?);
        };
        let raw = match self.channel.form {
            Form::Whole { signed: true, .. } if (1..64).contains(&self.channel.bit_count) => {
                let unused = 64 - self.channel.bit_count;
                i128::from((raw << unused).cast_signed() >> unused)
            }
            Form::Whole { signed: true, .. } => i128::from(raw.cast_signed()),
            _ => i128::from(raw),
        };
        // A clock that counts whole nanoseconds is read exactly, not through a float.
        let step = (self.factor * 1e9).round();
        if (1.0..=1e9).contains(&step) && (self.factor * 1e9 - step).abs() < 1e-6 * step {
            #[expect(clippy::cast_possible_truncation, reason = "between 1 and 1e9 by the check")]
            let nanos = raw.checked_mul(step as i128)?;
            return i64::try_from(nanos.checked_add(i128::from(nanos_of(self.offset)?))?).ok();
        }
        nanos_of(self.offset + self.factor * raw as f64)
    }
}

fn nanos_of(seconds: f64) -> Option<i64> {
    let nanos = (seconds * 1e9).round();
    #[expect(clippy::cast_possible_truncation, reason = "checked to be inside i64")]
    (nanos.abs() < 9.2e18).then_some(nanos as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    const U8: Channel = Channel {
        place: Where::Record,
        form: Form::Whole { big_endian: false, signed: false },
        bit_offset: 0,
        byte_offset: 0,
        bit_count: 8,
        invalid_bit: None,
        is_time: false,
    };

    #[test]
    fn packed_bits_of_both_byte_orders() {
        let record = [0xAB, 0xCD, 0xEF, 0x01];
        let whole = |bit_offset, byte_offset, bit_count, big_endian| {
            let form = Form::Whole { big_endian, signed: false };
            Channel { bit_offset, byte_offset, bit_count, form, ..U8 }.whole(&record)
        };
        assert_eq!(whole(0, 0, 8, false), Some(0xAB));
        assert_eq!(whole(4, 0, 8, false), Some(0xDA));
        assert_eq!(whole(0, 0, 29, false), Some(0x01EF_CDAB));
        assert_eq!(whole(7, 1, 1, false), Some(1));
        assert_eq!(whole(0, 1, 16, true), Some(0xCDEF));
        assert_eq!(whole(4, 1, 12, true), Some(0xCDE));
        assert_eq!(whole(0, 3, 16, false), None);
        assert_eq!(whole(0, u32::MAX, 8, false), None);
        assert_eq!(whole(0, 0, u32::MAX, false), None);
        assert_eq!(whole(200, 0, 8, false), None);
        assert_eq!(whole(0, 4, 0, false), Some(0));
    }

    #[test]
    fn times_of_whole_numbers_are_exact() {
        let channel = Channel { bit_count: 64, ..U8 };
        let time = Time { channel, offset: 0.5, factor: 1e-9 };
        let raw = 1_700_000_000_123_456_789u64.to_le_bytes();
        assert_eq!(time.nanos(&raw, 0), Some(1_700_000_000_623_456_789));
        let form = Form::Float { big_endian: false };
        let float = Time { channel: Channel { form, ..channel }, offset: 0.0, factor: 1.0 };
        assert_eq!(float.nanos(&12.000_123_456f64.to_le_bytes(), 0), Some(12_000_123_456));
        assert_eq!(float.nanos(&f64::NAN.to_le_bytes(), 0), None);
        let counted =
            Time { channel: Channel { place: Where::Counted, ..U8 }, offset: 0.0, factor: 0.01 };
        assert_eq!(counted.nanos(&[], 3), Some(30_000_000));
    }
}
