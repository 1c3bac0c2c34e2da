//! Options of a pcapng block: code u16, length u16, value padded to four bytes; code 0 ends them.

use super::Order;

/// Walks the options in the rest of a block. A broken list just ends.
pub(super) struct Options<'a> {
    pub rest: &'a [u8],
    pub order: Order,
}

impl<'a> Iterator for Options<'a> {
    type Item = (u16, &'a [u8]);

    fn next(&mut self) -> Option<(u16, &'a [u8])> {
        let code = self.order.u16(self.rest, 0)?;
        let length = usize::from(self.order.u16(self.rest, 2)?);
        if code == 0 {
            return None;
        }
        let value = self.rest.get(4..4 + length)?;
        self.rest = self.rest.get(4 + length.next_multiple_of(4)..).unwrap_or(&[]);
        Some((code, value))
    }
}
