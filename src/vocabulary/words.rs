//! Words that stand in the program itself, as `log` or `first start of the day`, read back from bytes.
//!
//! Whoever reads one gets the same `&'static str` each time. Each new word stays in memory for good, so
//! there is a bound to their number and length: the program has some hundred, and bytes that bring more are
//! not its own.

use std::collections::BTreeSet;
use std::sync::{Mutex, PoisonError};

use serde::{Deserialize, Deserializer};

/// Words that are kept at most, and the bytes of the longest.
const MOST: usize = 1024;
const LONGEST: usize = 200;

/// A word that stands in the program. Under this name a field of it can be read without bytes that last as long.
pub type Word = &'static str;

static WORDS: Mutex<Words> = Mutex::new(Words { known: BTreeSet::new(), most: MOST });

/// The words read so far.
struct Words {
    known: BTreeSet<&'static str>,
    most: usize,
}

impl Words {
    /// The word for good; `None` beyond the bound.
    fn keep(&mut self, word: &str) -> Option<&'static str> {
        if let Some(known) = self.known.get(word) {
            return Some(known);
        }
        if self.known.len() >= self.most || word.len() > LONGEST {
            return None;
        }
        let kept: &'static str = Box::leak(word.into());
        self.known.insert(kept);
        Some(kept)
    }
}

fn kept<E: serde::de::Error>(word: &str) -> Result<&'static str, E> {
    let mut words = WORDS.lock().unwrap_or_else(PoisonError::into_inner);
    words
        .keep(word)
        .ok_or_else(|| E::custom(format!("`{}` is no word of this program", word.escape_debug())))
}

/// Reads one word.
///
/// # Errors
/// When it is no text, or beyond what a program has of words.
pub fn word<'de, D: Deserializer<'de>>(from: D) -> Result<&'static str, D::Error> {
    kept(&String::deserialize(from)?)
}

/// Reads a word that may be missing.
///
/// # Errors
/// As [`word`].
pub fn maybe_word<'de, D: Deserializer<'de>>(from: D) -> Result<Option<&'static str>, D::Error> {
    Option::<String>::deserialize(from)?.map(|word| kept(&word)).transpose()
}

/// Reads a list of words.
///
/// # Errors
/// As [`word`].
pub fn words<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<&'static str>, D::Error> {
    Vec::<String>::deserialize(from)?.iter().map(|word| kept(word)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_is_kept_once_and_there_is_a_bound() {
        let mut words = Words { known: BTreeSet::new(), most: 2 };
        let first = words.keep("log").expect("kept");
        assert!(std::ptr::eq(words.keep("log").expect("known"), first));
        assert_eq!(words.keep(&"x".repeat(LONGEST + 1)), None);
        assert_eq!(words.keep("report"), Some("report"));
        assert_eq!(words.keep("weather"), None);
        assert_eq!(words.keep("log"), Some("log"));
    }
}
