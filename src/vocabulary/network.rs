//! The network description of a vehicle model: buses, nodes, branches.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use crate::vocabulary::Identifier;

/// A vehicle model's network, as its description file gives it. All but the names is optional.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Network {
    /// The name that `vehicles.csv` uses.
    pub name: String,
    /// The buses, in file order.
    pub buses: Vec<Bus>,
    /// The nodes, in file order.
    pub nodes: Vec<Node>,
    /// The wiring branches, in file order.
    pub branches: Vec<Branch>,
}

impl Network {
    /// A branch and all branches that hang on it; a description may hold a circle.
    #[must_use]
    pub fn branches_below<'n>(&'n self, name: &'n str) -> BTreeSet<&'n str> {
        let mut found = BTreeSet::from([name]);
        loop {
            let before = found.len();
            for branch in &self.branches {
                if branch.upstream.as_deref().is_some_and(|upper| found.contains(upper)) {
                    found.insert(&branch.name);
                }
            }
            if found.len() == before {
                return found;
            }
        }
    }
}

/// One bus.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Bus {
    /// Its name.
    pub name: String,
    /// Bits a second.
    pub bitrate: Option<u32>,
    /// The interface name that logs use for it.
    pub interface: Option<String>,
}

/// One control module.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Node {
    /// Short name, used everywhere.
    pub name: String,
    /// Long name.
    pub title: Option<String>,
    /// How free-text reports may call it.
    pub aliases: Vec<String>,
    /// The buses it hangs on; two or more make it a gateway.
    pub buses: Vec<String>,
    /// What it sends.
    pub sends: Vec<Sent>,
    /// Codes that others set when they no longer hear it (16-bit words).
    pub lost_codes: Vec<u16>,
    /// The identifier on which a tester asks it.
    pub request: Option<Identifier>,
    /// The identifier on which it answers.
    pub response: Option<Identifier>,
    /// The fuse or supply it hangs on.
    pub feed: Option<String>,
    /// Its ground point.
    pub ground: Option<String>,
    /// The wiring branches it hangs on; more than one for a gateway.
    pub branches: Vec<String>,
}

/// An identifier that a node sends.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Sent {
    /// The identifier.
    pub id: Identifier,
    /// The stated period in milliseconds; `None` means event driven.
    #[serde(with = "to_the_bit")]
    pub period_ms: Option<f64>,
}

/// A number as its bits: what is sent to another machine comes back as the same number.
mod to_the_bit {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(super) fn serialize<S: Serializer>(value: &Option<f64>, to: S) -> Result<S::Ok, S::Error> {
        value.map(f64::to_bits).serialize(to)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Option<f64>, D::Error> {
        Ok(Option::<u64>::deserialize(from)?.map(f64::from_bits))
    }
}

/// A wiring branch.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Branch {
    /// Its name.
    pub name: String,
    /// The bus it belongs to.
    pub bus: Option<String>,
    /// The branch it hangs on.
    pub upstream: Option<String>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_hangs_on_a_branch() {
        // A leaf stands before its trunk; `a` and `b` hang on each other.
        let pairs = [
            ("leaf", Some("twig")),
            ("trunk", None),
            ("twig", Some("trunk")),
            ("other", Some("trunk")),
            ("stray", Some("nowhere")),
            ("a", Some("b")),
            ("b", Some("a")),
        ];
        let branch = |(name, upstream): (&str, Option<&str>)| Branch {
            name: name.to_owned(),
            bus: None,
            upstream: upstream.map(str::to_owned),
        };
        let network = Network { branches: pairs.map(branch).into(), ..Network::default() };
        for (name, wanted) in [
            ("trunk", &["leaf", "other", "trunk", "twig"][..]),
            ("twig", &["leaf", "twig"]),
            ("leaf", &["leaf"]),
            ("unknown", &["unknown"]),
            ("nowhere", &["nowhere", "stray"]),
            ("a", &["a", "b"]),
        ] {
            let found: Vec<&str> = network.branches_below(name).into_iter().collect();
            assert_eq!(found, wanted, "{name}");
        }
    }
}
