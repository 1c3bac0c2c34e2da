//! Files that other programs wrote, with what is in them; how they were made stands in `mdf/make.py`.

use buswitness::read::frames::LogTables;

use super::{Format, Told, read};
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
