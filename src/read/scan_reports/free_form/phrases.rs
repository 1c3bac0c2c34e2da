//! Text as words, and phrases found among words.
//!
//! A word is a run of letters and digits, in lower case; everything between words is only a gap, so
//! that `Anti-lock  brake` and `anti lock brake` are the same phrase. A compound such as
//! `Bremsensteuergerät` is parted before a known suffix. Offsets are bytes of the text.

use std::collections::BTreeMap;

/// A word of a text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Token {
    /// The word in lower case.
    pub text: String,
    /// Where it begins.
    pub start: usize,
    /// Where it ends.
    pub end: usize,
}

/// The words of a text; compounds are parted before any of `suffixes`.
pub(super) fn tokens_parted(text: &str, suffixes: &[String]) -> Vec<Token> {
    let mut found = Vec::new();
    let mut start = None;
    let ends = text.char_indices().chain(std::iter::once((text.len(), ' ')));
    for (at, c) in ends {
        match (c.is_alphanumeric(), start) {
            (true, None) => start = Some(at),
            (false, Some(from)) => {
                push_word(&mut found, text.get(from..at).unwrap_or(""), from, suffixes);
                start = None;
            }
            _ => {}
        }
    }
    found
}

/// The words of a text.
pub(super) fn tokens(text: &str) -> Vec<Token> {
    tokens_parted(text, &[])
}

fn push_word(found: &mut Vec<Token>, word: &str, start: usize, suffixes: &[String]) {
    let lower = word.to_lowercase();
    let end = start + word.len();
    // Only where lower case keeps the length do offsets inside the word hold.
    let head = suffixes
        .iter()
        .filter(|_| lower.len() == word.len())
        .filter_map(|suffix| lower.strip_suffix(suffix.as_str()))
        .filter(|head| head.chars().count() >= 2)
        .min_by_key(|head| head.len());
    match head {
        Some(head) => {
            let middle = start + head.len();
            let tail = lower.get(head.len()..).unwrap_or("").to_owned();
            found.push(Token { text: head.to_owned(), start, end: middle });
            found.push(Token { text: tail, start: middle, end });
        }
        None => found.push(Token { text: lower, start, end }),
    }
}

/// Phrases with what each means; the longest at a place wins.
#[derive(Debug, Clone)]
pub(super) struct Phrases<T> {
    by_first: BTreeMap<String, Vec<(Vec<String>, T)>>,
}

impl<T> Default for Phrases<T> {
    fn default() -> Self {
        Phrases { by_first: BTreeMap::new() }
    }
}

impl<T: Clone> Phrases<T> {
    /// Adds a phrase; `false` when it holds no word. A phrase that is known keeps its meaning.
    pub(super) fn add(&mut self, phrase: &str, meaning: T, suffixes: &[String]) -> bool {
        let words: Vec<String> =
            tokens_parted(phrase, suffixes).into_iter().map(|token| token.text).collect();
        let Some(first) = words.first() else { return false };
        let list = self.by_first.entry(first.clone()).or_default();
        if !list.iter().any(|(known, _)| *known == words) {
            list.push((words, meaning));
            list.sort_by_key(|(words, _)| std::cmp::Reverse(words.len()));
        }
        true
    }

    /// The longest phrase that begins at word `at`, as its number of words and its meaning.
    pub(super) fn at(&self, tokens: &[Token], at: usize) -> Option<(usize, &T)> {
        let rest = tokens.get(at..)?;
        let list = self.by_first.get(&rest.first()?.text)?;
        let fits = |words: &[String]| {
            words.len() <= rest.len() && words.iter().zip(rest).all(|(w, token)| *w == token.text)
        };
        list.iter().find(|(words, _)| fits(words)).map(|(words, meaning)| (words.len(), meaning))
    }

    /// The meaning of a text that is exactly one phrase.
    pub(super) fn exact(&self, tokens: &[Token]) -> Option<&T> {
        let list = self.by_first.get(&tokens.first()?.text)?;
        let same = |words: &[String]| {
            words.len() == tokens.len() && words.iter().zip(tokens).all(|(w, t)| *w == t.text)
        };
        list.iter().find(|(words, _)| same(words)).map(|(_, meaning)| meaning)
    }

    /// All phrases from left to right, as (first word, number of words, meaning); none overlap.
    pub(super) fn all<'p>(&'p self, tokens: &[Token]) -> Vec<(usize, usize, &'p T)> {
        let mut found = Vec::new();
        let mut at = 0;
        while at < tokens.len() {
            match self.at(tokens, at) {
                Some((length, meaning)) => {
                    found.push((at, length, meaning));
                    at += length;
                }
                None => at += 1,
            }
        }
        found
    }

    /// Whether any phrase stands in the text.
    pub(super) fn any(&self, tokens: &[Token]) -> bool {
        (0..tokens.len()).any(|at| self.at(tokens, at).is_some())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hyphens_case_and_compounds_do_not_matter() {
        let suffixes = vec!["steuergerät".to_owned()];
        let words = |text: &str| -> Vec<String> {
            tokens_parted(text, &suffixes).into_iter().map(|t| t.text).collect()
        };
        assert_eq!(words("Anti-lock  BRAKE"), ["anti", "lock", "brake"]);
        assert_eq!(words("Bremsensteuergerät (ABS)"), ["bremsen", "steuergerät", "abs"]);
        assert_eq!(words("Steuergerät"), ["steuergerät"]);
    }

    #[test]
    fn the_longest_phrase_wins() {
        let mut phrases = Phrases::default();
        assert!(phrases.add("not active", 1, &[]) && phrases.add("active", 2, &[]));
        assert!(!phrases.add(" - ", 3, &[]));
        let found = phrases.all(&tokens("active, NOT active"));
        assert_eq!(found, [(0, 1, &2), (1, 2, &1)]);
        assert_eq!(phrases.exact(&tokens("Not-Active")), Some(&1));
        assert_eq!(phrases.exact(&tokens("active now")), None);
    }
}
