//! One row becomes a frame.

use crate::read::frames::content::{
    Content, ERROR, EXTENDED, ID_BITS, REMOTE, content, is_fd_length, length_of_code,
};

/// The cells of a row beside its time and bus, read but not yet judged.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Row<'a> {
    /// The identifier word.
    pub id: u32,
    /// Whether it was written with eight digits, as 29-bit identifiers are.
    pub eight_digits: bool,
    pub extended: Option<bool>,
    pub fd: Option<bool>,
    /// The error state indicator, which only frames of CAN FD have.
    pub esi: Option<bool>,
    pub remote: Option<bool>,
    pub error: Option<bool>,
    pub dlc: Option<u32>,
    pub data: &'a [u8],
    /// Whether the data stand in a field of fixed size, so that `dlc` says how many are meant.
    pub padded: bool,
}

impl Row<'_> {
    /// The frame of the row.
    ///
    /// # Errors
    /// A reason in words when the cells contradict each other or no bus carries such a frame.
    #[inline]
    pub(super) fn content(&self) -> Result<Content, &'static str> {
        let mut word = self.id;
        let extended = self
            .extended
            .unwrap_or(self.id & EXTENDED != 0 || self.eight_digits || self.id & ID_BITS > 0x7FF);
        set(&mut word, EXTENDED, Some(extended));
        set(&mut word, REMOTE, self.remote);
        set(&mut word, ERROR, self.error);
        let is_remote = word & REMOTE != 0 && word & ERROR == 0;
        let length = if is_remote { self.remote_length()? } else { self.length()? };
        let indicator = self.esi.unwrap_or(false);
        let fd = self.fd.unwrap_or(length > 8 || indicator);
        Ok(content(word, length, self.data, fd)?.with_indicator(fd && indicator))
    }

    fn remote_length(&self) -> Result<u8, &'static str> {
        match self.dlc {
            None => u8::try_from(self.data.len()).map_err(|_| "more than 8 data bytes"),
            // Length codes 9 to 15 mean 8 in classic frames.
            Some(code @ 0..=15) => Ok(u8::try_from(code.min(8)).unwrap_or(8)),
            Some(_) => Err("the `dlc` of a remote frame is not 0 to 15"),
        }
    }

    fn length(&self) -> Result<u8, &'static str> {
        let there = u8::try_from(self.data.len()).map_err(|_| "more than 64 data bytes")?;
        let Some(stated) = self.dlc else { return Ok(there) };
        let stated = u8::try_from(stated).map_err(|_| "`dlc` is neither a length nor a code")?;
        if stated == there {
            Ok(there)
        } else if self.padded && is_fd_length(stated) && stated < there {
            Ok(stated)
        } else if length_of_code(stated) == Some(there) || (stated < 16 && stated > 8 && there == 8)
        {
            Ok(there)
        } else {
            Err("`dlc` and `data` disagree on the length; the row may be cut short")
        }
    }
}

fn set(word: &mut u32, flag: u32, to: Option<bool>) {
    match to {
        Some(true) => *word |= flag,
        Some(false) => *word &= !flag,
        None => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::frames::FrameKind;
    use crate::vocabulary::Identifier;

    const PLAIN: Row<'static> = Row {
        id: 0x123,
        eight_digits: false,
        extended: None,
        fd: None,
        esi: None,
        remote: None,
        error: None,
        dlc: None,
        data: &[1, 2],
        padded: false,
    };

    #[test]
    fn the_kinds_of_rows() {
        let id = |row: Row<'_>| row.content().unwrap().id;
        assert_eq!(id(PLAIN), Identifier::base(0x123));
        assert_eq!(id(Row { eight_digits: true, ..PLAIN }), Identifier::extended(0x123));
        assert_eq!(id(Row { id: 0x8000_0123, ..PLAIN }), Identifier::extended(0x123));
        assert_eq!(id(Row { id: 0x800, ..PLAIN }), Identifier::extended(0x800));
        assert!(Row { id: 0x800, extended: Some(false), ..PLAIN }.content().is_err());
        let kind = |row: Row<'_>| row.content().map(|c| (c.kind, c.length));
        assert_eq!(kind(Row { id: 0x2000_0088, ..PLAIN }), Ok((FrameKind::Error, 2)));
        assert_eq!(kind(Row { error: Some(true), ..PLAIN }), Ok((FrameKind::Error, 2)));
        let passive = Row { esi: Some(true), ..PLAIN };
        assert_eq!(kind(passive), Ok((FrameKind::PassiveData, 2)));
        assert_eq!(kind(Row { fd: Some(false), ..passive }), Ok((FrameKind::Data, 2)));
        let remote = Row { remote: Some(true), dlc: Some(8), data: &[], ..PLAIN };
        assert_eq!(kind(remote), Ok((FrameKind::Remote, 8)));
    }

    #[test]
    fn lengths_and_codes() {
        let length = |dlc, data, padded| {
            Row { dlc, data, padded, ..PLAIN }.content().map(|content| content.length)
        };
        assert_eq!(length(None, &[0; 12], false), Ok(12));
        assert_eq!(length(Some(9), &[0; 12], false), Ok(12));
        assert_eq!(length(Some(12), &[0; 12], false), Ok(12));
        assert_eq!(length(Some(3), &[0; 8], true), Ok(3));
        assert!(length(Some(3), &[0; 8], false).is_err());
        assert!(length(Some(8), &[0; 4], true).is_err());
        assert!(length(None, &[0; 9], false).is_err());
        assert!(length(None, &[0; 300], false).is_err());
    }
}
