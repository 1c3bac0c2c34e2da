//! Where something was read, and what was refused there.

use std::cell::RefCell;
use std::fmt;
use std::sync::Arc;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A spot inside a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Spot {
    /// The file as a whole.
    Whole,
    /// A line, counted from 1.
    Line(u64),
    /// A byte offset, counted from 0, after decompression.
    Byte(u64),
    /// A line of a page, both counted from 1.
    Page(u32, u32),
}

/// A file (relative to the pipeline file, with `/`) and a spot in it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    /// The file's name as shown to people.
    pub file: Arc<str>,
    /// The spot in it.
    pub spot: Spot,
}

impl Place {
    /// A line of a file.
    #[must_use]
    pub fn line(file: &Arc<str>, line: u64) -> Place {
        Place { file: Arc::clone(file), spot: Spot::Line(line) }
    }

    /// A byte of a file.
    #[must_use]
    pub fn byte(file: &Arc<str>, offset: u64) -> Place {
        Place { file: Arc::clone(file), spot: Spot::Byte(offset) }
    }

    /// A line of a page of a file.
    #[must_use]
    pub fn page(file: &Arc<str>, page: u32, line: u32) -> Place {
        Place { file: Arc::clone(file), spot: Spot::Page(page, line) }
    }

    /// A file as a whole.
    #[must_use]
    pub fn whole(file: &Arc<str>) -> Place {
        Place { file: Arc::clone(file), spot: Spot::Whole }
    }

    /// Reads back what [`fmt::Display`] writes. Text without a spot is a whole file.
    #[must_use]
    pub fn parse(text: &str) -> Place {
        if let Some((file, spot)) = text.rsplit_once(':') {
            if let Ok(line) = spot.parse() {
                return Place { file: file.into(), spot: Spot::Line(line) };
            }
            if let Some(offset) = spot.strip_prefix("byte ").and_then(|n| n.parse().ok()) {
                return Place { file: file.into(), spot: Spot::Byte(offset) };
            }
            let paged = spot.strip_prefix("page ").and_then(|s| s.split_once(" line "));
            if let Some((Ok(page), Ok(line))) = paged.map(|(p, l)| (p.parse(), l.parse())) {
                return Place { file: file.into(), spot: Spot::Page(page, line) };
            }
        }
        Place { file: text.into(), spot: Spot::Whole }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.spot {
            Spot::Whole => f.write_str(&self.file),
            Spot::Line(line) => write!(f, "{}:{line}", self.file),
            Spot::Byte(offset) => write!(f, "{}:byte {offset}", self.file),
            Spot::Page(page, line) => write!(f, "{}:page {page} line {line}", self.file),
        }
    }
}

impl Serialize for Place {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match serializer.is_human_readable() {
            true => serializer.collect_str(self),
            false => (&*self.file, self.spot).serialize(serializer),
        }
    }
}

thread_local! {
    /// The file of the place read last: neighbours are mostly in one file, and share its name then.
    static LAST_FILE: RefCell<Arc<str>> = RefCell::new("".into());
}

/// Only from what is not for people: their text does not tell a file `a:1` from line 1 of `a`.
impl<'de> Deserialize<'de> for Place {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Place, D::Error> {
        let (file, spot) = <(String, Spot)>::deserialize(from)?;
        let file = LAST_FILE.with_borrow_mut(|last| {
            if **last != *file {
                *last = file.into();
            }
            Arc::clone(last)
        });
        Ok(Place { file, spot })
    }
}

/// A line or record that was not accepted, with the reason in words.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Reject {
    /// Where it stands.
    pub place: Place,
    /// How many records in a row this stands for: 1, or more when a run is counted as one.
    pub records: u64,
    /// What was expected and what was found.
    pub reason: String,
}

impl Reject {
    /// One rejected record.
    #[must_use]
    pub fn one(place: Place, reason: impl Into<String>) -> Reject {
        Reject { place, records: 1, reason: reason.into() }
    }
}
