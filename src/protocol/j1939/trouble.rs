//! DM1 (group 65226, active codes) and DM2 (65227, previously active): lamps and codes by parameter.
//!
//! | byte | content |
//! |---|---|
//! | 1, 2 | lamps and their flash, two bits each |
//! | 3, 4 | SPN bits 7–0, 15–8 |
//! | 5 | SPN bits 18–16, five bits FMI |
//! | 6 | conversion method, seven bits occurrence count |
//!
//! Bytes 3 to 6 repeat. No code is told by `00 00 00 00`; a rest of `FF` is padding. Conversion method 1
//! stands for one of three older byte orders that the message does not tell apart: such a code is
//! read in the order of today and marked as uncertain.

use crate::vocabulary::ParameterCode;

/// The group of the active codes.
pub const ACTIVE: u32 = 65226;
/// The group of the previously active ones.
pub const PREVIOUS: u32 = 65227;

/// The state of a lamp.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lamp {
    /// Off.
    Off,
    /// On.
    On,
    /// The lamp itself is in error.
    Error,
    /// Not available.
    NotAvailable,
}

/// The lamps of a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lamps {
    /// Malfunction indicator.
    pub malfunction: Lamp,
    /// Red stop lamp.
    pub stop: Lamp,
    /// Amber warning lamp.
    pub warning: Lamp,
    /// Protect lamp.
    pub protect: Lamp,
}

/// A list of codes as one node sends it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TroubleList {
    /// The lamps.
    pub lamps: Lamps,
    /// Code and occurrences, in their order; `None`: the count is not available.
    pub codes: Vec<(ParameterCode, Option<u8>)>,
}

/// Reads a list; `None` when the payload is shorter than its smallest form.
#[must_use]
pub fn trouble_list(payload: &[u8]) -> Option<TroubleList> {
    let lamps = *payload.first()?;
    let groups = payload.get(2..)?;
    if groups.len() < 4 {
        return None;
    }
    let codes = groups.chunks_exact(4).filter_map(|g| code([g[0], g[1], g[2], g[3]])).collect();
    let lamp = |shift: u8| match lamps >> shift & 3 {
        0 => Lamp::Off,
        1 => Lamp::On,
        2 => Lamp::Error,
        _ => Lamp::NotAvailable,
    };
    let lamps = Lamps { malfunction: lamp(6), stop: lamp(4), warning: lamp(2), protect: lamp(0) };
    Some(TroubleList { lamps, codes })
}

/// One code and its occurrences; `None` for "no code" and for padding.
#[must_use]
pub fn code(bytes: [u8; 4]) -> Option<(ParameterCode, Option<u8>)> {
    let [low, middle, high, count] = bytes;
    let spn = u32::from(high >> 5) << 16 | u32::from(middle) << 8 | u32::from(low);
    if spn == 0 || bytes == [0xFF; 4] {
        return None;
    }
    let certain = count & 0x80 == 0;
    let occurrences = Some(count & 0x7F).filter(|n| *n != 127);
    Some((ParameterCode { spn, fmi: high & 0x1F, certain }, occurrences))
}

/// What a failure mode says, in words; `None` for a reserved one.
#[must_use]
pub fn failure_mode(fmi: u8) -> Option<&'static str> {
    Some(match fmi {
        0 => "above normal, most severe",
        1 => "below normal, most severe",
        2 => "erratic, intermittent or incorrect",
        3 => "voltage above normal or shorted high",
        4 => "voltage below normal or shorted low",
        5 => "current below normal or open",
        6 => "current above normal or grounded",
        7 => "mechanical not responding",
        8 => "abnormal frequency or pulse width",
        9 => "abnormal update rate",
        10 => "abnormal rate of change",
        11 => "root cause unknown",
        12 => "bad intelligent device",
        13 => "out of calibration",
        14 => "special instructions",
        15 => "above normal, least severe",
        16 => "above normal, moderate",
        17 => "below normal, least severe",
        18 => "below normal, moderate",
        19 => "received network data in error",
        20 => "drifted high",
        21 => "drifted low",
        31 => "condition exists",
        _ => return None,
    })
}

/// What a code by parameter says for the question of the bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Says {
    /// The reporter does not hear the node of this source address.
    NotHeard(u8),
    /// It hears it, but what comes is wrong.
    HeardInvalid(u8),
    /// The network itself is at fault.
    NetworkFault,
    /// The reporter's own supply is low or gone.
    OwnSupply,
    /// Nothing on the bus: also a missing value whose sender the code does not name.
    Other,
}

