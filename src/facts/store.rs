//! The store of facts between runs: what one run read, the next need not read again.
//!
//! ```text
//! <folder>/vehicle=<escaped name>/<log hash>-<settings hash>/<table>.parquet, contents.txt
//! <folder>/.part-<process>-<number>/          an entry that is being written
//! <folder>/known-files.txt                    which files need not be opened
//! ```
//!
//! An entry is written beside its place and renamed into it, so it is whole or absent, also when
//! the run is killed and when two runs write at once: the one that comes second drops its own.
//! Damage is noticed on reading, told in a note, and repaired by the next `put`. Nothing is forced
//! to the disk: what a power failure tears is such damage, every byte being under a hash, and the log
//! is read again.
//!
//! A run holds a lock on the folder, shared with other runs. Whoever finds itself alone clears what
//! killed runs left; where the system has no such locks, only what is older than a day.

use std::fs;
use std::io::{self, ErrorKind, Write as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, SystemTime};

use crate::facts::entry::{decode, encode};
use crate::facts::error::FactsError;
use crate::facts::folder_name::vehicle_folder;
use crate::facts::key::FactsKey;
use crate::facts::known_files::KnownFiles;
use crate::facts::tidying;
use crate::observe::LogFacts;
use crate::vocabulary::{Finishing, Reject};

/// How the folder of an unfinished entry begins.
const PART: &str = ".part-";

/// What is unfinished and older than this belongs to no running program.
const ABANDONED: Duration = Duration::from_secs(24 * 3_600);

/// An entry that fails so often is damaged, and not only changed by another run while it is read.
const TRIES: u32 = 3;

/// Numbers the unfinished entries of this process.
static PARTS: AtomicU64 = AtomicU64::new(0);

/// All that is kept of one log, so that a reused log gives the same facts and the same tally as
/// a fresh read.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StoredLog {
    /// Its facts.
    pub facts: LogFacts,
    /// Data, remote and error frames read.
    pub frames: u64,
    /// Bytes read as they stand on disk.
    pub bytes: u64,
    /// Leniencies used, with how often.
    pub leniencies: Vec<(String, u64)>,
    /// Rejected lines and records.
    pub rejects: Vec<Reject>,
    /// Why the file was not used, when it was not.
    pub skipped: Option<String>,
}

/// What the store holds for a key.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Lookup {
    /// The stored log, when there is a whole entry.
    pub stored: Option<StoredLog>,
    /// What was wrong with an entry that is there but cannot be used; for the run's notes.
    pub note: Option<String>,
}

/// A folder of stored facts. Can be shared between threads, and between runs at the same time.
#[derive(Debug)]
pub struct FactsStore {
    pub(super) folder: PathBuf,
    /// Held while the run lasts; `None` where folders cannot be locked.
    _lock: Option<fs::File>,
}

impl FactsStore {
    /// Opens the store in `folder`, which is made when it is missing, and clears what killed runs
    /// left there: at once when no other run has it open, else what is older than a day.
    pub fn open(folder: &Path) -> Result<FactsStore, FactsError> {
        fs::create_dir_all(folder).map_err(|e| refused("make", folder, e))?;
        let lock = fs::File::open(folder).ok();
        let alone = lock.as_ref().is_some_and(|lock| lock.try_lock().is_ok());
        let entries = fs::read_dir(folder).map_err(|e| refused("list", folder, e))?;
        for entry in entries.flatten() {
            if entry.file_name().to_string_lossy().starts_with(PART) && (alone || abandoned(&entry))
            {
                // What cannot be removed is never read either: no reason to stop.
                let _ = remove(&entry.path());
            }
        }
        // Nobody writes before it holds the shared lock, so nobody's part was cleared above. That the lock
        // cannot be had is no reason to stop: entries are whole or absent without it.
        let lock = lock.filter(|lock| {
            let freed = !alone || lock.unlock().is_ok();
            freed && lock.lock_shared().is_ok()
        });
        Ok(FactsStore { folder: folder.to_owned(), _lock: lock })
    }

    /// Puts the list of files that need not be opened next time; `depends_on` as in [`KnownFiles::read`].
    pub fn keep_known(&self, known: &KnownFiles, depends_on: &str) {
        known.write(&self.folder, &self.part_path(), depends_on);
    }

    /// The stored facts of a log; places get `file`, the log's name in this run, as their file.
    /// An entry that is damaged counts as absent and leaves a note.
    #[must_use]
    pub fn get(&self, key: &FactsKey, file: &Arc<str>) -> Lookup {
        let place = self.place(key);
        let mut tries = 0;
        loop {
            tries += 1;
            match decode(&place, file) {
                Ok(stored) => {
                    if stored.is_some() {
                        tidying::touch(&place);
                    }
                    return Lookup { stored, note: None };
                }
                // Another run has cleared it away, or repaired it, between two of its files.
                Err(_) if !place.exists() => return Lookup::default(),
                Err(_) if tries < TRIES => {}
                Err(error) => {
                    let note = format!("stored facts of {key} not used: {}", error.chain());
                    return Lookup { stored: None, note: Some(note) };
                }
            }
        }
    }

