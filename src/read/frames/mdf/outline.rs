//! The outline of a file: identification, header, data groups, channel groups, channels.
//!
//! A chain that breaks off or runs in a circle gives what came before it, and a fault.

use std::collections::BTreeSet;

use super::Fault;
use super::blocks::{Block, HEADER_AT, text, u16_at, u32_at, u64_at};
use super::channel::{Channel, Time, Where};
use super::event::{EventGroup, EventKind, ValuesFrom};
use super::fragments::Fragments;
use super::unpack::LARGEST_UNPACKED;
use crate::read::anywhere::Anywhere;

/// Bounds: data groups, channel groups of one, channels of one, nesting of channels.
const MOST_DATA_GROUPS: usize = 4096;
const MOST_GROUPS: usize = 4096;
/// Data groups of CAN frames, which are read side by side.
const MOST_READ: usize = 256;
const MOST_CHANNELS: usize = 4096;
const DEEPEST: u8 = 8;
/// Unpacked bytes that all data groups together may hold.
const MOST_HELD: u64 = 8 * LARGEST_UNPACKED;

/// Flags of a measurement that was not finalised: counters unwritten (0, 1), the last data block's
/// length (2, 3), the last list (4), lengths of value groups (5): nothing read here depends on those.
const READABLE_UNFINISHED: u16 = 0x3F;
/// Offsets into value groups were never written (6).
const NO_OFFSETS: u16 = 0x40;

/// What a file holds.
#[derive(Debug, Clone, Default)]
pub(super) struct Outline {
    /// Nanoseconds since 1970 of the measurement's start.
    pub start: u64,
    pub start_is_local: bool,
    /// Whether the logger did not finalise the file.
    pub unfinished: bool,
    pub data_groups: Vec<DataGroup>,
    /// Channel groups that are no CAN frames.
    pub other_groups: u64,
    pub faults: Vec<Fault>,
}

/// Records of one or more kinds in one stream.
#[derive(Debug, Clone)]
pub(super) struct DataGroup {
    /// Bytes of the record number before each record; 0 when all are of one kind.
    pub id_size: usize,
    pub records: Fragments,
    pub layouts: Vec<Layout>,
    pub events: Vec<EventGroup>,
}

/// How the records of one number are laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Layout {
    pub id: u64,
    pub kind: Kind,
    /// Bytes of a record, with its invalidation bytes; values have a length of their own.
    pub size: u64,
}

/// What a record is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// An event, by its place in [`DataGroup::events`].
    Event(usize),
    /// A value of variable length, of the channel group at this place in the file.
    Values(u64),
    /// Of no interest.
    Other,
}

struct Reader<'a> {
    there: &'a Anywhere,
    outline: Outline,
    unfinished: u16,
    held: u64,
}

/// Reads the outline.
///
/// # Errors
/// When the file is no MDF 4 file, or its header cannot be read.
pub(super) fn read(there: &Anywhere) -> Result<Outline, Fault> {
    let fault = |at, reason: &str| Fault::new(at, reason);
    let cut = || fault(0, "the MDF file is cut short inside its identification");
    let identification = there.bytes(0, HEADER_AT).map_err(|_| cut())?;
    let version = u16_at(&identification, 28).ok_or_else(cut)?;
    if !(400..500).contains(&version) {
        let reason = format!("MDF of version {version}, expected 4 (400 to 499); convert it");
        return Err(Fault::new(28, reason));
    }
    let unfinished = identification.starts_with(b"UnFinMF ");
    let flags = if unfinished { u16_at(&identification, 60).ok_or_else(cut)? } else { 0 };
    if flags & !(READABLE_UNFINISHED | NO_OFFSETS) != 0 {
        let reason = format!(
            "an MDF file that its logger did not finalise (flags {flags:#x}); finalise it with the \
             logger's own tool"
        );
        return Err(Fault::new(60, reason));
    }
    let header = Block::expect(there, HEADER_AT, b"HD")?;
    let data = header.data(there, 16)?;
    let outline = Outline {
        start: u64_at(&data, 0).ok_or_else(cut)?,
        start_is_local: data.get(12).is_some_and(|flags| flags & 1 != 0),
        unfinished,
        ..Outline::default()
    };
    let mut reader = Reader { there, outline, unfinished: flags, held: 0 };
    if let Err(fault) = reader.data_groups(header.link(0)) {
        reader.outline.faults.push(fault);
    }
    Ok(reader.outline)
}

