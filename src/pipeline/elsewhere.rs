//! Logs watched elsewhere: what is asked for one log, what comes back, and who carries it there and back.
//!
//! The program itself has no such carrier: a package of its own brings one (`src/distributed`). What is done
//! with a log there is [`Order::obey`], the same reading and watching as here, so an answer is what this
//! machine would have found. Paths are sent as this machine sees them; whether they may be read there is
//! decided there.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::hands::Hands;
use super::loads::Load;
use super::recount::{Counts, Entry};
use super::watch::watch_opened;
use crate::facts::{ContentHasher, StoredLog};
use crate::observe::Senders;
use crate::read::finding::Found;
use crate::read::frames::LogTables;
use crate::read::objects::{NoStore, Object, Objects};
use crate::read::opening::{open, raw};
use crate::read::tables::ColumnChoice;
use crate::vocabulary::Network;

/// Brings logs to other machines and their facts back.
pub trait Engine: Sync {
    /// Has the logs watched. Each answer is handed to `desk` as it comes, from any thread, at most once for
    /// an order.
    ///
    /// # Errors
    /// In words, when not every order was answered; what came before stays taken.
    fn watch(&self, orders: &[&Order], desk: &dyn Desk) -> Result<(), String>;

    /// Counts facts from the entries in which they are stored; each entry counts once. `None` when the store
    /// cannot be read from there, which `tell` is told.
    ///
    /// # Errors
    /// In words, when the counting did not come to an end.
    fn count(&self, entries: &[Entry], tell: &dyn Fn(&str)) -> Result<Option<Counts>, String>;

    /// Has the vehicles of a load weighed ([`Basis::weigh`](super::Basis::weigh)): what came of each, in the
    /// order of their places. `None` when they cannot be weighed there, which `tell` is told.
    ///
    /// # Errors
    /// In words, when the weighing did not come to an end.
    fn weigh(&self, load: &Load, tell: &dyn Fn(&str)) -> Result<Option<Vec<Vec<u8>>>, String>;

    /// Who lists and fetches logs that lie in an object store; nobody, unless said otherwise.
    fn objects(&self) -> Arc<dyn Objects> {
        Arc::new(NoStore)
    }
}

/// Where answers are handed in.
pub trait Desk: Sync {
    /// Takes the answer to the order at this place of the list.
    fn take(&self, order: usize, answer: Answer);
    /// Tells whoever waits what went another way than planned.
    fn tell(&self, what: &str);
}

/// One log that is to be watched.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Order {
    /// The file, absolute; or an object's URL.
    pub path: String,
    /// The name shown to people.
    pub name: String,
    /// Its size in bytes, for sharing out the work.
    pub size: u64,
    /// The mark of the object's content when it was listed; `None` for a file.
    mark: Option<String>,
    /// The network description of its vehicle.
    pub network: Option<Network>,
    /// The bus that its path names.
    pub bus: Option<String>,
    /// How logs that are tables are read.
    columns: Vec<Column>,
    /// The zone of times without an offset.
    zone: String,
    /// Content hashes (32 hexadecimal digits) whose facts the asker has already.
    stored: Vec<String>,
}

/// Where a field of a table comes from, as `ColumnChoice`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Column {
    field: String,
    column: Option<String>,
    unit: Option<String>,
    zone: Option<String>,
}

/// What came of an order.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// The log was watched.
    Watched {
        /// The hash of its bytes; `None` when they could not be read to the end.
        content: Option<u128>,
        /// Its facts, with what was rejected.
        log: Box<StoredLog>,
    },
    /// The asker has its facts already; it was only hashed.
    Stored {
        /// The hash of its bytes.
        content: u128,
    },
    /// It cannot be opened there, and was not watched.
    Unreadable {
        /// Why, in words.
        reason: String,
    },
}

impl Order {
    /// An order for a log of `size` bytes; `None` when its path is no Unicode text.
    pub(super) fn new(
        (log, size): (&Found, u64),
        (network, bus): (Option<&Network>, Option<&str>),
        tables: &LogTables,
        stored: &[u128],
    ) -> Option<Order> {
        let path = match &log.object {
            Some(stored) => stored.object.url.clone(),
            None => std::path::absolute(&log.path).ok()?.to_str()?.to_owned(),
        };
        let column = |(field, choice): (&String, &ColumnChoice)| Column {
            field: field.clone(),
            column: choice.column.clone(),
            unit: choice.unit.clone(),
            zone: choice.zone.map(|zone| zone.name().to_owned()),
        };
        Some(Order {
            path,
            name: log.name.to_string(),
            size,
            mark: log.object.as_ref().map(|stored| stored.object.mark.clone()),
            network: network.cloned(),
            bus: bus.map(str::to_owned),
            columns: tables.choices.iter().map(column).collect(),
            zone: tables.zone.name().to_owned(),
            stored: stored.iter().map(|hash| format!("{hash:032x}")).collect(),
        })
    }

