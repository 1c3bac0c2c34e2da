//! UDS (ISO 14229-1) as far as it tells of modules and their codes: requests, answers, codes read.
//!
//! In: whole payloads of ISO-TP messages. A payload that is too short for what it claims is read as
//! far as it is whole; nothing is guessed.

use super::trouble_codes::code_from_three_bytes;
use crate::vocabulary::{CodeStatus, TroubleCode};

/// Service of a negative answer.
const NEGATIVE: u8 = 0x7F;
/// What an answer adds to the service it answers.
const ANSWERED: u8 = 0x40;
/// Services of UDS and of SAE J1979 that a tester asks.
const SERVICES: [u8; 36] = [
    0x01, 0x02, 0x03, 0x04, 0x06, 0x07, 0x08, 0x09, 0x0A, 0x10, 0x11, 0x14, 0x19, 0x22, 0x23, 0x24,
    0x27, 0x28, 0x29, 0x2A, 0x2C, 0x2E, 0x2F, 0x31, 0x34, 0x35, 0x36, 0x37, 0x38, 0x3D, 0x3E, 0x83,
    0x84, 0x85, 0x86, 0x87,
];
/// Of these, services whose first parameter is a sub-function with the bit "do not answer".
const WITH_SUB_FUNCTION: [u8; 12] =
    [0x10, 0x11, 0x19, 0x27, 0x28, 0x29, 0x2C, 0x31, 0x3E, 0x83, 0x85, 0x86];

/// Read codes.
pub const READ_CODES: u8 = 0x19;
/// Clear codes.
pub const CLEAR_CODES: u8 = 0x14;
/// The same in SAE J1979.
pub const CLEAR_EMISSION_CODES: u8 = 0x04;
/// The tester only says that it is there.
pub const TESTER_PRESENT: u8 = 0x3E;

/// What a tester asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Request {
    /// The service.
    pub service: u8,
    /// Whether an answer is due: the tester may forbid it.
    pub answer_due: bool,
}

/// Reads a request; `None` when no such service is known.
#[must_use]
pub fn request(payload: &[u8]) -> Option<Request> {
    let service = *payload.first()?;
    if !SERVICES.contains(&service) {
        return None;
    }
    let forbidden = WITH_SUB_FUNCTION.contains(&service)
        && payload.get(1).is_some_and(|sub_function| sub_function & 0x80 != 0);
    Some(Request { service, answer_due: !forbidden })
}

/// What a module answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer<'a> {
    /// It does as asked; the bytes behind the service.
    Positive {
        /// The service that it answers.
        service: u8,
        /// What follows.
        body: &'a [u8],
    },
    /// It refuses, or asks for time.
    Negative {
        /// The service that it answers.
        service: u8,
        /// Why.
        why: Refusal,
    },
}

impl Answer<'_> {
    /// The service that is answered.
    #[must_use]
    pub fn service(&self) -> u8 {
        match self {
            Answer::Positive { service, .. } | Answer::Negative { service, .. } => *service,
        }
    }
}

/// The code of a negative answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Refusal(pub u8);

impl Refusal {
    /// A gateway answers for a node behind it that does not.
    pub const NO_RESPONSE_BEHIND: Refusal = Refusal(0x25);
    /// A failure prevents that it is done.
    pub const FAILURE_PREVENTS: Refusal = Refusal(0x26);
    /// The answer will come later.
    pub const PENDING: Refusal = Refusal(0x78);

    /// In words; `None` for a code of the maker or a reserved one.
    #[must_use]
    pub fn words(self) -> Option<&'static str> {
        Some(match self.0 {
            0x10 => "general reject",
            0x11 => "service not supported",
            0x12 => "sub-function not supported",
            0x13 => "wrong length or format",
            0x14 => "answer too long",
            0x21 => "busy",
            0x22 => "conditions not correct",
            0x24 => "wrong sequence",
            0x25 => "no response from the node behind",
            0x26 => "a failure prevents it",
            0x31 => "out of range",
            0x33 => "access denied",
            0x34 => "authentication needed",
            0x35 => "wrong key",
            0x36 => "too many attempts",
            0x37 => "too early",
            0x70..=0x73 => "transfer refused",
            0x78 => "answer pending",
            0x7E | 0x7F => "not in this session",
            0x81..=0x91 => "state of the vehicle forbids it",
            0x92 => "voltage too high",
            0x93 => "voltage too low",
            0x94 => "resource not available",
            _ => return None,
        })
    }
}

/// Reads an answer; `None` when it answers no known service.
#[must_use]
pub fn answer(payload: &[u8]) -> Option<Answer<'_>> {
    let (first, body) = payload.split_first()?;
    if *first == NEGATIVE {
        let (service, why) = (*body.first()?, *body.get(1)?);
        return Some(Answer::Negative { service, why: Refusal(why) });
    }
    let service = first.checked_sub(ANSWERED)?;
    SERVICES.contains(&service).then_some(Answer::Positive { service, body })
}

/// What an answer of service 19 tells of the codes of a module.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CodesRead {
    /// How many codes there are, not which; the number for the format of the code is the standard's.
    Count {
        /// Format of the codes.
        format: u8,
        /// How many.
        codes: u16,
    },
    /// Codes with their status. The list is `whole` when it holds every code of the memory asked.
    List {
        /// Whether it holds all codes that fit the mask.
        whole: bool,
        /// The codes in their order.
        codes: Vec<(TroubleCode, CodeStatus)>,
    },
}

