//! Clocks in captures: steps of the log's own clock, and identifiers by the clock of their sender.

use buswitness::facts::StoredLog;
use buswitness::numerics::clusters::adjusted_rand;
use std::collections::BTreeMap;

use super::{as_it_stands, unpacked};

const STEPPED: &str = "truck-a/truck-walltime.log.gz";

/// Steps of a log's clock: seconds after its first start, and by how many seconds.
fn steps(log: &StoredLog) -> Vec<(f64, f64)> {
    let begin = log.facts.starts[0].begin;
    let told = &log.facts.finer.clock_steps;
    told.iter().map(|step| (step.at.seconds_since(begin), step.step_s)).collect()
}

/// The same frames stand on a free-running counter too: there is the truth after 12 s. Before, the clock was set
/// back by 21.7, 6.5, 6.5, 6.5 and 2.9 ms (at 1.0, 2.0, 3.0, 4.0 and 11.0 s). Nothing can tell the first four: until
/// 4.4 s one node alone sends, with two identifiers that scatter by 7 and 15 ms about their own periods (median
/// deviation on the free-running counter), and no stamp goes back. The fifth comes when the beats of the others
/// are known for a few seconds only. A second before the last step the clock had one of 1.4 ms, which is too small
/// to be told by itself. Exactly the other two must be told.
#[test]
fn captures_with_a_stepped_clock_tell_its_steps() {
    let Some(log) = as_it_stands(STEPPED) else { return };
    let (walls, counts) = (
        times(STEPPED).expect("a capture"),
        times("truck-a/truck-monotonic.log.gz").expect("a capture"),
    );
    let (early, steps): (Vec<_>, Vec<_>) = steps(&log).into_iter().partition(|(at, _)| *at <= 12.0);
    // How far the wall clock was ahead in a span of the counter: the middle of its frames.
    let ahead = |from: f64, to: f64| {
        let mut all: Vec<f64> = walls
            .iter()
            .zip(&counts)
            .filter(|(_, t)| (from..to).contains(*t))
            .map(|(wall, t)| wall - t)
            .collect();
        all.sort_by(f64::total_cmp);
        all[all.len() / 2]
    };
    assert_eq!(steps.len(), 2, "{steps:?}");
    for ((at, by), wanted) in steps.iter().zip([191.05, 233.05]) {
        let truth = ahead(wanted + 0.5, wanted + 3.0) - ahead(wanted - 4.0, wanted - 1.5);
        assert!((at - wanted).abs() < 0.2, "a step at {wanted} s was found at {at:.2} s");
        assert!((by - truth).abs() < 0.7e-3, "{wanted} s: {by:.4} s, truth {truth:.4} s");
    }
    // The clock was set back by 44 ms in all before 12 s.
    let set_back: f64 = early.iter().map(|(_, by)| by).sum();
    assert!(early.iter().all(|(_, by)| *by < 0.0) && set_back > -0.045, "{early:?}");
}

/// Time of every frame of a log in seconds since its first.
fn times(capture: &str) -> Option<Vec<f64>> {
    let text = String::from_utf8(unpacked(capture)?).expect("text");
    let stamp = |line: &str| line.trim_start_matches(['(', ' ']).split_once(')')?.0.parse().ok();
    let all: Vec<f64> = text.lines().filter_map(stamp).collect();
    let first = *all.first()?;
    Some(all.into_iter().map(|t| t - first).collect())
}

/// Nodes of a truck join one by one as it wakes; address 254 sends but has no cyclic identifier.
#[test]
fn captures_of_a_wake_up_tell_who_joined_when() {
    let Some(log) = as_it_stands("truck-a/truck-monotonic.log.gz") else { return };
    for (node, joined) in [
        ("brakes", 0.0),
        ("instrument-cluster-1", 4.39),
        ("climate-1", 4.39),
        ("body-controller", 4.39),
        ("cab-controller-primary", 4.39),
        ("engine-1", 4.74),
    ] {
        let row = log.facts.presences.iter().find(|p| p.node == node).expect(node);
        let found = row.first.seconds_since(row.start);
        assert!((found - joined).abs() < 0.05, "{node} joined at {found:.3} s, truth {joined} s");
    }
}

#[test]
fn captures_with_a_sound_clock_have_no_steps() {
    for capture in ["truck-a/truck-monotonic.log.gz", "car-a/car-a.log.gz", "truck-b/normal.log.gz"]
    {
        let Some(log) = as_it_stands(capture) else { return };
        let steps = &log.facts.finer.clock_steps;
        assert!(steps.is_empty(), "{capture}: {steps:?}");
    }
}

