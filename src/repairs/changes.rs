//! Service notes become changes: what was done at one time, and which starts lie on either side.
//!
//! In: one vehicle's notes and trials, both by time. Out: changes by time. Lasting changes with no
//! start between them are one: nothing tells which of them did it. A disconnection that was undone
//! is an experiment of its own, and its starts count on neither side of a lasting change.

use serde::{Deserialize, Serialize};

use crate::conditions::Trial;
use crate::read::{ServiceAction, ServiceNote};
use crate::vocabulary::{Instant, Place};

/// What kind of change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Kind {
    /// Something was replaced, repaired, cleaned or initialised.
    Lasting,
    /// Something was disconnected for a time.
    Disconnection,
}

/// One change with its sides.
#[derive(Debug, Clone)]
pub(super) struct Change<'a, 't> {
    pub kind: Kind,
    pub from: Instant,
    /// End of the disconnection, or the next lasting change; `None` up to now.
    pub until: Option<Instant>,
    /// What was done, as in `replace node:steering-angle`.
    pub actions: Vec<String>,
    pub places: Vec<Place>,
    pub before: Vec<&'a Trial<'t>>,
    pub after: Vec<&'a Trial<'t>>,
    /// After a disconnection was undone: the starts since, up to the next lasting change.
    pub again: Option<Vec<&'a Trial<'t>>>,
}

/// A disconnection in time.
struct Apart {
    from: Instant,
    until: Option<Instant>,
    /// It ended with the same part in place again, not with a part that was replaced or repaired.
    same_again: bool,
    note: usize,
}

pub(super) fn changes<'a, 't>(
    notes: &[ServiceNote],
    trials: &'a [Trial<'t>],
) -> Vec<Change<'a, 't>> {
    let apart = disconnections(notes);
    let groups = lasting(notes, trials);
    let connected = |trial: &&Trial<'_>| {
        let at = trial.exposure.start;
        !apart.iter().any(|gap| at >= gap.from && gap.until.is_none_or(|until| at < until))
    };
    let between = |from: Option<Instant>, until: Option<Instant>| -> Vec<&'a Trial<'t>> {
        let inside = trials.iter().filter(|trial| {
            let at = trial.exposure.start;
            from.is_none_or(|from| at >= from) && until.is_none_or(|until| at < until)
        });
        inside.collect()
    };
    let connected_between = |from, until| -> Vec<&'a Trial<'t>> {
        between(from, until).into_iter().filter(|trial| connected(trial)).collect()
    };
    let begins: Vec<Instant> =
        groups.iter().filter_map(|group| Some(notes.get(*group.first()?)?.time)).collect();
    let last_before = |at: Instant| begins.iter().copied().filter(|begin| *begin < at).max();
    let next_after = |at: Instant| begins.iter().copied().filter(|begin| *begin > at).min();
    // Since the last lasting change if anything happened since; else all there is: a change that
    // cured nothing is no reason to forget what was seen before it.
    let before = |at: Instant| {
        let since = connected_between(last_before(at), Some(at));
        if since.iter().any(|trial| trial.hit) { since } else { connected_between(None, Some(at)) }
    };
    let mut found = Vec::new();
    for (group, from) in groups.iter().zip(begins.iter().copied()) {
        let until = next_after(from);
        let own: Vec<&ServiceNote> = group.iter().filter_map(|at| notes.get(*at)).collect();
        let done = own.last().map_or(from, |note| note.time);
        found.push(Change {
            kind: Kind::Lasting,
            from,
            until,
            actions: own.iter().map(|note| named(note)).collect(),
            places: own.iter().map(|note| note.place.clone()).collect(),
            before: before(from),
            after: connected_between(Some(done), until),
            again: None,
        });
    }
    for gap in &apart {
        let Some(note) = notes.get(gap.note) else { continue };
        found.push(Change {
            kind: Kind::Disconnection,
            from: gap.from,
            until: gap.until,
            actions: vec![named(note)],
            places: vec![note.place.clone()],
            before: before(gap.from),
            after: between(Some(gap.from), gap.until),
            again: gap
                .until
                .filter(|_| gap.same_again)
                .map(|until| connected_between(Some(until), next_after(until))),
        });
    }
    found.sort_by(|a, b| a.from.cmp(&b.from).then_with(|| a.actions.cmp(&b.actions)));
    found
}

/// Each disconnection with what ended it.
fn disconnections(notes: &[ServiceNote]) -> Vec<Apart> {
    let begun = notes.iter().enumerate().filter(|(_, n)| n.action == ServiceAction::Disconnect);
    begun
        .map(|(at, note)| {
            let undone = notes.iter().skip(at + 1).find(|later| note.is_ended_by(later));
            Apart {
                from: note.time,
                until: undone.map(|later| later.time),
                same_again: undone.is_some_and(|later| later.action == ServiceAction::Reconnect),
                note: at,
            }
        })
        .collect()
}

/// Positions of the notes that change something for good, those without a start between them
/// together.
fn lasting(notes: &[ServiceNote], trials: &[Trial<'_>]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    let mut last: Option<Instant> = None;
    for (at, note) in notes.iter().enumerate() {
        let changes = matches!(
            note.action,
            ServiceAction::Replace
                | ServiceAction::Repair
                | ServiceAction::Clean
                | ServiceAction::Initialise
        );
        if !changes {
            continue;
        }
        let start_between = last.is_none_or(|last| {
            trials.iter().any(|t| t.exposure.start >= last && t.exposure.start < note.time)
        });
        match groups.last_mut().filter(|_| !start_between) {
            Some(group) => group.push(at),
            None => groups.push(vec![at]),
        }
        last = Some(note.time);
    }
    groups
}

fn named(note: &ServiceNote) -> String {
    let verb = match note.action {
        ServiceAction::Disconnect => "disconnect",
        ServiceAction::Reconnect => "reconnect",
        ServiceAction::Replace => "replace",
        ServiceAction::Repair => "repair",
        ServiceAction::Clean => "clean",
        ServiceAction::Inspect => "inspect",
        ServiceAction::Initialise => "initialise",
        ServiceAction::RoadTest => "road-test",
    };
    match &note.target {
        Some(target) => format!("{verb} {}", target.the_in_words()),
        None => format!("{verb} (no target noted)"),
    }
}
