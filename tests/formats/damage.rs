//! Damage: any cut into buffers gives the same, any change of bytes is survived, no claim is believed.

use arrow::ipc::CompressionType;
use parquet::basic::Compression;
use proptest::prelude::*;

use buswitness::protocol::iso_tp::{Part, Reassembly, part};
use buswitness::read::frames::LogTables;
use buswitness::vocabulary::{Identifier, Instant};

use super::mdf_writer::{Packing, mdf};
use super::writers::{
    Link, Order, Stamp, arrow_file, arrow_stream, batch, csv, parquet, pcap, pcapng,
};
use super::{Format, mixed_traffic, read, read_in_pieces};
use crate::program::project;

const BIG: Order = Order { big: true, nanos: true };
const LITTLE: Order = Order { big: false, nanos: false };

/// Small valid files of every format.
fn samples() -> Vec<(Format, Vec<u8>)> {
    let traffic = mixed_traffic(60);
    let rows = batch(&traffic);
    let file = |name: &str| {
        std::fs::read(project().join("tests/formats/mdf").join(name)).expect("a file of the tests")
    };
    vec![
        (Format::Capture, pcap(&traffic, BIG, Link::SocketCan)),
        (Format::Capture, pcap(&traffic, LITTLE, Link::Cooked)),
        (Format::Capture, pcapng(&traffic, BIG)),
        (Format::Capture, [pcapng(&traffic, LITTLE), pcapng(&traffic, BIG)].concat()),
        (Format::Table, csv(&traffic, Stamp::Epoch)),
        (Format::Table, csv(&traffic, Stamp::Calendar)),
        (Format::ArrowStream, arrow_stream(&rows, None)),
        (Format::ArrowStream, arrow_stream(&rows, Some(CompressionType::ZSTD))),
        (Format::ArrowStream, arrow_stream(&rows, Some(CompressionType::LZ4_FRAME))),
        (Format::ArrowFile, arrow_file(&rows, None)),
        (Format::ArrowFile, arrow_file(&rows, Some(CompressionType::ZSTD))),
        (Format::Parquet, parquet(&rows, Compression::UNCOMPRESSED)),
        (Format::Parquet, parquet(&rows, Compression::SNAPPY)),
        (Format::Mdf, mdf(&traffic, Packing::None)),
        (Format::Mdf, mdf(&traffic, Packing::Transposed)),
        (Format::Mdf, file("unsorted.mf4")),
        (Format::Mdf, file("lists.mf4")),
        (Format::Mdf, file("deflate.mf4")),
        (Format::Mdf, file("unfinished.mf4")),
    ]
}

fn streamed(format: Format) -> bool {
    matches!(format, Format::Capture | Format::Table | Format::ArrowStream)
}

#[test]
fn the_samples_themselves_are_whole() {
    for (format, bytes) in samples() {
        let (frames, account) = read(format, bytes, &LogTables::default());
        let cut = account.rejects.iter().all(|r| r.reason.contains("cut short inside one"));
        assert!(frames.len() >= 48 && cut, "{format:?}: {:?}", account.rejects);
    }
}

