//! pcapng: blocks of type u32, length u32, a body padded to four bytes, and the length again.
//!
//! A section header sets the byte order anew and forgets all interfaces. Blocks of unknown types are
//! stepped over, as the format asks. A block whose length is impossible ends the reading.

use std::collections::BTreeMap;
use std::io::Read;
use std::sync::Arc;

use super::interface::{Captured, Clock, Interface, SWAPPED};
use super::options::Options;
use super::packet::Link;
use super::{LONGEST_PACKET, Order};
use crate::read::account::Account;
use crate::read::frames::handing::Batches;
use crate::read::frames::rejects::RejectList;
use crate::read::frames::source::Source;
use crate::vocabulary::{Reject, Spot};

/// The type of a section header block, the same in both byte orders.
pub(super) const SECTION: [u8; 4] = [0x0A, 0x0D, 0x0D, 0x0A];
const INTERFACE: u32 = 1;
const PACKET: u32 = 2;
const SIMPLE: u32 = 3;
const STATISTICS: u32 = 5;
const ENHANCED: u32 = 6;
/// Blocks that are read are held; a longer one than this is damage.
const LONGEST_BLOCK: u32 = LONGEST_PACKET + 65_536;
/// Interfaces a section may describe.
const INTERFACES: usize = 4096;

/// Options: name of an interface, resolution and offset of its clock; drops before a packet.
const IF_NAME: u16 = 2;
const IF_TSRESOL: u16 = 9;
const IF_TSOFFSET: u16 = 14;
const EPB_DROPCOUNT: u16 = 4;
const ISB_IFDROP: u16 = 5;

const CUT: &str = "the capture is cut short inside a block";

struct Reader<'a, 'b> {
    file: &'a Arc<str>,
    batches: &'a mut Batches<'b>,
    order: Order,
    interfaces: Vec<Interface>,
    rejects: RejectList,
    /// Refusals of whole interfaces, in order of their sections.
    refusals: Vec<Reject>,
    packets: u64,
    dropped: u64,
    /// What statistics say was dropped in all, by interface of the section; and in sections before.
    counted: BTreeMap<u32, u64>,
    counted_before: u64,
    swapped: u64,
}

/// Reads to the end, or to where the file is damaged.
pub(super) fn read(
    source: &mut Source<impl Read>,
    file: &Arc<str>,
    batches: &mut Batches<'_>,
) -> Account {
    let mut reader = Reader {
        file,
        batches,
        order: Order::Little,
        interfaces: Vec::new(),
        rejects: RejectList::new(file),
        refusals: Vec::new(),
        packets: 0,
        dropped: 0,
        counted: BTreeMap::new(),
        counted_before: 0,
        swapped: 0,
    };
    while !source.at_end() {
        let offset = source.offset();
        if let Err(reason) = reader.block(source) {
            // A stream that broke off says so itself.
            if !(reason == CUT && source.is_broken()) {
                reader.rejects.record(reader.packets + 1, Spot::Byte(offset), reason);
            }
            break;
        }
    }
    reader.end_section();
    let mut account = Account { rejects: reader.rejects.into_entries(), ..Account::default() };
    account.rejects.append(&mut reader.refusals);
    // Packets and statistics tell of the same losses; whichever knows of more.
    let dropped = reader.dropped.max(reader.counted_before);
    account.lenient_times("packets that the logger itself says it dropped", dropped);
    account.lenient_times(SWAPPED, reader.swapped);
    account
}

