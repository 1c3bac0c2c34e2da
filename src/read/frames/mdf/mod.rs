//! ASAM MDF 4 bus logging: the part of the format that CAN logs need.
//!
//! ```text
//! identification  64 bytes: `MDF     `, version, flags of a measurement that was not finalised
//! block           `##` + two letters, 4 bytes, length u64, number of links u64, links u64 …, data
//! HD ▶ DG ▶ … a data group: its channel groups and where its records lie
//!      CG ▶ … a channel group: one kind of record; CN ▶ … a channel: bits of the record
//!      DT, DL ▶ …, HL, DZ: the records, in one block, a list, or packed (deflate, transposed or not)
//!      SD: data bytes of variable length, pointed into by the records
//! ```
//! Read are the groups `CAN_DataFrame`, `CAN_RemoteFrame` and `CAN_ErrorFrame`; overload frames are
//! counted, other groups skipped. Groups are brought into one order of time, so that a place is the
//! number of the frame in that order, from 1. Sources: the team's notes (FACTS 5.4) and the block layout
//! as open-source readers of the format document it; ASAM's own text is not public.
//!
//! Memory: for each data group a window of 512 KiB and one unpacked block of at most 64 MiB, 512 MiB in
//! all; beside them 40 bytes for each data block. Nothing is allocated by a length that the file has
//! not been seen to hold; links are counted, and a circle of links ends the reading.

mod blocks;
mod channel;
mod event;
mod fragments;
mod merge;
mod outline;
mod records;
mod stray_values;
mod unpack;
mod values;

use std::sync::Arc;

use chrono_tz::Tz;

use super::handing::{Batches, Give};
use crate::read::account::Account;
use crate::read::anywhere::Anywhere;
use crate::read::frames::log::LogTables;
use crate::read::frames::rejects::RejectList;
use crate::read::times::local_instant;
use crate::vocabulary::{Place, Reject};

/// What is wrong with a block, and where it lies.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Fault {
    at: u64,
    reason: String,
}

impl Fault {
    fn new(at: u64, reason: impl Into<String>) -> Fault {
        Fault { at, reason: reason.into() }
    }

    fn reject(self, file: &Arc<str>) -> Reject {
        Reject::one(Place::byte(file, self.at), self.reason)
    }
}

/// Reads the CAN frames of an MDF 4 file.
pub fn read_mdf(there: Anywhere, file: &Arc<str>, tables: &LogTables, give: &Give<'_>) -> Account {
    let mut account = Account::default();
    let mut batches = Batches::new(give);
    match outline::read(&there) {
        Ok(outline) => {
            for fault in &outline.faults {
                account.rejects.push(fault.clone().reject(file));
            }
            account.lenient_times(
                "channel groups of an MDF file that hold no CAN frames: skipped",
                outline.other_groups,
            );
            account.lenient_times(
                "measurement that its logger did not finalise: read as far as it goes",
                u64::from(outline.unfinished),
            );
            match start(outline.start, outline.start_is_local, tables.zone) {
                Ok(start) if outline.data_groups.iter().any(|group| !group.events.is_empty()) => {
                    let rejects = RejectList::new(file);
                    let merged = merge::all(&there, &outline, start, file, rejects, &mut batches);
                    account.join(merged);
                }
                Ok(_) if outline.faults.is_empty() => {
                    let reason = "the MDF file has no channel group of CAN frames \
                                  (CAN_DataFrame, CAN_RemoteFrame or CAN_ErrorFrame)";
                    account.reject(Place::whole(file), reason);
                }
                Ok(_) => {}
                Err(reason) => account.reject(Place::byte(file, blocks::HEADER_AT), reason),
            }
        }
        Err(fault) => account.rejects.push(fault.reject(file)),
    }
    batches.hand_on();
    account
}

/// The start of the measurement in nanoseconds since 1970.
fn start(nanos: u64, is_local: bool, zone: Tz) -> Result<i64, String> {
    let outside = "the measurement's start lies outside the years 1678 to 2261";
    let nanos = i64::try_from(nanos).map_err(|_| outside.to_owned())?;
    if is_local { local_instant(nanos, zone).map(|read| read.instant.0) } else { Ok(nanos) }
}
