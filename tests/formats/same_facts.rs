//! One log through every format, packed and not: the facts must be equal, places included.

use std::io::{Cursor, Write as _};

use arrow::ipc::CompressionType;
use flate2::write::GzEncoder;
use parquet::basic::{Compression, ZstdLevel};
use regex::Regex;

use buswitness::facts::StoredLog;
use buswitness::observe::Senders;
use buswitness::pipeline::watch_opened;
use buswitness::read::frames::LogTables;
use buswitness::read::opening::unpack;

use super::mdf_writer::{Packing, mdf};
use super::writers::{
    Link, Order, Stamp, arrow_file, arrow_stream, batch, csv, parquet, pcap, pcapng, text,
};
use super::{Wire, mixed_traffic, name};
use crate::program::project;

/// A sample log with its incidents, and frames of every other kind woven in; microseconds, no two alike.
fn woven() -> Vec<Wire> {
    let folder = project().join("sample-logs/bus/LH-02");
    let mut paths: Vec<_> = std::fs::read_dir(folder)
        .expect("sample logs")
        .map(|e| e.expect("a file").path())
        .collect();
    paths.sort();
    let packed = std::fs::read(&paths[0]).expect("a sample log");
    let text = String::from_utf8(zstd::decode_all(&packed[..]).expect("zstd")).expect("text");
    let mut traffic: Vec<Wire> = text.lines().map(wire_of_line).collect();
    let begin = traffic[0].nanos;
    let count = u32::try_from(traffic.len() / 4).expect("few");
    let step = (traffic[traffic.len() - 1].nanos - begin) / i64::from(count);
    let others = mixed_traffic(count).into_iter().enumerate().map(|(k, wire)| {
        let nanos = begin + step * i64::try_from(k).expect("few") / 1000 * 1000;
        Wire { nanos, ..wire }
    });
    traffic.extend(others);
    traffic.sort_by_key(|w| w.nanos);
    let mut last = 0;
    for wire in &mut traffic {
        wire.nanos = wire.nanos.max(last + 1000);
        last = wire.nanos;
    }
    traffic
}

/// A line of the rehearsed log form.
fn wire_of_line(line: &str) -> Wire {
    let words: Vec<&str> = line.split_whitespace().collect();
    let [time, _, frame] = words[..] else { panic!("{line}") };
    let stamp = time.trim_matches(['(', ')']).replace('.', "");
    let (id, data) = frame.split_once('#').expect("id#data");
    let word = u32::from_str_radix(id, 16).expect("hexadecimal");
    let bytes = (0..data.len()).step_by(2);
    let error = id.len() == 8 && word & 0x2000_0000 != 0;
    Wire {
        nanos: stamp.parse::<i64>().expect("microseconds") * 1000,
        bus: 0,
        id: word & 0x1FFF_FFFF,
        extended: id.len() == 8 && !error,
        error,
        data: bytes.map(|at| u8::from_str_radix(&data[at..at + 2], 16).expect("a byte")).collect(),
        ..Wire::default()
    }
}

/// Watches bytes as the pipeline does: recognised by content, unpacked, read, observed.
fn watched(bytes: Vec<u8>, bus: Option<&str>) -> StoredLog {
    let size = bytes.len() as u64;
    let opened = unpack(Box::new(Cursor::new(bytes)), size, &name()).expect("a log");
    watch_opened(
        opened,
        &LogTables::default(),
        &Senders::default(),
        bus,
        &buswitness::pipeline::Hands::new(2, 0),
    )
}

/// Everything that the facts say, lines moved back by `shift`.
fn told(log: &StoredLog, shift: u64) -> String {
    let line = Regex::new(r"Line\(\s*(\d+),?\s*\)").expect("a pattern");
    let text = format!("{:#?}", log.facts);
    line.replace_all(&text, |found: &regex::Captures<'_>| {
        format!("Line({})", found[1].parse::<u64>().expect("a number") - shift)
    })
    .into_owned()
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut packer = GzEncoder::new(Vec::new(), flate2::Compression::fast());
    packer.write_all(bytes).expect("packed");
    packer.finish().expect("packed")
}

/// Compares a log, plain and packed, with what the text log said.
fn assert_same(what: &str, bytes: Vec<u8>, bus: Option<&str>, shift: u64, expected: &StoredLog) {
    let zst = zstd::encode_all(&bytes[..], 1).expect("packed");
    for (packing, bytes) in [("plain", bytes.clone()), ("gzip", gzip(&bytes)), ("zstd", zst)] {
        let log = watched(bytes, bus);
        assert_eq!(log.rejects, [], "{what}, {packing}");
        assert_eq!(log.frames, expected.frames, "{what}, {packing}: frames");
        let (found, wanted) = (told(&log, shift), told(expected, 0));
        let differing = found.lines().zip(wanted.lines()).find(|(a, b)| a != b);
        assert!(found == wanted, "{what}, {packing}: facts differ: {differing:?}");
    }
}

