//! A file that changes has another stamp, whatever is done to its times.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::time::Duration;

use super::stamp::{Stamp, UNSETTLED, stamp};

fn put(path: &Path, text: &str) {
    let mut open = fs::File::options();
    let mut file = open.write(true).create(true).truncate(true).open(path).expect("a file");
    file.write_all(text.as_bytes()).expect("written");
}

#[test]
fn a_settled_file_keeps_its_stamp_and_any_change_moves_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.log");
    put(&path, "one");
    assert_eq!(stamp(&path), None, "just written");
    std::thread::sleep(UNSETTLED + Duration::from_millis(300));
    let first = stamp(&path).expect("settled");
    assert_eq!(stamp(&path), Some(Stamp::written(first.word())));
    // The same length, and the time of the content set back to where it was.
    let modified = fs::metadata(&path).and_then(|about| about.modified()).expect("a time");
    put(&path, "two");
    let file = fs::File::options().write(true).open(&path).expect("open");
    file.set_modified(modified).expect("set back");
    drop(file);
    std::thread::sleep(UNSETTLED + Duration::from_millis(300));
    assert_ne!(stamp(&path), Some(first));
    assert_eq!(stamp(folder.path()), None, "a folder has none");
    assert_eq!(stamp(&folder.path().join("none")), None);
}
