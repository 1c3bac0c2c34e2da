//! The finer tables as columns, and back.

use arrow::array::ArrayRef;

use crate::facts::columns::{Columns, counts, flags, numbers, places, smalls, texts, times};
use crate::facts::error::FactsError;
use crate::facts::finer_schema::{
    CLOCK_GROUPS, CLOCK_STEPS, ERROR_DETAILS, LOCKS, ORDERS, PASSIVES, RETURNS,
};
use crate::facts::table::{Places, Row, StoredRow};
use crate::facts::table_shape::Table;
use crate::observe::{
    ClockGroupRow, ClockStepRow, ErrorDetailRow, LockBasis, LockRow, OrderRow, PassiveRow,
    ReturnKind, ReturnRow,
};
use crate::vocabulary::Identifier;

const BASES: [(LockBasis, &str); 2] =
    [(LockBasis::ErrorFrames, "error-frames"), (LockBasis::MissingFrames, "missing-frames")];
const RETURNS_AS: [(ReturnKind, &str); 3] = [
    (ReturnKind::InPhase, "in-phase"),
    (ReturnKind::Restarted, "restarted"),
    (ReturnKind::BusOff, "bus-off"),
];

/// The word of a value in a list of words.
fn word<T: PartialEq>(words: &[(T, &'static str)], value: &T) -> Option<&'static str> {
    words.iter().find(|(known, _)| known == value).map(|(_, word)| *word)
}

/// The value of a word, or the error that names column and word.
fn value<T: Copy>(
    words: &[(T, &'static str)],
    columns: &Columns<'_>,
    column: &str,
    found: &str,
) -> Result<T, FactsError> {
    let known = words.iter().find(|(_, word)| *word == found);
    known.map(|(value, _)| *value).ok_or_else(|| columns.unknown_word(column, found))
}

impl Row for ErrorDetailRow {
    const TABLE: &'static Table = &ERROR_DETAILS;

    fn columns(rows: &[&Self], _: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("start", times(rows.iter().map(|r| r.start))),
            ("begin", times(rows.iter().map(|r| r.begin))),
            ("class", texts(rows.iter().map(|r| Some(r.class.as_str())))),
            ("spot", texts(rows.iter().map(|r| r.spot.as_deref()))),
            ("frames", counts(rows.iter().map(|r| r.frames))),
            ("wires", flags(rows.iter().map(|r| Some(r.wires)))),
        ]
    }
}

impl StoredRow for ErrorDetailRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, start, begin) =
            (columns.text("bus")?, columns.time("start")?, columns.time("begin")?);
        let (class, spot) = (columns.text("class")?, columns.text("spot")?);
        let (frames, wires) = (columns.count("frames")?, columns.flag("wires")?);
        let row = |i| ErrorDetailRow {
            bus: bus.at(i),
            start: start.at(i),
            begin: begin.at(i),
            class: class.at(i),
            spot: spot.maybe(i),
            frames: frames.at(i),
            wires: wires.at(i),
        };
        Ok(columns.rows().map(row).collect())
    }
}

impl Row for LockRow {
    const TABLE: &'static Table = &LOCKS;

    fn columns(rows: &[&Self], _: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("start", times(rows.iter().map(|r| r.start))),
            ("begin", times(rows.iter().map(|r| r.begin))),
            ("node", texts(rows.iter().map(|r| Some(r.node.as_str())))),
            ("basis", texts(rows.iter().map(|r| word(&BASES, &r.basis)))),
            ("moments", counts(rows.iter().map(|r| r.moments))),
            ("hits", counts(rows.iter().map(|r| r.hits))),
            ("expected", numbers(rows.iter().map(|r| Some(r.expected)))),
            ("p", numbers(rows.iter().map(|r| Some(r.p)))),
        ]
    }
}

impl StoredRow for LockRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, start, begin) =
            (columns.text("bus")?, columns.time("start")?, columns.time("begin")?);
        let (node, basis) = (columns.text("node")?, columns.text("basis")?);
        let (moments, hits) = (columns.count("moments")?, columns.count("hits")?);
        let (expected, p) = (columns.number("expected")?, columns.number("p")?);
        let row = |i| {
            Ok(LockRow {
                bus: bus.at(i),
                start: start.at(i),
                begin: begin.at(i),
                node: node.at(i),
                basis: value(&BASES, columns, "basis", basis.word(i))?,
                moments: moments.at(i),
                hits: hits.at(i),
                expected: expected.at(i),
                p: p.at(i),
            })
        };
        columns.rows().map(row).collect()
    }
}

impl Row for ReturnRow {
    const TABLE: &'static Table = &RETURNS;

    fn columns(rows: &[&Self], _: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("start", times(rows.iter().map(|r| r.start))),
            ("node", texts(rows.iter().map(|r| Some(r.node.as_str())))),
            ("due", times(rows.iter().map(|r| r.due))),
            ("kind", texts(rows.iter().map(|r| word(&RETURNS_AS, &r.kind)))),
            ("why", texts(rows.iter().map(|r| Some(r.why.as_str())))),
        ]
    }
}

