//! The address of one log's facts: whose log, which bytes, and what else the facts depend on.

use std::fmt;

use xxhash_rust::xxh3::{Xxh3, xxh3_64, xxh3_128};

use crate::facts::schema::FACTS_VERSION;
use crate::facts::table_shape::stored_shape;

/// The 128-bit hash of a log's bytes as they stand on disk. Guards against chance, not against
/// someone who makes two logs collide on purpose.
#[must_use]
pub fn content_hash(bytes: &[u8]) -> u128 {
    xxh3_128(bytes)
}

/// [`content_hash`] for bytes that come in pieces.
#[derive(Clone, Default)]
pub struct ContentHasher(Box<Xxh3>);

impl ContentHasher {
    /// Takes the next bytes of the log.
    pub fn update(&mut self, bytes: &[u8]) {
        self.0.update(bytes);
    }

    /// The hash of all bytes taken so far.
    #[must_use]
    pub fn finish(&self) -> u128 {
        self.0.digest128()
    }
}

impl fmt::Debug for ContentHasher {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "ContentHasher({:032x})", self.finish())
    }
}

/// Where the facts of one log stand in the store.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FactsKey {
    /// The vehicle.
    pub(super) vehicle: String,
    /// Hash of the log's bytes.
    pub(super) log: u128,
    /// Hash of all else that the facts depend on.
    pub(super) settings: u64,
}

impl FactsKey {
    /// The key of a vehicle's log with content hash `log`. `depends_on` is every text that shapes
    /// the facts beside the log's bytes: the network description as it stands in its file, the
    /// mapping of interfaces to buses, the start time taken from a path, and the like; order and
    /// borders count. The vehicle, the shape of the tables and [`FACTS_VERSION`] are mixed in here.
    #[must_use]
    pub fn new(vehicle: &str, log: u128, depends_on: &[&str]) -> FactsKey {
        let shape = xxh3_64(stored_shape().as_bytes());
        let mut hasher = Xxh3::new();
        hasher.update(&FACTS_VERSION.to_le_bytes());
        hasher.update(&shape.to_le_bytes());
        for text in std::iter::once(&vehicle).chain(depends_on) {
            // The length in front keeps ["ab", "c"] apart from ["a", "bc"].
            hasher.update(&(text.len() as u64).to_le_bytes());
            hasher.update(text.as_bytes());
        }
        FactsKey { vehicle: vehicle.to_owned(), log, settings: hasher.digest() }
    }

    /// The log of an entry's folder, when the entry was made with the settings of this key.
    pub(super) fn log_of(&self, entry_folder: &str) -> Option<u128> {
        let (log, settings) = entry_folder.split_once('-')?;
        (settings == format!("{:016x}", self.settings))
            .then(|| u128::from_str_radix(log, 16).ok())
            .flatten()
    }

    /// The name of the entry's folder inside the vehicle's.
    pub(super) fn entry_folder(&self) -> String {
        format!("{:032x}-{:016x}", self.log, self.settings)
    }
}

impl fmt::Display for FactsKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "log {:032x} of vehicle {:?}", self.log, self.vehicle)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_that_shapes_the_facts_moves_the_address() {
        let key = FactsKey::new("LH-01", 7, &["ab", "c"]);
        assert_eq!(key, FactsKey::new("LH-01", 7, &["ab", "c"]));
        let others = [
            FactsKey::new("LH-02", 7, &["ab", "c"]),
            FactsKey::new("LH-01", 8, &["ab", "c"]),
            FactsKey::new("LH-01", 7, &["a", "bc"]),
            FactsKey::new("LH-01", 7, &["ab"]),
        ];
        for other in &others {
            assert_ne!(key.entry_folder(), other.entry_folder());
        }
    }

    #[test]
    fn an_entry_tells_its_log_only_to_keys_of_its_settings() {
        let (key, other) = (FactsKey::new("LH-01", 7, &["a"]), FactsKey::new("LH-01", 9, &["b"]));
        assert_eq!(key.log_of(&key.entry_folder()), Some(7));
        assert_eq!(other.log_of(&key.entry_folder()), None);
        assert_eq!(key.log_of("something else"), None);
    }

    #[test]
    fn pieces_hash_like_the_whole() {
        let bytes: Vec<u8> = (0..=255).cycle().take(10_000).collect();
        for piece in [1, 7, 240, 4_096] {
            let mut hasher = ContentHasher::default();
            bytes.chunks(piece).for_each(|part| hasher.update(part));
            assert_eq!(hasher.finish(), content_hash(&bytes), "pieces of {piece}");
        }
    }
}
