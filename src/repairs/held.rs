//! Whether a change has held: incidents per start before and after, matched on the trigger.
//!
//! The trigger is the set of conditions with the highest risk in the starts *before* the change;
//! the starts after it had no say in it. Only starts under the trigger can prove a cure: a fault
//! that lives in cold, damp starts is silent in warm ones whether repaired or not.
//!
//! - `p_value`: exact conditional test, one-sided mid-P, within the strata trigger and no trigger.
//! - `fell_80`: probability that the risk under the trigger fell by at least 80 % (Jeffreys).
//!   Both leave out the last incident before the change, with its start: vehicles are repaired
//!   after an incident, so that one was bound to be there (Haldane 1945 for the count of a rare
//!   thing that ends with it). With it a useless repair after a bad week had p ≤ .05 in 10 %
//!   (measured before it was left out).
//! - Held: no incident since, and an unchanged fault would have stayed away so long under the
//!   trigger with a probability of at most 1 − confidence, averaged over what its risk may have
//!   been. Came back: the incidents since speak for "unchanged" against a risk of 1 in 200 by at
//!   least 1/(1 − confidence). Both may be looked at after every start (Ville 1939), and no count
//!   is ever begun anew after an incident.

use serde::{Deserialize, Serialize};

use super::changes::{Change, Kind};
use crate::conditions::{Condition, Trial, met_all, trigger};
use crate::numerics::beta_binomial::{
    JEFFREYS, first_hit_within, predictive_clean, probability_fell_to,
};
use crate::numerics::logs::decibans;
use crate::numerics::sequential::unchanged_against_cured;
use crate::numerics::strata;
use crate::numerics::table::TwoGroups;
use crate::vocabulary::{Instant, Place, Word, words};

/// The risk per start of a cured vehicle: incidents of other kinds still happen (judgement).
const CURED: f64 = 0.005;
/// What is left of the risk when it has fallen by 80 %.
const FELL_TO: f64 = 0.2;

/// Starts with an incident, and starts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Counts {
    /// With an incident.
    pub hits: u64,
    /// All.
    pub starts: u64,
}

/// Where a change stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum State {
    /// Enough clean starts under the trigger.
    Held,
    /// Clean so far, or too little to tell.
    NotYetShown,
    /// It happens as before.
    CameBack,
    /// No start since met the trigger.
    NeverTested,
    /// No incident was seen before it.
    NothingBefore,
}

impl State {
    /// The word for it, the same on every output.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            State::Held => "held",
            State::NotYetShown => "not yet shown",
            State::CameBack => "came back",
            State::NeverTested => "never tested under the trigger",
            State::NothingBefore => "nothing to compare",
        }
    }
}

/// One change and what became of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Repair {
    /// Lasting, or a disconnection for a time.
    pub kind: Kind,
    /// When it was done.
    pub from: Instant,
    /// The next lasting change, or the reconnection; `None` up to now.
    pub until: Option<Instant>,
    /// What was done; several at once are one change.
    pub actions: Vec<String>,
    /// The conditions of the trigger, as in the list of conditions; empty: any start.
    #[serde(deserialize_with = "words")]
    pub trigger: Vec<Word>,
    /// Under the trigger, before.
    pub before: Counts,
    /// Under the trigger, after.
    pub after: Counts,
    /// Not under the trigger, before.
    pub before_other: Counts,
    /// Not under the trigger, after.
    pub after_other: Counts,
    /// Starts after it of which nobody knows whether they met the trigger.
    pub after_unknown: u64,
    /// After a disconnection was undone: under the trigger.
    pub again: Option<Counts>,
    /// One-sided exact mid-P that the risk is not lower; the last incident before is left out.
    pub p_value: Option<f64>,
    /// Probability that the risk under the trigger fell by at least 80 %; likewise.
    pub fell_80: Option<f64>,
    /// Confidence asked for.
    pub confidence: f64,
    /// Clean starts under the trigger that it takes in all.
    pub needed: Option<u64>,
    /// Clean starts under the trigger that are still needed; `None` when that cannot be said, or
    /// an incident came since.
    pub still_needed: Option<u64>,
    /// Decibans for "unchanged" against "cured"; below 0 speaks for cured.
    pub unchanged_db: Option<f64>,
    /// Decibans at which it is decided, either way.
    pub decided_db: f64,
    /// Where it stands.
    pub state: State,
    /// In one or two sentences.
    pub said: String,
    /// Where the notes stand.
    pub places: Vec<Place>,
}