/// Walks a chain of blocks of one kind by their first link.
fn chain(
    there: &Anywhere,
    first: Option<u64>,
    id: &[u8; 2],
    most: usize,
    each: &mut dyn FnMut(&Block) -> Result<(), Fault>,
) -> Result<(), Fault> {
    let mut seen = BTreeSet::new();
    let mut next = first;
    while let Some(at) = next {
        if !seen.insert(at) {
            return Err(Fault::new(at, "the MDF file's blocks form a circle"));
        }
        if seen.len() > most {
            return Err(Fault::new(at, format!("more than {most} MDF blocks in one chain")));
        }
        let block = Block::expect(there, at, id)?;
        each(&block)?;
        next = block.link(0);
    }
    Ok(())
}

impl Reader<'_> {
    fn data_groups(&mut self, first: Option<u64>) -> Result<(), Fault> {
        let there = self.there;
        chain(there, first, b"DG", MOST_DATA_GROUPS, &mut |block| {
            if let Err(fault) = self.data_group(block) {
                self.outline.faults.push(fault);
            }
            Ok(())
        })
    }

    fn data_group(&mut self, block: &Block) -> Result<(), Fault> {
        let there = self.there;
        let id_size = usize::from(block.data(there, 1)?.first().copied().unwrap_or(0));
        if !matches!(id_size, 0 | 1 | 2 | 4 | 8) {
            return Err(Fault::new(block.at, format!("record numbers of {id_size} bytes")));
        }
        let (mut layouts, mut events) = (Vec::new(), Vec::new());
        let mut others = 0;
        let walked = chain(there, block.link(1), b"CG", MOST_GROUPS, &mut |group| {
            let (layout, event) = self.group(group, events.len())?;
            others += u64::from(layout.kind == Kind::Other);
            layouts.push(layout);
            events.extend(event);
            Ok(())
        });
        self.outline.other_groups += others;
        if events.is_empty() {
            return walked;
        }
        if self.outline.data_groups.len() == MOST_READ {
            return Err(Fault::new(block.at, "more than 256 data groups of CAN frames"));
        }
        if id_size == 0 && layouts.len() > 1 {
            let reason = "records of several kinds without record numbers";
            return Err(Fault::new(block.at, reason));
        }
        // A group that holds no record may have no data at all.
        let open_end = self.outline.unfinished;
        let records = match block.link(2) {
            Some(data) => Fragments::of_link(there, data, open_end),
            None => Fragments::default(),
        };
        let mut held = records.held();
        for event in &events {
            if let ValuesFrom::Blocks(values) = &event.values {
                held += values.held();
            }
        }
        self.held = self.held.saturating_add(held);
        if self.held > MOST_HELD {
            let reason = "more than 512 MiB of packed blocks would have to be held at once";
            return Err(Fault::new(block.at, reason));
        }
        self.outline.data_groups.push(DataGroup { id_size, records, layouts, events });
        walked
    }

    fn group(&self, block: &Block, place: usize) -> Result<(Layout, Option<EventGroup>), Fault> {
        let data = block.data(self.there, 32)?;
        let short = || Fault::new(block.at, "a channel group cut short");
        let id = u64_at(&data, 0).ok_or_else(short)?;
        let count = u64_at(&data, 8).ok_or_else(short)?;
        let flags = u16_at(&data, 16).ok_or_else(short)?;
        let data_bytes = u32_at(&data, 24).ok_or_else(short)?;
        let invalid_bytes = u32_at(&data, 28).ok_or_else(short)?;
        let size = u64::from(data_bytes) + u64::from(invalid_bytes);
        if flags & 1 != 0 {
            return Ok((Layout { id, kind: Kind::Values(block.at), size: 0 }, None));
        }
        let mut found = Found::default();
        self.channels(block.link(1), "", 0, &mut found)?;
        let Some(kind) = found.kind else {
            return Ok((Layout { id, kind: Kind::Other, size }, None));
        };
        let event = self.event(kind, found, count, data_bytes).map_err(|reason| {
            Fault::new(block.at, format!("channel group {}: {reason}", kind.name()))
        })?;
        Ok((Layout { id, kind: Kind::Event(place), size }, Some(event)))
    }

    /// Channels of a chain, members of composed ones included.
    fn channels(
        &self,
        first: Option<u64>,
        parent: &str,
        depth: u8,
        found: &mut Found,
    ) -> Result<(), Fault> {
        if depth == DEEPEST {
            return Err(Fault::new(first.unwrap_or(0), "channels nested too deeply"));
        }
        chain(self.there, first, b"CN", MOST_CHANNELS, &mut |block| {
            found.seen += 1;
            if found.seen > MOST_CHANNELS {
                return Err(Fault::new(block.at, "more than 4,096 channels in one group"));
            }
            let data = block.data(self.there, 20)?;
            let channel = Channel::of_data(&data)
                .ok_or_else(|| Fault::new(block.at, "a channel cut short"))?;
            let name = text(self.there, block.link(2));
            let (begin, last) = (name.split('.').next(), name.rsplit('.').next());
            let kind = begin.and_then(EventKind::of_name);
            if found.kind.is_none() {
                found.kind = kind;
            }
            if channel.is_time {
                found.time = Some((channel, block.link(4)));
            } else if kind.is_some() || EventKind::of_name(parent).is_some() {
                let data = block.link(5);
                found.fields.push((last.unwrap_or_default().to_owned(), channel, data));
            }
            let Some(member) = block.link(1) else { return Ok(()) };
            if Block::read(self.there, member)?.id == *b"CN" {
                let parent = if kind.is_some() { begin.unwrap_or(parent) } else { parent };
                self.channels(Some(member), parent, depth + 1, found)?;
            }
            Ok(())
        })
    }

    fn event(
        &self,
        kind: EventKind,
        found: Found,
        count: u64,
        data_bytes: u32,
    ) -> Result<EventGroup, String> {
        let (channel, conversion) = found.time.ok_or("no time channel")?;
        let plain = Some(Time { channel, offset: 0.0, factor: 1.0 });
        let time = match conversion {
            None => plain,
            Some(at) => Block::expect(self.there, at, b"CC")
                .and_then(|block| block.data(self.there, block.data_length.min(64)))
                .map_or(None, |data| Time::of_conversion(channel, &data)),
        };
        let time = time.ok_or("a time channel whose conversion is neither none nor linear")?;
        let field = |name: &str| found.fields.iter().find(|(known, ..)| known == name);
        let values = match field("DataBytes") {
            Some((_, Channel { place: Where::Elsewhere, .. }, Some(at))) => {
                let block = Block::read(self.there, *at).map_err(|fault| fault.reason)?;
                if block.id == *b"CG" && self.unfinished & NO_OFFSETS != 0 {
                    return Err("not finalised: where its data bytes stand was never written; \
                                finalise it with the logger's own tool"
                        .to_owned());
                }
                match &block.id {
                    b"CG" => ValuesFrom::Group(*at),
                    _ => ValuesFrom::Blocks(Fragments::of_link(self.there, *at, false)),
                }
            }
            // A group without any record points nowhere.
            Some((_, Channel { place: Where::Elsewhere, .. }, None)) => {
                ValuesFrom::Blocks(Fragments::default())
            }
            _ => ValuesFrom::Record,
        };
        let channel = |name: &str| field(name).map(|(_, channel, _)| *channel);
        let data_bytes = usize::try_from(data_bytes).map_err(|_| "records too long")?;
        EventGroup::new(kind, time, &channel, values, count, data_bytes)
    }
}

/// What was found among the channels of a group.
#[derive(Default)]
struct Found {
    kind: Option<EventKind>,
    time: Option<(Channel, Option<u64>)>,
    /// Name without what stands before the last point, channel, link to its data.
    fields: Vec<(String, Channel, Option<u64>)>,
    seen: usize,
}
