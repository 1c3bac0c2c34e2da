//! Logs in an object store, opened like files: their bytes come piece by piece from whoever can fetch them.
//! This program itself cannot; a package of its own brings an [`Objects`] (`src/distributed`).
//!
//! Grammar of a URL: `s3://BUCKET/NAME` or `file:///NAME`. A bucket is of letters, digits, `.`, `-` and
//! `_`. Names are parted by `/` and stand as they are: `%20` is no blank. Nothing else has a place in it, no
//! user, no password, no port.

use std::fmt;
use std::io::{self, Read};
use std::ops::Range;
use std::sync::Arc;

use super::opening::{Opened, unpack};
use super::stamp::Stamp;
use crate::vocabulary::Reject;

/// How many first bytes of an object tell what it is.
pub const FIRST: u64 = 1 << 16;
/// How many bytes are asked for at once behind them.
const PIECE: u64 = 1 << 20;

/// An object as a store has listed it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Object {
    /// Where it is.
    pub url: String,
    /// Its bytes.
    pub size: u64,
    /// The store's mark of its content (entity tag): another content has another mark.
    pub mark: String,
}

/// Why an object did not come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Missing {
    /// It is not what was listed: gone, or changed. Asking again does not help.
    Object(String),
    /// The store did not give it this time.
    Store(String),
}

/// Who lists and fetches objects.
pub trait Objects: Send + Sync + fmt::Debug {
    /// All objects below a URL, at any depth, in no order.
    ///
    /// # Errors
    /// In words, when the store cannot be asked, or does not mark contents.
    fn list(&self, below: &str) -> Result<Vec<Object>, String>;

    /// A piece of an object, as long as the range.
    ///
    /// # Errors
    /// When it cannot be had, or the object is no longer the one that was listed.
    fn piece(&self, object: &Object, range: Range<u64>) -> Result<Vec<u8>, Missing>;

    /// The first bytes of each, at most [`FIRST`]; many are asked for at the same time.
    fn first(&self, objects: &[&Object]) -> Vec<Result<Vec<u8>, Missing>>;
}

/// Whoever cannot reach any store.
#[derive(Debug, Clone, Copy)]
pub struct NoStore;

impl NoStore {
    const WHY: &str = "object stores cannot be reached here";
}

impl Objects for NoStore {
    fn list(&self, _: &str) -> Result<Vec<Object>, String> {
        Err(NoStore::WHY.to_owned())
    }

    fn piece(&self, _: &Object, _: Range<u64>) -> Result<Vec<u8>, Missing> {
        Err(Missing::Store(NoStore::WHY.to_owned()))
    }

    fn first(&self, objects: &[&Object]) -> Vec<Result<Vec<u8>, Missing>> {
        objects.iter().map(|_| Err(Missing::Store(NoStore::WHY.to_owned()))).collect()
    }
}

impl Missing {
    /// In words.
    #[must_use]
    pub fn words(&self) -> &str {
        match self {
            Missing::Object(why) | Missing::Store(why) => why,
        }
    }
}

impl Object {
    /// What tells a later run that it is unchanged.
    #[must_use]
    pub fn stamp(&self) -> Stamp {
        let mark: String = self.mark.bytes().map(|byte| format!("{byte:02x}")).collect();
        Stamp::written(&format!("object-{}-{mark}", self.size))
    }
}

/// An object with who fetches it.
#[derive(Debug, Clone)]
pub struct Stored {
    /// The object.
    pub object: Object,
    /// Who fetches it.
    pub by: Arc<dyn Objects>,
}

impl PartialEq for Stored {
    fn eq(&self, other: &Stored) -> bool {
        self.object == other.object
    }
}

impl Eq for Stored {}

impl Stored {
    /// Opens it; `first` are its first bytes, as far as they are here already.
    ///
    /// # Errors
    /// When it cannot be fetched, or nothing at all can be unpacked from it.
    pub fn open(&self, first: Vec<u8>, name: &Arc<str>) -> Result<Opened, Reject> {
        let next = first.len() as u64;
        let bytes = Pieces { stored: self.clone(), piece: first, at: 0, next };
        unpack(Box::new(bytes), self.object.size, name)
    }
}

/// The bytes of an object from the first to the last.
struct Pieces {
    stored: Stored,
    piece: Vec<u8>,
    at: usize,
    /// Where the next piece begins.
    next: u64,
}

impl Read for Pieces {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let Stored { object, by } = &self.stored;
        if self.at == self.piece.len() && self.next < object.size {
            let longest = if self.next == 0 { FIRST } else { PIECE };
            let end = object.size.min(self.next + longest);
            let piece = by.piece(object, self.next..end);
            self.piece = piece.map_err(|why| io::Error::other(why.words().to_owned()))?;
            self.at = 0;
            self.next = end;
        }
        let some = (&self.piece[self.at..]).read(into)?;
        self.at += some;
        Ok(some)
    }
}

/// Whether a text is a URL, or meant as one: no path begins with a word and `://`.
#[must_use]
pub fn is_url(text: &str) -> bool {
    let scheme = |c: char| c.is_ascii_alphanumeric() || "+-.".contains(c);
    text.split_once("://").is_some_and(|(before, _)| before.chars().all(scheme))
}

