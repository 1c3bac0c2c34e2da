//! When somebody looks: which starts are logged, when a tester is plugged in, and which live
//! values a logger asks for.

use std::collections::BTreeSet;

use crate::rehearse::chance::Chance;
use crate::rehearse::course::{Course, Span};
use crate::rehearse::model::ns;
use crate::rehearse::scenario::{How, LogPlan, VehiclePlan};
use crate::rehearse::starts::Begin;
use crate::rehearse::traffic::Poll;
use crate::vocabulary::{Identifier, seconds};

/// A tester's visit.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Visit {
    /// The start in which it happens.
    pub(crate) turn: usize,
    /// Nanoseconds since the start.
    pub(crate) at: i64,
    /// Whether the tester asks badly this time.
    pub(crate) clumsy: bool,
}

/// Which starts are logged.
pub(crate) fn logged_starts(
    plan: &LogPlan,
    starts: &[Begin],
    bad: &[bool],
    chance: &mut Chance,
) -> BTreeSet<usize> {
    let pick = |turns: Vec<usize>, count: u32, chance: &mut Chance| -> Vec<usize> {
        let mut turns = turns;
        while turns.len() > usize::try_from(count).unwrap_or(0) {
            turns.remove(chance.index(turns.len()));
        }
        turns
    };
    let all = || (0..starts.len()).filter(|&turn| starts[turn].awake_ns > ns(30.0));
    let mut logged: BTreeSet<usize> = BTreeSet::new();
    logged.extend(pick(all().filter(|&turn| bad[turn]).collect(), plan.incidents, chance));
    let first = all().filter(|&turn| !bad[turn] && starts[turn].first).collect();
    logged.extend(pick(first, plan.healthy.div_ceil(2), chance));
    let others = all().filter(|&turn| !bad[turn] && !starts[turn].first).collect();
    logged.extend(pick(others, plan.healthy / 2, chance));
    logged
}

/// When testers are plugged in, in order of time.
pub(crate) fn visits(
    plan: &VehiclePlan,
    starts: &[Begin],
    courses: &[Course],
    chance: &mut Chance,
) -> Vec<Visit> {
    let mut visits = Vec::new();
    let mut push = |turn: usize, at: i64| {
        if at < starts[turn].awake_ns {
            visits.push(Visit { turn, at, clumsy: false });
        }
    };
    for (turn, course) in courses.iter().enumerate() {
        let Some(span) = course.incidents.first() else { continue };
        if chance.happens(plan.scans.during) {
            push(turn, span.from + ns(seconds(span.to - span.from) * chance.within([0.3, 0.95])));
        }
        if chance.happens(plan.scans.after) {
            push(turn, span.to + ns(chance.within([20.0, 400.0])));
        } else if chance.happens(plan.scans.later) {
            let later = (turn + 1 + chance.index(4)).min(starts.len() - 1);
            push(later, ns(chance.within([25.0, 300.0])));
        }
    }
    if plan.scans.weekly {
        let mut next = starts.first().map_or(0, |start| start.at.0);
        next += ns(86_400.0 * chance.within([0.0, 7.0]));
        for (turn, start) in starts.iter().enumerate() {
            if start.at.0 >= next && start.awake_ns > ns(300.0) {
                push(turn, ns(chance.within([60.0, 280.0])));
                next = start.at.0 + ns(86_400.0 * 7.0);
            }
        }
    }
    visits.sort_by_key(|visit| (visit.turn, visit.at));
    let testers = plan.fault.iter().filter(|fault| fault.how == How::BadTester).count();
    for turn in 0..testers {
        let place = visits.len() * (turn + 1) / (testers + 1);
        if let Some(visit) = visits.get_mut(place) {
            visit.clumsy = true;
        }
    }
    visits
}

/// Questions for voltage (42), ambient (46), intake (0F) and coolant (05), and their answers.
pub(crate) fn live_polls(
    plan: &VehiclePlan,
    start: &Begin,
    course: &Course,
    window: Span,
) -> Vec<Poll> {
    let mut polls = Vec::new();
    let mut at = ns(1.2);
    while at < window.to.min(start.awake_ns) - ns(1.0) {
        let rest = if at < ns(2.5) { plan.battery_v } else { plan.battery_v + 1.5 };
        let millivolts = u16_of(course.volts(at, rest) * 1000.0);
        let cooled = (start.soak_s / 9000.0).min(6.0);
        let coolant = start.ambient_c + 70.0 * (-cooled).exp() + seconds(at) * 0.05;
        let values: [(u8, [u8; 2], u8); 4] = [
            (0x42, millivolts.to_be_bytes(), 2),
            (0x46, [celsius(start.ambient_c), 0], 1),
            (0x0F, [celsius(start.ambient_c + 1.0), 0], 1),
            (0x05, [celsius(coolant), 0], 1),
        ];
        for (turn, (pid, value, bytes)) in (0_u8..).zip(values) {
            let asked = at + ns(f64::from(turn) * 0.05);
            let data = [0x02, 0x01, pid, 0, 0, 0, 0, 0];
            polls.push(Poll { at: asked, id: Identifier::base(0x7DF), data });
            let data = [2 + bytes, 0x41, pid, value[0], value[1], 0, 0, 0];
            polls.push(Poll { at: asked + ns(0.012), id: Identifier::base(0x7E8), data });
        }
        at += ns(15.0);
    }
    polls
}

fn celsius(value: f64) -> u8 {
    u8::try_from(u16_of(value + 40.0)).unwrap_or(0xFF)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped before")]
fn u16_of(value: f64) -> u16 {
    value.round().clamp(0.0, 65_535.0) as u16
}
