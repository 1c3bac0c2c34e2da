//! How a run tells that it goes on; what is shown is the command line's matter.

/// Told of the reading of bus logs. May be called from several threads.
pub trait Progress: Sync {
    /// So many files with so many bytes on disk are going to be read.
    fn begin(&self, files: u64, bytes: u64);
    /// A file of so many bytes is done.
    fn file_done(&self, bytes: u64);
    /// All is read.
    fn end(&self);
}

/// Tells nothing.
#[derive(Debug, Clone, Copy, Default)]
pub struct Quiet;

impl Progress for Quiet {
    fn begin(&self, _files: u64, _bytes: u64) {}
    fn file_done(&self, _bytes: u64) {}
    fn end(&self) {}
}