impl StoredRow for ReturnRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, start, node) =
            (columns.text("bus")?, columns.time("start")?, columns.text("node")?);
        let (due, kind, why) = (columns.time("due")?, columns.text("kind")?, columns.text("why")?);
        let row = |i| {
            Ok(ReturnRow {
                bus: bus.at(i),
                start: start.at(i),
                node: node.at(i),
                due: due.at(i),
                kind: value(&RETURNS_AS, columns, "kind", kind.word(i))?,
                why: why.at(i),
            })
        };
        columns.rows().map(row).collect()
    }
}

impl Row for OrderRow {
    const TABLE: &'static Table = &ORDERS;

    fn columns(rows: &[&Self], _: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("start", times(rows.iter().map(|r| r.start))),
            ("begin", times(rows.iter().map(|r| r.begin))),
            ("earlier", texts(rows.iter().map(|r| Some(r.earlier.as_str())))),
            ("later", texts(rows.iter().map(|r| Some(r.later.as_str())))),
            ("probability", numbers(rows.iter().map(|r| Some(r.probability)))),
        ]
    }
}

impl StoredRow for OrderRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, start, begin) =
            (columns.text("bus")?, columns.time("start")?, columns.time("begin")?);
        let (earlier, later) = (columns.text("earlier")?, columns.text("later")?);
        let probability = columns.number("probability")?;
        let row = |i| OrderRow {
            bus: bus.at(i),
            start: start.at(i),
            begin: begin.at(i),
            earlier: earlier.at(i),
            later: later.at(i),
            probability: probability.at(i),
        };
        Ok(columns.rows().map(row).collect())
    }
}

impl Row for PassiveRow {
    const TABLE: &'static Table = &PASSIVES;

    fn columns(rows: &[&Self], how: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("start", times(rows.iter().map(|r| r.start))),
            ("node", texts(rows.iter().map(|r| Some(r.node.as_str())))),
            ("frames", counts(rows.iter().map(|r| r.frames))),
            ("first", times(rows.iter().map(|r| r.first))),
            ("last", times(rows.iter().map(|r| r.last))),
            ("place", places(rows.iter().map(|r| &r.place), how)),
        ]
    }
}

impl StoredRow for PassiveRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, start, node) =
            (columns.text("bus")?, columns.time("start")?, columns.text("node")?);
        let (frames, first, last) =
            (columns.count("frames")?, columns.time("first")?, columns.time("last")?);
        let rows = columns.rows().zip(columns.places()?);
        let row = |(i, place)| PassiveRow {
            bus: bus.at(i),
            start: start.at(i),
            node: node.at(i),
            frames: frames.at(i),
            first: first.at(i),
            last: last.at(i),
            place,
        };
        Ok(rows.map(row).collect())
    }
}

impl Row for ClockStepRow {
    const TABLE: &'static Table = &CLOCK_STEPS;

    fn columns(rows: &[&Self], how: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("at", times(rows.iter().map(|r| r.at))),
            ("step_s", numbers(rows.iter().map(|r| Some(r.step_s)))),
            ("agreed", smalls(rows.iter().map(|r| Some(r.agreed.0)))),
            ("of", smalls(rows.iter().map(|r| Some(r.agreed.1)))),
            ("place", places(rows.iter().map(|r| &r.place), how)),
        ]
    }
}

impl StoredRow for ClockStepRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, at, step) =
            (columns.text("bus")?, columns.time("at")?, columns.number("step_s")?);
        let (agreed, of) = (columns.small("agreed")?, columns.small("of")?);
        let rows = columns.rows().zip(columns.places()?);
        let row = |(i, place)| ClockStepRow {
            bus: bus.at(i),
            at: at.at(i),
            step_s: step.at(i),
            agreed: (agreed.at(i), of.at(i)),
            place,
        };
        Ok(rows.map(row).collect())
    }
}

impl Row for ClockGroupRow {
    const TABLE: &'static Table = &CLOCK_GROUPS;

    fn columns(rows: &[&Self], _: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("identifier", smalls(rows.iter().map(|r| Some(r.id.0)))),
            ("group", smalls(rows.iter().map(|r| Some(r.group)))),
            ("skew_ppm", numbers(rows.iter().map(|r| Some(r.skew.0)))),
            ("skew_error_ppm", numbers(rows.iter().map(|r| Some(r.skew.1)))),
            ("confidence", numbers(rows.iter().map(|r| Some(r.confidence)))),
        ]
    }
}

impl StoredRow for ClockGroupRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, id, group) =
            (columns.text("bus")?, columns.small("identifier")?, columns.small("group")?);
        let (skew, error) = (columns.number("skew_ppm")?, columns.number("skew_error_ppm")?);
        let confidence = columns.number("confidence")?;
        let row = |i| ClockGroupRow {
            bus: bus.at(i),
            id: Identifier(id.at(i)),
            group: group.at(i),
            skew: (skew.at(i), error.at(i)),
            confidence: confidence.at(i),
        };
        Ok(columns.rows().map(row).collect())
    }
}
