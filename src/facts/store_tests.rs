//! What the store promises: the same log back, whole or absent, and damage noticed.

use std::fs;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, SystemTime};

use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use proptest::test_runner::TestRunner;

use crate::facts::invented_rows::stored_logs;
use crate::facts::{FactsKey, FactsStore, Lookup, StoredLog};

fn name(text: &str) -> Arc<str> {
    text.into()
}

/// An invented log with rows, the same in every run.
fn some_log(file: &Arc<str>) -> StoredLog {
    let mut runner = TestRunner::deterministic();
    let full = stored_logs(file).prop_filter("rows in the tables", |log| {
        log.facts.starts.len() > 2 && !log.facts.silences.is_empty() && !log.rejects.is_empty()
    });
    full.new_tree(&mut runner).expect("an invented log").current()
}

fn entry_of(root: &std::path::Path) -> PathBuf {
    let vehicle = root.join("vehicle=LH-01");
    let mut entries = fs::read_dir(vehicle).expect("the vehicle's folder");
    entries.next().expect("an entry").expect("an entry").path()
}

fn parts_in(root: &std::path::Path) -> usize {
    let names = fs::read_dir(root).expect("the folder").flatten().map(|e| e.file_name());
    names.filter(|n| n.to_string_lossy().starts_with(".part-")).count()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn what_is_put_comes_back_exactly(log in stored_logs(&name("bus/a.log"))) {
        let root = tempfile::tempdir().expect("a folder");
        let store = FactsStore::open(root.path()).expect("a store");
        let key = FactsKey::new("../LH 01", 1, &["network"]);
        store.put(&key, &log).expect("put");
        let found = store.get(&key, &name("bus/a.log"));
        prop_assert_eq!(found, Lookup { stored: Some(log), note: None });
    }
}

#[test]
fn an_empty_log_comes_back_and_an_unknown_one_is_absent_without_a_note() {
    let root = tempfile::tempdir().expect("a folder");
    let store = FactsStore::open(root.path()).expect("a store");
    let (key, file) = (FactsKey::new("LH-01", 1, &[]), name("a.log"));
    assert_eq!(store.get(&key, &file), Lookup::default());
    store.put(&key, &StoredLog::default()).expect("put");
    assert_eq!(store.get(&key, &file).stored, Some(StoredLog::default()));
    assert_eq!(store.get(&FactsKey::new("LH-01", 1, &["x"]), &file), Lookup::default());
}

#[test]
fn places_get_the_name_that_the_log_has_in_this_run() {
    let root = tempfile::tempdir().expect("a folder");
    let store = FactsStore::open(root.path()).expect("a store");
    let key = FactsKey::new("LH-01", 1, &[]);
    store.put(&key, &some_log(&name("old:7/name.log"))).expect("put");
    let found = store.get(&key, &name("new.log")).stored.expect("stored");
    assert_eq!(found, some_log(&name("new.log")));
}

#[test]
fn every_damage_is_noticed_noted_and_repaired_by_the_next_put() {
    let root = tempfile::tempdir().expect("a folder");
    let store = FactsStore::open(root.path()).expect("a store");
    let (key, file) = (FactsKey::new("LH-01", 1, &[]), name("a.log"));
    let log = some_log(&file);
    store.put(&key, &log).expect("put");
    let entry = entry_of(root.path());
    let names: Vec<_> = fs::read_dir(&entry).expect("files").flatten().map(|e| e.path()).collect();
    assert!(names.len() > 4);
    for path in &names {
        let whole = fs::read(path).expect("a file");
        let mut damages = vec![Vec::new(), whole[..whole.len() / 2].to_vec()];
        for at in [0, whole.len() / 3, whole.len() - 1] {
            let mut flipped = whole.clone();
            flipped[at] ^= 0x20;
            damages.push(flipped);
        }
        damages.push([whole.as_slice(), b"x"].concat());
        for damage in damages {
            fs::write(path, &damage).expect("damage");
            let found = store.get(&key, &file);
            assert_eq!(found.stored, None, "{} {damage:?}", path.display());
            assert!(found.note.expect("a note").contains("the log is read again"));
            store.put(&key, &log).expect("put again");
            assert_eq!(store.get(&key, &file).stored.as_ref(), Some(&log));
        }
        fs::remove_file(path).expect("remove");
        assert!(store.get(&key, &file).note.is_some(), "{} removed", path.display());
        store.put(&key, &log).expect("put again");
        assert_eq!(store.get(&key, &file).stored.as_ref(), Some(&log));
    }
    assert_eq!(parts_in(root.path()), 0);
}

#[test]
fn a_file_where_the_entry_should_be_is_damage_too() {
    let root = tempfile::tempdir().expect("a folder");
    let store = FactsStore::open(root.path()).expect("a store");
    let (key, file) = (FactsKey::new("LH-01", 1, &[]), name("a.log"));
    let log = some_log(&file);
    store.put(&key, &log).expect("put");
    let entry = entry_of(root.path());
    fs::remove_dir_all(&entry).expect("remove");
    fs::write(&entry, "no folder").expect("a file");
    assert!(store.get(&key, &file).note.is_some());
    store.put(&key, &log).expect("put again");
    assert_eq!(store.get(&key, &file).stored, Some(log));
}

#[test]
fn many_writers_of_one_entry_leave_one_whole_entry() {
    let root = tempfile::tempdir().expect("a folder");
    let (key, file) = (FactsKey::new("LH-01", 1, &[]), name("a.log"));
    let log = some_log(&file);
    std::thread::scope(|scope| {
        for _ in 0..8 {
            scope.spawn(|| {
                let store = FactsStore::open(root.path()).expect("a store");
                for _ in 0..4 {
                    store.put(&key, &log).expect("put");
                    assert_eq!(store.get(&key, &file).stored.as_ref(), Some(&log));
                }
            });
        }
    });
    assert_eq!(parts_in(root.path()), 0);
    assert_eq!(fs::read_dir(root.path().join("vehicle=LH-01")).expect("folder").count(), 1);
}

#[test]
fn what_a_killed_run_left_is_ignored_and_cleared() {
    let root = tempfile::tempdir().expect("a folder");
    let other = FactsStore::open(root.path()).expect("another run's");
    let (old, new) = (root.path().join(".part-1-0"), root.path().join(".part-2-0"));
    for part in [&old, &new] {
        fs::create_dir(part).expect("a part");
        fs::write(part.join("starts.parquet"), "half").expect("half a file");
    }
    let long_ago = SystemTime::now() - Duration::from_secs(2 * 24 * 3_600);
    fs::File::open(&old).and_then(|part| part.set_modified(long_ago)).expect("an old part");
    let store = FactsStore::open(root.path()).expect("a store");
    assert!(!old.exists() && new.exists(), "the other run may be writing the new one");
    drop((store, other));
    let store = FactsStore::open(root.path()).expect("a store");
    assert!(!new.exists(), "nobody else is there");
    let key = FactsKey::new("LH-01", 1, &[]);
    store.put(&key, &StoredLog::default()).expect("put");
    assert!(store.get(&key, &name("a.log")).stored.is_some());
}
