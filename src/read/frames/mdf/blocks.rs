//! Blocks: the frame that every block has, its links and a bounded piece of its data.

use super::Fault;
use crate::read::anywhere::Anywhere;

/// Where the header block lies.
pub(super) const HEADER_AT: u64 = 64;
/// Size of the frame of a block before its links.
pub(super) const FRAME: u64 = 24;
/// The most links one block may have.
const MOST_LINKS: u64 = 1 << 20;
/// The longest text kept, bytes.
const LONGEST_TEXT: u64 = 4096;

/// A block: where it lies, what it is, its links.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Block {
    pub at: u64,
    pub id: [u8; 2],
    pub links: Vec<u64>,
    /// Where its data begin.
    pub data_at: u64,
    /// How many bytes of data it claims to have.
    pub data_length: u64,
}

impl Block {
    /// Reads the frame and links of the block at `at`.
    ///
    /// # Errors
    /// When there is none, or it is unsound. That its data lie in the file is not checked here.
    pub(super) fn read(there: &Anywhere, at: u64) -> Result<Block, Fault> {
        let cut =
            |_| Fault::new(at, "an MDF block lies past the end of the file; it may be cut short");
        let frame = there.bytes(at, FRAME).map_err(cut)?;
        let no_block = || Fault::new(at, "no MDF block where a link points to");
        let (Some(b"##"), Some(id)) = (frame.first_chunk(), frame.get(2..4)) else {
            return Err(no_block());
        };
        let id = <[u8; 2]>::try_from(id).map_err(|_| no_block())?;
        let length = u64_at(&frame, 8).ok_or_else(no_block)?;
        let count = u64_at(&frame, 16).ok_or_else(no_block)?;
        let unsound = || Fault::new(at, "an MDF block of an impossible length");
        if count > MOST_LINKS {
            return Err(unsound());
        }
        let head = FRAME + 8 * count;
        // A block that its logger never closed has the length 0; only data blocks can.
        let data_length = match length.checked_sub(head) {
            Some(data_length) => data_length,
            None if length == 0 && count == 0 => 0,
            None => return Err(unsound()),
        };
        let links = there.bytes(at + FRAME, 8 * count).map_err(cut)?;
        let links = links.chunks_exact(8).filter_map(|link| u64_at(link, 0)).collect();
        let data_at = at.checked_add(head).ok_or_else(unsound)?;
        Ok(Block { at, id, links, data_at, data_length })
    }

    /// Reads a block that must be of one kind.
    ///
    /// # Errors
    /// As [`Block::read`], or when it is of another kind.
    pub(super) fn expect(there: &Anywhere, at: u64, id: &[u8; 2]) -> Result<Block, Fault> {
        let block = Block::read(there, at)?;
        if block.id == *id {
            return Ok(block);
        }
        let (expected, found) = (String::from_utf8_lossy(id), String::from_utf8_lossy(&block.id));
        Err(Fault::new(
            at,
            format!("an MDF block `{}`, expected `{expected}`", found.escape_default()),
        ))
    }

    /// A link; `None` when it points nowhere or the block has no such link.
    pub(super) fn link(&self, place: usize) -> Option<u64> {
        self.links.get(place).copied().filter(|at| *at != 0)
    }

    /// The first `size` bytes of its data.
    ///
    /// # Errors
    /// When it has fewer.
    pub(super) fn data(&self, there: &Anywhere, size: u64) -> Result<Vec<u8>, Fault> {
        let short = || Fault::new(self.at, "an MDF block is shorter than its kind");
        if self.data_length < size {
            return Err(short());
        }
        there.bytes(self.data_at, size).map_err(|_| short())
    }
}

/// The text of a TX or MD block; empty when there is none.
pub(super) fn text(there: &Anywhere, at: Option<u64>) -> String {
    let Some(block) = at.and_then(|at| Block::read(there, at).ok()) else { return String::new() };
    if !matches!(&block.id, b"TX" | b"MD") {
        return String::new();
    }
    let bytes = block.data(there, block.data_length.min(LONGEST_TEXT)).unwrap_or_default();
    let end = bytes.iter().position(|b| *b == 0).unwrap_or(bytes.len());
    String::from_utf8_lossy(&bytes[..end]).into_owned()
}

pub(super) fn u64_at(bytes: &[u8], at: usize) -> Option<u64> {
    Some(u64::from_le_bytes(*bytes.get(at..)?.first_chunk()?))
}

pub(super) fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_le_bytes(*bytes.get(at..)?.first_chunk()?))
}

pub(super) fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes(*bytes.get(at..)?.first_chunk()?))
}
