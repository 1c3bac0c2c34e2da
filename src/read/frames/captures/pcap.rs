//! pcap: a header of 24 bytes, then records of 16 bytes and a packet.
//!
//! ```text
//! header  magic u32 · major u16 · minor u16 · 8 bytes · snap length u32 · link type u32 (low 16 bits)
//! record  seconds u32 · fraction u32 · captured length u32 · original length u32 · packet
//! ```
//! The magic tells the byte order and whether fractions are micro- or nanoseconds.

use std::io::Read;
use std::sync::Arc;

use super::interface::{Captured, Clock, Interface, SWAPPED};
use super::packet::Link;
use super::{LONGEST_PACKET, Order};
use crate::read::account::Account;
use crate::read::frames::handing::Batches;
use crate::read::frames::rejects::RejectList;
use crate::read::frames::source::Source;
use crate::vocabulary::Spot;

const HEADER: usize = 24;
const RECORD: usize = 16;

/// Byte order and decimals of the fraction by the first four bytes.
fn magic(first: &[u8]) -> Option<(Order, u8)> {
    match first {
        [0xD4, 0xC3, 0xB2, 0xA1] => Some((Order::Little, 6)),
        [0xA1, 0xB2, 0xC3, 0xD4] => Some((Order::Big, 6)),
        [0x4D, 0x3C, 0xB2, 0xA1] => Some((Order::Little, 9)),
        [0xA1, 0xB2, 0x3C, 0x4D] => Some((Order::Big, 9)),
        _ => None,
    }
}

/// Reads to the end, or to where the file is damaged.
pub(super) fn read(
    source: &mut Source<impl Read>,
    file: &Arc<str>,
    batches: &mut Batches<'_>,
) -> Account {
    let mut rejects = RejectList::new(file);
    let (mut refusal, mut swapped) = (None, 0);
    match header(source.look(HEADER)) {
        Ok((order, decimals, link)) => {
            source.take(HEADER);
            let clock = Clock { resolution: decimals, offset: 0 };
            let mut interface = Interface::new(link, clock, Vec::new());
            packets(source, order, &mut interface, batches, &mut rejects);
            refusal = interface.refusal(file);
            swapped = interface.swapped;
        }
        Err(reason) => rejects.record(0, Spot::Byte(0), &reason),
    }
    let mut account = Account { rejects: rejects.into_entries(), ..Account::default() };
    account.rejects.extend(refusal);
    account.lenient_times(SWAPPED, swapped);
    account
}

fn header(bytes: &[u8]) -> Result<(Order, u8, Link), String> {
    let short = || format!("pcap header cut short: {} bytes, expected {HEADER}", bytes.len());
    let (order, decimals) =
        bytes.get(..4).and_then(magic).ok_or("not a pcap capture: no known magic number")?;
    let major = order.u16(bytes, 4).ok_or_else(short)?;
    if major != 2 {
        return Err(format!("pcap of version {major}, expected 2"));
    }
    let link = order.u32(bytes, 20).ok_or_else(short)?;
    Ok((order, decimals, Link::of_number(u16::try_from(link & 0xFFFF).unwrap_or(u16::MAX))))
}

fn packets(
    source: &mut Source<impl Read>,
    order: Order,
    interface: &mut Interface,
    batches: &mut Batches<'_>,
    rejects: &mut RejectList,
) {
    let unit = if interface.clock.resolution == 9 { 1_000_000_000 } else { 1_000_000 };
    let mut number = 0;
    while !source.at_end() {
        number += 1;
        let offset = source.offset();
        let record = source.look(RECORD);
        let fields = [0, 4, 8, 12].map(|at| order.u32(record, at));
        let [Some(seconds), Some(fraction), Some(captured), Some(original)] = fields else {
            return cut(source, number, rejects);
        };
        if captured > LONGEST_PACKET {
            let reason =
                "a packet longer than 262,144 bytes: the capture is damaged; the rest is not read";
            return rejects.record(number, Spot::Byte(offset), reason);
        }
        let size = RECORD + captured as usize;
        let Some(bytes) = source.look(size).get(RECORD..size) else {
            return cut(source, number, rejects);
        };
        // Some writers carry fractions of a second and more; they are read as they are meant.
        let stamp = Some(u64::from(seconds) * unit + u64::from(fraction));
        let packet = Captured { bytes, original, stamp, order, number, offset, dropped: 0 };
        interface.packet(&packet, batches, rejects);
        source.take(size);
    }
}

/// The capture ends inside a packet; a stream that broke off says so itself.
fn cut(source: &Source<impl Read>, number: u64, rejects: &mut RejectList) {
    if !source.is_broken() {
        let reason = "the capture is cut short inside a packet";
        rejects.record(number, Spot::Byte(source.offset()), reason);
    }
}