/// Bytes of a sample with some changed, some left out, and the end cut off; half stay uncut.
fn damaged() -> impl Strategy<Value = (Format, Vec<u8>)> {
    let changes = prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..6);
    let words = prop::sample::select(vec![
        [0xFF; 4],
        [0, 0, 0, 0],
        [0xFF, 0xFF, 0xFF, 0x7F],
        [0, 0, 0, 0x40],
        [1, 0, 0, 0],
    ]);
    let words = prop::collection::vec((any::<prop::sample::Index>(), words), 0..3);
    let cut = any::<prop::sample::Index>();
    let hole = prop::option::of((any::<prop::sample::Index>(), 1usize..20));
    (prop::sample::select(samples()), changes, words, cut, hole).prop_map(
        |((format, mut bytes), changes, words, cut, hole)| {
            for (at, byte) in changes {
                let at = at.index(bytes.len());
                bytes[at] = byte;
            }
            for (at, word) in words {
                let at = at.index(bytes.len() - 4);
                bytes[at..at + 4].copy_from_slice(&word);
            }
            if let Some((at, size)) = hole {
                let at = at.index(bytes.len());
                bytes.drain(at..(at + size).min(bytes.len()));
            }
            let keep = cut.index(2 * bytes.len());
            bytes.truncate(keep.max(1));
            (format, bytes)
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_damage_makes_a_reader_panic((format, bytes) in damaged()) {
        let size = bytes.len();
        let (frames, _) = read(format, bytes, &LogTables::default());
        // No record of any of these formats is shorter than a few bits.
        prop_assert!(frames.len() <= 8 * size + 8192, "{} frames in {size} bytes", frames.len());
    }

    #[test]
    fn in_pieces_is_whole((format, bytes) in damaged(), piece in 1usize..200) {
        if streamed(format) {
            let (whole, account) = read(format, bytes.clone(), &LogTables::default());
            let (pieces, other) = read_in_pieces(format, &bytes, piece);
            prop_assert_eq!(whole, pieces);
            prop_assert_eq!(account, other);
        }
    }

    #[test]
    fn no_bytes_at_all_make_a_reader_panic(
        bytes in prop::collection::vec(any::<u8>(), 0..300),
        format in prop::sample::select(samples()).prop_map(|(format, _)| format),
    ) {
        let (frames, account) = read(format, bytes, &LogTables::default());
        prop_assert!(frames.is_empty() && !account.rejects.is_empty());
    }
}

#[test]
fn a_cut_gives_what_came_before_it_and_one_reject() {
    for (format, bytes) in samples() {
        let (whole, _) = read(format, bytes.clone(), &LogTables::default());
        let (part, account) =
            read(format, bytes[..bytes.len() * 7 / 10].to_vec(), &LogTables::default());
        assert!(!account.rejects.is_empty(), "{format:?}");
        if streamed(format) {
            assert_eq!(account.rejects.len(), 1, "{format:?}: {:?}", account.rejects);
            assert!(!part.is_empty() && whole.starts_with(&part), "{format:?}");
        }
    }
}

/// The seeds of the fuzz targets whose header claims 4 GB of data: a reject, no frame. Those of the streamed
/// formats begin with a byte that chooses how their target cuts them.
#[test]
fn claims_of_a_header_are_not_believed() {
    for (format, seed, skipped) in [
        (Format::Capture, "capture/claims_4_gb.pcap", 1),
        (Format::Capture, "capture/claims_4_gb.pcapng", 1),
        (Format::ArrowStream, "arrow_stream/claims_4_gb.arrows", 1),
        (Format::Parquet, "parquet/claims_4_gb.parquet", 0),
    ] {
        let bytes = seed_of(seed)[skipped..].to_vec();
        let (frames, account) = read(format, bytes, &LogTables::default());
        assert!(frames.is_empty(), "{seed}: {} frames", frames.len());
        assert!(!account.rejects.is_empty(), "{seed} is taken for whole");
    }
}

/// A first frame that claims 4 GB, and two that follow: no more is kept than was sent.
#[test]
fn a_claim_of_a_first_frame_takes_no_memory() {
    let seed = seed_of("iso_tp/claims_4_gb");
    let mut reassembly = Reassembly::default();
    // Of each frame two bytes of sender and pause, one of length, then its own.
    for (line, frame) in (1u64..).zip(seed.chunks(11)) {
        let part = part(&frame[3..], 8).expect("a frame of ISO-TP");
        if line == 1 {
            assert!(matches!(part, Part::First { length: u32::MAX, .. }), "{part:?}");
        }
        let step =
            reassembly.frame(Identifier::base(0x701), part, Instant(line.cast_signed()), line);
        assert_eq!(step.message, None);
    }
    assert_eq!(reassembly.under_way(), 1);
    assert!(reassembly.bytes() < 2 * seed.len(), "{} bytes kept", reassembly.bytes());
}

fn seed_of(name: &str) -> Vec<u8> {
    std::fs::read(project().join("tests/fuzz/seeds").join(name)).expect("a seed")
}

/// A small Arrow file whose footer claims 2 GB of itself (it has 32 bits for it), or one of whose numbers claims
/// 4 GB: never more rows than it holds, and a reject for the footer.
#[test]
fn claims_of_an_arrow_file_are_not_believed() {
    let bytes = arrow_file(&batch(&mixed_traffic(12)), None);
    // At the end: the footer, its length in four bytes, six letters.
    let end = bytes.len() - 10;
    let length: [u8; 4] = bytes[end..end + 4].try_into().expect("four bytes");
    let footer = end - usize::try_from(u32::from_le_bytes(length)).expect("a small footer");
    let mut claims = bytes.clone();
    claims[end..end + 4].copy_from_slice(&i32::MAX.to_le_bytes());
    let (frames, account) = read(Format::ArrowFile, claims, &LogTables::default());
    assert!(frames.is_empty() && !account.rejects.is_empty(), "{} frames", frames.len());
    for at in (footer..end - 8).step_by(4) {
        for claim in [4u64 << 30, u64::MAX >> 1] {
            let mut bytes = bytes.clone();
            bytes[at..at + 8].copy_from_slice(&claim.to_le_bytes());
            let (frames, _) = read(Format::ArrowFile, bytes, &LogTables::default());
            assert!(frames.len() <= 12, "byte {at}: {} frames", frames.len());
        }
    }
}

/// Packed files of less than a kilobyte that claim 4 GB: what is there is given, then they break off.
#[test]
fn claims_of_a_packed_file_are_not_believed() {
    let text = b"(1.5) can0 1A0#00\n";
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    std::io::Write::write_all(&mut gzip, text).expect("memory");
    let mut gzip = gzip.finish().expect("memory");
    // The last four bytes are the unpacked length (RFC 1952).
    let size = gzip.len() - 4;
    gzip[size..].copy_from_slice(&u32::MAX.to_le_bytes());
    // One segment, eight bytes of content size, one raw block that is the last (RFC 8878).
    let mut zstd = vec![0x28, 0xB5, 0x2F, 0xFD, 0xE0];
    zstd.extend((4u64 << 30).to_le_bytes());
    zstd.extend(&(18u32 << 3 | 1).to_le_bytes()[..3]);
    zstd.extend(text);
    for (packing, bytes) in [("gzip", gzip), ("zstd", zstd)] {
        let size = bytes.len() as u64;
        let source = Box::new(std::io::Cursor::new(bytes));
        let reason = match buswitness::read::opening::unpack(source, size, &"log".into()) {
            Err(reject) => reject.reason,
            Ok(mut opened) => {
                let mut given = Vec::new();
                let broken = std::io::Read::read_to_end(&mut opened.bytes, &mut given);
                assert!(given.len() <= text.len(), "{packing}: {} bytes", given.len());
                broken.expect_err(packing).to_string()
            }
        };
        assert!(reason.contains("break off"), "{packing}: {reason}");
    }
}

/// A file of a kilobyte that claims 4 GB in one of its blocks.
#[test]
fn claims_of_mdf_are_not_believed() {
    let traffic = mixed_traffic(60);
    for packing in [Packing::None, Packing::Deflate] {
        let bytes = mdf(&traffic, packing);
        for id in [b"##DT", b"##DZ", b"##DL", b"##CG", b"##CN", b"##DG", b"##TX"] {
            let places: Vec<usize> =
                bytes.windows(4).enumerate().filter(|(_, w)| w == id).map(|(at, _)| at).collect();
            for at in places {
                for (field, claim) in
                    [(8, 4u64 << 30), (16, 4 << 30), (8, u64::MAX), (16, u64::MAX)]
                {
                    let mut bytes = bytes.clone();
                    bytes[at + field..at + field + 8].copy_from_slice(&claim.to_le_bytes());
                    let (frames, _) = read(Format::Mdf, bytes, &LogTables::default());
                    assert!(frames.len() <= 60);
                }
            }
        }
        // Every link of every block to every block: circles end.
        let blocks: Vec<usize> =
            bytes.windows(2).enumerate().filter(|(_, w)| w == b"##").map(|(at, _)| at).collect();
        let links: Vec<usize> = blocks
            .iter()
            .flat_map(|at| (0..8).map(move |link| at + 24 + 8 * link))
            .filter(|at| at + 8 <= bytes.len())
            .collect();
        for link in links.iter().step_by(3) {
            for to in blocks.iter().step_by(7) {
                let mut bytes = bytes.clone();
                bytes[*link..link + 8].copy_from_slice(&(*to as u64).to_le_bytes());
                read(Format::Mdf, bytes, &LogTables::default());
            }
        }
    }
}

#[test]
fn a_circle_of_data_lists_is_named() {
    let mut bytes = mdf(&mixed_traffic(400), Packing::Deflate);
    let lists: Vec<usize> =
        bytes.windows(4).enumerate().filter(|(_, w)| w == b"##DL").map(|(at, _)| at).collect();
    for at in lists {
        bytes[at + 24..at + 32].copy_from_slice(&(at as u64).to_le_bytes());
    }
    let (frames, account) = read(Format::Mdf, bytes, &LogTables::default());
    assert_eq!(frames.len(), 400);
    assert!(account.rejects.iter().all(|r| r.reason.contains("circle")), "{:?}", account.rejects);
    assert!(!account.rejects.is_empty());
}
