//! Small parsers: times and trouble codes. What is printed reads back as the same.

use chrono_tz::Tz;

use crate::protocol::trouble_codes::{
    StatusReading, code_from_three_bytes, code_from_two_bytes, network_code, parse_code,
    parse_failure_type,
};
use crate::read::times::{parse_day, parse_epoch, parse_path_time, parse_time};
use crate::vocabulary::TroubleCode;

/// Times in every form that a table, a path or a report may have.
pub fn times(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    for zone in [Tz::UTC, Tz::Europe__Helsinki, Tz::America__Sao_Paulo] {
        for read in [parse_time(&text, zone), parse_day(&text, zone), parse_path_time(&text, zone)]
        {
            match read {
                Ok(read) => {
                    let again = parse_time(&read.instant.to_string(), zone);
                    assert_eq!(again.map(|r| r.instant), Ok(read.instant), "read back");
                }
                Err(reason) => assert!(!reason.is_empty(), "a refused time has a reason"),
            }
        }
    }
    for decimals in [0, 3, 6, 9] {
        if let Err(reason) = parse_epoch(&text, decimals) {
            assert!(!reason.is_empty());
        }
    }
}

/// Codes as text and as bytes.
pub fn trouble_codes(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    let _ = parse_failure_type(&text);
    if let Ok(code) = parse_code(&text) {
        reads_back(code);
    }
    if let [a, b, rest @ ..] = data {
        let _ = network_code(u16::from_be_bytes([*a, *b]));
        let _ = StatusReading::of_byte(*a);
        let short = code_from_two_bytes([*a, *b]);
        let long = rest.first().and_then(|c| code_from_three_bytes([*a, *b, *c]));
        for code in [short, long].into_iter().flatten() {
            reads_back(code);
        }
    }
}

/// A failure type of zero tells nothing and is not printed; all else reads back as it was.
fn reads_back(code: TroubleCode) {
    let read = parse_code(&code.to_string()).expect("a printed code is a code");
    assert_eq!(read.word, code.word);
    assert_eq!(read.failure_type.unwrap_or(0), code.failure_type.unwrap_or(0));
}