    /// The order for sending.
    ///
    /// # Errors
    /// In words; there is no known way to it.
    pub fn to_bytes(&self) -> Result<Vec<u8>, String> {
        serde_json::to_vec(self).map_err(|e| format!("an order cannot be written: {e}"))
    }

    /// The order again.
    ///
    /// # Errors
    /// When the bytes are no order.
    pub fn from_bytes(bytes: &[u8]) -> Result<Order, String> {
        serde_json::from_slice(bytes).map_err(|e| format!("not an order for a log: {e}"))
    }

    /// How logs that are tables are read.
    fn tables(&self) -> Result<LogTables, String> {
        let zone = |name: &str| {
            name.parse().map_err(|_| format!("not an order for a log: no time zone `{name}`"))
        };
        let mut tables = LogTables { zone: zone(&self.zone)?, ..LogTables::default() };
        for Column { field, column, unit, zone: of } in &self.columns {
            let of = of.as_deref().map(zone).transpose()?;
            let choice = ColumnChoice { column: column.clone(), unit: unit.clone(), zone: of };
            tables.choices.insert(field.clone(), choice);
        }
        Ok(tables)
    }

    /// Does what is ordered, with the file at `path`: where the order's file lies on this machine.
    ///
    /// # Errors
    /// When the order makes no sense.
    pub fn obey(&self, path: &Path, hands: &Hands) -> Result<Answer, String> {
        let tables = self.tables()?;
        let name: Arc<str> = self.name.as_str().into();
        let mut hasher = ContentHasher::default();
        let content = raw(path, &name, &mut |bytes| hasher.update(bytes));
        let content = content.ok().map(|()| hasher.finish());
        if let Some(content) = content
            && self.stored.contains(&format!("{content:032x}"))
        {
            return Ok(Answer::Stored { content });
        }
        let opened = match open(path, &name) {
            Ok(opened) => opened,
            Err(reject) => return Ok(Answer::Unreadable { reason: reject.reason }),
        };
        let senders = Senders::new(self.network.as_ref());
        let log = watch_opened(opened, &tables, &senders, self.bus.as_deref(), hands);
        Ok(Answer::Watched { content, log: Box::new(log) })
    }

    /// The object that it is about; `None` when it is about a file.
    #[must_use]
    pub fn object(&self) -> Option<Object> {
        let mark = self.mark.clone()?;
        Some(Object { url: self.path.clone(), size: self.size, mark })
    }

    /// The file as a path.
    #[must_use]
    pub fn file(&self) -> PathBuf {
        PathBuf::from(&self.path)
    }

    /// Forgets what the asker has: the log is watched whatever it holds.
    pub(super) fn anew(mut self) -> Order {
        self.stored.clear();
        self
    }
}

impl Answer {
    /// The answer for sending.
    ///
    /// # Errors
    /// In words, when the facts do not become tables.
    pub fn to_bytes(&self) -> Result<Vec<u8>, String> {
        let hash = |kind: u8, content: u128| {
            let mut bytes = vec![kind];
            bytes.extend(content.to_le_bytes());
            bytes
        };
        Ok(match self {
            Answer::Watched { content, log } => {
                let kind = if content.is_some() { b'w' } else { b'v' };
                let mut bytes = hash(kind, content.unwrap_or(0));
                bytes.extend(log.to_bytes().map_err(|e| e.chain())?);
                bytes
            }
            Answer::Stored { content } => hash(b's', *content),
            Answer::Unreadable { reason } => [b"u", reason.as_bytes()].concat(),
        })
    }

