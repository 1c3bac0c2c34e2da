//! Puts files in place whole or not at all.
//!
//! All contents go to temporary files in the target folder first; only when every one of them is
//! on disk are they renamed. A failure before that leaves every older file as it was; a rename that
//! fails half-way leaves each file either old or new, never mixed. Temporary files never stay, and an
//! interrupt waits until the last file bears its name.

use std::collections::BTreeMap;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use rayon::prelude::*;

use crate::facts::{ContentHasher, abandoned};
use crate::reports::ReportError;
use crate::vocabulary::Finishing;

/// How long another run may hold the folder.
const PATIENCE: Duration = Duration::from_secs(60);
/// How long to wait before asking again.
const BETWEEN: Duration = Duration::from_millis(20);

/// What writes the contents of a large file.
type Make<'a> = dyn Fn(&mut dyn Write) -> Result<(), ReportError> + Sync + 'a;

/// A file to be written: its plain name and its contents, held or made while they are written.
pub struct Output<'a> {
    /// The name inside the output folder.
    pub name: String,
    contents: Contents<'a>,
}

enum Contents<'a> {
    Held(Vec<u8>),
    Made(Box<Make<'a>>),
}

impl<'a> Output<'a> {
    /// An output from a name and bytes.
    #[must_use]
    pub fn new(name: impl Into<String>, bytes: impl Into<Vec<u8>>) -> Output<'a> {
        Output { name: name.into(), contents: Contents::Held(bytes.into()) }
    }

    /// An output that is too large to be held: `make` writes it, the same each time.
    #[must_use]
    pub fn made(
        name: impl Into<String>,
        make: impl Fn(&mut dyn Write) -> Result<(), ReportError> + Sync + 'a,
    ) -> Output<'a> {
        Output { name: name.into(), contents: Contents::Made(Box::new(make)) }
    }

    /// Writes the contents.
    ///
    /// # Errors
    /// When they cannot be put together, or not be written.
    pub fn write(&self, to: &mut dyn Write) -> Result<(), ReportError> {
        match &self.contents {
            Contents::Held(bytes) => to
                .write_all(bytes)
                .map_err(|source| ReportError::Write { file: self.name.clone().into(), source }),
            Contents::Made(make) => make(to),
        }
    }

    /// The contents as a whole.
    ///
    /// # Errors
    /// When they cannot be put together.
    pub fn bytes(&self) -> Result<Vec<u8>, ReportError> {
        let mut bytes = Vec::new();
        self.write(&mut bytes)?;
        Ok(bytes)
    }
}

/// Hashes what goes through it, and keeps the error of the file behind it: whoever makes the contents tells only that
/// they could not be put together.
struct Hashing<'a> {
    to: io::BufWriter<&'a File>,
    hasher: ContentHasher,
    failed: Option<io::Error>,
}

impl Hashing<'_> {
    fn kept<T>(&mut self, done: io::Result<T>) -> io::Result<T> {
        done.map_err(|error| {
            let told = io::Error::from(error.kind());
            self.failed.get_or_insert(error);
            told
        })
    }
}

impl Write for Hashing<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let done = self.to.write_all(bytes);
        self.kept(done)?;
        self.hasher.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        let done = self.to.flush();
        self.kept(done)
    }
}

/// Writes one output to `part`, which will be `target`, and gives the hash of its contents.
fn hashed(output: &Output<'_>, part: &Path, target: &Path) -> Result<u128, ReportError> {
    let failed = |source| ReportError::Write { file: target.to_owned(), source };
    let file = create(part).map_err(failed)?;
    let mut hashing =
        Hashing { to: io::BufWriter::new(&file), hasher: ContentHasher::default(), failed: None };
    let made = output.write(&mut hashing);
    let flushed = hashing.flush();
    if let Some(source) = hashing.failed.take() {
        return Err(failed(source));
    }
    made?;
    flushed.and_then(|()| file.sync_data()).map_err(failed)?;
    Ok(hashing.hasher.finish())
}

