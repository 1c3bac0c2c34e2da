//! Packet captures: pcap and pcapng, with CAN frames as link type 227, or in Linux cooked packets.
//!
//! In: a stream of decompressed bytes. Out: frames, each with the number of its packet in the file
//! (from 1, over all interfaces, as capture viewers number them). Rejects stand at byte offsets.
//! A stream that ends inside a packet gives all packets before it and one reject. Sources: the
//! formats' published drafts (`draft-ietf-opsawg-pcap`, `draft-ietf-opsawg-pcapng`) and the link
//! types' descriptions; the team's notes, FACTS 5.2.

mod interface;
mod options;
mod packet;
mod pcap;
mod pcapng;
#[cfg(test)]
mod tests;

use std::io::Read;
use std::sync::Arc;

use super::handing::{Batches, Give};
use super::source::Source;
use crate::read::account::Account;

/// The longest packet that is held; the capture libraries' own limit.
const LONGEST_PACKET: u32 = 262_144;

/// The byte order of a capture file or of a section of one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Order {
    Big,
    Little,
}

impl Order {
    fn u16(self, bytes: &[u8], at: usize) -> Option<u16> {
        let bytes = bytes.get(at..)?.first_chunk()?;
        Some(match self {
            Order::Big => u16::from_be_bytes(*bytes),
            Order::Little => u16::from_le_bytes(*bytes),
        })
    }

    fn u32(self, bytes: &[u8], at: usize) -> Option<u32> {
        let bytes = bytes.get(at..)?.first_chunk()?;
        Some(match self {
            Order::Big => u32::from_be_bytes(*bytes),
            Order::Little => u32::from_le_bytes(*bytes),
        })
    }

    /// The first eight bytes.
    fn u64(self, bytes: &[u8]) -> Option<u64> {
        let bytes = bytes.first_chunk()?;
        Some(match self {
            Order::Big => u64::from_be_bytes(*bytes),
            Order::Little => u64::from_le_bytes(*bytes),
        })
    }
}

/// Reads a pcap or pcapng capture from any stream of bytes; told apart by its first bytes.
pub fn read_capture(bytes: impl Read, file: &Arc<str>, give: &Give<'_>) -> Account {
    let mut source = Source::new(bytes);
    let mut batches = Batches::new(give);
    let is_pcapng = source.look(4) == pcapng::SECTION;
    let mut account = if is_pcapng {
        pcapng::read(&mut source, file, &mut batches)
    } else {
        pcap::read(&mut source, file, &mut batches)
    };
    batches.hand_on();
    account.rejects.extend(source.failure(file));
    account
}