    /// The answer again; places get `name` as their file.
    ///
    /// # Errors
    /// When the bytes are no answer, or were changed on the way.
    pub fn from_bytes(bytes: &[u8], name: &str) -> Result<Answer, String> {
        let damaged = || "not an answer about a log".to_owned();
        let (kind, rest) = bytes.split_first().ok_or_else(damaged)?;
        if *kind == b'u' {
            let reason = String::from_utf8(rest.to_vec()).map_err(|_| damaged())?;
            return Ok(Answer::Unreadable { reason });
        }
        let (hash, rest) = rest.split_first_chunk::<16>().ok_or_else(damaged)?;
        let content = u128::from_le_bytes(*hash);
        match *kind {
            b's' if rest.is_empty() => Ok(Answer::Stored { content }),
            b'w' | b'v' => {
                let log = StoredLog::from_bytes(rest, &name.into()).map_err(|e| e.chain())?;
                let content = (*kind == b'w').then_some(content);
                Ok(Answer::Watched { content, log: Box::new(log) })
            }
            _ => Err(damaged()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::finding::Captures;
    use crate::read::objects::{Stored, tests::Shelf};
    use crate::vocabulary::{Bus, Identifier, Node, Sent};

    fn order(path: &Path, stored: &[u128]) -> Order {
        let sends = vec![Sent { id: Identifier::base(0x101), period_ms: Some(100.1 / 3.0) }];
        let network = Network {
            name: "van".to_owned(),
            buses: vec![Bus { name: "body".to_owned(), ..Bus::default() }],
            nodes: vec![Node { name: "lift".to_owned(), sends, ..Node::default() }],
            ..Network::default()
        };
        let mut tables = LogTables { zone: chrono_tz::Europe::London, ..LogTables::default() };
        let zone = Some(chrono_tz::America::New_York);
        let choice =
            ColumnChoice { column: Some("t".to_owned()), unit: Some("ms".to_owned()), zone };
        tables.choices.insert("time".to_owned(), choice);
        let found = Found {
            path: path.to_owned(),
            name: "bus/a.log".into(),
            captures: Captures::default(),
            object: None,
        };
        Order::new((&found, 5), (Some(&network), Some("body")), &tables, stored)
            .expect("a Unicode path")
    }

    #[test]
    fn an_order_comes_as_it_was_sent() {
        let sent = order(Path::new("/logs/a.log"), &[7, u128::MAX]);
        let come = Order::from_bytes(&sent.to_bytes().expect("bytes")).expect("an order");
        assert_eq!(come, sent);
        // What the facts depend on is compared in this form.
        assert_eq!(format!("{:?}", come.network), format!("{:?}", sent.network));
        let tables = come.tables().expect("tables");
        assert_eq!(tables.zone, chrono_tz::Europe::London);
        assert_eq!(tables.choices["time"].zone, Some(chrono_tz::America::New_York));
        assert!(Order::from_bytes(b"{}").is_err());
    }

    #[test]
    fn an_order_for_an_object_names_it_as_it_was_listed() {
        let url = "s3://bucket/a b.log".to_owned();
        let object = Object { url: url.clone(), size: 9, mark: "\"1\"".to_owned() };
        let found = Found {
            path: PathBuf::from(&url),
            name: url.as_str().into(),
            captures: Captures::default(),
            object: Some(Stored { object: object.clone(), by: Arc::new(Shelf::default()) }),
        };
        let tables = LogTables::default();
        let sent = Order::new((&found, 9), (None, None), &tables, &[]).expect("an order");
        let come = Order::from_bytes(&sent.to_bytes().expect("bytes")).expect("an order");
        assert_eq!(come.object(), Some(object));
        assert_eq!((come.name, order(Path::new("/a.log"), &[]).object()), (url, None));
    }

    #[test]
    fn a_log_is_watched_once_and_then_known() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.log");
        std::fs::write(&path, "(1.000000) can0 101#00\nno frame\n").expect("a log");
        let hands = Hands::new(1, 0);
        let first = order(&path, &[]).obey(&path, &hands).expect("an answer");
        let Answer::Watched { content: Some(content), log } = &first else { panic!("{first:?}") };
        assert_eq!((log.frames, log.rejects.len()), (1, 1));
        let bytes = first.to_bytes().expect("bytes");
        assert_eq!(Answer::from_bytes(&bytes, "bus/a.log"), Ok(first.clone()));
        let again = order(&path, &[3, *content]).obey(&path, &hands);
        assert_eq!(again, Ok(Answer::Stored { content: *content }));
        let anew = order(&path, &[*content]).anew().obey(&path, &hands).expect("an answer");
        assert_eq!(anew, first);
    }

    #[test]
    fn what_cannot_be_opened_is_told_as_that() {
        let gone = Path::new("/nowhere/a.log");
        let answer = order(gone, &[]).obey(gone, &Hands::new(1, 0)).expect("an answer");
        let Answer::Unreadable { reason } = &answer else { panic!("{answer:?}") };
        assert!(reason.contains("cannot open the file"), "{reason}");
        let bytes = answer.to_bytes().expect("bytes");
        assert_eq!(Answer::from_bytes(&bytes, "a.log"), Ok(answer));
    }

    #[test]
    fn other_bytes_are_no_answer() {
        for bytes in [&b""[..], b"x", b"s123", b"w0123456789abcdef rest", b"s0123456789abcdef+"] {
            assert!(Answer::from_bytes(bytes, "a.log").is_err(), "{bytes:?}");
        }
    }
}