/// Weighs one change at a confidence, as in 0.95.
pub(super) fn weigh(change: Change<'_, '_>, confidence: f64) -> Repair {
    let owned: Vec<Trial<'_>> = change.before.iter().map(|trial| (*trial).clone()).collect();
    let conditions = trigger(&owned);
    let count = |trials: &[&Trial<'_>], under: bool| {
        let chosen = trials.iter().filter(|t| met_all(&conditions, t) == Some(under));
        chosen.fold(Counts::default(), |sum, trial| Counts {
            hits: sum.hits + u64::from(trial.hit),
            starts: sum.starts + 1,
        })
    };
    let (before, before_other) = (count(&change.before, true), count(&change.before, false));
    let (after, after_other) = (count(&change.after, true), count(&change.after, false));
    let after_unknown = change.after.len() as u64 - after.starts - after_other.starts;
    let again = change.again.as_ref().map(|trials| count(trials, true));
    let last = change.before.iter().rev().find(|trial| trial.hit);
    let without_last = |counts: Counts, under: bool| {
        let own = last.is_some_and(|trial| met_all(&conditions, trial) == Some(under));
        let less = u64::from(own);
        Counts { hits: counts.hits - less, starts: counts.starts - less }
    };
    let tables =
        [(without_last(before, true), after), (without_last(before_other, false), after_other)]
            .map(|(b, a)| TwoGroups::new(b.hits, b.starts, a.hits, a.starts));
    let strata: Vec<TwoGroups> = tables.iter().copied().flatten().collect();
    let comparable = before.hits > 0 && after.starts > 0;
    let posterior =
        (JEFFREYS.0 + before.hits as f64, JEFFREYS.1 + (before.starts - before.hits) as f64);
    let needed = (before.hits > 0).then(|| first_hit_within(posterior, confidence)).flatten();
    let hits_since = after.hits + after_other.hits;
    let weight = weight(before, after, before_other, after_other);
    let decided = -(1.0 - confidence).ln();
    let clean = predictive_clean(before.hits, before.starts, after.starts, JEFFREYS);
    let state = if before.hits + before_other.hits == 0 {
        State::NothingBefore
    } else if hits_since > 0 && weight.is_some_and(|weight| weight >= decided) {
        State::CameBack
    } else if hits_since > 0 {
        State::NotYetShown
    } else if after.starts == 0 && !conditions.is_empty() {
        State::NeverTested
    } else if clean.is_some_and(|p| p <= 1.0 - confidence) {
        State::Held
    } else {
        State::NotYetShown
    };
    let mut repair = Repair {
        kind: change.kind,
        from: change.from,
        until: change.until,
        actions: change.actions,
        trigger: conditions.iter().map(|condition| condition.name).collect(),
        before,
        after,
        before_other,
        after_other,
        after_unknown,
        again,
        p_value: comparable.then(|| strata::upper_mid_p(&strata)).flatten(),
        fell_80: tables[0]
            .filter(|_| comparable)
            .and_then(|table| probability_fell_to(table, FELL_TO, JEFFREYS)),
        confidence,
        needed,
        still_needed: needed
            .filter(|_| hits_since == 0)
            .map(|needed| needed.saturating_sub(after.starts)),
        unchanged_db: weight.map(decibans),
        decided_db: decibans(decided),
        state,
        said: String::new(),
        places: change.places,
    };
    repair.said = said(&repair, &conditions, clean);
    repair
}

/// ln for "unchanged" against "cured". Strata that had no incident before tell nothing while they
/// stay clean: there was no risk that could have gone. Without an incident since, cured means
/// none at all.
fn weight(before: Counts, after: Counts, other: Counts, after_other: Counts) -> Option<f64> {
    let mut sum = None;
    for (b, a) in [(before, after), (other, after_other)] {
        if a.starts == 0 || (b.hits == 0 && a.hits == 0) {
            continue;
        }
        let posterior = (JEFFREYS.0 + b.hits as f64, JEFFREYS.1 + (b.starts - b.hits) as f64);
        let cured = if after.hits + after_other.hits == 0 { 1e-12 } else { CURED };
        let own = unchanged_against_cured(a.hits, a.starts, posterior, cured)?;
        sum = Some(sum.unwrap_or(0.0) + own);
    }
    sum
}

fn said(repair: &Repair, conditions: &[&'static Condition], clean: Option<f64>) -> String {
    let words: Vec<&str> = conditions.iter().map(|condition| condition.said).collect();
    let kind = match words.as_slice() {
        [] => String::new(),
        _ => format!(" that were {}", words.join(" and ")),
    };
    let Counts { hits, starts } = repair.after;
    let since = match repair.kind {
        Kind::Lasting => "since",
        Kind::Disconnection => "while it was off",
    };
    let counts = format!(
        "{hits} of {starts} starts{kind} had an incident {since}, {} of {} before",
        repair.before.hits, repair.before.starts
    );
    let other = repair.after_other;
    let rest = match repair.state {
        State::NothingBefore => {
            "no incident was seen before it, so nothing can have gone away".to_owned()
        }
        State::CameBack if hits == 0 => format!(
            "{counts}; but {} of {} other starts had one: it is still there",
            other.hits, other.starts
        ),
        State::CameBack => format!("{counts}: it happens as before"),
        State::NeverTested => format!(
            "{} of {} starts {since} had an incident, but none of them was {}: a spell without the \
             trigger has proved nothing",
            other.hits,
            other.starts + repair.after_unknown,
            words.join(" and ")
        ),
        State::Held => format!(
            "{counts}; an unchanged fault would have stayed away so long with a probability of \
             {:.1} %",
            100.0 * clean.unwrap_or(1.0)
        ),
        State::NotYetShown if hits + other.hits > 0 => format!(
            "{counts}{}; that neither shows a cure nor that it is as before",
            match other.hits {
                0 => String::new(),
                _ => format!(" ({} of {} other starts had one)", other.hits, other.starts),
            }
        ),
        State::NotYetShown => match repair.still_needed {
            Some(more) => format!(
                "{counts}; {more} more clean starts{kind} would show it at {:.0} % confidence",
                100.0 * repair.confidence
            ),
            None => format!("{counts}; too little to tell"),
        },
    };
    let again = match repair.again {
        Some(again) if again.starts > 0 => {
            format!("; after reconnecting, {} of {} such starts had one", again.hits, again.starts)
        }
        _ => String::new(),
    };
    let several = if repair.actions.len() > 1 {
        "; several things were done at once: which of them did it cannot be told"
    } else {
        ""
    };
    format!("{rest}{again}{several}")
}
