//! The tables of the bus itself: disturbances, blind spots, identifiers, signals.

use arrow::array::ArrayRef;

use crate::facts::columns::{Columns, counts, flags, numbers, places, smalls, texts, times};
use crate::facts::error::FactsError;
use crate::facts::schema::{BLIND_SPOTS, DISTURBANCES, IDENTIFIERS, SIGNALS};
use crate::facts::table::{Places, Row, StoredRow};
use crate::facts::table_shape::Table;
use crate::observe::{BlindSpotRow, DisturbanceKind, DisturbanceRow, IdentifierRow, SignalRow};
use crate::vocabulary::Identifier;

/// The kinds of disturbance with the words that the table uses.
const KIND_WORDS: [(DisturbanceKind, &str); 5] = [
    (DisturbanceKind::ErrorFrames, "error-frames"),
    (DisturbanceKind::Flood, "flood"),
    (DisturbanceKind::UnknownIdentifiers, "unknown-identifiers"),
    (DisturbanceKind::Thinned, "thinned"),
    (DisturbanceKind::Starved, "starved"),
];

fn kind_word(kind: DisturbanceKind) -> Option<&'static str> {
    KIND_WORDS.iter().find(|(k, _)| *k == kind).map(|(_, word)| *word)
}

impl Row for DisturbanceRow {
    const TABLE: &'static Table = &DISTURBANCES;

    fn columns(rows: &[&Self], how: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("start", times(rows.iter().map(|r| r.start))),
            ("kind", texts(rows.iter().map(|r| kind_word(r.kind)))),
            ("begin", times(rows.iter().map(|r| r.begin))),
            ("end", times(rows.iter().map(|r| r.end))),
            ("count", counts(rows.iter().map(|r| r.count))),
            ("identifier", smalls(rows.iter().map(|r| r.identifier.map(|id| id.0)))),
            ("node", texts(rows.iter().map(|r| r.node.as_deref()))),
            ("detail", texts(rows.iter().map(|r| Some(r.detail.as_str())))),
            ("place", places(rows.iter().map(|r| &r.place), how)),
        ]
    }
}

impl StoredRow for DisturbanceRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, start, kind) =
            (columns.text("bus")?, columns.time("start")?, columns.text("kind")?);
        let (begin, end, count) =
            (columns.time("begin")?, columns.time("end")?, columns.count("count")?);
        let (identifier, node, detail) =
            (columns.small("identifier")?, columns.text("node")?, columns.text("detail")?);
        let rows = columns.rows().zip(columns.places()?);
        rows.map(|(i, place)| {
            let word = kind.word(i);
            let known = KIND_WORDS.iter().find(|(_, known)| *known == word);
            let (kind, _) = known.ok_or_else(|| columns.unknown_word("kind", word))?;
            Ok(DisturbanceRow {
                bus: bus.at(i),
                start: start.at(i),
                kind: *kind,
                begin: begin.at(i),
                end: end.at(i),
                count: count.at(i),
                identifier: identifier.maybe(i).map(Identifier),
                node: node.maybe(i),
                detail: detail.at(i),
                place,
            })
        })
        .collect()
    }
}

impl Row for BlindSpotRow {
    const TABLE: &'static Table = &BLIND_SPOTS;

    fn columns(rows: &[&Self], how: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("start", times(rows.iter().map(|r| r.start))),
            ("begin", times(rows.iter().map(|r| r.begin))),
            ("end", times(rows.iter().map(|r| r.end))),
            ("why", texts(rows.iter().map(|r| Some(r.why.as_str())))),
            ("place", places(rows.iter().map(|r| &r.place), how)),
        ]
    }
}

impl StoredRow for BlindSpotRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, start, why) =
            (columns.text("bus")?, columns.time("start")?, columns.text("why")?);
        let (begin, end) = (columns.time("begin")?, columns.time("end")?);
        let rows = columns.rows().zip(columns.places()?);
        Ok(rows
            .map(|(i, place)| BlindSpotRow {
                bus: bus.at(i),
                start: start.at(i),
                begin: begin.at(i),
                end: end.at(i),
                why: why.at(i),
                place,
            })
            .collect())
    }
}

impl Row for IdentifierRow {
    const TABLE: &'static Table = &IDENTIFIERS;

    fn columns(rows: &[&Self], _: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("identifier", smalls(rows.iter().map(|r| Some(r.id.0)))),
            ("node", texts(rows.iter().map(|r| Some(r.node.as_str())))),
            ("frames", counts(rows.iter().map(|r| r.frames))),
            ("cyclic", flags(rows.iter().map(|r| Some(r.cyclic)))),
            ("period_s", numbers(rows.iter().map(|r| r.period_s))),
            ("jitter_s", numbers(rows.iter().map(|r| r.jitter_s))),
        ]
    }
}

impl StoredRow for IdentifierRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, id, node) =
            (columns.text("bus")?, columns.small("identifier")?, columns.text("node")?);
        let (frames, cyclic) = (columns.count("frames")?, columns.flag("cyclic")?);
        let (period, jitter) = (columns.number("period_s")?, columns.number("jitter_s")?);
        Ok(columns
            .rows()
            .map(|i| IdentifierRow {
                bus: bus.at(i),
                id: Identifier(id.at(i)),
                node: node.at(i),
                frames: frames.at(i),
                cyclic: cyclic.at(i),
                period_s: period.maybe(i),
                jitter_s: jitter.maybe(i),
            })
            .collect())
    }
}

impl Row for SignalRow {
    const TABLE: &'static Table = &SIGNALS;

    fn columns(rows: &[&Self], how: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("time", times(rows.iter().map(|r| r.time))),
            ("quantity", texts(rows.iter().map(|r| Some(r.quantity.as_str())))),
            ("value", numbers(rows.iter().map(|r| Some(r.value)))),
            ("place", places(rows.iter().map(|r| &r.place), how)),
        ]
    }
}

impl StoredRow for SignalRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (time, quantity, value) =
            (columns.time("time")?, columns.text("quantity")?, columns.number("value")?);
        let rows = columns.rows().zip(columns.places()?);
        Ok(rows
            .map(|(i, place)| SignalRow {
                time: time.at(i),
                quantity: quantity.at(i),
                value: value.at(i),
                place,
            })
            .collect())
    }
}
