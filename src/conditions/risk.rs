//! How the risk of an incident at a start depends on the conditions of the start.
//!
//! In: the exposures of one vehicle, by time. Out: one line a condition that occurred, most
//! telling first. The conditions and their thresholds are declared here, in advance and for every
//! vehicle alike: a threshold searched for in the data would need a p-value of its own. The unit
//! is the start, with or without an incident; further incidents of the same start are not further
//! trials. Refuses to count a start that could not be judged, or whose condition is unknown.

use super::exposure::{ConditionRisk, Exposure};
use crate::numerics::circular::shift_p;
use crate::numerics::exact::{mid_p, smallest_mid_p};
use crate::numerics::ratio::{koopman, risk_ratio, shrunk_ratio};
use crate::numerics::table::TwoGroups;

/// One condition of the declared family.
#[derive(Debug, Clone, Copy)]
pub struct Condition {
    /// Its name on screen and in files.
    pub name: &'static str,
    /// Why this threshold.
    pub reason: &'static str,
    /// A start with it, in words.
    pub said: &'static str,
    /// A start without it, in words.
    pub otherwise: &'static str,
    test: fn(&Exposure) -> Option<bool>,
}

impl Condition {
    /// Whether the start had the condition; `None` when that is not known.
    #[must_use]
    pub fn holds(&self, exposure: &Exposure) -> Option<bool> {
        (self.test)(exposure)
    }
}

/// Below this a surface can freeze, °C.
pub(super) const COLD_C: f64 = 2.0;
/// From this soak on the whole vehicle has come close to the air, seconds.
const LONG_SOAK_S: f64 = 6.0 * 3600.0;
/// Confidence of the interval.
const CONFIDENCE: f64 = 0.95;

/// Positions in [`FAMILY`] of the conditions that stand for themselves.
pub(super) const SINGLE: [usize; 7] = [COLD, WET, SOAK, 3, 4, WASHED, 7];
/// Position of the cold condition.
pub(super) const COLD: usize = 0;
/// Position of the wet condition.
pub(super) const WET: usize = 1;
/// Position of the long stop.
pub(super) const SOAK: usize = 2;
/// Position of the wash.
pub(super) const WASHED: usize = 6;

/// All conditions that are ever asked, so that the family of tests is fixed.
pub const FAMILY: [Condition; 8] = [
    Condition {
        name: "ambient_c < 2",
        reason: "water on metal can freeze with the air a little above 0 °C, and sensors are \
                 off by up to 2 K",
        said: "cold (below 2 °C)",
        otherwise: "warm (2 °C or more)",
        test: cold,
    },
    Condition {
        name: "wet",
        reason: "rain or a wash in the 12 hours before, or air within 2 K of its dew point",
        said: "wet",
        otherwise: "dry",
        test: |exposure| exposure.wet,
    },
    Condition {
        name: "soak_h >= 6",
        reason: "after six hours at rest the modules have nearly the temperature of the air",
        said: "after a long stop (6 h or more)",
        otherwise: "after a short stop (under 6 h)",
        test: |exposure| exposure.soak_s.map(|soak| soak >= LONG_SOAK_S),
    },
    Condition {
        name: "first start of the day",
        reason: "the start after the night, whatever the weather was",
        said: "first of the day",
        otherwise: "later in the day",
        test: |exposure| exposure.first_of_day,
    },
    Condition {
        name: "low supply",
        reason: "below 10.5 V (18 V in a 24 V system) is outside what modules are built to work at",
        said: "with low supply (under 10.5 V; 24 V system: 18 V)",
        otherwise: "with good supply",
        test: |exposure| exposure.low_supply,
    },
    Condition {
        name: "ambient_c < 2 and wet",
        reason: "ice or a water film needs both",
        said: "cold and wet",
        otherwise: "warm or dry",
        test: |exposure| both(cold(exposure), exposure.wet),
    },
    Condition {
        name: "washed",
        reason: "a wash noted in the 12 hours before: a jet drives water where rain does not come",
        said: "washed in the 12 h before",
        otherwise: "not washed in the 12 h before",
        test: |exposure| exposure.washed,
    },
    Condition {
        name: "upper half of mileage",
        reason: "wear grows with the mileage; halved in advance at the middle of the odometer's range",
        said: "late (upper half of the mileage)",
        otherwise: "early (lower half of the mileage)",
        test: |exposure| exposure.late,
    },
];

fn cold(exposure: &Exposure) -> Option<bool> {
    exposure.ambient_c.as_ref().map(|ambient| ambient.value < COLD_C)
}

