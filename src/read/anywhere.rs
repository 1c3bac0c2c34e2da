//! Bytes of an input at any offset, for formats that are not read from front to end.
//!
//! A plain file is read where it is asked, a packed one is held. Nothing is allocated before it is
//! known that the input has as many bytes.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::sync::{Mutex, PoisonError};

use bytes::Bytes;

/// Bytes at any offset.
#[derive(Debug)]
pub struct Anywhere {
    source: Source,
    length: u64,
}

#[derive(Debug)]
enum Source {
    File(Mutex<File>),
    Held(Bytes),
}

impl Anywhere {
    /// Bytes that are held.
    #[must_use]
    pub fn of_bytes(held: impl Into<Bytes>) -> Anywhere {
        let held = held.into();
        Anywhere { length: held.len() as u64, source: Source::Held(held) }
    }

    /// An opened file of known length.
    pub(in crate::read) fn of_file(file: File, length: u64) -> Anywhere {
        Anywhere { length, source: Source::File(Mutex::new(file)) }
    }

    /// How many bytes there are.
    #[must_use]
    pub fn length(&self) -> u64 {
        self.length
    }

    /// Fills `into` from `offset` on.
    ///
    /// # Errors
    /// When the input has no such bytes, or cannot be read.
    pub fn fill(&self, offset: u64, into: &mut [u8]) -> io::Result<()> {
        self.check(offset, into.len() as u64)?;
        match &self.source {
            Source::Held(held) => {
                let past = || io::Error::from(io::ErrorKind::UnexpectedEof);
                let from = usize::try_from(offset).map_err(|_| past())?;
                let part = held.get(from..from + into.len()).ok_or_else(past)?;
                into.copy_from_slice(part);
                Ok(())
            }
            Source::File(file) => {
                let mut file = file.lock().unwrap_or_else(PoisonError::into_inner);
                file.seek(SeekFrom::Start(offset))?;
                file.read_exact(into)
            }
        }
    }

    /// The `count` bytes from `offset` on.
    ///
    /// # Errors
    /// As [`Anywhere::fill`]; nothing is allocated for bytes that are not there.
    pub fn bytes(&self, offset: u64, count: u64) -> io::Result<Vec<u8>> {
        self.check(offset, count)?;
        let count = usize::try_from(count).map_err(|_| io::ErrorKind::OutOfMemory)?;
        let mut found = vec![0; count];
        self.fill(offset, &mut found)?;
        Ok(found)
    }

    fn check(&self, offset: u64, count: u64) -> io::Result<()> {
        match offset.checked_add(count) {
            Some(end) if end <= self.length => Ok(()),
            _ => Err(io::Error::new(
                io::ErrorKind::UnexpectedEof,
                format!("{count} bytes asked for at {offset}, the file has {} in all", self.length),
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn held_and_in_a_file_are_the_same_and_nothing_lies_past_the_end() {
        let mut file = tempfile::tempfile().unwrap();
        std::io::Write::write_all(&mut file, b"0123456789").unwrap();
        for there in [Anywhere::of_bytes(b"0123456789".to_vec()), Anywhere::of_file(file, 10)] {
            assert_eq!(there.bytes(3, 4).unwrap(), b"3456");
            assert_eq!(there.bytes(0, 10).unwrap(), b"0123456789");
            assert_eq!(there.bytes(10, 0).unwrap(), b"");
            for (offset, count) in [(9, 2), (11, 0), (u64::MAX, 2), (0, u64::MAX)] {
                assert!(there.bytes(offset, count).is_err(), "{offset} {count}");
            }
        }
    }
}