#[test]
fn the_same_traffic_gives_the_same_facts_in_every_format() {
    let traffic = woven();
    let expected = watched(text(&traffic), None);
    assert_eq!(expected.rejects, []);
    assert_eq!(expected.frames, traffic.len() as u64);
    assert!(expected.facts.starts.iter().any(|s| s.error_frames > 0), "error frames are seen");
    assert!(!expected.facts.finer.passives.is_empty(), "error passive senders are seen");
    assert!(!expected.facts.identifiers.is_empty() && !expected.facts.presences.is_empty());
    let order = |big, nanos| Order { big, nanos };
    let rows = batch(&traffic);
    let zstd = Compression::ZSTD(ZstdLevel::default());
    let cases: Vec<(&str, u64, Vec<u8>)> = vec![
        ("pcapng, little endian, ns", 0, pcapng(&traffic, order(false, true))),
        ("pcapng, big endian, µs", 0, pcapng(&traffic, order(true, false))),
        ("CSV, seconds", 1, csv(&traffic, Stamp::Epoch)),
        ("CSV, RFC 3339", 1, csv(&traffic, Stamp::Calendar)),
        ("Parquet", 0, parquet(&rows, Compression::UNCOMPRESSED)),
        ("Parquet, snappy", 0, parquet(&rows, Compression::SNAPPY)),
        ("Parquet, zstd", 0, parquet(&rows, zstd)),
        ("Parquet, lz4", 0, parquet(&rows, Compression::LZ4_RAW)),
        ("Arrow file", 0, arrow_file(&rows, None)),
        ("Arrow file, lz4", 0, arrow_file(&rows, Some(CompressionType::LZ4_FRAME))),
        ("Arrow stream", 0, arrow_stream(&rows, None)),
        ("Arrow stream, zstd", 0, arrow_stream(&rows, Some(CompressionType::ZSTD))),
        ("MDF", 0, mdf(&traffic, Packing::None)),
        ("MDF, deflate", 0, mdf(&traffic, Packing::Deflate)),
        ("MDF, transposed", 0, mdf(&traffic, Packing::Transposed)),
    ];
    for (what, shift, bytes) in cases {
        assert_same(what, bytes, None, shift, &expected);
    }
}

/// Formats without interfaces take their bus from the path.
#[test]
fn captures_without_interfaces_give_the_same_facts_as_one_bus() {
    let traffic: Vec<Wire> = woven().into_iter().filter(|w| w.bus == 0).collect();
    let expected = watched(text(&traffic), Some("body"));
    assert!(expected.facts.starts.iter().all(|s| s.bus == "body"));
    for (big, nanos) in [(false, false), (false, true), (true, false), (true, true)] {
        for link in [Link::SocketCan, Link::Cooked] {
            let what = format!("pcap, {link:?}, big endian {big}, ns {nanos}");
            assert_same(
                &what,
                pcap(&traffic, Order { big, nanos }, link),
                Some("body"),
                0,
                &expected,
            );
        }
    }
}

#[test]
fn a_folder_of_logs_is_read_by_content_whatever_the_names() {
    let traffic = mixed_traffic(2000);
    let room = crate::program::folder();
    let order = Order { big: false, nanos: true };
    let rows = batch(&traffic);
    let logs = [
        ("a.bin", pcap(&traffic, order, Link::SocketCan)),
        ("b.txt", pcapng(&traffic, order)),
        ("c.log", csv(&traffic, Stamp::Epoch)),
        ("d.pcap", parquet(&rows, Compression::SNAPPY)),
        ("e.csv", arrow_file(&rows, None)),
        ("f", gzip(&arrow_stream(&rows, None))),
        ("g.parquet", mdf(&traffic, Packing::Deflate)),
        ("h.mf4", text(&traffic)),
    ];
    for (name, bytes) in &logs {
        crate::program::write(&room.path().join("logs").join(name), bytes);
    }
    crate::program::done(room.path(), &["run", "--quiet", "--strict", "logs"]);
    let out = crate::program::json(&room.path().join("logs/buswitness-report/culprits.json"));
    assert_eq!(out["inputs"]["bus_logs"], logs.len());
    assert_eq!(out["inputs"]["frames"], traffic.len() * logs.len());
}
