//! Bus events: a record of `CAN_DataFrame`, `CAN_RemoteFrame` or `CAN_ErrorFrame` becomes a frame.
//!
//! Error frames have no SocketCAN classes in MDF; their `ErrorType` is put into SocketCAN's words:
//! bit, form and stuff errors as protocol violations, CRC by its place, a missing acknowledgement as
//! such. A writer that came from SocketCAN keeps bit 29 of the identifier word set; then the
//! identifier and the data are SocketCAN's own.

use super::channel::{Channel, Time, Where};
use super::fragments::Fragments;
use super::values::Value;
use crate::read::frames::content::{
    Content, ERROR, EXTENDED, ID_BITS, REMOTE, content, length_of_code,
};

/// Classes of error frames (`linux/can/error.h`): protocol violation, no acknowledgement, bus error.
const PROTOCOL: u32 = 0x008;
const NO_ACKNOWLEDGEMENT: u32 = 0x020;
const BUS_ERROR: u32 = 0x080;

/// The kinds of groups.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum EventKind {
    Data,
    Remote,
    Error,
    Overload,
}

impl EventKind {
    pub(super) fn of_name(name: &str) -> Option<EventKind> {
        [EventKind::Data, EventKind::Remote, EventKind::Error, EventKind::Overload]
            .into_iter()
            .find(|kind| kind.name() == name)
    }

    pub(super) fn name(self) -> &'static str {
        match self {
            EventKind::Data => "CAN_DataFrame",
            EventKind::Remote => "CAN_RemoteFrame",
            EventKind::Error => "CAN_ErrorFrame",
            EventKind::Overload => "CAN_OverloadFrame",
        }
    }
}

/// Where the data bytes of a group's records stand.
#[derive(Debug, Clone)]
pub(super) enum ValuesFrom {
    /// In the record, or nowhere.
    Record,
    /// In blocks of their own.
    Blocks(Fragments),
    /// Among the records, as those of the channel group at this place.
    Group(u64),
}

/// A channel group of bus events.
#[derive(Debug, Clone)]
pub(super) struct EventGroup {
    pub kind: EventKind,
    pub time: Time,
    pub values: ValuesFrom,
    /// Records that it announces.
    pub count: u64,
    data_bytes: usize,
    bus: Option<Channel>,
    id: Option<Channel>,
    extended: Option<Channel>,
    code: Option<Channel>,
    length: Option<Channel>,
    pub data: Option<Channel>,
    fd: Option<Channel>,
    /// The error state indicator of CAN FD.
    esi: Option<Channel>,
    error_type: Option<Channel>,
}

impl EventGroup {
    /// # Errors
    /// When the group lacks what a frame needs.
    pub(super) fn new(
        kind: EventKind,
        time: Time,
        channel: &dyn Fn(&str) -> Option<Channel>,
        values: ValuesFrom,
        count: u64,
        data_bytes: usize,
    ) -> Result<EventGroup, String> {
        let group = EventGroup {
            kind,
            time,
            values,
            count,
            data_bytes,
            bus: channel("BusChannel"),
            id: channel("ID"),
            extended: channel("IDE"),
            code: channel("DLC"),
            length: channel("DataLength"),
            data: channel("DataBytes"),
            fd: channel("EDL").or(channel("FDF")),
            esi: channel("ESI"),
            error_type: channel("ErrorType"),
        };
        if group.id.is_none() && matches!(kind, EventKind::Data | EventKind::Remote) {
            return Err("no channel ID".to_owned());
        }
        Ok(group)
    }

    /// The bus channel's number.
    pub(super) fn bus(&self, record: &[u8]) -> Option<u64> {
        self.bus.and_then(|channel| channel.whole(record))
    }

    /// The offset of the record's data bytes, when they stand elsewhere.
    pub(super) fn offset(&self, record: &[u8]) -> Option<u64> {
        self.data.filter(|data| data.place == Where::Elsewhere)?.whole_bits(record)
    }

