//! Clocks compared: any number of hands, crowds, and delays that all go together.

use super::clock_groups::*;
use crate::vocabulary::{Identifier, Instant};

/// Twelve beats that scatter 2 ms; the first `alike` of them scatter 0.1 ms against each other.
fn together(alike: usize) -> bool {
    let beats: Vec<Beat> = (0..12)
        .map(|id| Beat {
            id: Identifier::base(id),
            period: 1e8,
            first: Instant(0),
            jitter: 2e6,
            points: Vec::new(),
            scatter: 2e6,
        })
        .collect();
    let pair = |own: bool| Difference {
        slope: 0.0,
        error: 5e-6,
        scatter: Some(if own { 1e5 } else { 2.8e6 }),
    };
    let row = |n: usize| (n + 1..12).map(|m| Some(pair(m < alike))).collect();
    one_for_all(&beats, &(0..12).map(row).collect::<Vec<_>>())
}

#[test]
fn who_woke_with_most_of_the_others_woke_with_a_crowd() {
    let beat = |id: u32, first_ms: i64| Beat {
        id: Identifier::base(id),
        period: 1e8,
        first: Instant(first_ms * 1_000_000),
        jitter: 1e6,
        points: Vec::new(),
        scatter: 1e6,
    };
    let beats: Vec<Beat> =
        [0, 40, 90, 200, 2000, 2050].iter().zip(1..).map(|(ms, id)| beat(id, *ms)).collect();
    assert_eq!(crowd(&beats), [true, true, true, true, false, false]);
    let steps: Vec<Beat> =
        [0, 40, 900, 950, 2000, 2050].iter().zip(1..).map(|(ms, id)| beat(id, *ms)).collect();
    assert_eq!(crowd(&steps), [false; 6]);
}

#[test]
fn any_number_of_hands_finds_the_same_differences() {
    let beats: Vec<Beat> = (0..50u32)
        .map(|id| {
            let of = |look: u32| {
                let wander = f64::from(look.wrapping_mul(id + 7).wrapping_mul(2_654_435_769) >> 12);
                (look, f64::from(look), f64::from(id * look) * 1e3 + wander)
            };
            let points: Vec<_> = (id % 3..90).map(of).collect();
            let (id, first) = (Identifier::base(id), Instant(0));
            Beat { id, period: 1e8, first, jitter: 1e6, points, scatter: 1e6 }
        })
        .collect();
    let by_one = format!("{:?}", differences(&beats, 1));
    assert_eq!(by_one.matches("Some(Difference").count(), 50 * 49 / 2);
    for hands in [2, 3, 7, 64] {
        assert!(format!("{:?}", differences(&beats, hands)) == by_one, "{hands} hands");
    }
}

#[test]
fn delays_that_all_go_together_tell_nothing() {
    assert!(together(12), "66 of 66 pairs");
    assert!(!together(8), "28 of 66: a sender of eight identifiers");
    assert!(!together(0));
}
