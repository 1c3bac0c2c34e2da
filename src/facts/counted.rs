//! How many facts of each kind a log has, by the node that they are about.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use crate::facts::entry::{decode, files_in};
use crate::facts::error::FactsError;
use crate::facts::packed::in_one_piece;
use crate::facts::store::StoredLog;
use crate::facts::table::Row;

/// Number of facts by table and node; the node is empty where a fact is not about one.
pub type LogCounts = BTreeMap<(&'static str, String), u64>;

impl StoredLog {
    /// The log as it stands in an entry's folder, every byte checked; `None` when nothing is there.
    ///
    /// # Errors
    /// When the entry is damaged.
    pub fn in_folder(folder: &Path) -> Result<Option<StoredLog>, FactsError> {
        let nameless: Arc<str> = "".into();
        decode(folder, &nameless)
    }

    /// The entry in a folder as [`StoredLog::from_bytes`] takes it; it is checked there.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn bytes_in_folder(folder: &Path) -> Result<Vec<u8>, FactsError> {
        Ok(in_one_piece(files_in(folder)?))
    }

    /// How many facts it has; `logs`, `frames`, `bytes` and `rejects` stand among them.
    #[must_use]
    pub fn counts(&self) -> LogCounts {
        let mut counts = LogCounts::new();
        let rejected = self.rejects.iter().fold(0_u64, |all, one| all.saturating_add(one.records));
        let own =
            [("logs", 1), ("frames", self.frames), ("bytes", self.bytes), ("rejects", rejected)];
        for (what, many) in own {
            counts.insert((what, String::new()), many);
        }
        let facts = &self.facts;
        by_node(&mut counts, &facts.presences, |row| &row.node);
        by_node(&mut counts, &facts.silences, |row| &row.node);
        by_node(&mut counts, &facts.losses, |row| &row.node);
        by_node(&mut counts, &facts.identifiers, |row| &row.node);
        by_node(&mut counts, &facts.finer.locks, |row| &row.node);
        by_node(&mut counts, &facts.finer.returns, |row| &row.node);
        by_node(&mut counts, &facts.finer.passives, |row| &row.node);
        whole(&mut counts, &facts.starts);
        whole(&mut counts, &facts.disturbances);
        whole(&mut counts, &facts.blind_spots);
        whole(&mut counts, &facts.signals);
        whole(&mut counts, &facts.logged_codes);
        whole(&mut counts, &facts.logged_answers);
        whole(&mut counts, &facts.bus_events);
        whole(&mut counts, &facts.finer.errors);
        whole(&mut counts, &facts.finer.orders);
        whole(&mut counts, &facts.finer.clock_steps);
        whole(&mut counts, &facts.finer.clock_groups);
        counts
    }
}

fn by_node<R: Row>(counts: &mut LogCounts, rows: &[R], node: impl Fn(&R) -> &String) {
    for row in rows {
        *counts.entry((R::TABLE.name, node(row).clone())).or_default() += 1;
    }
}

fn whole<R: Row>(counts: &mut LogCounts, rows: &[R]) {
    if !rows.is_empty() {
        *counts.entry((R::TABLE.name, String::new())).or_default() += rows.len() as u64;
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::facts::invented_rows::stored_logs;
    use crate::facts::{FactsKey, FactsStore};

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        #[test]
        fn what_is_stored_counts_as_what_came(log in stored_logs(&"a.log".into())) {
            let folder = tempfile::tempdir().expect("a folder");
            let store = FactsStore::open(folder.path()).expect("a store");
            let key = FactsKey::new("LH-01", 7, &[]);
            store.put(&key, &log).expect("put");
            let stored = StoredLog::in_folder(&store.place(&key)).expect("whole").expect("there");
            let counts = stored.counts();
            prop_assert_eq!(&counts, &log.counts());
            let of = |what: &str| -> u64 {
                counts.iter().filter(|((name, _), _)| *name == what).map(|(_, many)| many).sum()
            };
            prop_assert_eq!(of("logs"), 1);
            prop_assert_eq!(of("frames"), log.frames);
            prop_assert_eq!(of("starts"), log.facts.starts.len() as u64);
            prop_assert_eq!(of("silences"), log.facts.silences.len() as u64);
            for row in &log.facts.silences {
                let same = log.facts.silences.iter().filter(|other| other.node == row.node);
                prop_assert_eq!(counts[&("silences", row.node.clone())], same.count() as u64);
            }
        }
    }

    #[test]
    fn nothing_there_is_no_damage_and_half_of_it_is() {
        let folder = tempfile::tempdir().expect("a folder");
        let gone = StoredLog::in_folder(&folder.path().join("gone"));
        assert_eq!(gone.expect("no damage"), None);
        assert!(StoredLog::in_folder(folder.path()).is_err());
    }
}