/// Reads the body of a positive answer of service 19 (behind the `59`); `None` for reports without
/// codes and their status. `cut` says that bytes are missing at the end.
#[must_use]
pub fn codes_read(body: &[u8], cut: bool) -> Option<CodesRead> {
    let (report, rest) = body.split_first()?;
    let list = |skip: usize, size: usize, at: usize, whole: bool| {
        let records = rest.get(skip..)?.chunks_exact(size);
        let codes = records.filter_map(|r| with_status(r.get(at..at + 4)?)).collect();
        Some(CodesRead::List { whole: whole && !cut, codes })
    };
    match report {
        0x01 | 0x07 => {
            let [_, format, high, low] = *rest.get(..4)? else { return None };
            Some(CodesRead::Count { format, codes: u16::from_be_bytes([high, low]) })
        }
        // By mask: availability mask, then code and status.
        0x02 => list(1, 4, 0, true),
        0x0A | 0x0B..=0x0E | 0x15 => list(1, 4, 0, false),
        // By severity: mask, then severity, function, code and status.
        0x08 | 0x09 => list(1, 6, 2, false),
        // One code: its status, then records that are the maker's own.
        0x04 | 0x06 => {
            let codes = with_status(rest.get(..4)?).into_iter().collect();
            Some(CodesRead::List { whole: false, codes })
        }
        // User memory: memory and mask.
        0x17 => list(2, 4, 0, false),
        // World-wide harmonised: group, two masks and format, then severity, code and status; and
        // the permanent ones: group, mask and format, then code and status.
        0x42 => list(4, 5, 1, false),
        0x55 => list(3, 4, 0, false),
        _ => None,
    }
}

fn with_status(record: &[u8]) -> Option<(TroubleCode, CodeStatus)> {
    let [high, middle, low, status] = *record else { return None };
    Some((code_from_three_bytes([high, middle, low])?, CodeStatus::Raw(status)))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn hex(text: &str) -> Vec<u8> {
        text.split_whitespace().map(|pair| u8::from_str_radix(pair, 16).unwrap()).collect()
    }

    /// Codes and status of an answer, as text.
    fn read(payload: &str) -> Option<(bool, Vec<String>)> {
        let payload = hex(payload);
        let Answer::Positive { service: READ_CODES, body } = answer(&payload)? else { return None };
        match codes_read(body, false)? {
            CodesRead::List { whole, codes } => {
                Some((whole, codes.iter().map(|(c, s)| format!("{c} {s}")).collect()))
            }
            CodesRead::Count { .. } => None,
        }
    }

    #[test]
    fn ex_1x_to_1z_answers_of_service_19() {
        for (payload, whole, codes) in [
            (
                "59 02 FF C1 21 87 2F C0 73 88 08 C1 40 87 08",
                true,
                &["U0121-87 0x2F", "U0073-88 0x08", "U0140-87 0x08"][..],
            ),
            ("59 02 FF", true, &[]),
            ("59 0A FF C1 21 87 50 C0 73 88", false, &["U0121-87 0x50"]),
            ("59 06 C1 21 87 2F 01 03 04", false, &["U0121-87 0x2F"]),
            ("59 08 FF 20 10 C1 21 87 2F", false, &["U0121-87 0x2F"]),
            ("59 42 33 FF 02 04 20 C1 21 87 2F", false, &["U0121-87 0x2F"]),
            ("59 55 33 FF 04 C1 21 87 08", false, &["U0121-87 0x08"]),
            ("59 17 01 FF C1 21 87 08", false, &["U0121-87 0x08"]),
            ("59 02 FF 00 00 00 00", true, &[]),
        ] {
            let expected = codes.iter().map(|c| (*c).to_owned()).collect();
            assert_eq!(read(payload), Some((whole, expected)), "{payload}");
        }
        let counted = codes_read(&hex("01 FF 01 00 03"), false);
        assert_eq!(counted, Some(CodesRead::Count { format: 1, codes: 3 }));
        assert_eq!(codes_read(&hex("03 C1 21 87 01"), false), None);
        let pending = hex("7F 19 78");
        let expected = Answer::Negative { service: 0x19, why: Refusal::PENDING };
        assert_eq!(answer(&pending), Some(expected));
    }

    #[test]
    fn negative_answers_in_words() {
        for (code, part) in [
            (0x11, "not supported"),
            (0x25, "behind"),
            (0x26, "failure"),
            (0x78, "pending"),
            (0x93, "too low"),
        ] {
            assert!(Refusal(code).words().unwrap().contains(part), "{code:02X}");
        }
        assert_eq!(Refusal(0xF5).words(), None);
    }

    #[test]
    fn the_tester_may_forbid_an_answer() {
        for (payload, expected) in [
            ("3E 80", Some((0x3E, false))),
            ("3E 00", Some((0x3E, true))),
            ("19 02 FF", Some((0x19, true))),
            ("22 80 01", Some((0x22, true))),
            ("7F 19 78", None),
            ("59 02 FF", None),
        ] {
            let found = request(&hex(payload)).map(|r| (r.service, r.answer_due));
            assert_eq!(found, expected, "{payload}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn no_payload_makes_it_panic(payload in prop::collection::vec(any::<u8>(), 0..64), cut: bool) {
            let _ = request(&payload);
            let _ = answer(&payload);
            if let Some(CodesRead::List { codes, .. }) = codes_read(&payload, cut) {
                prop_assert!(codes.len() * 4 <= payload.len());
            }
        }
    }
}
