//! Files that other programs wrote, with what is in them; how they were made stands in `mdf/make.py`.

use buswitness::read::frames::{FrameKind, LogTables};

use super::mdf_writer::{Packing, mdf};
use super::{Format, Told, Wire, read};
use crate::program::project;

fn file(name: &str) -> Vec<u8> {
    std::fs::read(project().join("tests/formats/mdf").join(name)).expect("a file of the tests")
}

fn expected() -> Vec<Told> {
    let (frames, account) = read(Format::Table, file("expected.csv"), &LogTables::default());
    assert_eq!((frames.len(), account.rejects.len()), (48, 0), "{:?}", account.rejects);
    frames
}

/// What a frame says, without its place and channel number.
fn said(told: &Told) -> impl PartialEq + std::fmt::Debug + use<> {
    let (frame, interface) = told;
    (frame.time, frame.id, frame.kind, frame.length, frame.data, interface.clone())
}

#[test]
fn files_of_another_library_and_hand_made_ones_say_the_same() {
    let expected = expected();
    for name in ["sorted.mf4", "deflate.mf4", "transposed.mf4", "unsorted.mf4", "lists.mf4"] {
        let (frames, account) = read(Format::Mdf, file(name), &LogTables::default());
        assert_eq!(account.rejects, [], "{name}");
        let places: Vec<u64> = frames.iter().map(|(f, _)| f.line).collect();
        assert_eq!(places, (1..=48).collect::<Vec<u64>>(), "{name}");
        let found: Vec<_> = frames.iter().map(said).collect();
        assert_eq!(found, expected.iter().map(said).collect::<Vec<_>>(), "{name}");
    }
}

#[test]
fn a_measurement_that_was_not_finalised_is_read_as_far_as_it_goes() {
    let (frames, account) = read(Format::Mdf, file("unfinished.mf4"), &LogTables::default());
    let found: Vec<_> = frames.iter().map(said).collect();
    assert_eq!(found, expected().iter().map(said).collect::<Vec<_>>());
    let reasons: Vec<&str> = account.rejects.iter().map(|r| r.reason.as_str()).collect();
    assert_eq!(reasons, ["the MDF records are cut short inside one"]);
    let told = account.leniencies.keys().any(|what| what.contains("did not finalise"));
    assert!(told, "{:?}", account.leniencies);
}

#[test]
fn a_measurement_without_its_values_offsets_is_refused() {
    let mut bytes = file("unfinished.mf4");
    bytes[60] |= 0x40;
    let (frames, account) = read(Format::Mdf, bytes, &LogTables::default());
    assert!(frames.is_empty());
    assert!(account.rejects[0].reason.contains("finalise it"), "{:?}", account.rejects);
}

/// Cycle counts of the channel groups of an MDF file, by their place in a `##CG` block (ASAM MDF 4.1: header of
/// 24 bytes, six links, record number, count); groups without records left out.
fn cycle_counts(bytes: &[u8]) -> Vec<u64> {
    let at: Vec<usize> =
        bytes.windows(4).enumerate().filter(|(_, w)| w == b"##CG").map(|(at, _)| at).collect();
    let count = |at: &usize| bytes[at + 80..at + 88].try_into().map(u64::from_le_bytes);
    let mut counts: Vec<u64> = at.iter().map(|at| count(at).expect("eight bytes")).collect();
    counts.retain(|count| *count > 0);
    counts.sort_unstable_by(|a, b| b.cmp(a));
    counts
}

/// Frames by kind, most first.
fn by_kind(frames: &[Told]) -> Vec<u64> {
    let of = |kind: FrameKind| frames.iter().filter(|(f, _)| f.kind == kind).count() as u64;
    let data = of(FrameKind::Data) + of(FrameKind::PassiveData);
    let mut counts = vec![data, of(FrameKind::Error), of(FrameKind::Remote)];
    counts.retain(|count| *count > 0);
    counts.sort_unstable_by(|a, b| b.cmp(a));
    counts
}

/// EX-5y: two data frames, an error frame and a remote frame are cycle counts of 2, 1 and 1; and so in the file of
/// another library.
#[test]
fn ex_5y_cycle_counts_are_frames_of_a_kind() {
    let wire = |number: i64| Wire {
        nanos: 1_700_000_000_000_000_000 + number * 1_000_000,
        id: 0x1A0,
        data: vec![1, 2],
        ..Wire::default()
    };
    let traffic = [
        wire(0),
        Wire { id: 0x8, error: true, data: vec![0; 8], ..wire(1) },
        Wire { remote: true, data: Vec::new(), length: 2, ..wire(2) },
        wire(3),
    ];
    for (bytes, expected) in
        [(mdf(&traffic, Packing::None), Some(vec![2, 1, 1])), (file("sorted.mf4"), None)]
    {
        let (frames, account) = read(Format::Mdf, bytes.clone(), &LogTables::default());
        assert_eq!(account.rejects, []);
        let counts = cycle_counts(&bytes);
        assert_eq!(by_kind(&frames), counts);
        assert!(expected.is_none_or(|expected| expected == counts), "{counts:?}");
        assert!(counts.len() == 3, "a group of each kind: {counts:?}");
    }
}
