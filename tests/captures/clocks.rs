//! Clocks in captures: steps of the log's own clock, and identifiers by the clock of their sender.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::PathBuf;

use buswitness::facts::StoredLog;
use buswitness::numerics::clusters::adjusted_rand;
use buswitness::observe::Senders;
use buswitness::pipeline::watch;
use flate2::read::GzDecoder;

/// Watches one capture without any description; `None`, and a line that says so, without captures.
#[expect(clippy::print_stdout, reason = "a skipped test says so in the test's own output")]
fn watched(capture: &str) -> Option<StoredLog> {
    let Some(captures) = std::env::var_os("BUSWITNESS_CAPTURES").map(PathBuf::from) else {
        println!("skipped {capture}: BUSWITNESS_CAPTURES does not name a folder of captures");
        return None;
    };
    let file = File::open(captures.join(capture)).expect("a capture");
    let senders = Senders::default();
    Some(watch(
        GzDecoder::new(file),
        &capture.into(),
        &senders,
        None,
        0,
        &buswitness::pipeline::Hands::new(1, 1),
    ))
}

/// Not reached yet: of the two small steps of this capture none, or only the second, is placed well enough.
#[test]
#[ignore = "steps of a few milliseconds are not told reliably yet"]
fn captures_with_a_stepped_clock_tell_its_steps() {
    let Some(log) = watched("truck-a/truck-walltime.log.gz") else { return };
    let begin = log.facts.starts[0].begin;
    let found: Vec<(f64, f64)> = log
        .facts
        .finer
        .clock_steps
        .iter()
        .map(|s| (s.at.seconds_since(begin), s.step_s * 1e3))
        .collect();
    // From the same frames on the free-running counter: 4.4 ms at 191.05 s, 8.6 ms at 233.06 s.
    for (at, step) in [(191.05, -4.4), (233.06, -8.6)] {
        let near = |(t, s): &&(f64, f64)| (t - at).abs() < 0.2 && (s - step).abs() < 0.7;
        assert!(found.iter().find(near).is_some(), "no step of {step} ms at {at} s in {found:?}");
    }
}

#[test]
fn captures_with_a_sound_clock_have_no_steps() {
    for capture in ["truck-a/truck-monotonic.log.gz", "car-a/car-a.log.gz", "truck-b/normal.log.gz"]
    {
        let Some(log) = watched(capture) else { return };
        let steps = &log.facts.finer.clock_steps;
        assert!(steps.is_empty(), "{capture}: {steps:?}");
    }
}

/// Source addresses are the truth that the grouping does not look at; 17, 19, 21 and 31 are one box with one
/// clock and one odd period. What no clock groups stands alone.
#[test]
fn captures_group_identifiers_by_sender() {
    let Some(log) = watched("truck-a/truck-monotonic.log.gz") else { return };
    let mut by_id: BTreeMap<u32, usize> = BTreeMap::new();
    for row in &log.facts.finer.clock_groups {
        by_id.insert(row.id.0, row.group as usize);
    }
    assert!(by_id.len() >= 20, "{} identifiers have a clock", by_id.len());
    let box_of = |id: u32| match id & 0xFF {
        0x17 | 0x19 | 0x21 | 0x31 => 0x17,
        address => address as usize,
    };
    let truth: Vec<usize> = by_id.keys().map(|id| box_of(*id)).collect();
    let found: Vec<usize> = by_id.values().copied().collect();
    let agreement = adjusted_rand(&truth, &found).expect("groups");
    assert!(agreement >= 0.9, "agreement {agreement:.3} of {truth:X?} and {found:?}");
}
