//! Hexadecimal digits, eight or sixteen at a time, without branches that data decides.
//!
//! The trick is the usual one of working on all bytes of a word at once: each byte is checked to be
//! a digit or a letter A–F (either case), turned into its value, and neighbours are packed.

const ONES: u64 = 0x0101_0101_0101_0101;
const HIGH: u64 = 0x8080_8080_8080_8080;

/// Hexadecimal digits at the beginning of eight bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Digits {
    /// Their values, the first digit most significant; what follows the digits is arbitrary from the
    /// next whole byte on.
    pub value: u32,
    /// How many bytes are digits, from the first on: 0 to 8.
    pub count: u32,
}

/// The digits that eight bytes (the first in the lowest place) begin with.
#[inline]
pub(super) fn digits(word: u64) -> Digits {
    let wrong = !hexadecimal(word) & HIGH;
    // Each wrong byte has its highest bit set; without one there are 64 zeros, which is eight bytes.
    Digits { value: packed(word), count: wrong.trailing_zeros() >> 3 }
}

/// Whether all of the eight bytes are hexadecimal digits.
#[inline]
pub(super) fn all_hexadecimal(digits: [u8; 8]) -> bool {
    hexadecimal(u64::from_le_bytes(digits)) & HIGH == HIGH
}

/// Eight hexadecimal digits as four bytes, the first digit most significant; `None` when one of
/// the eight is not a hexadecimal digit.
#[inline]
pub(super) fn eight(digits: [u8; 8]) -> Option<u32> {
    let word = u64::from_le_bytes(digits);
    (hexadecimal(word) & HIGH == HIGH).then(|| packed(word))
}

/// Sixteen hexadecimal digits in two words as eight bytes, the first digit most significant; `None` when one of
/// them is not a hexadecimal digit.
#[inline]
pub(super) fn sixteen(first: u64, second: u64) -> Option<u64> {
    #[cfg(target_arch = "x86_64")]
    #[expect(
        unsafe_code,
        reason = "every x86-64 processor has SSE2, which is all that this asks for"
    )]
    unsafe {
        sixteen_at_once(first, second)
    }
    #[cfg(not(target_arch = "x86_64"))]
    sixteen_by_words(first, second)
}

/// [`sixteen`] on any processor.
#[cfg(any(test, not(target_arch = "x86_64")))]
#[inline]
fn sixteen_by_words(first: u64, second: u64) -> Option<u64> {
    let all = hexadecimal(first) & hexadecimal(second) & HIGH == HIGH;
    all.then(|| u64::from(packed(first)) << 32 | u64::from(packed(second)))
}

/// [`sixteen`] with registers of sixteen bytes.
#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "sse2")]
#[inline]
fn sixteen_at_once(first: u64, second: u64) -> Option<u64> {
    use std::arch::x86_64::{
        _mm_add_epi8, _mm_and_si128, _mm_cmpeq_epi8, _mm_cvtsi128_si64, _mm_min_epu8,
        _mm_movemask_epi8, _mm_or_si128, _mm_packus_epi16, _mm_set_epi64x, _mm_set1_epi8,
        _mm_set1_epi16, _mm_slli_epi16, _mm_srli_epi16, _mm_sub_epi8,
    };
    let text = _mm_set_epi64x(second.cast_signed(), first.cast_signed());
    let digit = _mm_sub_epi8(text, _mm_set1_epi8(0x30));
    let is_digit = _mm_cmpeq_epi8(_mm_min_epu8(digit, _mm_set1_epi8(9)), digit);
    let letter = _mm_sub_epi8(_mm_or_si128(text, _mm_set1_epi8(0x20)), _mm_set1_epi8(0x61));
    let is_letter = _mm_cmpeq_epi8(_mm_min_epu8(letter, _mm_set1_epi8(5)), letter);
    if _mm_movemask_epi8(_mm_or_si128(is_digit, is_letter)) != 0xFFFF {
        return None;
    }
    let low = _mm_and_si128(text, _mm_set1_epi8(0x0F));
    let halves = _mm_add_epi8(low, _mm_and_si128(is_letter, _mm_set1_epi8(9)));
    // Of each pair the first digit is the upper half.
    let pairs = _mm_or_si128(_mm_slli_epi16::<4>(halves), _mm_srli_epi16::<8>(halves));
    let pairs = _mm_and_si128(pairs, _mm_set1_epi16(0xFF));
    Some(_mm_cvtsi128_si64(_mm_packus_epi16(pairs, pairs)).cast_unsigned().swap_bytes())
}

