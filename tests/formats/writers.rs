//! Traffic written as SocketCAN text, pcap, pcapng, CSV, Parquet and Arrow IPC.

use std::fmt::Write as _;
use std::sync::Arc;

use arrow::array::{
    ArrayRef, BinaryArray, BooleanArray, RecordBatch, StringArray, TimestampMicrosecondArray,
    UInt8Array, UInt32Array,
};
use arrow::ipc::CompressionType;
use arrow::ipc::writer::{FileWriter, IpcWriteOptions, StreamWriter};
use parquet::arrow::ArrowWriter;
use parquet::basic::Compression;
use parquet::file::properties::WriterProperties;

use super::Wire;

pub(crate) fn text(traffic: &[Wire]) -> Vec<u8> {
    let mut text = String::new();
    for w in traffic {
        let (seconds, micros) = (w.nanos / 1_000_000_000, w.nanos % 1_000_000_000 / 1000);
        write!(text, "({seconds}.{micros:06}) can{} ", w.bus).expect("a string");
        let data = hex(&w.data);
        match w {
            Wire { error: true, id, .. } => writeln!(text, "{:08X}#{data}", id | 0x2000_0000),
            Wire { remote: true, id, length, .. } => writeln!(text, "{id:03X}#R{length}"),
            Wire { fd: true, id, esi, .. } => {
                writeln!(text, "{id:03X}##{}{data}", if *esi { 3 } else { 1 })
            }
            Wire { extended: true, id, .. } => writeln!(text, "{id:08X}#{data}"),
            Wire { id, .. } => writeln!(text, "{id:03X}#{data}"),
        }
        .expect("a string");
    }
    text.into_bytes()
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |text, byte| text + &format!("{byte:02X}"))
}

/// Byte order and fractions of a capture file.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Order {
    pub big: bool,
    pub nanos: bool,
}

impl Order {
    pub(crate) fn u32(self, n: u32) -> [u8; 4] {
        if self.big { n.to_be_bytes() } else { n.to_le_bytes() }
    }

    pub(crate) fn u16(self, n: u16) -> [u8; 2] {
        if self.big { n.to_be_bytes() } else { n.to_le_bytes() }
    }
}

/// A frame as link type 227 has it, or (`host`) as cooked packets have it.
fn socketcan(w: &Wire, host: Option<Order>) -> Vec<u8> {
    let word = host.map_or(w.word().to_be_bytes(), |order| order.u32(w.word()));
    let flags = if w.fd { 0x05 | u8::from(w.esi) << 1 } else { 0 };
    [&word[..], &[w.stated(), flags, 0, 0], &w.data].concat()
}

/// How packets lie in a capture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Link {
    SocketCan = 227,
    Cooked = 113,
}

fn packet(w: &Wire, link: Link, order: Order) -> Vec<u8> {
    match link {
        Link::SocketCan => socketcan(w, None),
        Link::Cooked => {
            let protocol = if w.fd { 0x0D } else { 0x0C };
            let head = [0, 1, 1, 0x18, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, protocol];
            [&head[..], &socketcan(w, Some(order))].concat()
        }
    }
}

pub(crate) fn pcap(traffic: &[Wire], order: Order, link: Link) -> Vec<u8> {
    let magic = if order.nanos { 0xA1B2_3C4D } else { 0xA1B2_C3D4 };
    let mut file = order.u32(magic).to_vec();
    file.extend([order.u16(2), order.u16(4)].concat());
    file.extend([0; 8]);
    file.extend(order.u32(65_535));
    file.extend(order.u32(link as u32));
    for w in traffic {
        let packet = packet(w, link, order);
        let fraction = w.nanos % 1_000_000_000 / if order.nanos { 1 } else { 1000 };
        let length = order.u32(u32::try_from(packet.len()).expect("short"));
        file.extend(order.u32(u32::try_from(w.nanos / 1_000_000_000).expect("before 2106")));
        file.extend(order.u32(u32::try_from(fraction).expect("a fraction")));
        file.extend([&length[..], &length, &packet].concat());
    }
    file
}

pub(crate) fn pcapng(traffic: &[Wire], order: Order) -> Vec<u8> {
    let block = |kind: u32, body: &[u8]| {
        let padded = body.len().next_multiple_of(4);
        let length = order.u32(u32::try_from(12 + padded).expect("short"));
        let mut block = [&order.u32(kind)[..], &length, body].concat();
        block.resize(8 + padded, 0);
        block.extend(length);
        block
    };
    let version = [order.u16(1), order.u16(0)].concat();
    let mut file =
        block(0x0A0D_0D0A, &[&order.u32(0x1A2B_3C4D)[..], &version, &[0xFF; 8]].concat());
    let decimals = if order.nanos { 9 } else { 6 };
    for interface in [&b"can0"[..], b"can1"] {
        let head = [order.u16(227), order.u16(0), order.u16(0), order.u16(0)].concat();
        let option = |code, value: &[u8], padded: &[u8]| {
            let length = u16::try_from(value.len()).expect("short");
            [&order.u16(code)[..], &order.u16(length), value, padded].concat()
        };
        let options = [option(2, interface, &[]), option(9, &[decimals], &[0; 3]), vec![0; 4]];
        file.extend(block(1, &[head, options.concat()].concat()));
    }
    for w in traffic {
        let packet = packet(w, Link::SocketCan, order);
        let stamp =
            u64::try_from(w.nanos / if order.nanos { 1 } else { 1000 }).expect("after 1970");
        let length = u32::try_from(packet.len()).expect("short");
        let words = [
            u32::from(w.bus),
            u32::try_from(stamp >> 32).expect("high half"),
            u32::try_from(stamp & 0xFFFF_FFFF).expect("low half"),
            length,
            length,
        ];
        let head: Vec<u8> = words.iter().flat_map(|n| order.u32(*n)).collect();
        file.extend(block(6, &[head, packet].concat()));
    }
    file
}

