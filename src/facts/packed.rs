//! The facts of one log as one run of bytes, for the way between two machines.
//!
//! The files of a store's entry (`entry.rs`), one after the other:
//!
//! ```text
//! length of the name, 2 bytes    name    length of the file, 8 bytes    file       little-endian
//! ```
//!
//! The list of contents among them guards every byte, as in the store. Bytes that are cut, changed or made
//! by another form of the facts are refused; no length in them is allocated before the bytes are there.

use std::collections::BTreeMap;
use std::sync::Arc;

use xxhash_rust::xxh3::xxh3_64;

use crate::facts::entry::{damaged, decode_from, encode};
use crate::facts::error::FactsError;
use crate::facts::schema::FACTS_VERSION;
use crate::facts::store::StoredLog;
use crate::facts::table_shape::stored_shape;

/// What two programs must have in common to understand each other's facts: version of the program, version
/// of the facts, shape of their tables.
#[must_use]
pub fn facts_form() -> String {
    let shape = xxh3_64(stored_shape().as_bytes());
    format!("buswitness {} facts {FACTS_VERSION} {shape:016x}", env!("CARGO_PKG_VERSION"))
}

impl StoredLog {
    /// All that is kept of the log, without its name.
    ///
    /// # Errors
    /// When a table cannot be made of the facts.
    pub fn to_bytes(&self) -> Result<Vec<u8>, FactsError> {
        Ok(in_one_piece(encode(self)?))
    }

    /// The log again; places get `file` as their file.
    ///
    /// # Errors
    /// When the bytes are not what [`StoredLog::to_bytes`] gives.
    pub fn from_bytes(bytes: &[u8], file: &Arc<str>) -> Result<StoredLog, FactsError> {
        let mut files: BTreeMap<&[u8], &[u8]> = BTreeMap::new();
        let mut rest = bytes;
        while !rest.is_empty() {
            let (name, file) = taken(&mut rest)
                .ok_or_else(|| damaged("whole files", format!("{} bytes left", rest.len())))?;
            if files.insert(name, file).is_some() {
                return Err(damaged("each file once", format!("{:?} again", name.escape_ascii())));
            }
        }
        let bring = |name: &str, _most: u64| match files.get(name.as_bytes()) {
            Some(file) => Ok(file.to_vec()),
            None => Err(damaged(&format!("a file {name}"), "none".to_owned())),
        };
        decode_from(&bring, file)
    }
}

/// Files with their names, one after the other.
pub(super) fn in_one_piece(files: Vec<(String, Vec<u8>)>) -> Vec<u8> {
    let mut bytes = Vec::new();
    for (name, file) in files {
        let length = u16::try_from(name.len()).unwrap_or(u16::MAX);
        bytes.extend(length.to_le_bytes());
        bytes.extend(name.as_bytes());
        bytes.extend((file.len() as u64).to_le_bytes());
        bytes.extend(file);
    }
    bytes
}

/// The next file, with its name.
fn taken<'a>(rest: &mut &'a [u8]) -> Option<(&'a [u8], &'a [u8])> {
    let (length, after) = rest.split_first_chunk::<2>()?;
    let (name, after) = after.split_at_checked(usize::from(u16::from_le_bytes(*length)))?;
    let (length, after) = after.split_first_chunk::<8>()?;
    let length = usize::try_from(u64::from_le_bytes(*length)).ok()?;
    let (file, after) = after.split_at_checked(length)?;
    *rest = after;
    Some((name, file))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vocabulary::{Place, Reject};

    fn log(file: &Arc<str>) -> StoredLog {
        StoredLog {
            frames: 7,
            bytes: 99,
            leniencies: vec![("decimal comma".to_owned(), 3)],
            rejects: vec![Reject::one(Place::line(file, 12), "no frame")],
            ..StoredLog::default()
        }
    }

    #[test]
    fn a_log_comes_back_and_its_places_get_the_name_here() {
        let (there, here): (Arc<str>, Arc<str>) = ("there.log".into(), "here.log".into());
        let bytes = log(&there).to_bytes().expect("bytes");
        assert_eq!(StoredLog::from_bytes(&bytes, &here).expect("a log"), log(&here));
    }

    #[test]
    fn whatever_is_cut_or_changed_is_refused() {
        let name: Arc<str> = "a.log".into();
        let bytes = log(&name).to_bytes().expect("bytes");
        for at in 0..bytes.len() {
            assert!(StoredLog::from_bytes(&bytes[..at], &name).is_err(), "cut at {at}");
            let mut changed = bytes.clone();
            changed[at] ^= 0x10;
            assert!(StoredLog::from_bytes(&changed, &name).is_err(), "byte {at}");
        }
        let twice = [&bytes[..], &bytes[..]].concat();
        assert!(StoredLog::from_bytes(&twice, &name).is_err());
    }
}
