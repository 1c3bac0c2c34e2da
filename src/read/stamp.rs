//! What the file system says of a file, without a byte of it being read: enough to tell that it is
//! the one that was read before.
//!
//! Length, time of change of the content, time of change of the entry, number of the file. A program
//! may set back the first time, but not the second; a copy has another number. A file changed in the
//! last two seconds has no stamp: it could change once more without its times moving (the clocks of
//! some file systems tick no faster).

use std::fs;
use std::path::Path;
use std::time::{Duration, SystemTime};

/// A file whose times are younger may still be changed unseen.
pub(super) const UNSETTLED: Duration = Duration::from_secs(2);

/// What tells that a file is unchanged. Compared, never computed with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stamp(String);

impl Stamp {
    /// The stamp as it was written down; any text that is no stamp equals none.
    #[must_use]
    pub fn written(text: &str) -> Stamp {
        Stamp(text.to_owned())
    }

    /// A word without blanks.
    #[must_use]
    pub fn word(&self) -> &str {
        &self.0
    }
}

/// The stamp of a file; `None` when the system does not tell enough, or the file has just been changed.
#[must_use]
pub fn stamp(path: &Path) -> Option<Stamp> {
    let about = fs::metadata(path).ok().filter(fs::Metadata::is_file)?;
    let modified = about.modified().ok()?;
    let (changed, number) = changed(&about)?;
    let settled =
        |time: SystemTime| SystemTime::now().duration_since(time).is_ok_and(|age| age > UNSETTLED);
    if !(settled(modified) && settled(changed)) {
        return None;
    }
    let nanos = |time: SystemTime| {
        time.duration_since(SystemTime::UNIX_EPOCH).ok().map(|since| since.as_nanos())
    };
    Some(Stamp(format!("{}-{}-{}-{number}", about.len(), nanos(modified)?, nanos(changed)?)))
}

/// When the entry was changed last, and the number of the file with that of its device.
#[cfg(unix)]
fn changed(about: &fs::Metadata) -> Option<(SystemTime, String)> {
    use std::os::unix::fs::MetadataExt as _;
    let seconds = u64::try_from(about.ctime()).ok()?;
    let nanos = u32::try_from(about.ctime_nsec()).ok()?;
    let time = SystemTime::UNIX_EPOCH.checked_add(Duration::new(seconds, nanos))?;
    Some((time, format!("{}-{}", about.dev(), about.ino())))
}

/// Other systems do not tell: every file is read again to see whether it is the same.
#[cfg(not(unix))]
fn changed(_about: &fs::Metadata) -> Option<(SystemTime, String)> {
    None
}
