//! Conditions that came together: which of them matters may be beyond these data.
//!
//! In: the trials of one vehicle. Out: for each pair of conditions that both look like triggers,
//! whether the starts can tell them apart, and if not, which start would. Where they can, whether
//! one is only the other's companion: it loses its association once the other is held. The table
//! of starts is looked at first, the incidents after.

use serde::{Deserialize, Serialize};

use super::risk::{Condition, FAMILY, SINGLE, WASHED, WET};
use super::trials::{Trial, tally, with_and_without};
use crate::numerics::exact::upper_mid_p;
use crate::numerics::strata;
use crate::numerics::table::TwoGroups;
use crate::vocabulary::{Word, maybe_word, word};

/// A condition looks like a trigger up to this one-sided p.
const LOOKS_LIKE: f64 = 0.1;
/// A cell with fewer starts separates nothing.
const LEAST_STARTS: u64 = 5;
/// With the other held, an association at or below this p is still there …
const STAYS: f64 = 0.05;
/// … and one above this is not.
const GOES: f64 = 0.2;

/// Two conditions that cannot be taken for two.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Confounded {
    /// One condition, as in the list of conditions.
    #[serde(deserialize_with = "word")]
    pub first: Word,
    /// The other.
    #[serde(deserialize_with = "word")]
    pub second: Word,
    /// Starts with both.
    pub together: u64,
    /// Starts with at least one.
    pub either: u64,
    /// The condition that is only a companion, where the data tell.
    #[serde(deserialize_with = "maybe_word")]
    pub companion: Option<Word>,
    /// In words.
    pub said: String,
    /// Starts that would separate them, in words.
    pub separated_by: Vec<String>,
}

/// All pairs that look like triggers and cannot be told apart, or of which one is a companion.
pub(super) fn confounded(trials: &[Trial<'_>]) -> Vec<Confounded> {
    let suspicious: Vec<&'static Condition> = SINGLE
        .into_iter()
        .filter(|at| {
            with_and_without(trials, *at)
                .is_some_and(|t| t.trials2() > 0 && upper_mid_p(t) <= LOOKS_LIKE)
        })
        .filter_map(|at| FAMILY.get(at))
        .collect();
    let mut found = Vec::new();
    for (position, first) in suspicious.iter().enumerate() {
        for second in suspicious.iter().skip(position + 1) {
            found.extend(pair(trials, first, second));
        }
    }
    found
}

fn pair(
    trials: &[Trial<'_>],
    first: &'static Condition,
    second: &'static Condition,
) -> Option<Confounded> {
    let cell = |one: bool, other: bool| {
        tally(trials, |trial| Some(trial.met(first)? == one && trial.met(second)? == other))
    };
    let (both, only_first, only_second) = (cell(true, true), cell(true, false), cell(false, true));
    let neither = cell(false, false);
    let either = both.1 + only_first.1 + only_second.1;
    let alone_first = format!("a start that is {} but {}", first.said, second.otherwise);
    let alone_second = format!("a start that is {} but {}", second.said, first.otherwise);
    // A washed start is wet: there is no washed and dry one to look for, and only wet starts without
    // a wash can tell which of the two it is.
    let nested = [first.name, second.name] == [WET, WASHED].map(|at| FAMILY[at].name);
    let thin = match nested {
        true if only_first.1 < LEAST_STARTS => return None,
        true => [false; 2],
        false => [only_first.1 < LEAST_STARTS, only_second.1 < LEAST_STARTS],
    };
    let (said, companion, separated_by) = match thin {
        [true, true] => (
            format!(
                "{} and {} came together in {} of {either} starts: the data cannot tell them apart; \
                 {alone_first}, or {alone_second}, would",
                first.said, second.said, both.1
            ),
            None,
            vec![alone_first, alone_second],
        ),
        [true, false] | [false, true] if both.0 > 0 => {
            let (inner, outer, alone) =
                if thin[0] { (first, second, alone_first) } else { (second, first, alone_second) };
            let inner_only = if thin[0] { only_first.1 } else { only_second.1 };
            (
                format!(
                    "{} of {} starts that were {} were also {}: whether it takes both cannot be \
                     told; {alone} would tell",
                    both.1,
                    both.1 + inner_only,
                    inner.said,
                    outer.said
                ),
                None,
                vec![alone],
            )
        }
        _ => {
            // Each within the strata of the other.
            let of_first = [
                TwoGroups::new(both.0, both.1, only_second.0, only_second.1)?,
                TwoGroups::new(only_first.0, only_first.1, neither.0, neither.1)?,
            ];
            let of_second = [
                TwoGroups::new(both.0, both.1, only_first.0, only_first.1)?,
                TwoGroups::new(only_second.0, only_second.1, neither.0, neither.1)?,
            ];
            let first_p = strata::upper_mid_p(&of_first)?;
            let second_p = strata::upper_mid_p(&of_second)?;
            let (cause, companion, p) = if first_p <= STAYS && second_p > GOES {
                (first, second, second_p)
            } else if second_p <= STAYS && first_p > GOES {
                (second, first, first_p)
            } else {
                return None;
            };
            (
                format!(
                    "starts that were {} stand out only because {} of {either} were {} as well: \
                     among starts alike in that, nothing is left of it (p = {p:.2})",
                    companion.said, both.1, cause.said
                ),
                Some(companion.name),
                Vec::new(),
            )
        }
    };
    Some(Confounded {
        first: first.name,
        second: second.name,
        together: both.1,
        either,
        companion,
        said,
        separated_by,
    })
}
