//! Whole files or none: every file is written beside its place and then moved into it.

use std::fs;
use std::path::{Path, PathBuf};

use crate::rehearse::RehearseError;

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
