//! All data groups in one order of time: by stamp, groups with the same stamp in the file's order.

use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::sync::Arc;

use super::Anywhere;
use super::outline::Outline;
use super::records::{Event, Records};
use crate::read::account::Account;
use crate::read::frames::handing::Batches;
use crate::read::frames::rejects::RejectList;
use crate::vocabulary::{Instant, Spot};

/// Hands on all frames; `start` is the measurement's start in nanoseconds since 1970.
pub(super) fn all(
    there: &Anywhere,
    outline: &Outline,
    start: i64,
    file: &Arc<str>,
    mut rejects: RejectList,
    batches: &mut Batches<'_>,
) -> Account {
    let finished = !outline.unfinished;
    let mut groups: Vec<Records<'_>> =
        outline.data_groups.iter().map(|group| Records::new(there, group, finished)).collect();
    let mut heads: Vec<Option<Event>> = groups.iter_mut().map(Records::next).collect();
    let key = |place: usize, event: &Option<Event>| {
        event.as_ref().map(|event| Reverse((event.nanos, place)))
    };
    let mut order: BinaryHeap<Reverse<(i64, usize)>> =
        heads.iter().enumerate().filter_map(|(place, event)| key(place, event)).collect();
    let mut channels = Channels::default();
    let (mut number, mut overloads) = (0, 0);
    while let Some(Reverse((_, place))) = order.pop() {
        let next = groups.get_mut(place).and_then(Records::next);
        order.extend(key(place, &next));
        let Some(event) = heads.get_mut(place).and_then(|head| std::mem::replace(head, next))
        else {
            continue;
        };
        number += 1;
        let handed = match event.content {
            Ok(None) => {
                overloads += 1;
                Ok(())
            }
            Ok(Some(content)) => start
                .checked_add(event.nanos)
                .ok_or("a time outside the years 1678 to 2261".to_owned())
                .and_then(|nanos| {
                    let channel = channels.number(event.bus, batches)?;
                    batches.push(content.at(Instant(nanos), number, channel));
                    Ok(())
                }),
            Err(reason) => Err(reason),
        };
        if let Err(reason) = handed {
            rejects.record(number, Spot::Line(number), &reason);
        }
    }
    let mut account = Account::default();
    for group in groups {
        account.rejects.extend(group.owed(file));
    }
    account.rejects.append(&mut rejects.into_entries());
    account.lenient_times("overload frames: counted, not used", overloads);
    account
}

/// Channel numbers by bus channel, so that no name is made for each frame.
#[derive(Default)]
struct Channels(Vec<(Option<u64>, u16)>);

impl Channels {
    /// Bus channel n is the interface `can`n; without one, the log names no interface.
    fn number(&mut self, bus: Option<u64>, batches: &mut Batches<'_>) -> Result<u16, String> {
        if let Some((_, channel)) = self.0.iter().find(|(known, _)| *known == bus) {
            return Ok(*channel);
        }
        let name = bus.map_or(String::new(), |number| format!("can{number}"));
        let channel = batches.channel(name.as_bytes())?;
        self.0.push((bus, channel));
        Ok(channel)
    }
}
