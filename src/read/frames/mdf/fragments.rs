//! Where the bytes of a data group or of variable values lie: an index of fragments, and reading them.
//!
//! The index is made once by walking lists (DL), their heads (HL) and the blocks (DT, SD, RD, DZ)
//! behind them. A chain that breaks off gives the fragments before the break, and the fault.

use std::collections::BTreeSet;
use std::io::{self, Read};

use super::Fault;
use super::blocks::{Block, FRAME};
use super::unpack::{LARGEST_UNPACKED, Packing};
use crate::read::anywhere::Anywhere;

/// Data blocks one list may have.
const MOST_FRAGMENTS: usize = 1 << 20;

/// One block of data.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Fragment {
    /// Where the block lies in the file.
    pub block: u64,
    /// Where its bytes lie, packed or not.
    pub at: u64,
    /// How many bytes they are, unpacked.
    pub length: u64,
    /// How they are packed.
    pub packing: Option<Packing>,
}

/// All fragments in order.
#[derive(Debug, Clone, Default)]
pub(super) struct Fragments {
    pub list: Vec<Fragment>,
    /// Where and why the chain broke off.
    pub fault: Option<Fault>,
}

impl Fragments {
    /// Indexes what a data link points to. `open_end`: the last block's length may be unwritten.
    pub(super) fn of_link(there: &Anywhere, at: u64, open_end: bool) -> Fragments {
        let mut fragments = Fragments::default();
        let mut seen = BTreeSet::new();
        if let Err(fault) = fragments.walk(there, at, open_end, &mut seen) {
            fragments.fault = Some(fault);
        }
        fragments
    }

    /// The largest unpacked block, which has to be held.
    pub(super) fn held(&self) -> u64 {
        self.list.iter().filter(|f| f.packing.is_some()).map(|f| f.length).max().unwrap_or(0)
    }

    fn walk(
        &mut self,
        there: &Anywhere,
        at: u64,
        open_end: bool,
        seen: &mut BTreeSet<u64>,
    ) -> Result<(), Fault> {
        let mut next = Some(at);
        while let Some(at) = next.take() {
            let block = Block::read(there, at)?;
            match &block.id {
                b"HL" => next = block.link(0),
                b"DL" => {
                    if !seen.insert(at) {
                        return Err(Fault::new(at, "the MDF file's data lists form a circle"));
                    }
                    for link in block.links.iter().skip(1).filter(|link| **link != 0) {
                        let block = Block::read(there, *link)?;
                        self.add(there, &block, open_end)?;
                    }
                    next = block.link(0);
                }
                _ => self.add(there, &block, open_end)?,
            }
            if matches!(&block.id, b"HL") && !seen.insert(at) {
                return Err(Fault::new(at, "the MDF file's data lists form a circle"));
            }
        }
        Ok(())
    }

    fn add(&mut self, there: &Anywhere, block: &Block, open_end: bool) -> Result<(), Fault> {
        if self.list.len() == MOST_FRAGMENTS {
            return Err(Fault::new(block.at, "more than 1,048,576 data blocks in one list"));
        }
        match &block.id {
            b"DT" | b"SD" | b"RD" => {
                let left = there.length().saturating_sub(block.data_at);
                // An unfinished block runs to the end of the file.
                let unwritten = open_end && block.data_length == 0;
                let length = if unwritten { left } else { block.data_length.min(left) };
                let packing = None;
                self.list.push(Fragment { block: block.at, at: block.data_at, length, packing });
                if !unwritten && block.data_length > left && !open_end {
                    let reason = "the MDF file is cut short inside a data block";
                    return Err(Fault::new(block.at, reason));
                }
                Ok(())
            }
            b"DZ" => {
                let head = block.data(there, FRAME)?;
                let (packing, length) = Packing::of_head(&head, block.at, block.data_length)?;
                let at = block.data_at + FRAME;
                if at.checked_add(packing.size).is_none_or(|end| end > there.length()) {
                    let reason = "the MDF file is cut short inside a packed data block";
                    return Err(Fault::new(block.at, reason));
                }
                self.list.push(Fragment { block: block.at, at, length, packing: Some(packing) });
                Ok(())
            }
            other => {
                let other = String::from_utf8_lossy(other);
                let other = other.escape_default();
                Err(Fault::new(
                    block.at,
                    format!("data in an MDF block `{other}`, which is not read"),
                ))
            }
        }
    }
}

/// Unpacked bytes of a packed fragment.
///
/// # Errors
/// When they are damaged.
pub(super) fn unpacked(there: &Anywhere, fragment: &Fragment) -> Result<Vec<u8>, Fault> {
    let fault = |reason: String| Fault::new(fragment.block, reason);
    let Some(packing) = fragment.packing else { return Ok(Vec::new()) };
    debug_assert!(fragment.length <= LARGEST_UNPACKED, "checked when it was indexed");
    let packed = there.bytes(fragment.at, packing.size).map_err(|e| fault(e.to_string()))?;
    packing.unpack(&packed, fragment.length).map_err(fault)
}

/// Reads fragments from front to end.
pub(super) struct FragmentReader<'a> {
    there: &'a Anywhere,
    fragments: &'a Fragments,
    next: usize,
    /// What is left of the current fragment: plain bytes in the file, or unpacked and held.
    plain: (u64, u64),
    held: Vec<u8>,
    held_at: usize,
    /// Where and why reading broke off; the chain's own fault comes at its end.
    pub fault: Option<Fault>,
}

impl<'a> FragmentReader<'a> {
    pub(super) fn new(there: &'a Anywhere, fragments: &'a Fragments) -> FragmentReader<'a> {
        let (plain, held, held_at) = ((0, 0), Vec::new(), 0);
        FragmentReader { there, fragments, next: 0, plain, held, held_at, fault: None }
    }

    fn open(&mut self) -> Result<bool, Fault> {
        let Some(fragment) = self.fragments.list.get(self.next) else {
            return match &self.fragments.fault {
                Some(fault) => Err(fault.clone()),
                None => Ok(false),
            };
        };
        self.next += 1;
        match fragment.packing {
            None => self.plain = (fragment.at, fragment.length),
            Some(_) => {
                // The one before goes first, so that only one is held.
                self.held = Vec::new();
                self.held = unpacked(self.there, fragment)?;
                self.held_at = 0;
            }
        }
        Ok(true)
    }
}

impl Read for FragmentReader<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        loop {
            if self.held_at < self.held.len() {
                let count = into.len().min(self.held.len() - self.held_at);
                into[..count].copy_from_slice(&self.held[self.held_at..self.held_at + count]);
                self.held_at += count;
                return Ok(count);
            }
            let (at, left) = self.plain;
            if left > 0 {
                let count = usize::try_from(left).map_or(into.len(), |left| left.min(into.len()));
                self.there.fill(at, &mut into[..count])?;
                self.plain = (at + count as u64, left - count as u64);
                return Ok(count);
            }
            match self.open() {
                Ok(true) => {}
                Ok(false) => return Ok(0),
                Err(fault) => {
                    let error = io::Error::other(fault.reason.clone());
                    self.fault = Some(fault);
                    return Err(error);
                }
            }
        }
    }
}