/// One known "no" settles it, whatever the other may be.
fn both(first: Option<bool>, second: Option<bool>) -> Option<bool> {
    match (first, second) {
        (Some(false), _) | (_, Some(false)) => Some(false),
        (Some(true), Some(true)) => Some(true),
        _ => None,
    }
}

/// The risk under each condition of [`FAMILY`] that at least one judged start had.
///
/// `exposures` are those of one vehicle, by time: the shift test needs their order. Sorted by
/// p-value, then name. The p-value is the larger of the exact test's mid-P and, from 40 starts
/// with a known condition on, of the circular shift test, which cannot be smaller than one in the
/// number of starts; `smallest_p` allows for both. Without a start that lacks the condition there
/// is nothing to compare: p is 1, ratio and interval `None`; so they are without any incident.
/// Where only starts with the condition had incidents the plain ratio is infinite, and the ratio
/// of the posterior means (x + 1/2) / (n + 1) stands in for it, with an interval that has no upper
/// end.
#[must_use]
pub fn risks(exposures: &[Exposure]) -> Vec<ConditionRisk> {
    let mut found: Vec<ConditionRisk> =
        FAMILY.iter().filter_map(|condition| risk(condition, exposures)).collect();
    found.sort_by(|a, b| {
        a.p_value.total_cmp(&b.p_value).then_with(|| a.condition.cmp(&b.condition))
    });
    found
}

