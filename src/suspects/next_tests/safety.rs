//! Which modules must not be touched, or not on a vehicle that moves: told by words in their names.
//!
//! A word is enough to be careful. A module that nobody has named is handled as one of the brakes.

use crate::observe::UNNAMED;
use crate::protocol::trouble_codes::network_code;
use crate::vocabulary::Network;

/// How far tests may go on a module. The order is from free to forbidden.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Care {
    /// As on any module.
    Ordinary,
    /// Steering, brakes, stability: only on a vehicle that stands, never "unplug and drive".
    Standing,
    /// Nobody has named it: find out first, and treat it as one of the brakes.
    Unnamed,
    /// Airbags, belts, high voltage: no test of ours touches it.
    Untouched,
}

/// Words that stand for themselves, and parts of words. (FACTS 8.3, 8.4; common practice, no source)
const UNTOUCHED: [&str; 16] = [
    "airbag",
    "restraint",
    "srs",
    "acu",
    "rcm",
    "belt",
    "pretension",
    "tensioner",
    "occupant",
    "hv",
    "highvoltage",
    "inverter",
    "traction",
    "charger",
    "ev-drive",
    "fuel-cell",
];
const STANDING: [&str; 16] = [
    "steer",
    "sas",
    "sasm",
    "eps",
    "brake",
    "braking",
    "abs",
    "ebs",
    "epb",
    "esp",
    "esc",
    "stability",
    "yaw",
    "chassis-control",
    "retarder",
    "wheel-speed",
];

impl Care {
    /// What is said before any test of a module; nothing where tests are as on any other.
    pub(super) fn caution(self) -> Option<&'static str> {
        match self {
            Care::Unnamed => Some(
                "find out first which module this is; airbag, belt and high-voltage modules are not touched",
            ),
            Care::Standing => Some(
                "steering or brakes: static test only, never unplug and drive; the maker's checks come before \
                 the next drive",
            ),
            Care::Ordinary | Care::Untouched => None,
        }
    }
}

/// Whether no test of ours touches a module: airbags, belts, high voltage.
#[must_use]
pub fn untouched(node: &str, network: Option<&Network>) -> bool {
    care(node, network) == Care::Untouched
}

/// What is said before any work on a module; `None` where it is as any other, or not touched at all.
#[must_use]
pub fn module_caution(node: &str, network: Option<&Network>) -> Option<&'static str> {
    care(node, network).caution()
}

/// The care that a node asks for.
pub(super) fn care(node: &str, network: Option<&Network>) -> Care {
    let described = network.and_then(|n| n.nodes.iter().find(|d| d.name == node));
    let mut care = by_words(node);
    if let Some(described) = described {
        let codes = described.lost_codes.iter().filter_map(|word| network_code(*word));
        let meant = codes.flat_map(|code| [code.accused_class, code.accused_name]);
        let names = described.title.iter().chain(&described.aliases).map(String::as_str);
        care = names.chain(meant).map(by_words).fold(care, Care::max);
    } else if node.starts_with(UNNAMED) {
        care = care.max(Care::Unnamed);
    }
    care
}

fn by_words(name: &str) -> Care {
    let lower = name.to_lowercase();
    let words: Vec<&str> = lower.split(|c: char| !c.is_alphanumeric()).collect();
    let joined = words.concat();
    // Short abbreviations stand in the middle of too many words; they must be the whole word.
    let is = |key: &&str| {
        if key.len() < 5 { words.contains(key) } else { joined.contains(&key.replace('-', "")) }
    };
    if UNTOUCHED.iter().any(&is) {
        // Traction control is a matter of the brakes.
        if joined.contains("tractioncontrol") { Care::Standing } else { Care::Untouched }
    } else if STANDING.iter().any(is) {
        Care::Standing
    } else {
        Care::Ordinary
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vocabulary::Node;

    #[test]
    fn words_tell_what_must_not_be_touched() {
        for (name, expected) in [
            ("steering-angle", Care::Standing),
            ("brake", Care::Standing),
            ("parking-brake", Care::Standing),
            ("ABS", Care::Standing),
            ("absorber-heater", Care::Ordinary),
            ("tail-lift", Care::Ordinary),
            ("airbag", Care::Untouched),
            ("seat belt control", Care::Untouched),
            ("SRS", Care::Untouched),
            ("high-voltage-battery", Care::Untouched),
            ("traction-control", Care::Standing),
            ("refrigeration", Care::Ordinary),
            ("sender-03", Care::Unnamed),
        ] {
            assert_eq!(care(name, None), expected, "{name}");
        }
    }

    #[test]
    fn title_alias_or_code_are_enough() {
        let node = |name: &str| Node { name: name.to_owned(), ..Node::default() };
        let network = Network {
            nodes: vec![
                Node { title: Some("Airbag control".to_owned()), ..node("a") },
                Node { aliases: vec!["ABS".to_owned()], ..node("b") },
                // SAE J2012: U0151 is lost communication with the restraints control module.
                Node { lost_codes: vec![0xC151], ..node("c") },
                node("d"),
            ],
            ..Network::default()
        };
        let found = ["a", "b", "c", "d"].map(|name| care(name, Some(&network)));
        let expected = [Care::Untouched, Care::Standing, Care::Untouched, Care::Ordinary];
        assert_eq!(found, expected);
    }
}
