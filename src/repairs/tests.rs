//! Repairs on invented starts. Test builds only.

use super::changes::changes;
use super::held::weigh;
use super::{Kind, Repair, State};
use crate::conditions::invented::{Invented, begin, starts};
use crate::conditions::trials;
use crate::read::{ServiceAction, ServiceNote};
use crate::vocabulary::{Place, Suspect};

const PLAIN: Invented = Invented::PLAIN;
const TRIGGER: Invented = Invented::TRIGGER;

/// A note just before the start of that number.
pub(super) fn note(at: usize, action: ServiceAction, node: &str) -> ServiceNote {
    ServiceNote {
        time: begin(at).plus_seconds(-600.0),
        vehicle: "LH-01".to_owned(),
        action,
        target: Some(Suspect::Node(node.to_owned())),
        outcome: None,
        note: String::new(),
        place: Place::whole(&"service.csv".into()),
    }
}

fn weighed(rows: &[Invented], notes: &[ServiceNote]) -> Vec<Repair> {
    let (exposures, incidents) = starts(rows);
    let trials = trials(&exposures, &incidents);
    changes(notes, &trials).into_iter().map(|change| weigh(change, 0.95)).collect()
}

/// Forty starts before: every other one under the trigger, five of those twenty with an incident.
fn before() -> Vec<Invented> {
    (0..40)
        .map(|at| match at {
            _ if at % 2 == 1 => PLAIN,
            _ if at % 8 == 0 => TRIGGER.hit(),
            _ => TRIGGER,
        })
        .collect()
}

fn after(more: &[Invented]) -> Repair {
    let rows: Vec<Invented> = before().into_iter().chain(more.iter().copied()).collect();
    let found = weighed(&rows, &[note(40, ServiceAction::Replace, "steering-angle")]);
    let [repair] = found.as_slice() else { panic!("{found:?}") };
    repair.clone()
}

#[test]
fn warm_dry_weeks_prove_nothing() {
    let repair = after(&[PLAIN; 60]);
    assert_eq!(repair.state, State::NeverTested);
    assert_eq!((repair.after.starts, repair.after_other.starts), (0, 60));
    assert!(repair.said.contains("has proved nothing"), "{}", repair.said);
    assert_eq!((repair.p_value, repair.fell_80), (None, None));
    assert_eq!(repair.still_needed, repair.needed);
}

// 5 of 20 before: the least m with B(5.5, 15.5 + m) / B(5.5, 15.5) at most .05 is 13 (Python
// lgamma; between 3/10 and 4/20 of q5.clean_starts_needed, 12 and 18).
#[test]
fn clean_starts_under_the_trigger_add_up() {
    let mut few = vec![PLAIN; 30];
    few.extend([TRIGGER; 5]);
    let repair = after(&few);
    assert_eq!(repair.state, State::NotYetShown);
    assert_eq!((repair.before.hits, repair.before.starts), (5, 20));
    let needed = repair.needed.expect("incidents before");
    assert_eq!(needed, 13);
    assert_eq!(repair.still_needed, Some(needed - 5));
    let held = after(&vec![TRIGGER; usize::try_from(needed).expect("few")]);
    assert_eq!(held.state, State::Held);
    assert_eq!(held.still_needed, Some(0));
    assert!(held.fell_80.is_some_and(|p| p > 0.5) && held.p_value.is_some_and(|p| p < 0.06));
    let almost = after(&vec![TRIGGER; usize::try_from(needed - 1).expect("few")]);
    assert_eq!(almost.state, State::NotYetShown);
    assert!(held.unchanged_db.is_some_and(|db| db <= -held.decided_db + 1e-6));
}

#[test]
fn incidents_as_before_come_back_and_one_late_one_is_open() {
    let again = after(&[TRIGGER, TRIGGER.hit(), TRIGGER, TRIGGER.hit(), TRIGGER]);
    assert_eq!(again.state, State::CameBack);
    assert_eq!(again.still_needed, None);
    let mut late = vec![TRIGGER; 25];
    late.push(TRIGGER.hit());
    let late = after(&late);
    assert_eq!(late.state, State::NotYetShown, "{}", late.said);
}

