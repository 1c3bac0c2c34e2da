//! Whole files or none: every file is written beside its place and then moved into it.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use crate::rehearse::RehearseError;
use crate::vocabulary::Finishing;

/// Files and folders that an interrupt removes: what grows over minutes, or is scratch.
static PASSING: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

/// Says that a path is to be removed when the program is interrupted.
pub(crate) fn passing(path: &Path) {
    PASSING.lock().unwrap_or_else(PoisonError::into_inner).push(path.to_owned());
}

/// Says that a path is whole, or gone.
pub(crate) fn settled(path: &Path) {
    PASSING.lock().unwrap_or_else(PoisonError::into_inner).retain(|other| other != path);
}

/// Removes what a rehearsal has not finished; for an interrupt, after which the program ends.
pub fn abandon() {
    for path in PASSING.lock().unwrap_or_else(PoisonError::into_inner).drain(..) {
        // The program is ending: what cannot be removed stays, under a name that is never read.
        let _ = if path.is_dir() { fs::remove_dir_all(&path) } else { fs::remove_file(&path) };
    }
}

/// A file that is ready to be written.
pub(crate) struct Ready {
    /// Its path below the output folder, with `/`.
    pub(crate) path: String,
    /// Its bytes.
    pub(crate) bytes: Vec<u8>,
}

impl Ready {
    /// Writes it below a folder.
    pub(crate) fn write(&self, out: &Path) -> Result<(), RehearseError> {
        whole(&out.join(&self.path), &self.bytes)
    }
}

/// Writes a file as a whole, with its folders.
pub(crate) fn whole(path: &Path, bytes: &[u8]) -> Result<(), RehearseError> {
    let placed = |source: std::io::Error| RehearseError::Write { path: path.to_owned(), source };
    let _finishing = Finishing::begin();
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder).map_err(placed)?;
    }
    let beside = unfinished(path);
    fs::write(&beside, bytes).map_err(placed)?;
    fs::rename(&beside, path).map_err(placed)
}

/// The name under which a file stands until it is whole.
pub(crate) fn unfinished(path: &Path) -> PathBuf {
    let name = path.file_name().map(|name| name.to_string_lossy().into_owned());
    path.with_file_name(format!(".{}.unfinished", name.unwrap_or_default()))
}
