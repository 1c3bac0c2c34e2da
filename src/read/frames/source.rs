//! Bytes of a stream, looked at before they are taken: a window of bounded size.
//!
//! A stream that breaks off ends the window; why and where is asked afterwards.

use std::io::{ErrorKind, Read};
use std::sync::Arc;

use crate::vocabulary::{Place, Reject};

/// The most bytes that can be looked at.
pub(super) const WINDOW: usize = 512 * 1024;

/// A stream with a window.
pub(super) struct Source<R> {
    bytes: R,
    buffer: Vec<u8>,
    from: usize,
    to: usize,
    /// Bytes taken so far.
    offset: u64,
    over: bool,
    broken: Option<String>,
}

impl<R: Read> Source<R> {
    pub(super) fn new(bytes: R) -> Source<R> {
        let buffer = vec![0; WINDOW];
        Source { bytes, buffer, from: 0, to: 0, offset: 0, over: false, broken: None }
    }

    /// The next `wanted` bytes, fewer only at the end (or past [`WINDOW`]); they are not taken yet.
    #[inline]
    pub(super) fn look(&mut self, wanted: usize) -> &[u8] {
        if self.to - self.from < wanted {
            self.fill(wanted.min(WINDOW));
        }
        &self.buffer[self.from..self.to.min(self.from.saturating_add(wanted))]
    }

    /// All bytes at hand, at least one unless the stream is over.
    pub(super) fn at_hand(&mut self) -> &[u8] {
        if self.from == self.to {
            self.fill(1);
        }
        &self.buffer[self.from..self.to]
    }

    #[cold]
    fn fill(&mut self, wanted: usize) {
        self.buffer.copy_within(self.from..self.to, 0);
        self.to -= self.from;
        self.from = 0;
        while self.to < wanted && !self.over {
            match self.bytes.read(&mut self.buffer[self.to..]) {
                Ok(0) => self.over = true,
                Ok(count) => self.to += count,
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) => {
                    self.broken = Some(error.to_string());
                    self.over = true;
                }
            }
        }
    }

    /// Takes bytes that were looked at.
    #[inline]
    pub(super) fn take(&mut self, count: usize) {
        let count = count.min(self.to - self.from);
        self.from += count;
        self.offset += count as u64;
    }

    /// Takes bytes unseen, any number of them; how many there were.
    pub(super) fn skip(&mut self, count: u64) -> u64 {
        let mut left = count;
        while left > 0 {
            let here = self.at_hand().len();
            if here == 0 {
                break;
            }
            let step = usize::try_from(left).map_or(here, |left| left.min(here));
            self.take(step);
            left -= step as u64;
        }
        count - left
    }

    /// Takes the next `count` bytes, fewer at the end. Memory grows with what comes, not with `count`.
    pub(super) fn bytes(&mut self, count: u64) -> Vec<u8> {
        let mut found = Vec::new();
        let mut left = count;
        while left > 0 {
            let here = self.at_hand();
            let step = usize::try_from(left).map_or(here.len(), |left| left.min(here.len()));
            if step == 0 {
                break;
            }
            found.extend_from_slice(&here[..step]);
            self.take(step);
            left -= step as u64;
        }
        found
    }

    /// Bytes taken so far: the place of what is looked at next.
    pub(super) fn offset(&self) -> u64 {
        self.offset
    }

    /// Whether nothing is left.
    pub(super) fn at_end(&mut self) -> bool {
        self.look(1).is_empty()
    }

    /// The stream itself.
    pub(super) fn inner(&mut self) -> &mut R {
        &mut self.bytes
    }

    /// Whether the stream broke off; then a record cut short is no fault of its own.
    pub(super) fn is_broken(&self) -> bool {
        self.broken.is_some()
    }

    /// Why the stream broke off, if it did, at the place up to which bytes came.
    pub(super) fn failure(&mut self, file: &Arc<str>) -> Option<Reject> {
        let came = self.offset + (self.to - self.from) as u64;
        let reason = self.broken.take()?;
        Some(Reject::one(Place::byte(file, came), reason))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn windows_over_a_stream_of_single_bytes() {
        struct Single(u8);
        impl Read for Single {
            fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
                if self.0 == 9 {
                    return Err(std::io::Error::other("cut"));
                }
                into[0] = self.0;
                self.0 += 1;
                Ok(1)
            }
        }
        let mut source = Source::new(Single(0));
        assert_eq!(source.look(3), [0, 1, 2]);
        source.take(2);
        assert_eq!(source.look(2), [2, 3]);
        assert_eq!(source.offset(), 2);
        assert_eq!(source.skip(3), 3);
        assert_eq!(source.look(100), [5, 6, 7, 8]);
        assert_eq!(source.skip(1 << 40), 4);
        assert!(source.at_end());
        assert_eq!(
            source.failure(&"f".into()),
            Some(Reject::one(Place::byte(&"f".into(), 9), "cut"))
        );
        assert_eq!(source.failure(&"f".into()), None);
    }
}