#[test]
fn nothing_before_is_nothing_to_compare() {
    let found = weighed(&[PLAIN; 30], &[note(10, ServiceAction::Clean, "body")]);
    assert_eq!(found[0].state, State::NothingBefore);
    let none = ServiceNote { target: None, ..note(3, ServiceAction::Inspect, "body") };
    assert!(weighed(&[PLAIN; 30], &[none]).is_empty(), "looking changes nothing");
}

#[test]
fn several_changes_at_once_are_one() {
    let rows: Vec<Invented> = before().into_iter().chain([TRIGGER; 30]).collect();
    let mut second = note(40, ServiceAction::Clean, "brake-control");
    second.time = second.time.plus_seconds(60.0);
    let found = weighed(&rows, &[note(40, ServiceAction::Replace, "steering-angle"), second]);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].actions.len(), 2);
    assert!(found[0].said.ends_with("which of them did it cannot be told"));
}

#[test]
fn a_wrong_part_first_leaves_the_second_its_history() {
    let mut rows = before();
    rows.extend([TRIGGER, TRIGGER.hit(), TRIGGER.hit(), PLAIN, TRIGGER, TRIGGER.hit()]);
    let second = rows.len();
    rows.extend([TRIGGER; 20]);
    let notes = [
        note(40, ServiceAction::Replace, "refrigeration"),
        note(second, ServiceAction::Replace, "tail-lift"),
    ];
    let found = weighed(&rows, &notes);
    assert_eq!((found[0].state, found[1].state), (State::CameBack, State::Held));
    assert_eq!(found[0].until, Some(notes[1].time));
}

#[test]
fn a_disconnection_is_an_experiment() {
    let mut rows = before();
    rows.extend([TRIGGER; 6]);
    rows.extend([TRIGGER.hit(), TRIGGER, TRIGGER.hit()]);
    let notes = [
        note(40, ServiceAction::Disconnect, "tail-lift"),
        note(46, ServiceAction::Reconnect, "tail-lift"),
    ];
    let found = weighed(&rows, &notes);
    let [experiment] = found.as_slice() else { panic!("{found:?}") };
    assert_eq!(experiment.kind, Kind::Disconnection);
    assert_eq!((experiment.after.hits, experiment.after.starts), (0, 6));
    let again = experiment.again.expect("reconnected");
    assert_eq!((again.hits, again.starts), (2, 3));
    assert!(experiment.said.contains("after reconnecting, 2 of 3"));
    // A later repair does not count the starts without the module as its own before.
    let mut both = notes.to_vec();
    both.push(note(49, ServiceAction::Replace, "tail-lift"));
    let replaced = weighed(&rows, &both).pop().expect("a repair");
    assert_eq!((replaced.before.hits, replaced.before.starts), (7, 23));
}

// A reconnection is often not noted: the part was off until its successor was fitted.
#[test]
fn a_replacement_ends_the_disconnection_of_the_same_part() {
    let mut rows = before();
    rows.extend([TRIGGER; 3]);
    rows.extend([TRIGGER; 20]);
    let notes = [
        note(40, ServiceAction::Disconnect, "tail-lift"),
        note(43, ServiceAction::Replace, "tail-lift"),
    ];
    let [apart, replaced] = weighed(&rows, &notes).try_into().expect("an experiment, a repair");
    assert_eq!((apart.kind, apart.after.starts), (Kind::Disconnection, 3));
    assert_eq!(apart.again, None, "the old part was never connected again");
    assert_eq!((replaced.after.starts, replaced.state), (20, State::Held));
    let other = [notes[0].clone(), note(43, ServiceAction::Replace, "body")];
    let found = weighed(&rows, &other);
    assert_eq!(found[1].after.starts, 0, "the tail lift is still off");
}
