//! The records of one data group, one after another, as events.
//!
//! Sorted groups have one kind of record; unsorted ones number their kinds. A record whose data bytes
//! stand further on waits for them, and what comes after waits behind it, up to a bound.

use std::collections::VecDeque;
use std::sync::Arc;

use super::event::{EventKind, ValuesFrom};
use super::fragments::FragmentReader;
use super::outline::{DataGroup, Kind, Layout};
use super::stray_values::StrayValues;
use super::values::{Value, Values};
use super::{Anywhere, Fault};
use crate::read::frames::content::Content;
use crate::read::frames::source::{Source, WINDOW};
use crate::vocabulary::Reject;

/// Events that may wait for data bytes.
const MOST_WAITING: usize = 1 << 16;

/// One bus event.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Event {
    /// Nanoseconds since the measurement's start; of the event before, where it could not be read.
    pub nanos: i64,
    pub bus: Option<u64>,
    /// The frame; `None` for overload frames, which are only counted.
    pub content: Result<Option<Content>, String>,
}

/// An event, or a record that waits for its data bytes.
enum Slot {
    Ready(Event),
    Waiting { event: usize, record: Vec<u8>, nanos: i64, group: u64, offset: u64 },
}

/// Reads a data group.
pub(super) struct Records<'a> {
    group: &'a DataGroup,
    source: Source<FragmentReader<'a>>,
    /// By event group, for data bytes in blocks of their own.
    values: Vec<Option<Values<'a>>>,
    stray: StrayValues,
    waiting: VecDeque<Slot>,
    counts: Vec<u64>,
    now: i64,
    /// Whether the logger finalised the file, so that its counts are true.
    finished: bool,
    over: bool,
    /// Why reading ended before the end.
    fault: Option<Fault>,
}

