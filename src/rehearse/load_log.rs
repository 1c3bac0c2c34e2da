//! A long healthy log for speed tests: many frames, written as fast as a disk takes them.
//!
//! One 500 kbit/s bus, 72 identifiers with periods from 10 to 1000 ms and jitter. Frames keep
//! their order and never overlap, but arbitration is reduced to waiting for the bus: the point
//! is the amount, not the physics.

use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::fs::File;
use std::io::{BufWriter, Write as _};
use std::path::Path;

use crate::rehearse::RehearseError;
use crate::rehearse::chance::Chance;
use crate::rehearse::logger::{identifier, payload, stamp_line};
use crate::rehearse::output::{passing, settled, unfinished};

/// The bits of the longest 8-byte frame with an 11-bit identifier, rest included.
const FRAME_NS: i64 = 135 * 2000;

/// 2026-01-05T06:00:00Z.
const BEGIN_NS: i64 = 1_767_592_800_000_000_000;

/// Periods in milliseconds and how many identifiers keep each.
const MIX: [(i64, usize); 6] = [(10, 5), (20, 9), (50, 10), (100, 22), (200, 12), (1000, 14)];

struct Sender {
    id: u32,
    period: i64,
    counter: u8,
    data: [u8; 8],
}

/// Writes one healthy SocketCAN text log of `frames` frames to `out`, the same for the same
/// seed. About 1700 frames make a second of bus time, and 47 bytes a line.
///
/// # Errors
/// When the file cannot be written.
pub fn load_log(seed: u64, frames: u64, out: &Path) -> Result<(), RehearseError> {
    let placed = |source: std::io::Error| RehearseError::Write { path: out.to_owned(), source };
    let beside = unfinished(out);
    if let Some(folder) = out.parent() {
        std::fs::create_dir_all(folder).map_err(placed)?;
    }
    passing(&beside);
    let mut file = BufWriter::with_capacity(1 << 20, File::create(&beside).map_err(placed)?);
    let mut chance = Chance::of(seed, &["load log"]);
    let (mut senders, mut queue) = senders(&mut chance);
    let mut free = 0;
    let mut text = Vec::with_capacity(1 << 17);
    for _ in 0..frames {
        let Some(Reverse((due, at))) = queue.pop() else { break };
        let end = due.max(free) + FRAME_NS - 6000;
        free = end + 6000;
        let sender = &mut senders[at];
        sender.data[0] = (sender.data[0] & 0xF0) | (sender.counter & 0x0F);
        sender.counter = sender.counter.wrapping_add(1);
        let change = chance.bits();
        let slot = 1 + usize::try_from(change % 7).unwrap_or(0);
        sender.data[slot] = sender.data[slot].wrapping_add(u8::from(change & 0xF000_0000 == 0));
        stamp_line(&mut text, BEGIN_NS + end, b"can0");
        identifier(&mut text, sender.id, 3);
        payload(&mut text, &sender.data);
        // Jitter of up to 1/64 of the period around a due time that does not drift.
        let jitter = (sender.period >> 6) * i64::from(change >> 16) / 65_536;
        let nominal = due - due.rem_euclid(sender.period >> 6) + sender.period;
        queue.push(Reverse((nominal + jitter, at)));
        if text.len() > 120_000 {
            file.write_all(&text).map_err(placed)?;
            text.clear();
        }
    }
    file.write_all(&text).map_err(placed)?;
    file.into_inner().map_err(|unwritten| placed(unwritten.into_error()))?;
    std::fs::rename(&beside, out).map_err(placed)?;
    settled(&beside);
    Ok(())
}

fn senders(chance: &mut Chance) -> (Vec<Sender>, BinaryHeap<Reverse<(i64, usize)>>) {
    let mut senders = Vec::new();
    let mut queue = BinaryHeap::new();
    let mut id = 0x0A0;
    for (period_ms, count) in MIX {
        for _ in 0..count {
            let period = period_ms * 1_000_000;
            id += 3 + chance.whole(0, 14);
            let mut data = [0; 8];
            for byte in &mut data {
                *byte = u8::try_from(chance.bits() >> 24).unwrap_or(0);
            }
            let phase = (period / 1000) * i64::from(chance.whole(0, 999));
            queue.push(Reverse((phase, senders.len())));
            senders.push(Sender { id, period, counter: 0, data });
        }
    }
    (senders, queue)
}