/// Reads a code. SPN 2000 to 2255 speak of source addresses 0 to 255; 639, 1231, 1235 and 1668 of
/// networks; 158, 168 and 627 of the supply.
#[must_use]
pub fn says(code: ParameterCode) -> Says {
    if !code.certain {
        return Says::Other;
    }
    let low = matches!(code.fmi, 1 | 4 | 17 | 18);
    match (code.spn, code.fmi) {
        (spn @ 2000..=2255, fmi) => {
            let Ok(address) = u8::try_from(spn - 2000) else { return Says::Other };
            match fmi {
                9 | 31 => Says::NotHeard(address),
                2 | 19 => Says::HeardInvalid(address),
                _ => Says::Other,
            }
        }
        (639 | 1231 | 1235 | 1668, 2..=6 | 8 | 9 | 11 | 14 | 19 | 31) => Says::NetworkFault,
        (158 | 168, _) if low => Says::OwnSupply,
        (627, fmi) if low || matches!(fmi, 2 | 5) => Says::OwnSupply,
        _ => Says::Other,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn hex(text: &str) -> Vec<u8> {
        text.split_whitespace().map(|pair| u8::from_str_radix(pair, 16).unwrap()).collect()
    }

    /// EX-3k to 3t: SPN, FMI, occurrences and bytes 3 to 6.
    #[test]
    fn ex_3k_to_3t_codes() {
        for (bytes, spn, fmi, occurrences) in [
            ("7F 02 09 05", 639, 9, Some(5)),
            ("D3 07 09 01", 2003, 9, Some(1)),
            ("DB 07 13 7E", 2011, 19, Some(126)),
            ("CF 04 13 02", 1231, 19, Some(2)),
            ("71 02 09 04", 625, 9, Some(4)),
            ("FF FF FF 7F", 524_287, 31, None),
            ("00 F0 EC 01", 520_192, 12, Some(1)),
            ("A8 00 12 03", 168, 18, Some(3)),
            ("AB 00 02 01", 171, 2, Some(1)),
        ] {
            let expected = (ParameterCode { spn, fmi, certain: true }, occurrences);
            let bytes: [u8; 4] = hex(bytes).try_into().unwrap();
            assert_eq!(code(bytes), Some(expected), "{bytes:02X?}");
        }
        let list = trouble_list(&hex("57 FF 9F 00 03 01")).unwrap();
        let on = Lamp::On;
        let expected =
            Lamps { malfunction: on, stop: on, warning: on, protect: Lamp::NotAvailable };
        assert_eq!(list.lamps, expected);
        assert_eq!(list.codes[0].0.spn, 159);
    }

    #[test]
    fn ex_3u_one_code_and_the_forms_of_none() {
        let list = trouble_list(&hex("04 FF D3 07 09 00 FF FF")).unwrap();
        assert_eq!(list.lamps.warning, Lamp::On);
        assert_eq!(list.codes.len(), 1);
        assert_eq!(says(list.codes[0].0), Says::NotHeard(3));
        for none in
            ["00 FF 00 00 00 00 FF FF", "00 FF 00 00 1F 00 FF FF", "C0 FF FF FF FF FF FF FF"]
        {
            assert_eq!(trouble_list(&hex(none)).unwrap().codes, [], "{none}");
        }
        assert_eq!(trouble_list(&hex("00 FF 00 00 00")), None);
    }

    #[test]
    fn an_older_byte_order_accuses_nobody() {
        let (code, _) = code([0xD3, 0x07, 0x09, 0x81]).unwrap();
        assert!(!code.certain);
        assert_eq!(says(code), Says::Other);
    }

    /// EX-3z: SPN 2011 FMI 9, from whomever, accuses the brakes (address 11).
    #[test]
    fn what_codes_say() {
        for (spn, fmi, expected) in [
            (2011, 9, Says::NotHeard(11)),
            (2003, 31, Says::NotHeard(3)),
            (2255, 9, Says::NotHeard(255)),
            (2011, 19, Says::HeardInvalid(11)),
            (2011, 12, Says::Other),
            (639, 9, Says::NetworkFault),
            (168, 18, Says::OwnSupply),
            (168, 16, Says::Other),
            (627, 4, Says::OwnSupply),
            (191, 9, Says::Other),
            (1999, 9, Says::Other),
        ] {
            let code = ParameterCode { spn, fmi, certain: true };
            assert_eq!(says(code), expected, "{spn} {fmi}");
        }
        assert_eq!(failure_mode(9), Some("abnormal update rate"));
        assert_eq!(failure_mode(25), None);
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn no_payload_makes_it_panic(payload in prop::collection::vec(any::<u8>(), 0..64)) {
            if let Some(list) = trouble_list(&payload) {
                for (code, _) in list.codes {
                    prop_assert!(code.spn < 1 << 19 && code.fmi < 32);
                    let _ = says(code);
                }
            }
        }
    }
}
