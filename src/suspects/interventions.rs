//! What a change on the vehicle tells: a suspect that was taken off or replaced without effect is
//! hardly the one; a recovery speaks for it. An empty outcome is read off the starts before and after.

use super::hypotheses::{Hypothesis, Manner};
use super::rates;
use crate::conditions::Exposure;
use crate::numerics::beta_binomial::{JEFFREYS, ln_ordered};
use crate::numerics::logs::ln_from_decibans;
use crate::read::{ServiceAction, ServiceNote, ServiceOutcome};
use crate::vocabulary::Suspect;

/// What one note says, as probabilities under "it cured the fault" and "it did not", in logarithms.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Outcome {
    pub if_cured: f64,
    pub if_not: f64,
    /// In words.
    pub what: String,
}

/// The outcome of a note; `None` when it changes nothing or nothing can be told.
pub(super) fn outcome(
    note: &ServiceNote,
    notes: &[ServiceNote],
    exposures: &[Exposure],
) -> Option<Outcome> {
    let target = note.target.as_ref()?.the_in_words();
    let verb = match note.action {
        ServiceAction::Disconnect => "disconnected",
        ServiceAction::Replace => "replaced",
        ServiceAction::Repair => "repaired",
        ServiceAction::Clean => "cleaned",
        _ => return None,
    };
    if let Some(said) = note.outcome {
        let (place, word) = match said {
            ServiceOutcome::Recovered => (0, "the fault went away"),
            ServiceOutcome::NoChange => (1, "nothing changed"),
            ServiceOutcome::Worse => (2, "it got worse"),
        };
        let (cured, not) = rates::OUTCOMES[place];
        let what = format!("{target} was {verb} and {word}");
        return Some(Outcome { if_cured: cured.ln(), if_not: not.ln(), what });
    }
    read_off(note, notes, exposures).map(|(counts, if_cured, if_not)| {
        let [before, of_before, after, of_after] = counts;
        Outcome {
            if_cured,
            if_not,
            what: format!(
                "{target} was {verb}: {before} of {of_before} starts had an incident before, {after} of \
                 {of_after} after"
            ),
        }
    })
}

/// Counts before and after, up to the next change, with the two likelihoods.
fn read_off(
    note: &ServiceNote,
    notes: &[ServiceNote],
    exposures: &[Exposure],
) -> Option<([u64; 4], f64, f64)> {
    let changes = |n: &&ServiceNote| {
        matches!(
            n.action,
            ServiceAction::Disconnect
                | ServiceAction::Reconnect
                | ServiceAction::Replace
                | ServiceAction::Repair
                | ServiceAction::Clean
        )
    };
    let until = notes.iter().filter(changes).map(|n| n.time).filter(|t| *t > note.time).min();
    let since = notes.iter().filter(changes).map(|n| n.time).filter(|t| *t < note.time).max();
    let mut counts = [0u64; 4];
    for e in exposures.iter().filter(|e| e.judged) {
        let hit = u64::from(e.incidents > 0);
        if e.start < note.time && since.is_none_or(|t| e.start >= t) {
            counts[0] += hit;
            counts[1] += 1;
        } else if e.start >= note.time && until.is_none_or(|t| e.start < t) {
            counts[2] += hit;
            counts[3] += 1;
        }
    }
    let [before, of_before, after, of_after] = counts;
    if before == 0 || of_after == 0 {
        return None;
    }
    let clean = (of_after - after) as f64;
    let if_cured = after as f64 * rates::RESIDUAL.ln() + clean * (1.0 - rates::RESIDUAL).ln();
    let if_not = ln_ordered(before + after, of_before + of_after, JEFFREYS)
        - ln_ordered(before, of_before, JEFFREYS);
    let most = ln_from_decibans(rates::MOST_BY_STARTS_DB);
    let (low, high) = (if_not - most, if_not + most);
    Some((counts, if_cured.clamp(low, high), if_not))
}

/// Probability that acting on `target` cures a hypothesis.
pub(super) fn cures(note: &ServiceNote, h: &Hypothesis, nodes: &[String]) -> f64 {
    let Some(target) = &note.target else { return 0.0 };
    if *target == h.suspect {
        return 0.95;
    }
    let strikes = |name: &str| nodes.iter().position(|n| n == name).is_some_and(|n| h.struck[n]);
    let alone = h.struck.iter().filter(|s| **s).count() == 1;
    match (target, h.manner) {
        // Taking a node off its connector touches the connector and the stub behind it.
        (Suspect::Node(name), Manner::Branch) if strikes(name) => {
            if alone {
                rates::RESEATED + 0.3
            } else {
                rates::RESEATED / 2.0
            }
        }
        (Suspect::Node(name), Manner::Feed | Manner::Ground) if strikes(name) && alone => 0.2,
        (Suspect::Branch(_), Manner::CutOff) => rates::RESEATED / 2.0,
        (Suspect::Feed(_) | Suspect::Ground(_), Manner::Dead) => 0.1,
        _ => 0.0,
    }
}
