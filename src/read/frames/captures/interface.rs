//! One interface of a capture: its link type, its clock, its name, and what of it was not read.

use std::sync::Arc;

use super::Order;
use super::packet::Link;
use crate::read::frames::handing::Batches;
use crate::read::frames::rejects::RejectList;
use crate::read::frames::{Frame, FrameKind};
use crate::vocabulary::{Identifier, Instant, NANOS_PER_SECOND, Place, Reject, Spot};

/// The unit of an interface's time stamps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Clock {
    /// As the option `if_tsresol` says: 10⁻ⁿ s, or 2⁻ⁿ s when the top bit is set.
    pub resolution: u8,
    /// Seconds added to every stamp.
    pub offset: i64,
}

impl Clock {
    /// A stamp as nanoseconds since 1970; finer units are cut off. `None` outside 1678 to 2261.
    #[inline]
    pub(super) fn instant(self, stamp: u64) -> Option<Instant> {
        let power = u32::from(self.resolution & 0x7F);
        let stamp = u128::from(stamp);
        let nanos = if self.resolution & 0x80 != 0 {
            // 64 bits times 10⁹ stay below 2⁹⁴.
            (stamp * 1_000_000_000) >> power
        } else if power <= 9 {
            stamp * 10u128.pow(9 - power)
        } else {
            // A divisor past 10³⁸ leaves nothing of 64 bits.
            10u128.checked_pow(power - 9).map_or(0, |divisor| stamp / divisor)
        };
        let offset = i128::from(self.offset) * i128::from(NANOS_PER_SECOND);
        let sum = i128::try_from(nanos).ok()?.checked_add(offset)?;
        i64::try_from(sum).ok().map(Instant)
    }
}

/// An interface.
#[derive(Debug)]
pub(super) struct Interface {
    pub link: Link,
    pub clock: Clock,
    pub name: Vec<u8>,
    /// Packets of a link type that is not read, and the offset of the first.
    foreign: Option<(u64, u64)>,
    /// Packets whose identifier word was read in little endian order.
    pub swapped: u64,
}

/// The leniency counted for [`Interface::swapped`].
pub(super) const SWAPPED: &str =
    "identifier in little endian order, against link type 227: read as it is meant";

impl Interface {
    pub(super) fn new(link: Link, clock: Clock, name: Vec<u8>) -> Interface {
        Interface { link, clock, name, foreign: None, swapped: 0 }
    }

    /// One packet becomes a frame or is counted as refused. `offset` is where it begins.
    #[inline]
    pub(super) fn packet(
        &mut self,
        packet: &Captured<'_>,
        batches: &mut Batches<'_>,
        rejects: &mut RejectList,
    ) {
        if let Link::Other(_) = self.link {
            let (count, _) = self.foreign.get_or_insert((0, packet.offset));
            *count += 1;
            return;
        }
        if self.link.is_swapped(packet.bytes, packet.original) {
            self.link = Link::Swapped;
        }
        self.swapped += u64::from(self.link == Link::Swapped);
        if let Err(reason) = self.frame(packet, batches) {
            rejects.record(packet.number, Spot::Byte(packet.offset), reason);
        }
    }

    #[inline]
    fn frame(&self, packet: &Captured<'_>, batches: &mut Batches<'_>) -> Result<(), &'static str> {
        let stamp = packet.stamp.ok_or("a packet without a time stamp (simple packet block)")?;
        let time =
            self.clock.instant(stamp).ok_or("a time stamp outside the years 1678 to 2261")?;
        let found = self.link.packet(packet.bytes, packet.original, packet.order)?;
        let channel = match found.interface {
            Some(number) => batches.channel(format!("if{number}").as_bytes())?,
            None => batches.channel(&self.name)?,
        };
        if packet.dropped > 0 {
            batches.push(lost(packet.dropped, time, packet.number, channel));
        }
        batches.push(found.content.at(time, packet.number, channel));
        Ok(())
    }

    /// The reject of all packets of a link type that is not read.
    pub(super) fn refusal(&self, file: &Arc<str>) -> Option<Reject> {
        let (records, offset) = self.foreign?;
        let Link::Other(number) = self.link else { return None };
        let named = match String::from_utf8_lossy(&self.name) {
            name if name.is_empty() => String::new(),
            name => format!(" of interface `{}`", crate::read::times::shortened(&name)),
        };
        let reason = format!(
            "packets{named} with link type {number}; CAN is read from link types 227 (SocketCAN), \
             113 and 276 (Linux cooked)"
        );
        Some(Reject { place: Place::byte(file, offset), records, reason })
    }
}

/// The mark before a frame that some were lost; `data` says how many.
fn lost(count: u64, time: Instant, line: u64, channel: u16) -> Frame {
    let (id, kind) = (Identifier(0), FrameKind::Lost);
    Frame { time, data: count, line, id, channel, length: 0, kind }
}

/// A packet as it stands in the file.
pub(super) struct Captured<'a> {
    pub bytes: &'a [u8],
    /// Its length on the wire.
    pub original: u32,
    /// Its stamp in the interface's unit; simple packets have none.
    pub stamp: Option<u64>,
    pub order: Order,
    /// Its number in the file, from 1.
    pub number: u64,
    /// Where its record begins.
    pub offset: u64,
    /// Packets that the logger says it lost since the one before of this interface.
    pub dropped: u64,
}
