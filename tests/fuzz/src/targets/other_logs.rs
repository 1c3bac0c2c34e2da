//! Bus logs of the other formats: in pieces = whole where they are streamed, the same again where they are read
//! at any offset; every reject has a reason. The engine ends a run that takes more than a gigabyte (`run`);
//! `tests/formats/damage.rs` looks at what is said of claims.

use std::cell::RefCell;
use std::io::{Cursor, Read};

use super::{choice, file};
use crate::read::Account;
use crate::read::anywhere::Anywhere;
use crate::read::frames::{
    Frame, Give, LogTables, read_arrow_file, read_arrow_stream, read_capture, read_mdf,
    read_parquet, read_table,
};

/// A source that gives so many bytes at a time.
struct Pieces<'a>(Cursor<&'a [u8]>, usize);

impl Read for Pieces<'_> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        let size = into.len().min(self.1);
        self.0.read(&mut into[..size])
    }
}

/// What a reader said of the bytes: a sum over the frames and their interfaces, how many, the account.
#[derive(Debug, PartialEq)]
struct Told {
    frames: u64,
    sum: u64,
    account: Account,
}

fn told(read: impl FnOnce(&Give<'_>) -> Account) -> Told {
    let seen = RefCell::new((0u64, 0u64));
    let account = read(&|frames: Vec<Frame>, interfaces: &[String]| {
        let mut seen = seen.borrow_mut();
        for frame in &frames {
            let name = interfaces.get(usize::from(frame.channel)).expect("a named interface");
            assert!(frame.length <= 64 && !name.is_empty());
            seen.0 += 1;
            for part in [frame.time.0.cast_unsigned(), frame.data, frame.line, frame.id.0.into()] {
                seen.1 = (seen.1 ^ part).wrapping_mul(0x9E37_79B9_7F4A_7C15).rotate_left(23);
            }
        }
        frames
    });
    assert!(account.rejects.iter().all(|r| r.records > 0 && !r.reason.is_empty()));
    let (frames, sum) = seen.into_inner();
    Told { frames, sum, account }
}

/// A streamed format; the first byte chooses the size of the pieces.
fn streamed(data: &[u8], read: fn(Pieces<'_>, &Give<'_>) -> Account) -> (Told, usize) {
    let (size, data) = choice(data, 200);
    let whole = told(|give| read(Pieces(Cursor::new(data), usize::MAX), give));
    let pieces = told(|give| read(Pieces(Cursor::new(data), size), give));
    assert_eq!(whole, pieces, "in pieces of {size} bytes");
    (whole, data.len())
}

/// pcap and pcapng.
pub fn capture(data: &[u8]) {
    let (told, size) = streamed(data, |bytes, give| read_capture(bytes, &file(), give));
    // A packet has a head of 16 bytes at least, and may bring a mark of loss.
    assert!(told.frames <= 2 * size as u64 / 16, "{} frames in {size} bytes", told.frames);
}

/// CSV.
pub fn log_table(data: &[u8]) {
    let (told, size) =
        streamed(data, |bytes, give| read_table(bytes, &file(), &LogTables::default(), give));
    assert!(told.frames <= size as u64);
}

/// Arrow IPC as a stream.
pub fn arrow_stream(data: &[u8]) {
    streamed(data, |bytes, give| read_arrow_stream(bytes, &file(), &LogTables::default(), give));
}

/// Arrow IPC as a file.
pub fn arrow_file(data: &[u8]) {
    twice(data, |there, give| read_arrow_file(there, &file(), &LogTables::default(), give));
}

/// Parquet.
pub fn parquet(data: &[u8]) {
    twice(data, |there, give| read_parquet(there, &file(), &LogTables::default(), give));
}

/// ASAM MDF 4.
pub fn mdf(data: &[u8]) {
    twice(data, |there, give| read_mdf(there, &file(), &LogTables::default(), give));
}

/// A format that is read at any offset: the same bytes tell the same.
fn twice(data: &[u8], read: fn(Anywhere, &Give<'_>) -> Account) {
    let once = told(|give| read(Anywhere::of_bytes(data.to_vec()), give));
    let again = told(|give| read(Anywhere::of_bytes(data.to_vec()), give));
    assert_eq!(once, again);
}