impl<'a> Records<'a> {
    pub(super) fn new(there: &'a Anywhere, group: &'a DataGroup, finished: bool) -> Records<'a> {
        let values = |event: &'a super::event::EventGroup| match &event.values {
            ValuesFrom::Blocks(fragments) => Some(Values::new(there, fragments)),
            _ => None,
        };
        Records {
            group,
            source: Source::new(FragmentReader::new(there, &group.records)),
            values: group.events.iter().map(values).collect(),
            stray: StrayValues::default(),
            waiting: VecDeque::new(),
            counts: vec![0; group.events.len()],
            now: 0,
            finished,
            over: false,
            fault: None,
        }
    }

    /// The next event; `None` at the end.
    pub(super) fn next(&mut self) -> Option<Event> {
        loop {
            match self.waiting.pop_front() {
                Some(Slot::Ready(event)) => return Some(event),
                Some(Slot::Waiting { event, record, nanos, group, offset }) => {
                    let value = self.stray.take(group, offset);
                    if value.is_some() || self.over || self.waiting.len() >= MOST_WAITING {
                        let missing = || "data bytes that are not in the file".to_owned();
                        let content = value
                            .ok_or_else(missing)
                            .and_then(|value| self.content(event, &record, Some(value)));
                        let bus = self.group.events.get(event).and_then(|e| e.bus(&record));
                        return Some(Event { nanos, bus, content });
                    }
                    self.waiting.push_front(Slot::Waiting { event, record, nanos, group, offset });
                }
                None if self.over => return None,
                None => {}
            }
            self.read();
        }
    }

    /// What is owed at the end: where reading broke off, records that are missing.
    pub(super) fn owed(mut self, file: &Arc<str>) -> Vec<Reject> {
        let chain = self.source.inner().fault.take();
        let fault = self.fault.take();
        let values = self.group.events.iter().filter_map(|event| match &event.values {
            ValuesFrom::Blocks(fragments) => fragments.fault.clone(),
            _ => None,
        });
        let mut owed: Vec<Reject> =
            chain.into_iter().chain(fault).chain(values).map(|fault| fault.reject(file)).collect();
        if owed.is_empty() && self.source.is_broken() {
            owed.extend(self.source.failure(file));
        }
        if owed.is_empty() && self.finished {
            for (event, count) in self.group.events.iter().zip(&self.counts) {
                // Some writers leave the counts at 0.
                if event.count != *count && event.count > 0 {
                    let reason = format!(
                        "channel group {} announces {} records, {count} are there",
                        event.kind.name(),
                        event.count
                    );
                    owed.push(Reject::one(crate::vocabulary::Place::whole(file), reason));
                }
            }
        }
        owed
    }

    /// Reads one record into the queue, or finds the end.
    fn read(&mut self) {
        let id_size = self.group.id_size;
        if self.source.at_end() {
            return self.end(false);
        }
        if self.source.look(id_size).len() < id_size {
            return self.end(true);
        }
        let head = self.source.look(id_size);
        let id = head.iter().rev().fold(0u64, |id, byte| id << 8 | u64::from(*byte));
        let layouts = &self.group.layouts;
        let layout = match id_size {
            0 => layouts.first(),
            _ => layouts.iter().find(|layout| layout.id == id),
        };
        let Some(layout) = layout.copied() else {
            let reason = format!("a record of the unknown kind {id}; the rest is not read");
            return self.break_off(reason);
        };
        match layout.kind {
            Kind::Values(group) => self.value(id_size, group),
            Kind::Event(_) | Kind::Other if layout.size + id_size as u64 == 0 => {
                self.break_off("records without any bytes".to_owned());
            }
            Kind::Other => {
                let whole = layout.size + id_size as u64;
                if self.source.skip(whole) < whole {
                    self.end(true);
                }
            }
            Kind::Event(event) => self.event(id_size, layout, event),
        }
    }

    fn value(&mut self, id_size: usize, group: u64) {
        let head = self.source.look(id_size + 4);
        let Some(length) = head.get(id_size..).and_then(|l| super::blocks::u32_at(l, 0)) else {
            return self.end(true);
        };
        self.source.take(id_size + 4);
        let value = u8::try_from(length).ok().filter(|length| *length <= 64).map(|length| {
            let here = self.source.look(usize::from(length).min(8));
            let mut value = Value { length, bytes: [0; 8] };
            for (place, byte) in value.bytes.iter_mut().zip(here) {
                *place = *byte;
            }
            value
        });
        let length = u64::from(length);
        if self.source.skip(length) < length {
            return self.end(true);
        }
        self.stray.add(group, length + 4, value);
    }

    fn event(&mut self, id_size: usize, layout: Layout, event: usize) {
        let Ok(size) = usize::try_from(layout.size) else { return };
        let whole = size + id_size;
        if whole > WINDOW {
            return self.break_off(format!("records of {whole} bytes, which no CAN frame needs"));
        }
        // Copied, since its data bytes may have to be fetched from elsewhere in the same reader.
        let record = match self.source.look(whole).get(id_size..whole) {
            Some(record) => record.to_vec(),
            None => return self.end(true),
        };
        self.source.take(whole);
        let Some(group) = self.group.events.get(event) else { return };
        let number = self.counts.get(event).copied().unwrap_or(0);
        // Past what a finalised group announces there are no records, only what a false length let in.
        let past = self.finished && group.count > 0 && number >= group.count;
        if let Some(count) = self.counts.get_mut(event) {
            *count += 1;
        }
        if past {
            return;
        }
        let bus = group.bus(&record);
        let Some(nanos) = group.time.nanos(&record, number) else {
            let content = Err("a time that cannot be read".to_owned());
            return self.waiting.push_back(Slot::Ready(Event { nanos: self.now, bus, content }));
        };
        self.now = nanos;
        let content = match (&group.values, group.offset(&record)) {
            (ValuesFrom::Group(values), Some(offset)) => {
                let group = *values;
                let slot = Slot::Waiting { event, record, nanos, group, offset };
                return self.waiting.push_back(slot);
            }
            (ValuesFrom::Blocks(_), Some(offset)) => {
                let values = self.values.get_mut(event).and_then(Option::as_mut);
                let value = values.map_or(Err("no data".to_owned()), |values| values.at(offset));
                value.and_then(|value| self.content(event, &record, Some(value)))
            }
            _ => self.content(event, &record, None),
        };
        self.waiting.push_back(Slot::Ready(Event { nanos, bus, content }));
    }

    fn content(
        &self,
        event: usize,
        record: &[u8],
        value: Option<Value>,
    ) -> Result<Option<Content>, String> {
        let Some(group) = self.group.events.get(event) else { return Ok(None) };
        if group.kind == EventKind::Overload {
            return Ok(None);
        }
        Ok(Some(group.content(record, value)?))
    }

    fn break_off(&mut self, reason: String) {
        let at = self.group.records.list.first().map_or(0, |fragment| fragment.block);
        self.fault = Some(Fault::new(at, reason));
        self.over = true;
    }

    /// The end; `inside`: of the bytes, but not of a record.
    fn end(&mut self, inside: bool) {
        if inside && !self.source.is_broken() {
            self.break_off("the MDF records are cut short inside one".to_owned());
        }
        self.over = true;
    }
}