/// Source addresses are the truth that the grouping does not look at; 17, 19, 21 and 31 are one box with one
/// clock and one odd period. What no clock groups stands alone.
#[test]
fn captures_group_identifiers_by_sender() {
    let Some(log) = as_it_stands("truck-a/truck-monotonic.log.gz") else { return };
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

/// Groups of clocks of a car, in parts per million off the nominal period (from the capture's description); an
/// identifier's own clock is fitted here by a plain line over all its frames.
#[test]
fn captures_of_a_car_group_identifiers_by_clock() {
    let Some(log) = as_it_stands("car-a/car-a.log.gz") else { return };
    let mut groups: BTreeMap<u32, Vec<(u32, f64, f64)>> = BTreeMap::new();
    let plain = clocks_by_a_line("car-a/car-a.log.gz");
    for row in &log.facts.finer.clock_groups {
        let Some((skew, error)) = plain.get(&row.id.0) else { continue };
        groups.entry(row.group).or_default().push((row.id.0, *skew, *error));
    }
    let grouped: usize = groups.values().map(Vec::len).sum();
    assert!(grouped >= 20, "{grouped} identifiers are in groups: {groups:?}");
    for members in groups.values() {
        for (a, skew_a, error_a) in members {
            for (b, skew_b, error_b) in members {
                let slack = 3.0 * error_a.hypot(*error_b) + 1.5;
                assert!(
                    (skew_a - skew_b).abs() < slack,
                    "{a:X} at {skew_a:.2} ppm and {b:X} at {skew_b:.2} ppm in one group"
                );
            }
        }
    }
    // Five identifiers of 10 ms of one sender, within 0.1 ppm by the plain line.
    let of = |id: u32| groups.iter().find(|(_, m)| m.iter().any(|m| m.0 == id)).map(|(g, _)| *g);
    let one = of(0x0EE);
    assert!(one.is_some());
    for id in [0x0FE, 0x101, 0x103, 0x107] {
        assert_eq!(of(id), one, "{id:X}: {groups:?}");
    }
    assert!(of(0x0F0) != one && of(0x192) != one, "other clocks by 600 ppm and more");
}

/// By identifier: parts per million off the nearest nominal period, and the standard error.
fn clocks_by_a_line(capture: &str) -> BTreeMap<u32, (f64, f64)> {
    const NOMINAL: [f64; 10] = [0.005, 0.01, 0.02, 0.025, 0.05, 0.1, 0.2, 0.25, 0.5, 1.0];
    let text = String::from_utf8(unpacked(capture).expect("a capture")).expect("text");
    let mut by_id: BTreeMap<u32, Vec<f64>> = BTreeMap::new();
    for line in text.lines() {
        let mut parts = line.split([' ', '#']);
        let time = parts.next().and_then(|t| t.trim_matches(['(', ')']).parse::<f64>().ok());
        let id = parts.nth(1).and_then(|id| u32::from_str_radix(id, 16).ok());
        if let (Some(time), Some(id)) = (time, id) {
            by_id.entry(id).or_default().push(time);
        }
    }
    let fitted = |times: &Vec<f64>| -> Option<(f64, f64)> {
        let mut gaps: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).collect();
        gaps.sort_by(f64::total_cmp);
        let median = *gaps.get(gaps.len() / 2)?;
        let nominal = NOMINAL.into_iter().find(|n| (median / n - 1.0).abs() < 0.02)?;
        let mut beats = vec![0.0];
        for pair in times.windows(2) {
            beats.push(beats[beats.len() - 1] + ((pair[1] - pair[0]) / nominal).round());
        }
        let count = beats.len() as f64;
        let mean = |v: &[f64]| v.iter().sum::<f64>() / count;
        let (mx, my) = (mean(&beats), mean(times));
        let sxx: f64 = beats.iter().map(|x| (x - mx).powi(2)).sum();
        let sxy: f64 = beats.iter().zip(times).map(|(x, y)| (x - mx) * (y - my)).sum();
        let slope = sxy / sxx;
        let rest: f64 =
            beats.iter().zip(times).map(|(x, y)| (y - my - slope * (x - mx)).powi(2)).sum();
        let error = (rest / (count - 2.0) / sxx).sqrt();
        Some(((slope / nominal - 1.0) * 1e6, error / nominal * 1e6))
    };
    by_id.iter().filter_map(|(id, times)| Some((*id, fitted(times)?))).collect()
}
