//! Puts files in place whole or not at all.
//!
//! All contents go to temporary files in the target folder first; only when every one of them is
//! on disk are they renamed. A failure before that leaves every older file as it was; a rename that
//! fails half-way leaves each file either old or new, never mixed. Temporary files never stay, and an
//! interrupt waits until the last file bears its name.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use crate::facts::abandoned;
use crate::reports::ReportError;
use crate::vocabulary::Finishing;

/// How long another run may hold the folder.
const PATIENCE: Duration = Duration::from_secs(60);
/// How long to wait before asking again.
const BETWEEN: Duration = Duration::from_millis(20);

/// A file to be written: its plain name and its bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Output {
    /// The name inside the output folder.
    pub name: String,
    /// The contents.
    pub bytes: Vec<u8>,
}

impl Output {
    /// An output from a name and bytes.
    #[must_use]
    pub fn new(name: impl Into<String>, bytes: impl Into<Vec<u8>>) -> Output {
        Output { name: name.into(), bytes: bytes.into() }
    }
}

/// Writes `outputs` into `folder` (made when missing) and returns their paths in the same order.
///
/// # Errors
/// A name that is not a plain file name, or a folder or file that cannot be written.
pub fn write_whole(folder: &Path, outputs: &[Output]) -> Result<Vec<PathBuf>, ReportError> {
    let _finishing = Finishing::begin();
    place_all(folder, outputs)
}

/// [`write_whole`] for a caller that holds a [`Finishing`] already.
pub(super) fn place_all(folder: &Path, outputs: &[Output]) -> Result<Vec<PathBuf>, ReportError> {
    if let Some(bad) = outputs.iter().find(|o| !is_plain(&o.name)) {
        return Err(ReportError::Name { name: bad.name.clone() });
    }
    fs::create_dir_all(folder)
        .map_err(|source| ReportError::Folder { folder: folder.to_owned(), source })?;
    let mut staged = Staged(Vec::with_capacity(outputs.len()));
    for output in outputs {
        let target = folder.join(&output.name);
        let part = folder.join(format!(".{}.{}.part", output.name, std::process::id()));
        let failed = |source| ReportError::Write { file: target.clone(), source };
        let file = create(&part).map_err(failed)?;
        staged.0.push((part, target.clone()));
        fill(file, &output.bytes).map_err(failed)?;
    }
    let mut written = Vec::with_capacity(outputs.len());
    while !staged.0.is_empty() {
        let (part, target) = &staged.0[0];
        if let Err(source) = fs::rename(part, target) {
            return Err(ReportError::Write { file: target.clone(), source });
        }
        written.push(staged.0.remove(0).1);
    }
    Ok(written)
}

/// Writes each output that is not there yet, and leaves what is there as it is: paths in the same order, and
/// whether each was written. Names may lie in folders; `folders` are made too.
///
/// # Errors
/// A name that leads elsewhere, or a folder or file that cannot be written.
pub fn write_new(
    folder: &Path,
    folders: &[&str],
    outputs: &[Output],
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
                if let Err(source) = fill(file, &output.bytes) {
                    // It is ours, and not whole: whether it goes or not, the fault is told.
                    let _ = fs::remove_file(&target);
                    return Err(failed(source));
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
    let mut staged = Staged(vec![(part.clone(), target.to_owned())]);
    fill(create(&part)?, bytes)?;
    fs::rename(&part, target)?;
    staged.0.clear();
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
struct Staged(Vec<(PathBuf, PathBuf)>);

impl Drop for Staged {
    fn drop(&mut self) {
        for (part, _) in &self.0 {
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
