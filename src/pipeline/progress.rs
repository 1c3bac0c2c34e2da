//! How a run tells that it goes on; what is shown is the command line's matter.

use std::sync::Arc;
use std::sync::atomic::AtomicU64;

/// Told of the reading of bus logs. May be called from several threads.
pub trait Progress: Sync {
    /// So many files with so many bytes on disk are going to be read.
    fn begin(&self, files: u64, bytes: u64);
    /// What readers add bytes to as they take them from disk.
    fn counter(&self) -> Arc<AtomicU64>;
    /// A file is done; so many of its bytes were not counted: they were known already, or taken otherwise.
    fn file_done(&self, uncounted: u64);
    /// What went another way than planned, and does not change what comes out.
    fn tell(&self, what: &str);
    /// All is read.
    fn end(&self);
}

/// Tells nothing.
#[derive(Debug, Clone, Copy, Default)]
pub struct Quiet;

impl Progress for Quiet {
    fn begin(&self, _files: u64, _bytes: u64) {}
    fn counter(&self) -> Arc<AtomicU64> {
        Arc::default()
    }
    fn file_done(&self, _uncounted: u64) {}
    fn tell(&self, _what: &str) {}
    fn end(&self) {}
}
