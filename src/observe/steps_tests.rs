//! Steps of a log's clock against real gaps, on invented beats.

use std::sync::Arc;

use super::{Observer, Seen, Senders};
use crate::numerics::lcg::Lcg;
use crate::read::frames::{Frame, FrameKind};
use crate::vocabulary::{Identifier, Instant};

/// Periods of the identifiers, milliseconds.
const PERIODS: [f64; 9] = [10.0, 10.0, 20.0, 20.0, 50.0, 100.0, 100.0, 200.0, 1000.0];

/// A healthy bus of 40 s through a logger; `stamp` turns true time into what is written, or loses the frame.
fn log(stamp: impl Fn(f64) -> Option<f64>) -> Seen {
    log_with(&[], stamp)
}

/// The same with further frames: true time, identifier, data.
fn log_with(further: &[(f64, Identifier, u64)], stamp: impl Fn(f64) -> Option<f64>) -> Seen {
    let mut noise = Lcg(3);
    let mut frames = further.to_vec();
    for (n, period) in (0u32..).zip(PERIODS) {
        let mut t = 1.0 + 0.0013 * f64::from(n);
        while t < 41.0 {
            frames.push((t + 0.0001 * noise.uniform(), Identifier::base(0x100 + n), 0));
            t += period * 1e-3;
        }
    }
    frames.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut observer = Observer::default();
    let mut line = 0;
    for (time, id, data) in frames {
        let Some(written) = stamp(time) else { continue };
        line += 1;
        let time = Instant(1_700_000_000_000_000_000).plus_seconds(written);
        let frame = Frame { time, data, line, id, channel: 0, length: 8, kind: FrameKind::Data };
        observer.push(&[frame], &["can0".to_owned()]);
    }
    let file: Arc<str> = "log".into();
    observer.finish(&Senders::default(), None, &file, 0)
}

fn steps(seen: &Seen) -> Vec<(f64, f64)> {
    let begin = seen.facts.starts[0].begin;
    let rows = seen.facts.finer.clock_steps.iter();
    rows.map(|s| (s.at.seconds_since(begin), s.step_s)).collect()
}

#[test]
fn steps_are_found_with_place_and_amount_and_leave_no_silence() {
    for step in [0.007_3, 0.083, 0.437, 3.21, -0.007_3, -0.055, -4.4] {
        let seen = log(|t| Some(if t < 21.0 { t } else { t + step }));
        let found = steps(&seen);
        let [(at, by)] = found.as_slice() else { panic!("{step}: {found:?}") };
        assert!((at - 20.0).abs() < 0.2, "{step} found at {at}");
        assert!((by - step).abs() < 0.001, "{step} found as {by}");
        assert_eq!(seen.facts.starts.len(), 1, "{step}");
        assert!(seen.facts.silences.is_empty(), "{step}: {:?}", seen.facts.silences);
        assert!(seen.facts.blind_spots.is_empty(), "{step}: {:?}", seen.facts.blind_spots);
        let length = seen.facts.starts[0].end.seconds_since(seen.facts.starts[0].begin);
        assert!((length - 40.0).abs() < 0.1, "{step}: {length} s in all");
    }
}

#[test]
fn gaps_of_the_logger_are_no_steps() {
    for gap in [0.06, 0.1, 0.437, 1.0, 3.21] {
        let seen = log(|t| (!(21.0..21.0 + gap).contains(&t)).then_some(t));
        assert!(steps(&seen).is_empty(), "{gap}: {:?}", steps(&seen));
    }
}

#[test]
fn a_clock_set_while_the_log_ran_is_right_afterwards() {
    let seen = log(|t| Some(if t < 6.0 { t - 1_699_999_990.123 } else { t }));
    let found = steps(&seen);
    assert_eq!(found.len(), 1, "{found:?}");
    let begin = seen.facts.starts[0].begin;
    assert!(begin.seconds_since(Instant(1_700_000_001_000_000_000)).abs() < 0.01, "{begin}");
}

/// Lists of codes (DM1: SPN 168, FMI 1), two before a step and three behind it.
#[test]
fn what_nodes_said_is_dated_by_the_mended_clock() {
    let lists = [11.0, 16.0, 21.5, 26.0, 31.0]
        .map(|at| (at, Identifier::extended(0x18FE_CA11), 0x04FF_A800_0101_FFFF));
    for step in [3.21, -4.4] {
        let seen = log_with(&lists, |t| Some(if t < 21.0 { t } else { t + step }));
        assert_eq!(steps(&seen).len(), 1, "{step}");
        let begin = seen.facts.starts[0].begin;
        let [code] = seen.facts.logged_codes.as_slice() else {
            panic!("{step}: {:?}", seen.facts.logged_codes)
        };
        let said = [code.first, code.last].map(|at| at.seconds_since(begin));
        for (said, want) in said.into_iter().zip([10.0, 30.0]) {
            assert!((said - want).abs() < 0.01, "{step}: said at {said:.3} s, {want} s is right");
        }
    }
}