/// A URL as the store (`s3://BUCKET` or `file://`) and the name in it.
///
/// # Errors
/// In words, when it is none.
pub fn store_and_name(url: &str) -> Result<(&str, &str), String> {
    let wrong = |what: &str| format!("`{url}` {what}; expected s3://BUCKET/NAME or file:///NAME");
    let (scheme, rest) = url.split_once("://").ok_or_else(|| wrong("is no URL"))?;
    let (place, name) = rest.split_once('/').ok_or_else(|| wrong("names nothing in its store"))?;
    let bucket = |c: char| c.is_ascii_alphanumeric() || ".-_".contains(c);
    match scheme {
        "s3" if place.is_empty() || !place.chars().all(bucket) => {
            return Err(wrong("names no bucket"));
        }
        "file" if !place.is_empty() => return Err(wrong("names a machine")),
        "s3" | "file" => {}
        _ => return Err(wrong("is of no store that can be read")),
    }
    let odd = |part: &str| matches!(part, "" | "." | "..") || part.contains(char::is_control);
    let inner = name.strip_suffix('/').unwrap_or(name);
    if !inner.is_empty() && inner.split('/').any(odd) {
        return Err(wrong("has an empty part, `.` or `..` in it"));
    }
    Ok((&url[..scheme.len() + 3 + place.len()], name))
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use std::collections::BTreeMap;

    /// A store in memory; the mark is the content's length with a word.
    #[derive(Debug, Default)]
    pub(crate) struct Shelf(pub BTreeMap<String, Vec<u8>>);

    impl Objects for Shelf {
        fn list(&self, below: &str) -> Result<Vec<Object>, String> {
            let listed = |(url, bytes): (&String, &Vec<u8>)| Object {
                url: url.clone(),
                size: bytes.len() as u64,
                mark: "\"a b\"".to_owned(),
            };
            let below = format!("{}/", below.trim_end_matches('/'));
            Ok(self.0.iter().filter(|(url, _)| url.starts_with(&below)).map(listed).collect())
        }

        fn piece(&self, object: &Object, range: Range<u64>) -> Result<Vec<u8>, Missing> {
            let gone = || Missing::Object("it is gone".to_owned());
            let bytes = self.0.get(&object.url).ok_or_else(gone)?;
            let at = |at| usize::try_from(at).expect("a place");
            Ok(bytes[at(range.start)..at(range.end)].to_vec())
        }

        fn first(&self, objects: &[&Object]) -> Vec<Result<Vec<u8>, Missing>> {
            objects.iter().map(|object| self.piece(object, 0..object.size.min(FIRST))).collect()
        }
    }

    #[test]
    fn only_urls_are_urls() {
        assert!(is_url("s3://a/b") && is_url("file:///a") && is_url("://a"));
        assert!(!is_url("logs/s3://a") && !is_url("C:/a") && !is_url("a b://c"));
        assert_eq!(
            store_and_name("s3://a-b.c/d e/%20/x?.log"),
            Ok(("s3://a-b.c", "d e/%20/x?.log"))
        );
        assert_eq!(store_and_name("file:///a/b/"), Ok(("file://", "a/b/")));
        assert_eq!(store_and_name("s3://a/"), Ok(("s3://a", "")));
        for (bad, why) in [
            ("a/b", "is no URL"),
            ("s3://a", "names nothing"),
            ("s3:///a", "names no bucket"),
            ("s3://key:word@a/b", "names no bucket"),
            ("s3://a:80/b", "names no bucket"),
            ("file://host/a", "names a machine"),
            ("http://a/b", "no store that can be read"),
            ("s3://a/../b", "`..` in it"),
            ("file:///a//b", "an empty part"),
            ("file:////a", "an empty part"),
        ] {
            let error = store_and_name(bad).expect_err(bad);
            assert!(error.contains(why), "{bad}: {error}");
        }
    }

    #[test]
    fn an_object_is_read_like_a_file() {
        let text: Vec<u8> = (0..200_000_u32).flat_map(u32::to_le_bytes).collect();
        let url = "s3://a/b.log".to_owned();
        let object = Object { url: url.clone(), size: text.len() as u64, mark: "1".to_owned() };
        let by = Arc::new(Shelf(BTreeMap::from([(url, text.clone())])));
        let stored = Stored { object, by };
        for first in [0, 1, 1 << 16] {
            let opened = stored.open(text[..first].to_vec(), &"b.log".into()).expect("opened");
            let mut read = Vec::new();
            let mut bytes = opened.bytes;
            bytes.read_to_end(&mut read).expect("read");
            assert!(read == text, "with {first} bytes at hand");
        }
        let gone = Stored { by: Arc::new(Shelf::default()), ..stored };
        let reject = gone.open(Vec::new(), &"b.log".into()).err().expect("refused");
        assert_eq!(reject.reason, "it is gone");
    }

    #[test]
    fn a_stamp_is_one_word_and_tells_size_and_mark() {
        let of =
            |size, mark: &str| Object { url: String::new(), size, mark: mark.to_owned() }.stamp();
        assert!(!of(1, "\"a b\n\"").word().contains([' ', '\n']));
        assert_eq!(of(1, "a"), of(1, "a"));
        assert_ne!(of(1, "a"), of(2, "a"));
        assert_ne!(of(1, "a"), of(1, "b"));
    }

    #[test]
    fn without_a_store_everything_is_refused_in_words() {
        let object = Object { url: "s3://logs/a.log".to_owned(), size: 1, mark: "m".to_owned() };
        let why = "object stores cannot be reached here";
        assert_eq!(NoStore.list("s3://logs").expect_err("no store"), why);
        assert_eq!(NoStore.piece(&object, 0..1).expect_err("no store").words(), why);
        assert!(NoStore.first(&[&object, &object]).iter().all(Result::is_err));
    }
}