    /// The frame of a record; `value` are its data bytes when they stand elsewhere.
    ///
    /// # Errors
    /// A reason in words.
    pub(super) fn content(
        &self,
        record: &[u8],
        value: Option<Value>,
    ) -> Result<Content, &'static str> {
        let whole = |channel: Option<Channel>| channel.and_then(|c| c.whole(record));
        let invalid = |channel: &Channel| channel.is_invalid(record, self.data_bytes);
        if [&self.id, &self.length, &self.data].into_iter().flatten().any(invalid) {
            return Err("a record that marks its own values as invalid");
        }
        let word = match self.id {
            Some(channel) => channel.whole(record).ok_or("an identifier outside its record")?,
            None => 0,
        };
        let word = u32::try_from(word).map_err(|_| "an identifier longer than 32 bits")?;
        let (data, there) = self.data_of(record, value)?;
        let fd = whole(self.fd).is_some_and(|flag| flag != 0);
        let length = self.length_of(record, there, fd)?;
        if self.kind == EventKind::Error {
            return self.error(record, word, length, &data);
        }
        let extended = match whole(self.extended) {
            Some(flag) => flag != 0,
            None => word & EXTENDED != 0 || word & ID_BITS > 0x7FF,
        };
        let mut frame = word & ID_BITS;
        if extended {
            frame |= EXTENDED;
        }
        if self.kind == EventKind::Remote {
            return content(frame | REMOTE, length.min(8), &[], false);
        }
        let fd = fd || length > 8;
        let indicator = fd && whole(self.esi).is_some_and(|flag| flag != 0);
        Ok(content(frame, length, &data, fd)?.with_indicator(indicator))
    }

    /// The first bytes of the data in a room of 64, and how many there are.
    fn data_of(
        &self,
        record: &[u8],
        value: Option<Value>,
    ) -> Result<([u8; 64], Option<usize>), &'static str> {
        let mut room = [0; 64];
        if let Some(value) = value {
            room[..8].copy_from_slice(&value.bytes);
            return Ok((room, Some(usize::from(value.length))));
        }
        let Some(channel) = self.data.filter(|data| data.place != Where::Elsewhere) else {
            return Ok((room, None));
        };
        let bytes = channel.bytes(record).ok_or("data bytes outside their record")?;
        let bytes = bytes.get(..bytes.len().min(64)).unwrap_or(bytes);
        room[..bytes.len()].copy_from_slice(bytes);
        Ok((room, Some(bytes.len())))
    }

    fn length_of(&self, record: &[u8], there: Option<usize>, fd: bool) -> Result<u8, &'static str> {
        const WRONG: &str = "a data length that no CAN frame has";
        let whole = |channel: Option<Channel>| channel.and_then(|c| c.whole(record));
        let code = || {
            let code = u8::try_from(whole(self.code)?).ok()?;
            length_of_code(if fd { code } else { code.min(8) })
        };
        let is_remote = self.kind == EventKind::Remote;
        let stated = match whole(self.length) {
            // A remote frame has no data, but a length all the same.
            Some(0) if is_remote => code().or(Some(0)),
            Some(length) => Some(u8::try_from(length).map_err(|_| WRONG)?),
            None => code(),
        };
        let Some(there) = there else {
            // Without data bytes only the identifier and its time are known.
            return Ok(if is_remote { stated.unwrap_or(0) } else { 0 });
        };
        let there = u8::try_from(there).map_err(|_| WRONG)?;
        match stated {
            None => Ok(there),
            Some(stated) if stated <= there || is_remote => Ok(stated),
            Some(_) => Err("fewer data bytes than stated"),
        }
    }

    fn error(
        &self,
        record: &[u8],
        word: u32,
        length: u8,
        data: &[u8],
    ) -> Result<Content, &'static str> {
        if word & ERROR != 0 {
            return content(word, length.min(8), data, false);
        }
        let mut detail = [0u8; 8];
        let mut class = PROTOCOL | BUS_ERROR;
        match self.error_type.and_then(|channel| channel.whole(record)) {
            Some(1) => detail[2] = 0x01,
            Some(2) => detail[2] = 0x02,
            Some(3) => detail[2] = 0x04,
            Some(4) => detail[3] = 0x08,
            Some(5) => {
                class = NO_ACKNOWLEDGEMENT | BUS_ERROR;
                detail[3] = 0x19;
            }
            _ => {}
        }
        content(ERROR | class, 8, &detail, false)
    }
}

impl Channel {
    /// The bits as a number whatever the channel's form: offsets stand in channels of bytes.
    fn whole_bits(&self, record: &[u8]) -> Option<u64> {
        let form = super::channel::Form::Whole { big_endian: false, signed: false };
        Channel { form, ..*self }.whole(record)
    }
}