/// Writes `outputs` into `folder` (made when missing) and returns their paths in the same order.
///
/// # Errors
/// A name that is not a plain file name, contents that cannot be put together, or a folder or file that
/// cannot be written.
pub fn write_whole(folder: &Path, outputs: &[Output<'_>]) -> Result<Vec<PathBuf>, ReportError> {
    let _finishing = Finishing::begin();
    Staged::of(folder, outputs)?.place()
}

impl Staged {
    /// All contents on disk, under temporary names; several files are written at once.
    pub(super) fn of(folder: &Path, outputs: &[Output<'_>]) -> Result<Staged, ReportError> {
        if let Some(bad) = outputs.iter().find(|o| !is_plain(&o.name)) {
            return Err(ReportError::Name { name: bad.name.clone() });
        }
        fs::create_dir_all(folder)
            .map_err(|source| ReportError::Folder { folder: folder.to_owned(), source })?;
        let part = |name: &str| folder.join(format!(".{name}.{}.part", std::process::id()));
        let files = outputs.iter().map(|o| (part(&o.name), folder.join(&o.name))).collect();
        let mut staged = Staged { files, hashes: BTreeMap::new() };
        let written: Vec<Result<u128, ReportError>> = outputs
            .par_iter()
            .zip(&staged.files)
            .with_max_len(1)
            .map(|(output, (part, target))| hashed(output, part, target))
            .collect();
        for (output, hash) in outputs.iter().zip(written) {
            staged.hashes.insert(output.name.clone(), hash?);
        }
        Ok(staged)
    }

    /// The hashes of the contents by name.
    pub(super) fn hashes(&self) -> BTreeMap<String, u128> {
        self.hashes.clone()
    }

    /// Gives the files their names, and returns their paths in order.
    pub(super) fn place(mut self) -> Result<Vec<PathBuf>, ReportError> {
        let mut written = Vec::with_capacity(self.files.len());
        while let Some((part, target)) = self.files.first() {
            if let Err(source) = fs::rename(part, target) {
                return Err(ReportError::Write { file: target.clone(), source });
            }
            written.push(self.files.remove(0).1);
        }
        Ok(written)
    }
}

/// Writes each output that is not there yet, and leaves what is there as it is: paths in the same order, and
/// whether each was written. Names may lie in folders; `folders` are made too.
///
/// # Errors
/// A name that leads elsewhere, or a folder or file that cannot be written.
pub fn write_new(
    folder: &Path,
    folders: &[&str],
    outputs: &[Output<'_>],
) -> Result<Vec<(PathBuf, bool)>, ReportError> {
    let names = outputs.iter().map(|o| o.name.as_str()).chain(folders.iter().copied());
    if let Some(bad) = names.into_iter().find(|name| !name.split('/').all(is_plain)) {
        return Err(ReportError::Name { name: bad.to_owned() });
    }
    let _finishing = Finishing::begin();
    let made = |folder: &Path| {
        fs::create_dir_all(folder)
            .map_err(|source| ReportError::Folder { folder: folder.to_owned(), source })
    };
    made(folder)?;
    for inner in folders {
        made(&folder.join(inner))?;
    }
    let mut written = Vec::with_capacity(outputs.len());
    for output in outputs {
        let target = folder.join(&output.name);
        target.parent().map_or(Ok(()), made)?;
        let failed = |source| ReportError::Write { file: target.clone(), source };
        let new = match OpenOptions::new().write(true).create_new(true).open(&target) {
            Ok(file) => {
                let filled = output.bytes().and_then(|bytes| fill(file, &bytes).map_err(failed));
                if let Err(error) = filled {
                    // It is ours, and not whole: whether it goes or not, the fault is told.
                    let _ = fs::remove_file(&target);
                    return Err(error);
                }
                true
            }
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => false,
            Err(source) => return Err(failed(source)),
        };
        written.push((target, new));
    }
    Ok(written)
}

/// Puts one file in its place, whole or not at all.
pub(super) fn put(target: &Path, bytes: &[u8]) -> io::Result<()> {
    let name = target.file_name().unwrap_or_default().to_string_lossy();
    let part = target.with_file_name(format!(".{name}.{}.part", std::process::id()));
    let files = vec![(part.clone(), target.to_owned())];
    let mut staged = Staged { files, hashes: BTreeMap::new() };
    fill(create(&part)?, bytes)?;
    fs::rename(&part, target)?;
    staged.files.clear();
    Ok(())
}

/// Holds a folder while its files are written, so that two runs do not mix theirs; `None` where folders
/// cannot be held, or somebody holds it for too long: each file is whole even so.
pub(super) fn hold(folder: &Path) -> Option<File> {
    let held = File::open(folder).ok()?;
    let begun = Instant::now();
    while let Err(error) = held.try_lock() {
        let busy = matches!(error, TryLockError::WouldBlock);
        if !busy || begun.elapsed() > PATIENCE {
            return None;
        }
        std::thread::sleep(BETWEEN);
    }
    Some(held)
}

/// Removes the temporary files of killed runs: all when the folder is `held`, else those older than a day.
pub(super) fn clear_leftovers(folder: &Path, held: bool) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        if is_part(&name) && (held || abandoned(&entry)) {
            // One that will not go is never read either.
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Whether a name is that of a temporary file: `.NAME.PROCESS.part`.
fn is_part(name: &str) -> bool {
    let middle = name.strip_prefix('.').and_then(|rest| rest.strip_suffix(".part"));
    middle.and_then(|middle| middle.rsplit_once('.')).is_some_and(|(of, process)| {
        let of = of.strip_prefix('.').unwrap_or(of);
        is_plain(of) && !process.is_empty() && process.bytes().all(|b| b.is_ascii_digit())
    })
}

/// Temporary files waiting for their names; whatever still waits is removed when dropped.
pub(super) struct Staged {
    files: Vec<(PathBuf, PathBuf)>,
    hashes: BTreeMap<String, u128>,
}

impl Drop for Staged {
    fn drop(&mut self) {
        for (part, _) in &self.files {
            // Nothing more can be done about a temporary file that will not go.
            let _ = fs::remove_file(part);
        }
    }
}

/// Makes a new file; one left by a killed run is replaced, a link in its place is never followed.
fn create(part: &Path) -> io::Result<File> {
    let fresh = || OpenOptions::new().write(true).create_new(true).open(part);
    match fresh() {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
            fs::remove_file(part)?;
            fresh()
        }
        other => other,
    }
}

fn fill(mut file: File, bytes: &[u8]) -> io::Result<()> {
    file.write_all(bytes)?;
    file.sync_data()
}

/// Whether a name can be nothing but a file directly inside the folder.
pub(super) fn is_plain(name: &str) -> bool {
    !name.is_empty()
        && name.len() <= 120
        && !name.starts_with(['.', '-'])
        && name.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_' | b'.'))
}
