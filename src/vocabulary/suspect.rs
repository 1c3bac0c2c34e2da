//! What may be at fault, how it acts, and what is concluded.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// What may be at fault. The order of the variants is the tie-break of every ranking.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(remote = "Self")]
pub enum Suspect {
    /// A control module.
    Node(String),
    /// A wiring branch: splice, stub or connector.
    Branch(String),
    /// A fuse or supply that several nodes hang on.
    Feed(String),
    /// A ground point.
    Ground(String),
    /// The bus wires or their termination.
    Bus(String),
    /// The battery voltage.
    Supply,
    /// No bus fault, or the tester's doing.
    None,
}

impl fmt::Display for Suspect {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Suspect::Node(name) => write!(f, "node:{name}"),
            Suspect::Branch(name) => write!(f, "branch:{name}"),
            Suspect::Feed(name) => write!(f, "feed:{name}"),
            Suspect::Ground(name) => write!(f, "ground:{name}"),
            Suspect::Bus(name) => write!(f, "bus:{name}"),
            Suspect::Supply => f.write_str("supply"),
            Suspect::None => f.write_str("none"),
        }
    }
}

impl Suspect {
    /// The suspect as people say it: `tail-lift module`, `wiring branch rear-splice`, `feed F12`.
    #[must_use]
    pub fn in_words(&self) -> String {
        match self {
            Suspect::Node(name) if name.to_lowercase().ends_with("module") => name.clone(),
            Suspect::Node(name) => format!("{name} module"),
            Suspect::Branch(name) => format!("wiring branch {name}"),
            Suspect::Feed(name) => format!("feed {name}"),
            Suspect::Ground(name) => format!("ground point {name}"),
            Suspect::Bus(name) => format!("wires or termination of bus {name}"),
            Suspect::Supply => "battery supply".to_owned(),
            Suspect::None => "no bus fault, or the tester\u{2019}s doing".to_owned(),
        }
    }

    /// The same as part of a sentence: `the tail-lift module`, `the feed F12`.
    #[must_use]
    pub fn the_in_words(&self) -> String {
        match self {
            Suspect::None => self.in_words(),
            _ => format!("the {}", self.in_words()),
        }
    }

    /// Reads back what [`fmt::Display`] writes; `None` for anything else.
    #[must_use]
    pub fn parse(text: &str) -> Option<Suspect> {
        match text {
            "supply" => return Some(Suspect::Supply),
            "none" => return Some(Suspect::None),
            _ => {}
        }
        let (kind, name) = text.split_once(':')?;
        let name = name.trim();
        if name.is_empty() {
            return None;
        }
        let name = name.to_owned();
        Some(match kind {
            "node" => Suspect::Node(name),
            "branch" => Suspect::Branch(name),
            "feed" => Suspect::Feed(name),
            "ground" => Suspect::Ground(name),
            "bus" => Suspect::Bus(name),
            _ => return None,
        })
    }
}

/// As text for people, as it is for programs: the text does not keep every name to the letter.
impl Serialize for Suspect {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match serializer.is_human_readable() {
            true => serializer.collect_str(self),
            false => Suspect::serialize(self, serializer),
        }
    }
}

impl<'de> Deserialize<'de> for Suspect {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Suspect, D::Error> {
        Suspect::deserialize(from)
    }
}

/// How a suspect acts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Mechanism {
    /// Garbles or floods the bus for the others.
    Disturbs,
    /// Falls silent by itself.
    DropsOut,
}

impl fmt::Display for Mechanism {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Mechanism::Disturbs => "disturbs",
            Mechanism::DropsOut => "drops-out",
        })
    }
}

/// What is concluded about one vehicle.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(remote = "Self")]
pub enum Verdict {
    /// The leading suspect.
    Suspect(Suspect),
    /// The evidence does not separate the leaders.
    Undecided,
    /// No incident was seen.
    Quiet,
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Verdict::Suspect(suspect) => suspect.fmt(f),
            Verdict::Undecided => f.write_str("undecided"),
            Verdict::Quiet => f.write_str("quiet"),
        }
    }
}

/// As a suspect.
impl Serialize for Verdict {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match serializer.is_human_readable() {
            true => serializer.collect_str(self),
            false => Verdict::serialize(self, serializer),
        }
    }
}

impl<'de> Deserialize<'de> for Verdict {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Verdict, D::Error> {
        Verdict::deserialize(from)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn people_read_words_and_machines_read_names() {
        let node = |name: &str| Suspect::Node(name.to_owned());
        for (suspect, said) in [
            (node("tail-lift"), "the tail-lift module"),
            (node("body module"), "the body module"),
            (Suspect::Branch("rear-splice".to_owned()), "the wiring branch rear-splice"),
            (Suspect::Feed("F12".to_owned()), "the feed F12"),
            (Suspect::Ground("G3".to_owned()), "the ground point G3"),
            (Suspect::Bus("chassis".to_owned()), "the wires or termination of bus chassis"),
            (Suspect::Supply, "the battery supply"),
            (Suspect::None, "no bus fault, or the tester\u{2019}s doing"),
        ] {
            assert_eq!(suspect.the_in_words(), said);
            assert_eq!(Suspect::parse(&suspect.to_string()), Some(suspect));
        }
    }
}