/// How times are written in CSV.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Stamp {
    Epoch,
    Calendar,
}

pub(crate) fn csv(traffic: &[Wire], stamp: Stamp) -> Vec<u8> {
    let mut text = "time,bus,id,extended,dlc,data,fd,esi,remote,error\n".to_owned();
    for w in traffic {
        let time = match stamp {
            Stamp::Epoch => {
                format!("{}.{:06}", w.nanos / 1_000_000_000, w.nanos % 1_000_000_000 / 1000)
            }
            Stamp::Calendar => buswitness::vocabulary::Instant(w.nanos).to_string(),
        };
        let (extended, length, data) = (w.extended, w.stated(), hex(&w.data));
        writeln!(
            text,
            "{time},can{},{:X},{extended},{length},{data},{},{},{},{}",
            w.bus, w.id, w.fd, w.esi, w.remote, w.error
        )
        .expect("a string");
    }
    text.into_bytes()
}

/// The traffic as a record batch; `time` in microseconds of UTC.
pub(crate) fn batch(traffic: &[Wire]) -> RecordBatch {
    let flags = |of: fn(&Wire) -> bool| -> ArrayRef {
        Arc::new(traffic.iter().map(|w| Some(of(w))).collect::<BooleanArray>())
    };
    let times = TimestampMicrosecondArray::from_iter_values(traffic.iter().map(|w| w.nanos / 1000));
    let buses = StringArray::from_iter_values(traffic.iter().map(|w| format!("can{}", w.bus)));
    let columns: Vec<(&str, ArrayRef)> = vec![
        ("time", Arc::new(times.with_timezone("UTC"))),
        ("bus", Arc::new(buses)),
        ("id", Arc::new(UInt32Array::from_iter_values(traffic.iter().map(|w| w.id)))),
        ("extended", flags(|w| w.extended)),
        ("dlc", Arc::new(UInt8Array::from_iter_values(traffic.iter().map(Wire::stated)))),
        ("data", Arc::new(BinaryArray::from_iter_values(traffic.iter().map(|w| &w.data)))),
        ("fd", flags(|w| w.fd)),
        ("esi", flags(|w| w.esi)),
        ("remote", flags(|w| w.remote)),
        ("error", flags(|w| w.error)),
    ];
    RecordBatch::try_from_iter(columns).expect("columns of one length")
}

/// Row groups or batches of a third of the rows, so that there are several.
fn thirds(batch: &RecordBatch) -> Vec<RecordBatch> {
    let rows = batch.num_rows();
    let step = rows.div_ceil(3).max(1);
    (0..rows).step_by(step).map(|from| batch.slice(from, step.min(rows - from))).collect()
}

pub(crate) fn parquet(batch: &RecordBatch, packing: Compression) -> Vec<u8> {
    let rows = batch.num_rows().div_ceil(3).max(1);
    let properties = WriterProperties::builder()
        .set_compression(packing)
        .set_max_row_group_row_count(Some(rows))
        .build();
    let mut bytes = Vec::new();
    let mut writer =
        ArrowWriter::try_new(&mut bytes, batch.schema(), Some(properties)).expect("a writer");
    writer.write(batch).expect("written");
    writer.close().expect("closed");
    bytes
}

fn options(packing: Option<CompressionType>) -> IpcWriteOptions {
    IpcWriteOptions::default().try_with_compression(packing).expect("a known packing")
}

pub(crate) fn arrow_file(batch: &RecordBatch, packing: Option<CompressionType>) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut writer =
        FileWriter::try_new_with_options(&mut bytes, &batch.schema(), options(packing))
            .expect("a writer");
    for part in thirds(batch) {
        writer.write(&part).expect("written");
    }
    writer.finish().expect("finished");
    drop(writer);
    bytes
}

pub(crate) fn arrow_stream(batch: &RecordBatch, packing: Option<CompressionType>) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut writer =
        StreamWriter::try_new_with_options(&mut bytes, &batch.schema(), options(packing))
            .expect("a writer");
    for part in thirds(batch) {
        writer.write(&part).expect("written");
    }
    writer.finish().expect("finished");
    drop(writer);
    bytes
}