fn risk(condition: &Condition, exposures: &[Exposure]) -> Option<ConditionRisk> {
    let (mut holds, mut hits) = (Vec::new(), Vec::new());
    let mut starts_unknown = 0;
    for exposure in exposures.iter().filter(|exposure| exposure.judged) {
        match condition.holds(exposure) {
            Some(held) => {
                holds.push(held);
                hits.push(exposure.incidents > 0);
            }
            None => starts_unknown += 1,
        }
    }
    let count = |with: bool, hit_only: bool| {
        let pairs = holds.iter().zip(&hits);
        let counted = pairs.filter(|(held, hit)| **held == with && (**hit || !hit_only)).count();
        u32::try_from(counted).unwrap_or(u32::MAX)
    };
    let [with, without] = [true, false].map(|side| (count(side, true), count(side, false)));
    if with.1 == 0 {
        return None;
    }
    let [x1, n1, x2, n2] = [with.0, with.1, without.0, without.1].map(u64::from);
    let table = TwoGroups::new(x1, n1, x2, n2)?;
    let interval = if x1 + x2 > 0 { koopman(table, CONFIDENCE) } else { None };
    let (shift, least_shift) = match shift_p(&holds, &hits) {
        Some(p) => (p, 1.0 / holds.len() as f64),
        None => (0.0, 0.0),
    };
    Some(ConditionRisk {
        condition: condition.name.to_owned(),
        incidents_with: with.0,
        starts_with: with.1,
        incidents_without: without.0,
        starts_without: without.1,
        risk_ratio: match x1 {
            0 => risk_ratio(table),
            _ => risk_ratio(table).or_else(|| shrunk_ratio(table)),
        },
        low: interval.map(|interval| interval.low),
        high: interval.and_then(|interval| interval.high),
        p_value: mid_p(table).max(shift),
        smallest_p: smallest_mid_p(table).max(least_shift),
        starts_unknown,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conditions::{Sourced, invented};
    use crate::vocabulary::Instant;

    /// A judged start of which only these conditions are known.
    fn exposure(at: usize, ambient_c: Option<f64>, wet: Option<bool>, incidents: u32) -> Exposure {
        let start = Instant(0).plus_seconds(at as f64 * 30_000.0);
        Exposure {
            incidents,
            ambient_c: ambient_c.map(|value| Sourced { value, source: "log", age_s: 0.0 }),
            wet,
            ..invented::exposure("LH-01", start)
        }
    }

    /// 120 starts, cold in spells of uneven length that fill 24 of them, wet at uneven times; the
    /// incidents at every other cold one.
    fn planted(incidents: usize) -> Vec<Exposure> {
        let spells = [(4, 7), (15, 20), (33, 35), (58, 64), (71, 72), (97, 104)];
        let (mut colds, mut left) = (0, incidents);
        let mut exposures = Vec::new();
        for at in 0..120 {
            let cold = spells.iter().any(|(begin, end)| (*begin..*end).contains(&at));
            colds += usize::from(cold);
            let hit = cold && colds % 2 == 0 && left > 0;
            left -= usize::from(hit);
            let ambient_c = if cold { -3.0 } else { 9.0 };
            let wet = at * at % 11 < 4;
            exposures.push(exposure(at, Some(ambient_c), Some(wet), 2 * u32::from(hit)));
        }
        exposures
    }

    fn named<'a>(found: &'a [ConditionRisk], name: &str) -> &'a ConditionRisk {
        found.iter().find(|risk| risk.condition == name).expect("listed")
    }

    #[test]
    fn planted_trigger_is_found_first() {
        let found = risks(&planted(9));
        let cold = &found[0];
        assert_eq!(cold.condition, "ambient_c < 2");
        let counts =
            (cold.incidents_with, cold.starts_with, cold.incidents_without, cold.starts_without);
        assert_eq!(counts, (9, 24, 0, 96), "two incidents of one start are one trial");
        // (9.5 / 25) / (0.5 / 97)
        assert!(cold.risk_ratio.is_some_and(|ratio| (ratio - 73.72).abs() < 1e-9));
        assert!(cold.low.is_some_and(|low| low > 1.0) && cold.high.is_none());
        assert!(cold.p_value < 0.02 && cold.smallest_p <= cold.p_value);
        assert!(named(&found, "wet").p_value > 0.1);
    }

    // 7 of 9 against 0 of 32, exact integers: two-sided mid-P 8.006e-7.
    #[test]
    fn with_41_starts_the_shift_test_sets_the_floor() {
        let hit = |at: usize| (3..10).contains(&at);
        let cold = |at: usize| (2..11).contains(&at);
        let all: Vec<Exposure> = (0..41)
            .map(|at| exposure(at, Some(if cold(at) { 0.0 } else { 5.0 }), None, hit(at).into()))
            .collect();
        let long = risks(&all);
        let cold = named(&long, "ambient_c < 2");
        assert!((cold.smallest_p - 1.0 / 41.0).abs() < 1e-12);
        assert!(cold.p_value >= 1.0 / 41.0 && cold.p_value < 0.1);
        let short = risks(&all[..30]);
        let cold = named(&short, "ambient_c < 2");
        assert!(cold.p_value < 1e-4 && (cold.smallest_p - cold.p_value).abs() < 1e-15);
    }

    #[test]
    fn unknown_and_unjudged_starts_are_no_trials() {
        let mut starts: Vec<Exposure> = (0..20)
            .map(|at| exposure(at, Some(f64::from(u8::from(at >= 5)) * 9.0), None, 0))
            .collect();
        starts[0].incidents = 1;
        starts[1].ambient_c = None;
        starts[2].judged = false;
        starts[2].incidents = 4;
        let found = risks(&starts);
        let cold = named(&found, "ambient_c < 2");
        assert_eq!((cold.incidents_with, cold.starts_with, cold.starts_unknown), (1, 3, 1));
        assert_eq!(cold.starts_without, 15);
        // Wet is known of none: not listed. Cold and wet: a warm start has not both.
        assert_eq!(found.len(), 1);
        starts[0].wet = Some(true);
        let found = risks(&starts);
        let both = named(&found, "ambient_c < 2 and wet");
        assert_eq!((both.starts_with, both.starts_without, both.starts_unknown), (1, 15, 3));
    }

    #[test]
    fn nothing_to_compare() {
        let always = [exposure(0, Some(0.0), None, 1), exposure(1, Some(1.0), None, 0)];
        let found = risks(&always);
        let cold = named(&found, "ambient_c < 2");
        assert_eq!((cold.risk_ratio, cold.low, cold.high), (None, None, None));
        assert!((cold.p_value - 1.0).abs() < 1e-15 && (cold.smallest_p - 1.0).abs() < 1e-15);
        let clean = [exposure(0, Some(0.0), None, 0), exposure(1, Some(9.0), None, 0)];
        let found = risks(&clean);
        let cold = named(&found, "ambient_c < 2");
        assert_eq!((cold.risk_ratio, cold.low, cold.high), (None, None, None));
        assert!((cold.p_value - 1.0).abs() < 1e-15);
        assert!(risks(&[]).is_empty());
    }

    #[test]
    fn incidents_only_without_the_condition() {
        let mut starts = planted(0);
        starts[40].incidents = 1;
        let found = risks(&starts);
        let cold = named(&found, "ambient_c < 2");
        assert_eq!(cold.risk_ratio, Some(0.0));
        assert!(cold.low.is_some_and(|low| low < 1e-300) && cold.high.is_some());
    }

    #[test]
    fn every_condition_is_named_once_and_says_why() {
        for (at, condition) in FAMILY.iter().enumerate() {
            assert!(condition.reason.len() > 20);
            assert!(FAMILY[..at].iter().all(|other| other.name != condition.name));
        }
    }
}
