//! The legislated services of SAE J1979 on CAN (ISO 15765-4): codes and live values.
//!
//! In: whole payloads of ISO-TP messages. Codes: services 03 (stored), 07 (pending), 0A (permanent), a
//! count, then two bytes each; 02 with parameter 02 names the code that froze a frame. Live values:
//! service 01, several parameters in a row. A parameter whose length is not in the table ends the walk.

use super::live_values::Quantity;
use super::trouble_codes::code_from_two_bytes;
use crate::vocabulary::{CodeStatus, TroubleCode};

/// Codes of an answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EmissionCodes {
    /// The service that asked for them.
    pub service: u8,
    /// Their status: what the service asks for.
    pub status: CodeStatus,
    /// The codes in their order.
    pub codes: Vec<TroubleCode>,
}

/// Reads the codes of an answer; `None` when the payload is no such answer.
#[must_use]
pub fn codes(payload: &[u8]) -> Option<EmissionCodes> {
    let (first, body) = payload.split_first()?;
    let service = first.checked_sub(0x40)?;
    let status = match service {
        0x03 => CodeStatus::Confirmed,
        0x07 => CodeStatus::Pending,
        0x0A => CodeStatus::Stored,
        0x02 => {
            // Parameter 02 of a frame: the code that froze it.
            let [0x02, _, high, low] = *body else { return None };
            let codes = code_from_two_bytes([high, low]).into_iter().collect();
            return Some(EmissionCodes { service, status: CodeStatus::Stored, codes });
        }
        _ => return None,
    };
    let (count, rest) = body.split_first()?;
    let pairs = rest.chunks_exact(2).take(usize::from(*count));
    let codes = pairs.filter_map(|p| code_from_two_bytes([p[0], p[1]])).collect();
    Some(EmissionCodes { service, status, codes })
}

/// Bytes of each parameter of service 01, 00 to 5E; 0 where this table does not know it.
/// From memory of SAE J1979; 55 to 58 have one or two bytes and are left out.
const LENGTHS: [u8; 0x5F] = [
    4, 4, 2, 2, 1, 1, 1, 1, 1, 1, 1, 1, 2, 1, 1, 1, // 00
    2, 1, 1, 1, 2, 2, 2, 2, 2, 2, 2, 2, 1, 1, 1, 2, // 10
    4, 2, 2, 2, 4, 4, 4, 4, 4, 4, 4, 4, 1, 1, 1, 1, // 20
    1, 2, 2, 1, 4, 4, 4, 4, 4, 4, 4, 4, 2, 2, 2, 2, // 30
    4, 4, 2, 2, 2, 1, 1, 1, 1, 1, 1, 1, 1, 2, 2, 4, // 40
    4, 1, 1, 2, 2, 0, 0, 0, 0, 2, 1, 1, 1, 2, 2, // 50
];

/// The live values of an answer of service 01, in their order.
#[must_use]
pub fn live_values(payload: &[u8]) -> Vec<(Quantity, f64)> {
    let mut found = Vec::new();
    let Some((0x41, mut rest)) = payload.split_first() else { return found };
    while let [parameter, tail @ ..] = rest {
        let length = LENGTHS.get(usize::from(*parameter)).copied().unwrap_or(0);
        let (true, Some(bytes)) = (length > 0, tail.get(..usize::from(length))) else { break };
        found.extend(live_value(*parameter, bytes));
        rest = &tail[usize::from(length)..];
    }
    found
}

/// One parameter's value, when it is one that bears on the bus.
fn live_value(parameter: u8, bytes: &[u8]) -> Option<(Quantity, f64)> {
    let byte = || bytes.first().map(|a| f64::from(*a));
    let word = || Some(f64::from(u16::from_be_bytes(bytes.get(..2)?.try_into().ok()?)));
    Some(match parameter {
        0x05 => (Quantity::CoolantC, byte()? - 40.0),
        0x0C => (Quantity::EngineRpm, word()? / 4.0),
        0x0F => (Quantity::IntakeC, byte()? - 40.0),
        0x1F => (Quantity::EngineRunS, word()?),
        0x42 => (Quantity::SupplyV, word()? / 1000.0),
        0x46 => (Quantity::AmbientC, byte()? - 40.0),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn hex(text: &str) -> Vec<u8> {
        text.split_whitespace().map(|pair| u8::from_str_radix(pair, 16).unwrap()).collect()
    }

    /// EX-1A to 1D (payloads without their length byte), and one more of each service.
    #[test]
    fn ex_1a_to_1d_codes() {
        use CodeStatus::{Confirmed, Pending, Stored};
        for (payload, expected) in [
            ("43 02 C1 00 C0 73 00", Some((Confirmed, vec!["U0100", "U0073"]))),
            ("43 00", Some((Confirmed, vec![]))),
            ("42 02 00 C1 00", Some((Stored, vec!["U0100"]))),
            ("42 05 00 21", None),
            ("47 01 C1 21", Some((Pending, vec!["U0121"]))),
            ("4A 01 05 62", Some((Stored, vec!["P0562"]))),
            ("43 03 C1 00 00 00", Some((Confirmed, vec!["U0100"]))),
            ("41 05 7B", None),
        ] {
            let found = codes(&hex(payload))
                .map(|c| (c.status, c.codes.iter().map(ToString::to_string).collect::<Vec<_>>()));
            let expected = expected.map(|(s, c)| (s, c.into_iter().map(str::to_owned).collect()));
            assert_eq!(found, expected, "{payload}");
        }
    }

    /// FACTS 1.5, the examples as printed there, alone and in a row.
    #[test]
    fn live_values_alone_and_in_a_row() {
        use Quantity::{AmbientC, CoolantC, EngineRpm, EngineRunS, IntakeC, SupplyV};
        for (payload, expected) in [
            ("41 05 7B", vec![(CoolantC, 83.0)]),
            ("41 05 21", vec![(CoolantC, -7.0)]),
            ("41 05 00", vec![(CoolantC, -40.0)]),
            ("41 0C 1A F8", vec![(EngineRpm, 1726.0)]),
            ("41 0F 32", vec![(IntakeC, 10.0)]),
            ("41 1F 01 2C", vec![(EngineRunS, 300.0)]),
            ("41 1F FF FF", vec![(EngineRunS, 65_535.0)]),
            ("41 42 36 B0", vec![(SupplyV, 14.0)]),
            ("41 42 24 54", vec![(SupplyV, 9.3)]),
            ("41 46 21", vec![(AmbientC, -7.0)]),
            ("41 46 46", vec![(AmbientC, 30.0)]),
            ("41 05 7B 0D 32 42 36 B0", vec![(CoolantC, 83.0), (SupplyV, 14.0)]),
            ("41 05 7B 56 01 42 36 B0", vec![(CoolantC, 83.0)]),
            ("41 42 36", vec![]),
            ("7F 01 12", vec![]),
        ] {
            assert_eq!(live_values(&hex(payload)), expected, "{payload}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn no_payload_makes_it_panic(payload in prop::collection::vec(any::<u8>(), 0..64)) {
            let _ = codes(&payload);
            prop_assert!(live_values(&payload).len() <= payload.len());
        }
    }
}
