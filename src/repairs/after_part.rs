//! What a replaced module usually needs: found by the words of its name, from a table that a
//! pipeline may bring itself.
//!
//! In: the verdict's node, its network description, the table's rows. Out: the class of module, the
//! steps and the cautions. Refuses to guess: a node whose name, title and aliases hold none of the
//! table's words is of unknown class and gets the general steps only.

use std::sync::Arc;

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use crate::read::tables::{ColumnChoices, read_after_part};
use crate::read::{Account, AfterPartRow};
use crate::vocabulary::{Network, Suspect, Verdict};

/// The class whose steps and cautions go with every module.
const ANY: &str = "any";
/// The shipped table.
const SHIPPED: &str = include_str!("after_the_part.csv");
/// Its name in messages.
const SHIPPED_NAME: &str = "after_the_part.csv (built in)";

/// What follows a replaced part, by class of module.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AfterTable {
    rows: Vec<AfterPartRow>,
}

impl AfterTable {
    /// The pipeline's own rows, or the shipped table where it has none.
    #[must_use]
    pub fn new(own: Vec<AfterPartRow>) -> AfterTable {
        if own.is_empty() { AfterTable::shipped().0 } else { AfterTable { rows: own } }
    }

    /// The shipped table, and what is wrong with it (a test asks for nothing).
    pub(super) fn shipped() -> (AfterTable, Account) {
        let name: Arc<str> = SHIPPED_NAME.into();
        let reading = read_after_part(SHIPPED.as_bytes(), &name, &ColumnChoices::new(), Tz::UTC);
        (AfterTable { rows: reading.records }, reading.account)
    }
}

/// What a replaced part needs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AfterPart {
    /// The node.
    pub node: String,
    /// Its class; `None` when no word of the table fits.
    pub class: Option<String>,
    /// The word that told the class.
    pub by_word: Option<String>,
    /// What is usually needed, a step each; the class's own first.
    pub needed: Vec<String>,
    /// The cautions, the class's own first.
    pub cautions: Vec<String>,
}

/// For a vehicle whose verdict is a node; `None` for any other verdict.
pub(super) fn after_part(
    verdict: &Verdict,
    network: Option<&Network>,
    table: &AfterTable,
) -> Option<AfterPart> {
    let Verdict::Suspect(Suspect::Node(name)) = verdict else { return None };
    let texts = texts_of(name, network);
    let classes = table.rows.iter().filter(|row| row.class != ANY);
    let class = class_of(&texts, classes.map(|row| (row, row.words.as_slice())));
    let any = table.rows.iter().find(|row| row.class == ANY);
    let rows = || class.map(|(row, _)| row).into_iter().chain(any);
    Some(AfterPart {
        node: name.clone(),
        class: class.map(|(row, _)| row.class.clone()),
        by_word: class.map(|(_, word)| word.to_owned()),
        needed: rows().flat_map(|row| row.needed.iter().cloned()).collect(),
        cautions: rows().flat_map(|row| row.cautions.iter().cloned()).collect(),
    })
}

/// What a node is called: its name, title and aliases, as [`class_of`] takes them.
#[must_use]
pub fn texts_of(name: &str, network: Option<&Network>) -> Vec<String> {
    let node = network.and_then(|network| network.nodes.iter().find(|node| node.name == name));
    let mut texts = vec![spaced(name)];
    if let Some(node) = node {
        texts.extend(node.title.as_deref().map(spaced));
        texts.extend(node.aliases.iter().map(|alias| spaced(alias)));
    }
    texts
}

/// Of rows with their words the one with the longest word that stands in one of the texts, and that
/// word; of equals the first. The texts come from [`texts_of`], so only whole words count.
#[must_use]
pub fn class_of<'a, T: Copy>(
    texts: &[String],
    rows: impl Iterator<Item = (T, &'a [String])>,
) -> Option<(T, &'a str)> {
    let mut best: Option<(T, &str)> = None;
    for (row, words) in rows {
        for word in words {
            let stands = texts.iter().any(|text| text.contains(&spaced(word)));
            let length = |word: &str| word.chars().count();
            if stands && best.is_none_or(|(_, other)| length(word) > length(other)) {
                best = Some((row, word));
            }
        }
    }
    best
}

/// Lower case, with single blanks between and around the words.
fn spaced(text: &str) -> String {
    let lower = text.to_lowercase();
    let words = lower.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
    words.fold(" ".to_owned(), |text, word| text + word + " ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vocabulary::Node;

    fn of(name: &str, title: Option<&str>, aliases: &[&str]) -> AfterPart {
        let node = Node {
            name: name.to_owned(),
            title: title.map(str::to_owned),
            aliases: aliases.iter().map(|alias| (*alias).to_owned()).collect(),
            ..Node::default()
        };
        let network = Network { nodes: vec![node], ..Network::default() };
        let verdict = Verdict::Suspect(Suspect::Node(name.to_owned()));
        let table = AfterTable::new(Vec::new());
        after_part(&verdict, Some(&network), &table).expect("a node")
    }

    #[test]
    fn the_shipped_table_is_sound() {
        let (table, account) = AfterTable::shipped();
        assert_eq!(account, Account::default());
        assert!(table.rows.len() >= 12);
        let any = table.rows.iter().find(|row| row.class == ANY).expect("general steps");
        assert!(!any.needed.is_empty() && any.cautions.len() >= 4);
        for row in table.rows.iter().filter(|row| row.class != ANY) {
            assert!(!row.words.is_empty() && !row.needed.is_empty(), "{}", row.class);
        }
    }

    #[test]
    fn classes_by_words() {
        for (name, title, aliases, class) in [
            ("steering-angle", None, &[][..], "steering"),
            ("sas", Some("Steering angle sensor module"), &[], "steering"),
            ("mod-7", None, &["ABS"], "brake and stability"),
            ("parking-brake", None, &[], "parking brake"),
            ("transmission", None, &[], "transmission"),
            ("body", Some("Body control module"), &[], "body and gateway"),
            ("occupant-restraint", None, &[], "restraint"),
        ] {
            let found = of(name, title, aliases);
            assert_eq!(found.class.as_deref(), Some(class), "{name}");
            assert!(found.needed.len() > 2 && found.cautions.len() >= 4);
        }
    }

    #[test]
    fn an_unknown_module_gets_the_general_steps() {
        let found = of("tail-lift", Some("Tail-lift controller"), &["TLC"]);
        assert_eq!((found.class, found.by_word), (None, None));
        assert!(!found.needed.is_empty() && !found.cautions.is_empty());
        // "absent" holds "abs", but not as a word.
        assert_eq!(of("absent", None, &[]).class, None);
    }

    #[test]
    fn only_a_node_has_a_part() {
        let table = AfterTable::new(Vec::new());
        for verdict in [Verdict::Quiet, Verdict::Undecided, Verdict::Suspect(Suspect::Supply)] {
            assert_eq!(after_part(&verdict, None, &table), None);
        }
    }
}