/// The highest bit of each byte tells whether the byte is a hexadecimal digit.
#[inline]
fn hexadecimal(word: u64) -> u64 {
    // Adding to bytes below 0x80 cannot carry into the neighbour; bytes above are refused.
    let low = word & !HIGH;
    let is_digit = (low + ONES * (0x80 - 0x30)) & !(low + ONES * (0x80 - 0x3A));
    let letter = low | (ONES * 0x20);
    let is_letter = (letter + ONES * (0x80 - 0x61)) & !(letter + ONES * (0x80 - 0x67));
    (is_digit | is_letter) & !word
}

/// The values of eight digits; bytes that are none give a value for their own half byte only.
#[inline]
fn packed(word: u64) -> u32 {
    let nibbles = ((word & (ONES * 0x0F)) + 9 * ((word >> 6) & ONES)) & (ONES * 0x0F);
    let pairs = ((nibbles << 4) | (nibbles >> 8)) & 0x00FF_00FF_00FF_00FF;
    let quads = (pairs | (pairs >> 8)) & 0x0000_FFFF_0000_FFFF;
    let packed = quads | (quads >> 16);
    #[expect(clippy::cast_possible_truncation, reason = "the upper half is a leftover of packing")]
    let bytes = packed as u32;
    bytes.swap_bytes()
}

/// The value of every byte as a hexadecimal digit; a large number for what is none.
pub(super) static HALF_OF: [u32; 256] = {
    let mut table = [0xFFFF; 256];
    let mut byte = 0u8;
    loop {
        if nibble(byte) != 0xFF {
            table[byte as usize] = nibble(byte) as u32;
        }
        if byte == u8::MAX {
            break table;
        }
        byte += 1;
    }
};

/// The value of one hexadecimal digit; 0xFF for anything else.
#[inline]
pub(super) const fn nibble(digit: u8) -> u8 {
    match digit {
        b'0'..=b'9' => digit - b'0',
        b'A'..=b'F' => digit - b'A' + 10,
        b'a'..=b'f' => digit - b'a' + 10,
        _ => 0xFF,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eight_digits_equal_the_standard_library_for_every_byte_in_every_place() {
        for place in 0..8 {
            for byte in 0..=255u8 {
                let mut digits = *b"0aF93bC7";
                digits[place] = byte;
                let expected = std::str::from_utf8(&digits)
                    .ok()
                    .filter(|t| t.bytes().all(|b| b.is_ascii_hexdigit()))
                    .and_then(|t| u32::from_str_radix(t, 16).ok());
                assert_eq!(eight(digits), expected, "byte {byte:#x} at {place}");
            }
        }
    }

    #[test]
    fn sixteen_digits_equal_the_standard_library_for_every_byte_in_every_place() {
        let word = |text: &[u8]| u64::from_le_bytes(text.try_into().expect("eight bytes"));
        for place in 0..16 {
            for byte in 0..=255u8 {
                let mut digits = *b"0aF93bC7e5D1f86A";
                digits[place] = byte;
                let expected = std::str::from_utf8(&digits)
                    .ok()
                    .filter(|t| t.bytes().all(|b| b.is_ascii_hexdigit()))
                    .and_then(|t| u64::from_str_radix(t, 16).ok());
                let (first, second) = (word(&digits[..8]), word(&digits[8..]));
                assert_eq!(sixteen_by_words(first, second), expected, "byte {byte:#x} at {place}");
                assert_eq!(sixteen(first, second), expected, "byte {byte:#x} at {place}");
            }
        }
    }

    #[test]
    fn digits_before_any_other_byte_are_counted_and_kept() {
        for place in 0..8 {
            for byte in (0..=255u8).filter(|b| !b.is_ascii_hexdigit()) {
                let mut text = *b"0aF93bC7";
                text[place] = byte;
                let found = digits(u64::from_le_bytes(text));
                assert_eq!(found.count as usize, place, "byte {byte:#x} at {place}");
                let kept = place / 2 * 2;
                let value = text[..kept].iter().fold(0u64, |n, d| n << 4 | u64::from(nibble(*d)));
                assert_eq!(u64::from(found.value) >> (32 - 4 * kept), value);
                assert!(!all_hexadecimal(text));
            }
        }
        let all = digits(u64::from_le_bytes(*b"0aF93bC7"));
        assert_eq!((all.count, all.value), (8, 0x0AF9_3BC7));
    }

    #[test]
    fn one_digit() {
        for byte in 0..=255u8 {
            let expected = char::from(byte).to_digit(16).filter(|_| byte < 128);
            let found = nibble(byte);
            assert_eq!(if found == 0xFF { None } else { Some(u32::from(found)) }, expected);
            assert_eq!(HALF_OF[usize::from(byte)], expected.unwrap_or(0xFFFF));
        }
    }
}
