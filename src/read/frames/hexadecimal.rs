//! Hexadecimal digits, eight at a time, without branches that data decides.
//!
//! The trick is the usual one of working on all bytes of a word at once: each byte is checked to be
//! a digit or a letter A–F (either case), turned into its value, and neighbours are packed.

const ONES: u64 = 0x0101_0101_0101_0101;
const HIGH: u64 = 0x8080_8080_8080_8080;

/// Eight hexadecimal digits as four bytes, the first digit most significant; `None` when one of
/// the eight is not a hexadecimal digit.
#[inline]
pub(super) fn eight(digits: [u8; 8]) -> Option<u32> {
    let word = u64::from_le_bytes(digits);
    // Adding to bytes below 0x80 cannot carry into the neighbour; bytes above are refused.
    let low = word & !HIGH;
    let is_digit = (low + ONES * (0x80 - 0x30)) & !(low + ONES * (0x80 - 0x3A));
    let letter = low | (ONES * 0x20);
    let is_letter = (letter + ONES * (0x80 - 0x61)) & !(letter + ONES * (0x80 - 0x67));
    if (is_digit | is_letter) & HIGH & !word != HIGH {
        return None;
    }
    let nibbles = (word & (ONES * 0x0F)) + 9 * ((word >> 6) & ONES);
    let pairs = ((nibbles << 4) | (nibbles >> 8)) & 0x00FF_00FF_00FF_00FF;
    let quads = (pairs | (pairs >> 8)) & 0x0000_FFFF_0000_FFFF;
    let packed = quads | (quads >> 16);
    #[expect(clippy::cast_possible_truncation, reason = "the upper half is a leftover of packing")]
    let bytes = packed as u32;
    Some(bytes.swap_bytes())
}

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
    fn one_digit() {
        for byte in 0..=255u8 {
            let expected = char::from(byte).to_digit(16).filter(|_| byte < 128);
            let found = nibble(byte);
            assert_eq!(if found == 0xFF { None } else { Some(u32::from(found)) }, expected);
        }
    }
}