    /// The content hashes of the logs whose facts stand in the store for the vehicle and settings of `like`,
    /// in order. Whether an entry is whole is only known when it is read.
    #[must_use]
    pub fn contents(&self, like: &FactsKey) -> Vec<u128> {
        let entries = fs::read_dir(self.folder.join(vehicle_folder(&like.vehicle)));
        let names = entries.into_iter().flatten().flatten().map(|entry| entry.file_name());
        let mut logs: Vec<u128> =
            names.filter_map(|name| like.log_of(&name.to_string_lossy())).collect();
        logs.sort_unstable();
        logs
    }

    /// Stores the facts of a log. An entry that is there and whole is left as it is.
    pub fn put(&self, key: &FactsKey, log: &StoredLog) -> Result<(), FactsError> {
        let files = encode(log)?;
        let _finishing = Finishing::begin();
        let part = self.new_part().map_err(|e| refused("make a folder in", &self.folder, e))?;
        let done = write_files(&part, &files)
            .map_err(|e| refused("write into", &part, e))
            .and_then(|()| self.settle(key, &part));
        if part.exists() {
            // Lost to another run or failed: either way nobody needs it, and nobody reads it.
            let _ = remove(&part);
        }
        done
    }

    /// Moves a finished part to its place, unless a whole entry is there already.
    fn settle(&self, key: &FactsKey, part: &Path) -> Result<(), FactsError> {
        let place = self.place(key);
        let vehicle = self.folder.join(vehicle_folder(&key.vehicle));
        fs::create_dir_all(&vehicle).map_err(|e| refused("make", &vehicle, e))?;
        let into_place = || match fs::rename(part, &place) {
            // Another run may have cleared the empty folder away just now.
            Err(error) if error.kind() == ErrorKind::NotFound => {
                fs::create_dir_all(&vehicle).and_then(|()| fs::rename(part, &place))
            }
            done => done,
        };
        let Err(first) = into_place() else {
            return Ok(());
        };
        let nameless: Arc<str> = "".into();
        match decode(&place, &nameless) {
            Ok(Some(_)) => return Ok(()),
            Ok(None) => return Err(refused("rename into", &place, first)),
            Err(_) => {}
        }
        // A damaged entry is in the way. Another run may be moving it too: whoever is second finds
        // it gone, or finds the other's whole entry, and both are fine.
        let aside = self.new_part().map_err(|e| refused("make a folder in", &self.folder, e))?;
        let _ = fs::rename(&place, aside.join("damaged"));
        let again = into_place();
        let _ = remove(&aside);
        match again {
            Ok(()) => Ok(()),
            Err(_) if matches!(decode(&place, &nameless), Ok(Some(_))) => Ok(()),
            Err(error) => Err(refused("rename into", &place, error)),
        }
    }

    /// The folder of a key's entry, whether it is there or not.
    #[must_use]
    pub fn place(&self, key: &FactsKey) -> PathBuf {
        self.folder.join(vehicle_folder(&key.vehicle)).join(key.entry_folder())
    }

    /// A path for something unfinished that no other call of this process gets.
    fn part_path(&self) -> PathBuf {
        let number = PARTS.fetch_add(1, Ordering::Relaxed);
        self.folder.join(format!("{PART}{}-{number}", std::process::id()))
    }

    /// A new folder that is this call's alone.
    pub(super) fn new_part(&self) -> io::Result<PathBuf> {
        loop {
            let part = self.part_path();
            match fs::create_dir(&part) {
                // Left by a dead process of the same number, or made by one on another machine.
                Err(error) if error.kind() == ErrorKind::AlreadyExists => {}
                made => return made.map(|()| part),
            }
        }
    }
}

fn write_files(part: &Path, files: &[(String, Vec<u8>)]) -> io::Result<()> {
    for (name, bytes) in files {
        fs::File::create_new(part.join(name))?.write_all(bytes)?;
    }
    Ok(())
}

/// Whether an unfinished file or folder is so old that it belongs to no running program.
#[must_use]
pub fn abandoned(entry: &fs::DirEntry) -> bool {
    let changed = entry.metadata().and_then(|about| about.modified());
    changed
        .is_ok_and(|time| SystemTime::now().duration_since(time).is_ok_and(|age| age > ABANDONED))
}

pub(super) fn remove(path: &Path) -> io::Result<()> {
    if fs::symlink_metadata(path)?.is_dir() {
        fs::remove_dir_all(path)
    } else {
        fs::remove_file(path)
    }
}

pub(super) fn refused(doing: &'static str, folder: &Path, source: io::Error) -> FactsError {
    FactsError::Folder { doing, folder: folder.display().to_string(), source }
}
