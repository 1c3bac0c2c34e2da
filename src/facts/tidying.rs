//! Facts of logs that are no longer there: counted, and cleared away when nobody has asked for them in
//! five weeks.
//!
//! An entry that this run did not use may belong to a log that is gone, to other settings, or to another
//! pipeline with the same folder. Nothing but its age tells whether it will be asked for again; losing it
//! costs a log to be read again, never a fact. Using an entry sets the time of its folder, once a day.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use crate::facts::key::FactsKey;
use crate::facts::store::{FactsStore, remove};

/// An entry that nobody has used for so long goes.
const UNUSED_FOR: Duration = Duration::from_secs(35 * 24 * 3_600);
/// The time of use is written at most so often.
const AGAIN_AFTER: Duration = Duration::from_secs(24 * 3_600);

/// Entries that a run did not use.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Unused {
    /// Kept, since somebody used them in the last five weeks.
    pub kept: u64,
    /// Cleared away.
    pub cleared: u64,
}

impl FactsStore {
    /// Counts the entries that are not among `used`, and clears those away that nobody has used for five
    /// weeks. What cannot be listed or removed stays.
    pub fn tidy(&self, used: &BTreeSet<FactsKey>) -> Unused {
        let used: BTreeSet<PathBuf> = used.iter().map(|key| self.place(key)).collect();
        let mut unused = Unused::default();
        for vehicle in folders(&self.folder).filter(|path| is_vehicle(path)) {
            for entry in folders(&vehicle).filter(|entry| !used.contains(entry)) {
                if age(&entry).is_some_and(|age| age > UNUSED_FOR) && self.clear(&entry) {
                    unused.cleared += 1;
                } else {
                    unused.kept += 1;
                }
            }
            // Goes only when it is empty.
            let _ = fs::remove_dir(&vehicle);
        }
        unused
    }

    /// Out of its place at once, then removed: nobody sees half an entry.
    fn clear(&self, entry: &Path) -> bool {
        let Ok(part) = self.new_part() else { return false };
        let cleared = fs::rename(entry, part.join("unused")).is_ok();
        let _ = remove(&part);
        cleared
    }
}

/// Notes that an entry was used.
pub(super) fn touch(entry: &Path) {
    if age(entry).is_some_and(|age| age > AGAIN_AFTER) {
        // Where the time cannot be set the entry goes earlier, and its log is read again.
        let _ = fs::File::open(entry).and_then(|folder| folder.set_modified(SystemTime::now()));
    }
}

fn age(path: &Path) -> Option<Duration> {
    let modified = fs::metadata(path).and_then(|about| about.modified()).ok()?;
    SystemTime::now().duration_since(modified).ok()
}

fn is_vehicle(path: &Path) -> bool {
    path.file_name().is_some_and(|name| name.to_string_lossy().starts_with("vehicle="))
}

fn folders(path: &Path) -> impl Iterator<Item = PathBuf> {
    let entries = fs::read_dir(path).into_iter().flatten().flatten();
    entries.map(|entry| entry.path()).filter(|path| path.is_dir())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::StoredLog;

    #[test]
    fn unused_facts_are_counted_and_go_after_five_weeks() {
        let root = tempfile::tempdir().expect("a folder");
        let store = FactsStore::open(root.path()).expect("a store");
        let keys: Vec<FactsKey> =
            (0..3).map(|n| FactsKey::new(&format!("LH-0{n}"), n, &[])).collect();
        for key in &keys {
            store.put(key, &StoredLog::default()).expect("put");
        }
        let used = BTreeSet::from([keys[0].clone()]);
        assert_eq!(store.tidy(&used), Unused { kept: 2, cleared: 0 });
        let long_ago = SystemTime::now() - Duration::from_secs(36 * 24 * 3_600);
        for key in &keys {
            let folder = fs::File::open(store.place(key)).expect("an entry");
            folder.set_modified(long_ago).expect("an old entry");
        }
        // Asked for: it is young again.
        assert!(store.get(&keys[1], &"b.log".into()).stored.is_some());
        assert_eq!(store.tidy(&used), Unused { kept: 1, cleared: 1 });
        let there: Vec<bool> = keys.iter().map(|key| store.place(key).exists()).collect();
        assert_eq!(there, [true, true, false]);
        assert!(!root.path().join("vehicle=LH-02").exists(), "an empty folder goes too");
    }

    #[test]
    fn an_entry_that_goes_while_it_is_read_leaves_no_note() {
        let root = tempfile::tempdir().expect("a folder");
        let store = FactsStore::open(root.path()).expect("a store");
        let key = FactsKey::new("LH-01", 1, &[]);
        std::thread::scope(|scope| {
            scope.spawn(|| {
                for _ in 0..200 {
                    store.put(&key, &StoredLog::default()).expect("put");
                    store.clear(&store.place(&key));
                }
            });
            for _ in 0..400 {
                assert_eq!(store.get(&key, &"a.log".into()).note, None);
            }
        });
    }
}
