//! Bus logs in every format: the same traffic gives the same facts, any cut gives the same frames, and
//! nothing that is wrong makes a reader panic or ask for memory that the file does not justify.

/// ASAM MDF 4, written as a logger would.
mod mdf_writer;

/// Damage of every kind.
mod damage;

/// The same traffic through every format.
mod same_facts;

/// Columns and types of tables, and what a table may not be.
mod tables;

/// What the rehearsals of other programs wrote.
mod outside;

/// One log in every format but MDF.
mod writers;

use std::cell::RefCell;
use std::io::{Cursor, Read};
use std::sync::Arc;

use buswitness::read::Account;
use buswitness::read::anywhere::Anywhere;
use buswitness::read::frames::{
    Frame, Give, LogTables, read_arrow_file, read_arrow_stream, read_capture, read_mdf,
    read_parquet, read_table,
};

/// One frame as a bus carried it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Wire {
    /// Nanoseconds since 1970.
    pub nanos: i64,
    pub bus: u8,
    /// Identifier, or the classes of an error message frame.
    pub id: u32,
    pub extended: bool,
    pub remote: bool,
    pub error: bool,
    pub fd: bool,
    /// The error state indicator of CAN FD.
    pub esi: bool,
    pub data: Vec<u8>,
    /// Stated length of a remote frame.
    pub length: u8,
}

impl Wire {
    /// The identifier word of `linux/can.h`.
    pub(crate) fn word(&self) -> u32 {
        let flag = |set: bool, bit: u32| u32::from(set) << bit;
        self.id | flag(self.extended, 31) | flag(self.remote, 30) | flag(self.error, 29)
    }

    pub(crate) fn stated(&self) -> u8 {
        if self.remote { self.length } else { u8::try_from(self.data.len()).expect("64 at most") }
    }
}

/// A format, for whoever goes through all of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Format {
    Capture,
    Table,
    ArrowStream,
    ArrowFile,
    Parquet,
    Mdf,
}

pub(crate) fn name() -> Arc<str> {
    "log".into()
}

/// Reads bytes as a format: frames with the interface of each, and the account.
pub(crate) fn read(format: Format, bytes: Vec<u8>, tables: &LogTables) -> (Vec<Told>, Account) {
    gathered(|give| match format {
        Format::Capture => read_capture(&bytes[..], &name(), give),
        Format::Table => read_table(&bytes[..], &name(), tables, give),
        Format::ArrowStream => read_arrow_stream(&bytes[..], &name(), tables, give),
        Format::ArrowFile => read_arrow_file(Anywhere::of_bytes(bytes), &name(), tables, give),
        Format::Parquet => read_parquet(Anywhere::of_bytes(bytes), &name(), tables, give),
        Format::Mdf => read_mdf(Anywhere::of_bytes(bytes), &name(), tables, give),
    })
}

/// Reads a streamed format through a source that gives `piece` bytes at a time.
pub(crate) fn read_in_pieces(format: Format, bytes: &[u8], piece: usize) -> (Vec<Told>, Account) {
    struct Pieces<'a>(Cursor<&'a [u8]>, usize);
    impl Read for Pieces<'_> {
        fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
            let size = into.len().min(self.1);
            self.0.read(&mut into[..size])
        }
    }
    let source = Pieces(Cursor::new(bytes), piece);
    let tables = LogTables::default();
    gathered(|give| match format {
        Format::Capture => read_capture(source, &name(), give),
        Format::Table => read_table(source, &name(), &tables, give),
        _ => read_arrow_stream(source, &name(), &tables, give),
    })
}

/// A frame with its interface.
pub(crate) type Told = (Frame, String);

pub(crate) fn gathered(read: impl FnOnce(&Give<'_>) -> Account) -> (Vec<Told>, Account) {
    let told = RefCell::new(Vec::new());
    let account = read(&|frames: Vec<Frame>, interfaces: &[String]| {
        let with_name = |f: &Frame| (*f, interfaces[usize::from(f.channel)].clone());
        told.borrow_mut().extend(frames.iter().map(with_name));
        frames
    });
    (told.into_inner(), account)
}

/// Traffic of two buses with every kind of frame, stamps of whole microseconds and no two alike.
pub(crate) fn mixed_traffic(frames: u32) -> Vec<Wire> {
    const FD: [usize; 7] = [12, 16, 20, 24, 32, 48, 64];
    let wire = |k: u32| {
        let byte = |i: u32| u8::try_from((k * 7 + i * 13) % 251).expect("below 251");
        let data = |n: usize| -> Vec<u8> { (0..64).map(byte).take(n).collect() };
        let base = Wire {
            nanos: 1_767_600_000_000_000_000 + i64::from(k) * 997_000,
            bus: u8::from(k % 3 == 2),
            id: 0x100 + k % 8,
            data: data(8),
            ..Wire::default()
        };
        match k % 40 {
            5 => Wire {
                error: true,
                id: 0x88,
                extended: false,
                data: vec![0, 0, 2, 0, 0, 0, 8, 3],
                ..base
            },
            9 => Wire { remote: true, data: vec![], length: 4, ..base },
            13 | 14 => Wire {
                fd: true,
                esi: k % 80 > 40,
                id: 0x300,
                data: data(FD[k as usize % 7]),
                ..base
            },
            21 | 22 => Wire { extended: true, id: 0x18FE_DF00 + k % 4, ..base },
            23 => Wire { extended: true, id: 0x123, data: data(k as usize % 9), ..base },
            30 => Wire { data: vec![], ..base },
            _ => base,
        }
    };
    (0..frames).map(wire).collect()
}
