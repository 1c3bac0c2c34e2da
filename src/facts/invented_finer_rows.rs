//! Invented rows of the finer tables, for the tests of this folder.

use std::sync::Arc;

use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;

use crate::facts::invented_rows::{instant, number, place, text};
use crate::observe::{
    ClockGroupRow, ClockStepRow, ErrorDetailRow, FinerFacts, LockBasis, LockRow, OrderRow,
    PassiveRow, ReturnKind, ReturnRow,
};
use crate::vocabulary::Identifier;

fn errors() -> impl Strategy<Value = ErrorDetailRow> {
    let tail = (option::of(text()), any::<u64>(), any::<bool>());
    (text(), instant(), instant(), text(), tail).prop_map(
        |(bus, start, begin, class, (spot, frames, wires))| ErrorDetailRow {
            bus,
            start,
            begin,
            class,
            spot,
            frames,
            wires,
        },
    )
}

fn locks() -> impl Strategy<Value = LockRow> {
    let basis = prop::sample::select(vec![LockBasis::ErrorFrames, LockBasis::MissingFrames]);
    let tail = (any::<u64>(), any::<u64>(), number(), number());
    (text(), instant(), instant(), text(), basis, tail).prop_map(
        |(bus, start, begin, node, basis, (moments, hits, expected, p))| LockRow {
            bus,
            start,
            begin,
            node,
            basis,
            moments,
            hits,
            expected,
            p,
        },
    )
}

fn returns() -> impl Strategy<Value = ReturnRow> {
    let kinds = vec![ReturnKind::InPhase, ReturnKind::Restarted, ReturnKind::BusOff];
    (text(), instant(), text(), instant(), prop::sample::select(kinds), text()).prop_map(
        |(bus, start, node, due, kind, why)| ReturnRow { bus, start, node, due, kind, why },
    )
}

fn orders() -> impl Strategy<Value = OrderRow> {
    (text(), instant(), instant(), text(), text(), number()).prop_map(
        |(bus, start, begin, earlier, later, probability)| OrderRow {
            bus,
            start,
            begin,
            earlier,
            later,
            probability,
        },
    )
}

fn passives(file: &Arc<str>) -> impl Strategy<Value = PassiveRow> + use<> {
    (text(), instant(), text(), any::<u64>(), (instant(), instant()), place(file)).prop_map(
        |(bus, start, node, frames, (first, last), place)| PassiveRow {
            bus,
            start,
            node,
            frames,
            first,
            last,
            place,
        },
    )
}

fn steps(file: &Arc<str>) -> impl Strategy<Value = ClockStepRow> + use<> {
    (text(), instant(), number(), any::<(u32, u32)>(), place(file)).prop_map(
        |(bus, at, step_s, agreed, place)| ClockStepRow { bus, at, step_s, agreed, place },
    )
}

fn groups() -> impl Strategy<Value = ClockGroupRow> {
    (text(), any::<u32>(), any::<u32>(), (number(), number()), number()).prop_map(
        |(bus, id, group, skew, confidence)| ClockGroupRow {
            bus,
            id: Identifier(id),
            group,
            skew,
            confidence,
        },
    )
}

/// Finer facts with 0 to 3 rows in every table.
pub(super) fn finer(file: &Arc<str>) -> impl Strategy<Value = FinerFacts> + use<> {
    let first =
        (vec(errors(), 0..4), vec(locks(), 0..4), vec(returns(), 0..4), vec(orders(), 0..4));
    let second = (vec(passives(file), 0..4), vec(steps(file), 0..4), vec(groups(), 0..4));
    (first, second).prop_map(
        |((errors, locks, returns, orders), (passives, clock_steps, clock_groups))| FinerFacts {
            errors,
            locks,
            returns,
            orders,
            passives,
            clock_steps,
            clock_groups,
        },
    )
}
