//! Invented rows of every stored table, for the tests of this folder.

use std::sync::Arc;

use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;

use crate::facts::invented_finer_rows::finer;
use crate::facts::store::StoredLog;
use crate::observe::{
    AnswerReading, BlindSpotRow, BusEventKind, BusEventRow, DisturbanceKind, DisturbanceRow,
    IdentifierRow, LogFacts, LoggedAnswerRow, LoggedCodeRow, LossRow, PresenceRow, SignalRow,
    SilenceRow, StartRow,
};
use crate::vocabulary::{
    Code, CodeStatus, Identifier, Instant, ParameterCode, Place, Reject, Spot, TroubleCode,
};

pub(super) fn text() -> impl Strategy<Value = String> {
    prop_oneof!["[a-z-]{0,8}", any::<String>()]
}

pub(super) fn instant() -> impl Strategy<Value = Instant> {
    any::<i64>().prop_map(Instant)
}

pub(super) fn place(file: &Arc<str>) -> impl Strategy<Value = Place> + use<> {
    let file = Arc::clone(file);
    let spot = prop_oneof![
        Just(Spot::Whole),
        any::<u64>().prop_map(Spot::Line),
        any::<u64>().prop_map(Spot::Byte),
        any::<(u32, u32)>().prop_map(|(page, line)| Spot::Page(page, line))
    ];
    spot.prop_map(move |spot| Place { file: Arc::clone(&file), spot })
}

pub(super) fn number() -> impl Strategy<Value = f64> {
    prop_oneof![any::<f64>(), Just(-0.0), Just(f64::INFINITY), Just(f64::MIN_POSITIVE)]
}

fn starts(file: &Arc<str>) -> impl Strategy<Value = StartRow> + use<> {
    let counts = (any::<u64>(), any::<u64>(), option::of(number()));
    let flags = (any::<bool>(), any::<bool>(), any::<bool>());
    (text(), instant(), instant(), flags, counts, text(), place(file)).prop_map(
        |(bus, begin, end, (woke, slept, judged), (frames, error_frames, load), why, place)| {
            StartRow {
                bus,
                begin,
                end,
                woke,
                slept,
                frames,
                error_frames,
                load,
                judged,
                why,
                place,
            }
        },
    )
}

fn losses() -> impl Strategy<Value = LossRow> {
    (text(), (instant(), instant()), text(), (number(), number(), option::of(any::<u32>())))
        .prop_map(|(bus, (start, begin), node, (expected, missing, failed))| LossRow {
            bus,
            start,
            begin,
            node,
            expected,
            missing,
            failed,
        })
}

fn presences() -> impl Strategy<Value = PresenceRow> {
    let span = (instant(), instant(), instant());
    (text(), span, text(), any::<u64>(), option::of(number())).prop_map(
        |(bus, (start, first, last), node, frames, fastest_period_s)| PresenceRow {
            bus,
            start,
            node,
            first,
            last,
            frames,
            fastest_period_s,
        },
    )
}

fn silences(file: &Arc<str>) -> impl Strategy<Value = SilenceRow> + use<> {
    let span = (instant(), instant(), instant(), instant());
    (text(), span, text(), any::<(bool, Option<bool>)>(), any::<u32>(), place(file)).prop_map(
        |(bus, (start, last_heard, due, end), node, (returned, restarted), identifiers, place)| {
            SilenceRow {
                bus,
                start,
                node,
                last_heard,
                due,
                end,
                returned,
                restarted,
                identifiers,
                place,
            }
        },
    )
}

fn disturbances(file: &Arc<str>) -> impl Strategy<Value = DisturbanceRow> + use<> {
    let kind = prop::sample::select(vec![
        DisturbanceKind::ErrorFrames,
        DisturbanceKind::Flood,
        DisturbanceKind::UnknownIdentifiers,
        DisturbanceKind::Thinned,
        DisturbanceKind::Starved,
    ]);
    let span = (instant(), instant(), instant());
    let who = (option::of(any::<u32>().prop_map(Identifier)), option::of(text()));
    (text(), span, kind, any::<u64>(), who, text(), place(file)).prop_map(
        |(bus, (start, begin, end), kind, count, (identifier, node), detail, place)| {
            DisturbanceRow { bus, start, kind, begin, end, count, identifier, node, detail, place }
        },
    )
}

fn blind_spots(file: &Arc<str>) -> impl Strategy<Value = BlindSpotRow> + use<> {
    (text(), instant(), instant(), instant(), text(), place(file)).prop_map(
        |(bus, start, begin, end, why, place)| BlindSpotRow { bus, start, begin, end, why, place },
    )
}

