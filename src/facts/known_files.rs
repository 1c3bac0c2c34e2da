//! Which files were read by an earlier run, and what their content hash was: a file with the same name
//! and the same stamp need not be opened at all.
//!
//! ```text
//! buswitness known files 1
//! for 5b1c…                        hash of what recognising a log depends on
//! <content hash> <size> <stamp> <name, with %XX for blanks and what is no ASCII letter>
//! sum 91ab…                        hash of all lines above
//! ```
//!
//! The list only saves work. A list that is missing, damaged or for other settings is no list: all files
//! are read, and the facts are the same. It is written beside its place and renamed into it; of two runs
//! at once the one that ends last leaves its list.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use xxhash_rust::xxh3::xxh3_128;

use crate::facts::schema::FACTS_VERSION;
use crate::read::Stamp;

const LIST: &str = "known-files.txt";
const TITLE: &str = "buswitness known files 1";
/// A list is not read beyond this: about a million files.
const LONGEST: u64 = 256 << 20;

/// A file that was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KnownFile {
    /// Its stamp.
    pub stamp: Stamp,
    /// The 128-bit hash of its bytes.
    pub content: u128,
    /// Bytes on disk.
    pub size: u64,
}

/// Files that were read as bus logs, by name.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct KnownFiles {
    files: BTreeMap<String, KnownFile>,
}

impl KnownFiles {
    /// The list in the store's folder, if it is whole and made with `depends_on`: all that tells whether a
    /// file is read as a log, beside its bytes.
    #[must_use]
    pub fn read(store: &Path, depends_on: &str) -> KnownFiles {
        let path = store.join(LIST);
        let small = fs::metadata(&path).is_ok_and(|about| about.len() <= LONGEST);
        let text = small.then(|| fs::read(&path).ok()).flatten().unwrap_or_default();
        String::from_utf8(text).ok().and_then(|text| parsed(&text, depends_on)).unwrap_or_default()
    }

    /// What is known of a file that has this stamp now.
    #[must_use]
    pub fn of(&self, name: &str, stamp: &Stamp) -> Option<&KnownFile> {
        self.files.get(name).filter(|known| known.stamp == *stamp)
    }

    /// Adds a file.
    pub fn add(&mut self, name: &str, file: KnownFile) {
        self.files.insert(name.to_owned(), file);
    }

    /// Puts the list into the store's folder. It only saves work, so that it could not be written is no
    /// reason to stop.
    pub(super) fn write(&self, store: &Path, part: &Path, depends_on: &str) {
        let done = fs::write(part, self.text(depends_on))
            .and_then(|()| fs::rename(part, store.join(LIST)));
        if done.is_err() {
            let _ = fs::remove_file(part);
        }
    }

    fn text(&self, depends_on: &str) -> String {
        let mut text = format!("{TITLE}\n{}\n", settings(depends_on));
        for (name, file) in &self.files {
            let name = escaped(name);
            let (content, size, stamp) = (file.content, file.size, file.stamp.word());
            let _ = writeln!(text, "{content:032x} {size} {stamp} {name}");
        }
        let sum = xxh3_128(text.as_bytes());
        let _ = writeln!(text, "sum {sum:032x}");
        text
    }
}

fn settings(depends_on: &str) -> String {
    let program = env!("CARGO_PKG_VERSION");
    format!("for {:032x}", xxh3_128(format!("{program} {FACTS_VERSION} {depends_on}").as_bytes()))
}

fn parsed(text: &str, depends_on: &str) -> Option<KnownFiles> {
    let (above, sum) = text.strip_suffix('\n')?.rsplit_once('\n')?;
    let above = format!("{above}\n");
    if sum != format!("sum {:032x}", xxh3_128(above.as_bytes())) {
        return None;
    }
    let mut lines = above.lines();
    if lines.next()? != TITLE || lines.next()? != settings(depends_on) {
        return None;
    }
    let line = |line: &str| {
        let mut words = line.split(' ');
        let content = u128::from_str_radix(words.next()?, 16).ok()?;
        let size = words.next()?.parse().ok()?;
        let stamp = Stamp::written(words.next()?);
        Some((unescaped(words.next()?)?, KnownFile { stamp, content, size }))
    };
    Some(KnownFiles { files: lines.map(line).collect::<Option<_>>()? })
}

/// A name as one word of a line.
fn escaped(name: &str) -> String {
    let mut word = String::with_capacity(name.len());
    for byte in name.bytes() {
        if byte.is_ascii_graphic() && byte != b'%' {
            word.push(char::from(byte));
        } else {
            let _ = write!(word, "%{byte:02X}");
        }
    }
    word
}

fn unescaped(word: &str) -> Option<String> {
    let mut bytes = Vec::with_capacity(word.len());
    let mut rest = word.as_bytes();
    while let [first, tail @ ..] = rest {
        rest = tail;
        if *first == b'%' {
            let (code, tail) = rest.split_at_checked(2)?;
            bytes.push(u8::from_str_radix(std::str::from_utf8(code).ok()?, 16).ok()?);
            rest = tail;
        } else {
            bytes.push(*first);
        }
    }
    String::from_utf8(bytes).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn some() -> KnownFiles {
        let mut known = KnownFiles::default();
        for (name, content) in [("bus/a b%.log", 7), ("bus/\u{e9}\n.log", u128::MAX)] {
            known.add(name, KnownFile { stamp: Stamp::written("3-1-2-4-5"), content, size: 3 });
        }
        known
    }

    #[test]
    fn a_list_comes_back_as_it_was_and_only_for_its_settings() {
        let known = some();
        let text = known.text("csv");
        assert_eq!(parsed(&text, "csv"), Some(known.clone()));
        assert_eq!(parsed(&text, "other columns"), None);
        let stamp = Stamp::written("3-1-2-4-5");
        assert_eq!(known.of("bus/a b%.log", &stamp).map(|file| file.content), Some(7));
        assert_eq!(known.of("bus/a b%.log", &Stamp::written("3-1-2-4-6")), None);
        assert_eq!(known.of("bus/b.log", &stamp), None);
    }

    #[test]
    fn damage_makes_it_no_list() {
        let text = some().text("csv");
        for at in 0..text.len() {
            let mut bytes = text.clone().into_bytes();
            bytes[at] ^= 1;
            let damaged = String::from_utf8(bytes).ok();
            assert_eq!(damaged.and_then(|text| parsed(&text, "csv")), None, "byte {at}");
            assert_eq!(text.get(..at).and_then(|text| parsed(text, "csv")), None, "cut at {at}");
        }
    }

    #[test]
    fn it_is_kept_in_a_folder() {
        let folder = tempfile::tempdir().expect("a folder");
        assert_eq!(KnownFiles::read(folder.path(), "csv"), KnownFiles::default());
        some().write(folder.path(), &folder.path().join(".part-1"), "csv");
        assert_eq!(KnownFiles::read(folder.path(), "csv"), some());
        assert_eq!(fs::read_dir(folder.path()).expect("list").count(), 1);
    }
}
