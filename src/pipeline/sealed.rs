//! Values as bytes for the way between two machines, under a hash: what was cut or changed is refused.
//!
//! ```text
//! content hash of the rest, 16 bytes little-endian    the value as MessagePack, fields by position
//! ```
//!
//! Numbers come back to the bit, infinite ones too, which JSON could not carry. Both sides are the same version of
//! the program (the engine sees to that), so positions say enough.

use std::io::Read as _;

use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::facts::content_hash;

/// No value that was packed may be larger than this.
const LARGEST: u64 = 1 << 30;
/// How hard is packed: timestamps and repeated names are gone at the lowest effort.
const EFFORT: i32 = 1;

/// A value as bytes.
pub(super) fn sealed<T: Serialize>(value: &T, what: &str) -> Result<Vec<u8>, String> {
    let body = rmp_serde::to_vec(value).map_err(|e| format!("{what} cannot be written: {e}"))?;
    Ok(under_hash(&body))
}

/// The value again.
pub(super) fn unsealed<T: DeserializeOwned>(bytes: &[u8], what: &str) -> Result<T, String> {
    read(checked(bytes, what)?, what)
}

/// A large value as bytes, packed.
pub(super) fn packed<T: Serialize>(value: &T, what: &str) -> Result<Vec<u8>, String> {
    let failed = |e: &dyn std::fmt::Display| format!("{what} cannot be written: {e}");
    let body = rmp_serde::to_vec(value).map_err(|e| failed(&e))?;
    Ok(under_hash(&zstd::encode_all(body.as_slice(), EFFORT).map_err(|e| failed(&e))?))
}

/// The large value again.
pub(super) fn unpacked<T: DeserializeOwned>(bytes: &[u8], what: &str) -> Result<T, String> {
    let failed = |e: std::io::Error| format!("not {what}: {e}");
    let mut body = Vec::new();
    let unpacking = zstd::Decoder::new(checked(bytes, what)?).map_err(failed)?;
    unpacking.take(LARGEST).read_to_end(&mut body).map_err(failed)?;
    read(&body, what)
}

fn under_hash(body: &[u8]) -> Vec<u8> {
    [&content_hash(body).to_le_bytes()[..], body].concat()
}

fn checked<'b>(bytes: &'b [u8], what: &str) -> Result<&'b [u8], String> {
    match bytes.split_first_chunk::<16>() {
        Some((hash, body)) if u128::from_le_bytes(*hash) == content_hash(body) => Ok(body),
        Some(_) => Err(format!("not {what}: it was changed on the way")),
        None => Err(format!("not {what}: {} bytes", bytes.len())),
    }
}

fn read<T: DeserializeOwned>(body: &[u8], what: &str) -> Result<T, String> {
    rmp_serde::from_slice(body).map_err(|e| format!("not {what}: {e}"))
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::vocabulary::{Mechanism, Place, Suspect, Verdict};

    #[test]
    fn numbers_come_back_to_the_bit() {
        let numbers = [100.1 / 3.0, -0.0, f64::INFINITY, f64::NAN, f64::MIN_POSITIVE / 8.0, 7.0];
        let sent = (numbers, Some(f64::NEG_INFINITY), None::<f64>, i64::MIN, u64::MAX);
        let bits = |of: &[f64; 6]| of.map(f64::to_bits);
        for there_and_back in [
            unsealed(&sealed(&sent, "numbers").expect("bytes"), "numbers"),
            unpacked(&packed(&sent, "numbers").expect("bytes"), "numbers"),
        ] {
            let come: ([f64; 6], Option<f64>, Option<f64>, i64, u64) =
                there_and_back.expect("numbers");
            assert_eq!(bits(&come.0), bits(&sent.0));
            assert_eq!((come.1, come.2, come.3, come.4), (sent.1, sent.2, sent.3, sent.4));
        }
    }

    #[test]
    fn names_and_places_come_back_to_the_letter() {
        let file: Arc<str> = "scans/a:7".into();
        let sent = (
            [Suspect::Node(" node:lift ".to_owned()), Suspect::Bus(String::new()), Suspect::None],
            [Verdict::Suspect(Suspect::Supply), Verdict::Undecided, Verdict::Quiet],
            [
                Place::whole(&file),
                Place::line(&file, 7),
                Place::byte(&file, 0),
                Place::page(&file, 1, 2),
            ],
            Mechanism::DropsOut,
        );
        let bytes = sealed(&sent, "names").expect("bytes");
        assert_eq!(unsealed(&bytes, "names").as_ref(), Ok(&sent));
        // For people they are texts as ever.
        let texts = serde_json::to_value(&sent).expect("JSON");
        assert_eq!((&texts[0][2], &texts[1][0]), (&"none".into(), &"supply".into()));
        assert_eq!((&texts[2][1], &texts[3]), (&"scans/a:7:7".into(), &"drops-out".into()));
    }

    type Back = fn(&[u8], &str) -> Result<Vec<(String, f64)>, String>;

    #[test]
    fn whatever_is_cut_or_changed_is_refused() {
        let value = vec![("lift".to_owned(), 3.5), ("abs".to_owned(), 1e300)];
        let plain = sealed(&value, "pairs").expect("bytes");
        let small = packed(&value, "pairs").expect("bytes");
        for at in 0..plain.len().max(small.len()) {
            let ways: [(&[u8], Back); 2] = [(&plain, unsealed), (&small, unpacked)];
            for (whole, back) in ways.into_iter().filter(|(whole, _)| at < whole.len()) {
                assert!(back(&whole[..at], "pairs").is_err(), "cut at {at}");
                let mut changed = whole.to_vec();
                changed[at] ^= 0x10;
                assert!(back(&changed, "pairs").is_err(), "byte {at}");
            }
        }
        // Under a right hash, but another value.
        let other = sealed(&"a text", "a text").expect("bytes");
        let error = unsealed::<Vec<(String, f64)>>(&other, "pairs").expect_err("no pairs");
        assert!(error.starts_with("not pairs: "), "{error}");
    }
}