fn identifiers() -> impl Strategy<Value = IdentifierRow> {
    let spacing = (option::of(number()), option::of(number()));
    (text(), any::<u32>(), text(), any::<u64>(), any::<bool>(), spacing).prop_map(
        |(bus, id, node, frames, cyclic, (period_s, jitter_s))| IdentifierRow {
            bus,
            id: Identifier(id),
            node,
            frames,
            cyclic,
            period_s,
            jitter_s,
        },
    )
}

fn signals(file: &Arc<str>) -> impl Strategy<Value = SignalRow> + use<> {
    (instant(), text(), number(), place(file))
        .prop_map(|(time, quantity, value, place)| SignalRow { time, quantity, value, place })
}

fn codes() -> impl Strategy<Value = Code> {
    let trouble = any::<(u16, Option<u8>)>()
        .prop_map(|(word, failure_type)| Code::Trouble(TroubleCode { word, failure_type }));
    let parameter = any::<(u32, u8, bool)>()
        .prop_map(|(spn, fmi, certain)| Code::Parameter(ParameterCode { spn, fmi, certain }));
    prop_oneof![trouble, parameter]
}

fn logged_codes(file: &Arc<str>) -> impl Strategy<Value = LoggedCodeRow> + use<> {
    let status = prop_oneof![
        Just(CodeStatus::Pending),
        Just(CodeStatus::Confirmed),
        Just(CodeStatus::Stored),
        any::<u8>().prop_map(CodeStatus::Raw),
        Just(CodeStatus::Unknown)
    ];
    let span = (instant(), instant(), instant());
    let counts = any::<(Option<u32>, u32, bool)>();
    ((text(), text(), text()), span, codes(), status, counts, place(file)).prop_map(
        |((bus, reporter, by), (start, first, last), code, status, counts, place)| {
            let (occurrences, times, dated) = counts;
            LoggedCodeRow {
                bus,
                start,
                reporter,
                by,
                code,
                status,
                occurrences,
                first,
                last,
                times,
                dated,
                place,
            }
        },
    )
}

fn logged_answers(file: &Arc<str>) -> impl Strategy<Value = LoggedAnswerRow> + use<> {
    let reading = prop::sample::select(AnswerReading::ALL.to_vec());
    let span = (instant(), instant(), instant());
    (text(), text(), span, reading, any::<u32>(), place(file)).prop_map(
        |(bus, node, (start, first, last), reading, times, place)| LoggedAnswerRow {
            bus,
            start,
            node,
            reading,
            first,
            last,
            times,
            place,
        },
    )
}

fn bus_events(file: &Arc<str>) -> impl Strategy<Value = BusEventRow> + use<> {
    let kind = prop::sample::select(BusEventKind::ALL.to_vec());
    (text(), text(), instant(), instant(), kind, place(file)).prop_map(
        |(bus, node, start, time, kind, place)| BusEventRow { bus, start, time, node, kind, place },
    )
}

fn rejects(file: &Arc<str>) -> impl Strategy<Value = Reject> + use<> {
    (place(file), any::<u64>(), text()).prop_map(|(place, records, reason)| Reject {
        place,
        records,
        reason,
    })
}

/// A log's facts with 0 to 5 rows in every table.
pub(super) fn stored_logs(file: &Arc<str>) -> impl Strategy<Value = StoredLog> + use<> {
    let facts = (
        vec(starts(file), 0..6),
        vec(presences(), 0..6),
        vec(silences(file), 0..6),
        (vec(disturbances(file), 0..6), vec(losses(), 0..6)),
        vec(blind_spots(file), 0..6),
        vec(identifiers(), 0..6),
        (vec(signals(file), 0..6), finer(file)),
        (
            vec(logged_codes(file), 0..6),
            vec(logged_answers(file), 0..6),
            vec(bus_events(file), 0..6),
        ),
    )
        .prop_map(
            |(
                starts,
                presences,
                silences,
                (disturbances, losses),
                blind_spots,
                identifiers,
                (signals, finer),
                (logged_codes, logged_answers, bus_events),
            )| {
                LogFacts {
                    starts,
                    presences,
                    silences,
                    disturbances,
                    losses,
                    blind_spots,
                    identifiers,
                    signals,
                    logged_codes,
                    logged_answers,
                    bus_events,
                    finer,
                }
            },
        );
    let tally = (
        any::<u64>(),
        any::<u64>(),
        vec((text(), any::<u64>()), 0..4),
        vec(rejects(file), 0..4),
        option::of(text()),
    );
    (facts, tally).prop_map(|(facts, (frames, bytes, leniencies, rejects, skipped))| StoredLog {
        facts,
        frames,
        bytes,
        leniencies,
        rejects,
        skipped,
    })
}
