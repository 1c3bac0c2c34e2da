//! The facts that came from elsewhere, counted there once more from where they are stored: by vehicle, kind and
//! node. What was lost, doubled or changed between watching and storing shows here, and fails the run.

use std::collections::BTreeMap;
use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use crate::facts::StoredLog;

/// Number of facts by vehicle, kind and node.
pub type Counts = BTreeMap<(String, String, String), u64>;

/// The stored facts of one log.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// The vehicle.
    pub vehicle: String,
    /// The folder of the entry, absolute.
    pub folder: String,
}

impl Entry {
    /// The entry for sending.
    ///
    /// # Errors
    /// In words; there is no known way to it.
    pub fn to_bytes(&self) -> Result<Vec<u8>, String> {
        serde_json::to_vec(self).map_err(|e| format!("an entry cannot be written: {e}"))
    }

    /// The entry again.
    ///
    /// # Errors
    /// When the bytes are none.
    pub fn from_bytes(bytes: &[u8]) -> Result<Entry, String> {
        serde_json::from_slice(bytes).map_err(|e| format!("not an entry of the store: {e}"))
    }

    /// The folder as a path.
    #[must_use]
    pub fn place(&self) -> PathBuf {
        PathBuf::from(&self.folder)
    }
}

/// Adds the facts of a log.
pub fn add_counts(counts: &mut Counts, vehicle: &str, log: &StoredLog) {
    for ((what, node), many) in log.counts() {
        *counts.entry((vehicle.to_owned(), what.to_owned(), node)).or_default() += many;
    }
}

/// The first difference between what came and what was counted elsewhere, in words.
pub(super) fn difference(came: &Counts, counted: &Counts) -> Option<String> {
    let keys = came.keys().chain(counted.keys());
    let of = |counts: &Counts, key| counts.get(key).copied().unwrap_or(0);
    let first = keys.filter(|key| of(came, key) != of(counted, key)).min()?;
    let (vehicle, what, node) = first;
    let about = if node.is_empty() { String::new() } else { format!(" of {node}") };
    let (here, there) = (of(came, first), of(counted, first));
    Some(format!("vehicle {vehicle}: {here} {what}{about} came, {there} were counted"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_difference_is_told() {
        let key = |vehicle: &str, what: &str, node: &str| {
            (vehicle.to_owned(), what.to_owned(), node.to_owned())
        };
        let came = Counts::from([(key("B", "silences", "lift"), 2), (key("C", "starts", ""), 1)]);
        assert_eq!(difference(&came, &came), None);
        let mut counted = came.clone();
        counted.insert(key("B", "silences", "lift"), 4);
        let told = difference(&came, &counted).expect("a difference");
        assert_eq!(told, "vehicle B: 2 silences of lift came, 4 were counted");
        counted.insert(key("A", "starts", ""), 1);
        let told = difference(&came, &counted).expect("a difference");
        assert_eq!(told, "vehicle A: 0 starts came, 1 were counted");
        let told = difference(&came, &Counts::new()).expect("a difference");
        assert_eq!(told, "vehicle B: 2 silences of lift came, 0 were counted");
    }

    #[test]
    fn an_entry_comes_as_it_was_sent() {
        let sent = Entry { vehicle: "LH-01".to_owned(), folder: "/out/facts/x".to_owned() };
        assert_eq!(Entry::from_bytes(&sent.to_bytes().expect("bytes")), Ok(sent));
        assert!(Entry::from_bytes(b"[]").is_err());
    }
}
