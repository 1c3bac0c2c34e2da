//! Invented healthy logs of several shapes, for measuring only: their traffic obeys no arbitration.
//!
//! Every identifier keeps a period of whole milliseconds; frames of one millisecond follow each
//! other closely. What a shape varies is what a reader can be slow at: identifiers of 29 bits, many
//! identifiers, long CAN FD lines, error frames, two buses line by line.

use std::fs::File;
use std::io::{BufWriter, Result, Write};
use std::path::Path;

/// The shapes of logs that are measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shape {
    /// 72 identifiers of 11 bits, 8 bytes.
    Base,
    /// 72 identifiers of 29 bits, 8 bytes.
    Extended,
    /// 1,000 identifiers of 11 bits, 8 bytes.
    Thousand,
    /// 72 identifiers, CAN FD with 12 to 64 bytes.
    Fd,
    /// Like `Base`, every twentieth line an error frame.
    Errors,
    /// Like `Base`, every other identifier on a second interface.
    TwoBuses,
}

impl Shape {
    /// All shapes, in the order they are measured.
    pub(crate) const ALL: [Shape; 6] =
        [Shape::Base, Shape::Extended, Shape::Thousand, Shape::Fd, Shape::Errors, Shape::TwoBuses];

    /// What is printed for it.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Shape::Base => "11 bit",
            Shape::Extended => "29 bit",
            Shape::Thousand => "1,000 ids",
            Shape::Fd => "CAN FD",
            Shape::Errors => "5 % errors",
            Shape::TwoBuses => "two buses",
        }
    }
}

/// Periods in milliseconds, a few of each; about 1,700 frames a second with 72 identifiers.
const PERIODS: [u64; 12] = [10, 20, 20, 50, 50, 100, 100, 100, 200, 200, 1000, 1000];
const FD_BYTES: [usize; 4] = [12, 16, 32, 64];
/// 2026-01-05T06:00:00Z.
const BEGIN_S: u64 = 1_767_592_800;

/// Writes a log of `frames` lines.
pub(crate) fn write(shape: Shape, frames: u64, path: &Path) -> Result<()> {
    let mut out = BufWriter::with_capacity(1 << 20, File::create(path)?);
    let identifiers: u64 = if shape == Shape::Thousand { 1000 } else { 72 };
    // With many identifiers each is slow, so that the bus carries about as much.
    let slower = if shape == Shape::Thousand { 20 } else { 1 };
    // Due times as a wheel: the identifiers due at each millisecond of a round.
    let round: u64 = 1000 * slower;
    let mut wheel: Vec<Vec<u64>> = vec![Vec::new(); usize::try_from(round).unwrap_or(0)];
    for id in 0..identifiers {
        let period = PERIODS[usize::try_from(id % 12).unwrap_or(0)] * slower;
        let mut at = id * 7919 % period;
        while at < round {
            wheel[usize::try_from(at).unwrap_or(0)].push(id);
            at += period;
        }
    }
    let mut written = 0;
    let mut noise = 1u64;
    for millisecond in 0u64.. {
        let mut micros = millisecond * 1000;
        for id in &wheel[usize::try_from(millisecond % round).unwrap_or(0)] {
            if written == frames {
                return out.flush();
            }
            noise = noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            micros += 240 + (noise >> 60);
            line(shape, *id, written, micros, noise, &mut out)?;
            written += 1;
        }
    }
    Ok(())
}

fn line(
    shape: Shape,
    id: u64,
    number: u64,
    micros: u64,
    noise: u64,
    out: &mut impl Write,
) -> Result<()> {
    let bus = if shape == Shape::TwoBuses { id & 1 } else { 0 };
    let (seconds, micros) = (BEGIN_S + micros / 1_000_000, micros % 1_000_000);
    write!(out, "({seconds}.{micros:06}) can{bus} ")?;
    match shape {
        Shape::Errors if number % 20 == 7 => out.write_all(b"20000008#0000040000000000")?,
        Shape::Extended => write!(out, "{:08X}#{noise:016X}", 0x0CF0_0400 + id * 0x1_0203)?,
        Shape::Fd => {
            write!(out, "{:03X}##1", 0x0A0 + id * 9)?;
            for part in 0..FD_BYTES[usize::try_from(id % 4).unwrap_or(0)] / 4 {
                write!(out, "{:08X}", (noise >> 20) & 0xFFFF_FFFF ^ part as u64)?;
            }
        }
        Shape::Thousand => write!(out, "{:03X}#{noise:016X}", 0x0A0 + id)?,
        _ => write!(out, "{:03X}#{noise:016X}", 0x0A0 + id * 9)?,
    }
    out.write_all(b"\n")
}
