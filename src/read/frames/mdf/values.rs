//! Data bytes of variable length in blocks of their own (SD): a length u32 and the bytes, one after
//! another; records hold the offset. Values are asked for nearly in order, so a window is kept.

use super::Fault;
use super::fragments::{Fragments, unpacked};
use crate::read::anywhere::Anywhere;

/// Plain bytes looked at together.
const WINDOW: u64 = 64 * 1024;
/// The longest value of a CAN frame.
const LONGEST: u64 = 64;

/// A value: its length and its first bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Value {
    pub length: u8,
    pub bytes: [u8; 8],
}

/// The values of one channel.
pub(super) struct Values<'a> {
    there: &'a Anywhere,
    fragments: &'a Fragments,
    /// Where each fragment begins in the order of all.
    begins: Vec<u64>,
    window: Vec<u8>,
    window_at: u64,
}

impl<'a> Values<'a> {
    pub(super) fn new(there: &'a Anywhere, fragments: &'a Fragments) -> Values<'a> {
        let mut sum = 0u64;
        let begins = fragments
            .list
            .iter()
            .map(|fragment| {
                let begin = sum;
                sum = sum.saturating_add(fragment.length);
                begin
            })
            .collect();
        Values { there, fragments, begins, window: Vec::new(), window_at: 0 }
    }

    /// The value at an offset.
    ///
    /// # Errors
    /// A reason in words when there is none, or it is no data of a CAN frame.
    pub(super) fn at(&mut self, offset: u64) -> Result<Value, String> {
        let mut length = [0; 4];
        self.fill(offset, &mut length)?;
        let length = u64::from(u32::from_le_bytes(length));
        if length > LONGEST {
            return Err("more than 64 data bytes".to_owned());
        }
        let mut value = Value { length: u8::try_from(length).unwrap_or(0), bytes: [0; 8] };
        let kept = usize::from(value.length).min(8);
        let begin = offset.checked_add(4).ok_or("an offset past all data")?;
        self.fill(begin, &mut value.bytes[..kept])?;
        Ok(value)
    }

    fn fill(&mut self, offset: u64, into: &mut [u8]) -> Result<(), String> {
        let mut done = 0;
        while done < into.len() {
            let at = offset.checked_add(done as u64).ok_or("an offset past all data")?;
            let here = match self.in_window(at) {
                Some(here) => here,
                None => {
                    self.load(at)?;
                    self.in_window(at).ok_or("data bytes that are not in the file")?
                }
            };
            let count = here.len().min(into.len() - done);
            into[done..done + count].copy_from_slice(&here[..count]);
            done += count;
        }
        Ok(())
    }

    fn in_window(&self, at: u64) -> Option<&[u8]> {
        let from = usize::try_from(at.checked_sub(self.window_at)?).ok()?;
        self.window.get(from..).filter(|here| !here.is_empty())
    }

    fn load(&mut self, at: u64) -> Result<(), String> {
        const MISSING: &str = "data bytes that are not in the file";
        let place = self.begins.partition_point(|begin| *begin <= at).checked_sub(1);
        let place = place.ok_or(MISSING)?;
        let (fragment, begin) =
            self.fragments.list.get(place).zip(self.begins.get(place)).ok_or(MISSING)?;
        self.window = Vec::new();
        if fragment.packing.is_some() {
            self.window = unpacked(self.there, fragment).map_err(|Fault { reason, .. }| reason)?;
            self.window_at = *begin;
        } else {
            let into = at - begin;
            let left = fragment.length.saturating_sub(into).min(WINDOW);
            let from = fragment.at.checked_add(into).ok_or(MISSING)?;
            self.window = self.there.bytes(from, left).map_err(|_| MISSING)?;
            self.window_at = at;
        }
        Ok(())
    }
}
