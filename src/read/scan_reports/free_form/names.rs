//! Which module a text names.
//!
//! Compared are words, without those that say no more than "module", with the names, titles and
//! aliases of the vehicle's network. What names no node but belongs to a class of modules of which the
//! network has exactly one node is that node, and counted. What fits several nodes is ambiguous. A
//! heading that is plainly a module but no node of the network keeps a name of its own.

use std::collections::BTreeSet;

use super::phrases::{Token, tokens_parted};
use super::words::{Answer, Label, Words};
use crate::vocabulary::Network;

/// Whom a text names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Naming {
    /// A node of the network, or a module with a name of its own.
    Node {
        name: String,
        /// Told only by the class of the words.
        by_class: bool,
        /// Not in the network.
        strange: bool,
    },
    /// Several nodes fit.
    Several(Vec<String>),
}

/// What a heading says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Heading {
    pub naming: Naming,
    pub answer: Option<Answer>,
    /// Words are left over that say nothing known.
    pub leftover: bool,
}

/// The nodes of one network and how they may be called.
pub(super) struct Names<'n> {
    words: &'n Words,
    /// Node, words of a name as they are, words without generic ones.
    nodes: Vec<(String, String, String)>,
    /// Node and the classes of its names.
    classes: Vec<(String, BTreeSet<String>)>,
    has_network: bool,
}

const PARTING: [char; 16] =
    ['(', ')', '[', ']', '{', '}', ':', ',', ';', '|', '=', '/', '\n', '→', '·', '"'];

