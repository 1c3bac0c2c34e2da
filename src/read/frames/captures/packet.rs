//! One captured packet by its link type: where the CAN frame lies in it, and in which byte order.
//!
//! ```text
//! SocketCAN   id word u32 BIG endian · length u8 · FD flags u8 · 0 · raw length code u8 · data
//! cooked      16 bytes, the last two the protocol (big endian) · frame in the HOST's byte order
//! cooked 2    20 bytes, the first two the protocol, interface number at 4 · frame likewise
//! ```

use super::Order;
use crate::read::frames::content::{Content, ID_BITS, content};
use crate::read::frames::fields::ESI;

/// What the packets of an interface are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Link {
    /// Link type 227.
    SocketCan,
    /// Link type 227 with the identifier word in the wrong order.
    Swapped,
    /// Link type 113, Linux cooked capture.
    Cooked,
    /// Link type 276, Linux cooked capture version 2.
    Cooked2,
    /// Anything else, by its number.
    Other(u16),
}

/// Protocols of cooked packets that are CAN.
const CLASSIC: u16 = 0x000C;
const FD: u16 = 0x000D;
const XL: u16 = 0x000E;
/// Bit of the FD flags that says that the frame is one.
const IS_FD: u8 = 0x04;
/// Size of a captured frame of CAN FD in full.
const FD_SIZE: u32 = 72;
/// Bit of the length byte that marks CAN XL.
const IS_XL: u8 = 0x80;

const CAN_XL: &str = "a CAN XL frame, which is not read";
const NOT_CAN: &str = "a cooked packet whose protocol is not CAN";
const SHORT: &str = "a packet too short for a CAN frame";

/// A packet's frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Packet {
    pub content: Content,
    /// Number of the host's interface, in cooked packets version 2.
    pub interface: Option<u32>,
}

impl Link {
    pub(super) fn of_number(number: u16) -> Link {
        match number {
            227 => Link::SocketCan,
            113 => Link::Cooked,
            276 => Link::Cooked2,
            other => Link::Other(other),
        }
    }

    /// Whether a packet of link type 227 has its identifier word in little endian order: some writers
    /// forget the link type's big endian. Told only where the word is impossible as it should be, and
    /// possible the other way round.
    pub(super) fn is_swapped(self, bytes: &[u8], original: u32) -> bool {
        self == Link::SocketCan
            && Order::Big.u32(bytes, 0).is_some_and(|word| word & !ID_BITS == 0 && word > 0x7FF)
            && Link::Swapped.packet(bytes, original, Order::Little).is_ok()
    }

    /// Reads a packet. `original` is its length on the wire, `order` the capturing host's.
    ///
    /// # Errors
    /// A reason in words when there is no CAN frame in it.
    #[inline]
    pub(super) fn packet(
        self,
        bytes: &[u8],
        original: u32,
        order: Order,
    ) -> Result<Packet, &'static str> {
        match self {
            Link::SocketCan | Link::Swapped => {
                let order = if self == Link::Swapped { Order::Little } else { Order::Big };
                if bytes.get(4).is_some_and(|length| length & IS_XL != 0) {
                    return Err(CAN_XL);
                }
                let flags = bytes.get(5).copied().unwrap_or(0);
                let fd = flags & IS_FD != 0 || original == FD_SIZE;
                Ok(Packet { content: frame(bytes, order, fd)?, interface: None })
            }
            Link::Cooked => {
                let protocol = Order::Big.u16(bytes, 14).ok_or(SHORT)?;
                let content = cooked(bytes.get(16..).ok_or(SHORT)?, protocol, order)?;
                Ok(Packet { content, interface: None })
            }
            Link::Cooked2 => {
                let protocol = Order::Big.u16(bytes, 0).ok_or(SHORT)?;
                let interface = Order::Big.u32(bytes, 4);
                let content = cooked(bytes.get(20..).ok_or(SHORT)?, protocol, order)?;
                Ok(Packet { content, interface })
            }
            Link::Other(_) => Err("a packet of another link type"),
        }
    }
}

fn cooked(bytes: &[u8], protocol: u16, order: Order) -> Result<Content, &'static str> {
    match protocol {
        CLASSIC => frame(bytes, order, false),
        FD => frame(bytes, order, true),
        XL => Err(CAN_XL),
        _ => Err(NOT_CAN),
    }
}

#[inline]
fn frame(bytes: &[u8], order: Order, fd: bool) -> Result<Content, &'static str> {
    let word = order.u32(bytes, 0).ok_or(SHORT)?;
    let length = *bytes.get(4).ok_or(SHORT)?;
    let content = content(word, length, bytes.get(8..).ok_or(SHORT)?, fd)?;
    Ok(content.with_indicator(fd && bytes.get(5).is_some_and(|flags| flags & ESI != 0)))
}