impl Reader<'_, '_> {
    /// One block. The error ends the reading.
    fn block(&mut self, source: &mut Source<impl Read>) -> Result<(), &'static str> {
        let offset = source.offset();
        let first = source.look(12);
        if first.starts_with(&SECTION) {
            self.order = match first.get(8..12).ok_or(CUT)? {
                [0x1A, 0x2B, 0x3C, 0x4D] => Order::Big,
                [0x4D, 0x3C, 0x2B, 0x1A] => Order::Little,
                _ => return Err("a section header without its byte-order magic"),
            };
            self.end_section();
        }
        let kind = self.order.u32(first, 0).ok_or(CUT)?;
        let length = self.order.u32(first, 4).ok_or(CUT)?;
        if length < 12 || length % 4 != 0 {
            return Err(
                "a block of an impossible length: the capture is damaged; the rest is not read",
            );
        }
        if kind == STATISTICS && length <= LONGEST_BLOCK {
            let block = source.look(length as usize);
            let body = block.get(8..length as usize - 4).ok_or(CUT)?;
            if let (Some(interface), Some(options)) = (self.order.u32(body, 0), body.get(12..))
                && self.counted.len() <= INTERFACES
            {
                let counts = Options { rest: options, order: self.order };
                let last = counts.filter(|(code, _)| *code == ISB_IFDROP).last();
                if let Some(count) = last.and_then(|(_, value)| self.order.u64(value)) {
                    self.counted.insert(interface, count);
                }
            }
        }
        if !matches!(kind, INTERFACE | PACKET | SIMPLE | ENHANCED) {
            let came = source.skip(u64::from(length));
            return if came == u64::from(length) { Ok(()) } else { Err(CUT) };
        }
        if length > LONGEST_BLOCK {
            return Err(
                "a packet longer than 262,144 bytes: the capture is damaged; the rest is not read",
            );
        }
        let size = length as usize;
        let block = source.look(size);
        let body = block.get(8..size - 4).filter(|_| block.len() == size).ok_or(CUT)?;
        if self.order.u32(block, size - 4) != Some(length) {
            return Err(
                "a block whose two lengths differ: the capture is damaged; the rest is not read",
            );
        }
        match kind {
            INTERFACE => self.interface(body)?,
            PACKET => self.packet(body, true, offset),
            ENHANCED => self.packet(body, false, offset),
            _ => self.simple(body, offset),
        }
        source.take(size);
        Ok(())
    }

    fn interface(&mut self, body: &[u8]) -> Result<(), &'static str> {
        if self.interfaces.len() == INTERFACES {
            return Err("more than 4,096 interfaces in one section; the rest is not read");
        }
        let link = self.order.u16(body, 0).ok_or("an interface block cut short")?;
        let mut clock = Clock { resolution: 6, offset: 0 };
        let mut name = match self.interfaces.len() {
            0 => Vec::new(),
            number => format!("interface-{number}").into_bytes(),
        };
        let options = Options { rest: body.get(8..).unwrap_or(&[]), order: self.order };
        for (code, value) in options {
            match (code, value) {
                (IF_NAME, text) if !text.trim_ascii().is_empty() => {
                    name = text.trim_ascii().to_vec();
                }
                (IF_TSRESOL, [resolution, ..]) => clock.resolution = *resolution,
                (IF_TSOFFSET, value) => {
                    if let Some(bytes) = value.first_chunk() {
                        clock.offset = match self.order {
                            Order::Big => i64::from_be_bytes(*bytes),
                            Order::Little => i64::from_le_bytes(*bytes),
                        };
                    }
                }
                _ => {}
            }
        }
        self.interfaces.push(Interface::new(Link::of_number(link), clock, name));
        Ok(())
    }

    /// An enhanced packet block, or the obsolete packet block.
    fn packet(&mut self, body: &[u8], obsolete: bool, offset: u64) {
        self.packets += 1;
        let order = self.order;
        let (interface, mut dropped) = if obsolete {
            let dropped = order.u16(body, 2).filter(|count| *count != u16::MAX).unwrap_or(0);
            (order.u16(body, 0).map(u32::from), u64::from(dropped))
        } else {
            (order.u32(body, 0), 0)
        };
        let fields = [4, 8, 12, 16].map(|at| order.u32(body, at));
        let [Some(high), Some(low), Some(captured), Some(original)] = fields else {
            return self.refuse(offset, "a packet block cut short");
        };
        let Some(bytes) = body.get(20..20usize.saturating_add(captured as usize)) else {
            return self.refuse(offset, "a packet longer than its block");
        };
        let rest = body.get(20 + bytes.len().next_multiple_of(4)..).unwrap_or(&[]);
        if !obsolete && !rest.is_empty() {
            dropped = self.drops(rest);
        }
        self.dropped = self.dropped.saturating_add(dropped);
        let stamp = Some(u64::from(high) << 32 | u64::from(low));
        let number = self.packets;
        let packet = Captured { bytes, original, stamp, order, number, offset, dropped };
        self.hand_on(interface, &packet);
    }

    /// How many packets the options say were lost before this one.
    fn drops(&self, options: &[u8]) -> u64 {
        let mut dropped = 0u64;
        for (code, value) in (Options { rest: options, order: self.order }) {
            if let (EPB_DROPCOUNT, Some(count)) = (code, self.order.u64(value)) {
                dropped = dropped.saturating_add(count);
            }
        }
        dropped
    }

    fn simple(&mut self, body: &[u8], offset: u64) {
        self.packets += 1;
        let (order, number) = (self.order, self.packets);
        let Some(original) = order.u32(body, 0) else {
            return self.refuse(offset, "a packet block cut short");
        };
        let bytes = body.get(4..).unwrap_or(&[]);
        let packet = Captured { bytes, original, stamp: None, order, number, offset, dropped: 0 };
        self.hand_on(Some(0), &packet);
    }

    fn hand_on(&mut self, interface: Option<u32>, packet: &Captured<'_>) {
        let place = interface.and_then(|number| usize::try_from(number).ok());
        match place.and_then(|place| self.interfaces.get_mut(place)) {
            Some(interface) => interface.packet(packet, self.batches, &mut self.rejects),
            None => self.refuse(packet.offset, "a packet of an interface that is not described"),
        }
    }

    fn refuse(&mut self, offset: u64, reason: &str) {
        self.rejects.record(self.packets, Spot::Byte(offset), reason);
    }

    fn end_section(&mut self) {
        let counted = std::mem::take(&mut self.counted).into_values();
        self.counted_before = counted.fold(self.counted_before, u64::saturating_add);
        for interface in self.interfaces.drain(..) {
            self.refusals.extend(interface.refusal(self.file));
            self.swapped += interface.swapped;
        }
    }
}
