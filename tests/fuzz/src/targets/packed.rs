//! The door: packed input is streamed in bounded memory whatever its header claims.

use std::io::{Cursor, Read};

use super::file;
use crate::read::opening::unpack;
use crate::read::recognising::recognise;

/// How many unpacked bytes are looked at: enough for any inner state, short enough to fuzz.
const LOOKED_AT: u64 = 8 << 20;

/// Any bytes as a file. Memory is watched by the engine's own limits.
pub fn packed(data: &[u8]) {
    let whole = data.to_vec();
    match unpack(Box::new(Cursor::new(whole)), data.len() as u64, &file()) {
        Ok(mut opened) => {
            assert!(opened.packings.len() <= 2);
            assert!(!opened.refusal("a log").reason.is_empty());
            let mut piece = [0u8; 4096];
            let mut bytes = opened.bytes.by_ref().take(LOOKED_AT);
            let mut given = 0u64;
            loop {
                match bytes.read(&mut piece) {
                    Ok(0) => break,
                    Ok(count) => given += count as u64,
                    Err(error) => {
                        assert!(error.to_string().contains("unpacked bytes"), "{error}");
                        break;
                    }
                }
            }
            if opened.packings.is_empty() {
                let mark = if data.starts_with(&[0xEF, 0xBB, 0xBF]) { 3 } else { 0 };
                assert_eq!(given, (data.len() as u64 - mark).min(LOOKED_AT));
            }
        }
        Err(reject) => assert!(!reject.reason.is_empty()),
    }
}

/// Any first bytes are of some kind, and every kind has its words.
pub fn recognising(data: &[u8]) {
    assert!(!recognise(data).refusal("a log").is_empty());
}
