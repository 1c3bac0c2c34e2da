//! A trouble code as bytes.
//!
//! Two bytes, high byte first: bits 15 and 14 give the letter (P, C, B, U), bits 13 and 12 the first
//! digit, and the three lower nibbles three hex digits. A third byte is the failure type.
//! `00 00` is padding: no code.

use crate::vocabulary::TroubleCode;

/// The code in two bytes as services 03, 07 and 0A give them; `None` for the padding `00 00`.
#[must_use]
pub fn code_from_two_bytes(bytes: [u8; 2]) -> Option<TroubleCode> {
    let word = u16::from_be_bytes(bytes);
    (word != 0).then_some(TroubleCode { word, failure_type: None })
}

/// The code in three bytes as service 19 gives them; `None` for the padding `00 00 00`.
#[must_use]
pub fn code_from_three_bytes(bytes: [u8; 3]) -> Option<TroubleCode> {
    let [high, low, failure_type] = bytes;
    let word = u16::from_be_bytes([high, low]);
    let padding = word == 0 && failure_type == 0;
    (!padding).then_some(TroubleCode { word, failure_type: Some(failure_type) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::protocol::trouble_codes::parse_code;

    /// EX-1a to EX-1m: bytes and text of the same code.
    const PAIRS: [([u8; 2], &str); 13] = [
        ([0xC1, 0x00], "U0100"),
        ([0xC0, 0x73], "U0073"),
        ([0xC1, 0x21], "U0121"),
        ([0xC1, 0x26], "U0126"),
        ([0xC2, 0x9A], "U029A"),
        ([0xD0, 0x00], "U1000"),
        ([0xC4, 0x5A], "U045A"),
        ([0x40, 0x35], "C0035"),
        ([0x90, 0x00], "B1000"),
        ([0x01, 0x43], "P0143"),
        ([0x05, 0x62], "P0562"),
        ([0xF0, 0x03], "U3003"),
        ([0xE1, 0x11], "U2111"),
    ];

    #[test]
    fn ex_1a_to_1m_both_ways() {
        for (bytes, text) in PAIRS {
            let code = code_from_two_bytes(bytes).expect(text);
            assert_eq!(code.to_string(), text);
            assert_eq!(parse_code(text), Ok(code));
        }
    }

    #[test]
    fn ex_1n_padding_and_the_last_word() {
        assert_eq!(code_from_two_bytes([0, 0]), None);
        assert_eq!(code_from_three_bytes([0, 0, 0]), None);
        assert_eq!(code_from_two_bytes([0xFF, 0xFF]).unwrap().to_string(), "U3FFF");
    }

    #[test]
    fn ex_1x_the_codes_of_a_service_19_answer() {
        let payload = [0xC1, 0x21, 0x87, 0x2F, 0xC0, 0x73, 0x88, 0x08, 0xC1, 0x40, 0x87, 0x08];
        let codes: Vec<String> = payload
            .chunks_exact(4)
            .filter_map(|c| code_from_three_bytes([c[0], c[1], c[2]]))
            .map(|code| code.to_string())
            .collect();
        assert_eq!(codes, ["U0121-87", "U0073-88", "U0140-87"]);
    }

    #[test]
    fn every_word_survives_its_text() {
        for word in 0..=u16::MAX {
            let code = TroubleCode { word, failure_type: None };
            assert_eq!(parse_code(&code.to_string()), Ok(code));
        }
    }
}