impl<'n> Names<'n> {
    pub(super) fn new(network: Option<&Network>, words: &'n Words) -> Names<'n> {
        let mut names =
            Names { words, nodes: Vec::new(), classes: Vec::new(), has_network: network.is_some() };
        for node in network.map(|n| n.nodes.as_slice()).unwrap_or_default() {
            let mut classes = BTreeSet::new();
            for text in std::iter::once(&node.name).chain(&node.title).chain(&node.aliases) {
                let all = names.split(text);
                let core = names.core(&all);
                if let Some(class) = words.classes.exact(&core) {
                    classes.insert(class.clone());
                }
                names.nodes.push((node.name.clone(), joined(&all), joined(&core)));
            }
            names.classes.push((node.name.clone(), classes));
        }
        names
    }

    pub(super) fn split(&self, text: &str) -> Vec<Token> {
        tokens_parted(text, &self.words.suffixes)
    }

    /// The words that tell one module from another.
    fn core(&self, all: &[Token]) -> Vec<Token> {
        let mut generic = vec![false; all.len()];
        for phrases in [&self.words.generic, &self.words.fillers] {
            for (at, length, ()) in phrases.all(all) {
                generic.iter_mut().skip(at).take(length).for_each(|g| *g = true);
            }
        }
        let kept = all.iter().zip(&generic).filter(|(_, generic)| !**generic);
        let kept: Vec<Token> = kept.map(|(token, _)| token.clone()).collect();
        let first = kept.iter().position(|token| !is_number(&token.text)).unwrap_or(kept.len());
        kept.get(first..).unwrap_or_default().to_vec()
    }

    /// The nodes that words name: by their whole name first, then without generic words, then by class.
    fn nodes_of(&self, all: &[Token]) -> (BTreeSet<&str>, bool) {
        let whole = joined(all);
        let core = self.core(all);
        let short = joined(&core);
        let by = |fits: &dyn Fn(&(String, String, String)) -> bool| -> BTreeSet<&str> {
            self.nodes.iter().filter(|n| fits(n)).map(|(node, ..)| node.as_str()).collect()
        };
        if !whole.is_empty() {
            let found = by(&|(_, name, _)| *name == whole);
            if !found.is_empty() {
                return (found, false);
            }
        }
        if short.is_empty() {
            return (BTreeSet::new(), false);
        }
        let found = by(&|(_, _, name)| *name == short);
        if !found.is_empty() {
            return (found, false);
        }
        let Some(class) = self.words.classes.exact(&core) else { return (BTreeSet::new(), false) };
        let found = self.classes.iter().filter(|(_, classes)| classes.contains(class));
        (found.map(|(node, _)| node.as_str()).collect(), true)
    }

    /// What a text says when it is a heading, or stands where a module is expected.
    ///
    /// `expected`: the place alone (a label, a column) says that it is a module. `dressed`: it looks like
    /// a heading. Neither: it has to name a known module and hardly anything else.
    pub(super) fn heading(&self, text: &str, expected: bool, dressed: bool) -> Option<Heading> {
        let text = bare(text);
        let mut all = self.split(text);
        if all.is_empty() || all.len() > 14 {
            return None;
        }
        if !expected && self.words.description.any(&all) {
            return None;
        }
        let mut answer = None;
        let mut text = text;
        // `… did not answer`, `… no faults` at the end without a mark before it.
        let named = joined(&all);
        if !self.nodes.iter().any(|(_, name, _)| *name == named) {
            for at in 1..all.len() {
                if let Some((length, said)) = self.words.answers.at(&all, at)
                    && at + length == all.len()
                {
                    answer = Some(*said);
                    text = text.get(..all.get(at).map_or(0, |t| t.start)).unwrap_or("");
                    all.truncate(at);
                    // `… had no faults`: the verb is no part of the name.
                    while let Some(last) = all.last().filter(|_| all.len() > 1)
                        && self.words.reporting.exact(std::slice::from_ref(last)).is_some()
                    {
                        text = text.get(..last.start).unwrap_or("");
                        all.pop();
                    }
                    break;
                }
            }
        }
        let parts = self.parts(text);
        let mut nodes: BTreeSet<&str> = BTreeSet::new();
        let (mut by_class, mut leftover) = (false, 0);
        let (whole, whole_by_class) = self.nodes_of(&all);
        if whole.is_empty() {
            for part in &parts {
                let (found, class) = self.nodes_of(part);
                if !found.is_empty() && (nodes.is_empty() || !class || by_class) {
                    if by_class && !class {
                        nodes.clear();
                    }
                    by_class = class;
                    nodes.extend(found);
                } else if found.is_empty() {
                    answer = answer.or_else(|| self.answer(part));
                    leftover += if self.harmless(part) { 0 } else { part.len() };
                }
            }
        } else {
            nodes = whole;
            by_class = whole_by_class;
        }
        let mut found = nodes.into_iter().map(str::to_owned);
        let naming = match (found.next(), found.next()) {
            (Some(name), None) => Naming::Node { name, by_class, strange: false },
            (Some(first), Some(second)) => {
                Naming::Several([first, second].into_iter().chain(found).collect())
            }
            (None, _) => self.strange(&parts, expected, dressed)?,
        };
        let strange = matches!(naming, Naming::Node { strange: true, .. });
        if !expected && !dressed && !strange && leftover > 4 {
            return None;
        }
        Some(Heading { naming, answer, leftover: leftover > 0 && !strange })
    }

    /// A module of its own name: expected there, or of a known class, or called a module.
    fn strange(&self, parts: &[Vec<Token>], expected: bool, dressed: bool) -> Option<Naming> {
        let first =
            parts.iter().find(|part| !self.core(part).is_empty() && !self.harmless(part))?;
        let core = self.core(first);
        let known = self.words.classes.exact(&core).is_some();
        let marked = self.words.marks.any(first) && core.len() <= 5;
        if !(expected || dressed && (known || marked)) {
            return None;
        }
        let words: Vec<&str> = core.iter().map(|token| token.text.as_str()).take(8).collect();
        let name = words.join("-").chars().take(60).collect();
        Some(Naming::Node { name, by_class: false, strange: self.has_network })
    }

    /// What words say of a module as a whole.
    pub(super) fn answer(&self, part: &[Token]) -> Option<Answer> {
        if let Some(answer) = self.words.answers.exact(part) {
            return Some(*answer);
        }
        // `0 faults`, `2 codes stored`.
        let counted = part.first().is_some_and(|t| is_number(&t.text))
            && part.get(1..).is_some_and(|rest| {
                matches!(self.words.labels.at(rest, 0), Some((_, (Label::Code, _))))
            });
        counted.then_some(Answer::Answered)
    }

    /// Words that may stand beside a module's name without saying anything of it.
    fn harmless(&self, part: &[Token]) -> bool {
        self.answer(part).is_some()
            || self.words.status.exact(part).is_some()
            || part.iter().all(|t| is_number(&t.text) || t.text.len() == 1)
            || self.core(part).is_empty()
            || matches!(
                self.words.labels.exact(part),
                Some((Label::Code | Label::Status | Label::Answer | Label::Module, _))
            )
            || part.iter().all(|t| t.text.starts_with("0x") || is_number(&t.text))
    }

    /// The parts of a heading, each as words.
    fn parts(&self, text: &str) -> Vec<Vec<Token>> {
        let mut pieces: Vec<String> = Vec::new();
        for piece in text.split(PARTING) {
            let piece = piece.replace(['–', '—'], " - ");
            pieces.extend(piece.split(" - ").map(str::to_owned));
        }
        let parts = pieces.iter().map(|piece| self.split(piece));
        parts.filter(|part| !part.is_empty()).collect()
    }
}

fn joined(all: &[Token]) -> String {
    all.iter().map(|token| token.text.as_str()).collect()
}

fn is_number(text: &str) -> bool {
    text.bytes().all(|b| b.is_ascii_digit())
}

/// A text without bullets, numbering and ornaments around it.
pub(super) fn bare(text: &str) -> &str {
    let ornament = |c: char| {
        c.is_whitespace()
            || "-–—=*#•▪●►▶■□◆>+~_·✓✔✗✘☐☑!".contains(c)
            || ('\u{2500}'..='\u{25FF}').contains(&c)
    };
    let mut rest = text.trim_matches(ornament);
    // `3.`, `3)`, `[3]`, `3/12`, `3 of 12`, `#3`: a number that is followed by a mark or a blank.
    for _ in 0..2 {
        let inner = rest.trim_start_matches(['[', '(']);
        let digits = inner.bytes().take_while(u8::is_ascii_digit).count();
        if digits == 0 || digits > 3 {
            break;
        }
        let mut after = inner.get(digits..).unwrap_or("");
        for of in ["/", " of ", " von ", " / "] {
            if let Some(second) = after.strip_prefix(of) {
                let more = second.bytes().take_while(u8::is_ascii_digit).count();
                if more > 0 {
                    after = second.get(more..).unwrap_or("");
                }
            }
        }
        let marked = after.starts_with(['.', ')', ']', ':', ' ']);
        let next = after.trim_start_matches(['.', ')', ']', ':', ' ', '-', '–']);
        if !marked || !next.starts_with(char::is_alphabetic) {
            break;
        }
        rest = next;
    }
    rest.trim_matches(ornament)
}
