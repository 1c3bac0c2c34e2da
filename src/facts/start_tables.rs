//! The tables of what happened start by start: starts, presences, silences, losses.

use arrow::array::ArrayRef;

use crate::facts::columns::{Columns, counts, flags, numbers, places, smalls, texts, times};
use crate::facts::error::FactsError;
use crate::facts::schema::{LOSSES, PRESENCES, SILENCES, STARTS};
use crate::facts::table::{Places, Row, StoredRow};
use crate::facts::table_shape::Table;
use crate::observe::{LossRow, PresenceRow, SilenceRow, StartRow};

impl Row for StartRow {
    const TABLE: &'static Table = &STARTS;

    fn columns(rows: &[&Self], how: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("begin", times(rows.iter().map(|r| r.begin))),
            ("end", times(rows.iter().map(|r| r.end))),
            ("woke", flags(rows.iter().map(|r| Some(r.woke)))),
            ("slept", flags(rows.iter().map(|r| Some(r.slept)))),
            ("frames", counts(rows.iter().map(|r| r.frames))),
            ("error_frames", counts(rows.iter().map(|r| r.error_frames))),
            ("load", numbers(rows.iter().map(|r| r.load))),
            ("judged", flags(rows.iter().map(|r| Some(r.judged)))),
            ("why", texts(rows.iter().map(|r| Some(r.why.as_str())))),
            ("place", places(rows.iter().map(|r| &r.place), how)),
        ]
    }
}

impl StoredRow for StartRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let bus = columns.text("bus")?;
        let (begin, end) = (columns.time("begin")?, columns.time("end")?);
        let (woke, slept) = (columns.flag("woke")?, columns.flag("slept")?);
        let (frames, error_frames) = (columns.count("frames")?, columns.count("error_frames")?);
        let (load, judged, why) =
            (columns.number("load")?, columns.flag("judged")?, columns.text("why")?);
        let rows = columns.rows().zip(columns.places()?);
        Ok(rows
            .map(|(i, place)| StartRow {
                bus: bus.at(i),
                begin: begin.at(i),
                end: end.at(i),
                woke: woke.at(i),
                slept: slept.at(i),
                frames: frames.at(i),
                error_frames: error_frames.at(i),
                load: load.maybe(i),
                judged: judged.at(i),
                why: why.at(i),
                place,
            })
            .collect())
    }
}

impl Row for PresenceRow {
    const TABLE: &'static Table = &PRESENCES;

    fn columns(rows: &[&Self], _: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("start", times(rows.iter().map(|r| r.start))),
            ("node", texts(rows.iter().map(|r| Some(r.node.as_str())))),
            ("first", times(rows.iter().map(|r| r.first))),
            ("last", times(rows.iter().map(|r| r.last))),
            ("frames", counts(rows.iter().map(|r| r.frames))),
            ("fastest_period_s", numbers(rows.iter().map(|r| r.fastest_period_s))),
        ]
    }
}

impl StoredRow for PresenceRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, start, node) =
            (columns.text("bus")?, columns.time("start")?, columns.text("node")?);
        let (first, last) = (columns.time("first")?, columns.time("last")?);
        let (frames, period) = (columns.count("frames")?, columns.number("fastest_period_s")?);
        Ok(columns
            .rows()
            .map(|i| PresenceRow {
                bus: bus.at(i),
                start: start.at(i),
                node: node.at(i),
                first: first.at(i),
                last: last.at(i),
                frames: frames.at(i),
                fastest_period_s: period.maybe(i),
            })
            .collect())
    }
}

impl Row for LossRow {
    const TABLE: &'static Table = &LOSSES;

    fn columns(rows: &[&Self], _: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("start", times(rows.iter().map(|r| r.start))),
            ("begin", times(rows.iter().map(|r| r.begin))),
            ("node", texts(rows.iter().map(|r| Some(r.node.as_str())))),
            ("expected", numbers(rows.iter().map(|r| Some(r.expected)))),
            ("missing", numbers(rows.iter().map(|r| Some(r.missing)))),
            ("failed", smalls(rows.iter().map(|r| r.failed))),
        ]
    }
}

impl StoredRow for LossRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, start, begin) =
            (columns.text("bus")?, columns.time("start")?, columns.time("begin")?);
        let node = columns.text("node")?;
        let (expected, missing) = (columns.number("expected")?, columns.number("missing")?);
        let failed = columns.small("failed")?;
        Ok(columns
            .rows()
            .map(|i| LossRow {
                bus: bus.at(i),
                start: start.at(i),
                begin: begin.at(i),
                node: node.at(i),
                expected: expected.at(i),
                missing: missing.at(i),
                failed: failed.maybe(i),
            })
            .collect())
    }
}

impl Row for SilenceRow {
    const TABLE: &'static Table = &SILENCES;

    fn columns(rows: &[&Self], how: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("start", times(rows.iter().map(|r| r.start))),
            ("node", texts(rows.iter().map(|r| Some(r.node.as_str())))),
            ("last_heard", times(rows.iter().map(|r| r.last_heard))),
            ("due", times(rows.iter().map(|r| r.due))),
            ("end", times(rows.iter().map(|r| r.end))),
            ("returned", flags(rows.iter().map(|r| Some(r.returned)))),
            ("restarted", flags(rows.iter().map(|r| r.restarted))),
            ("identifiers", smalls(rows.iter().map(|r| Some(r.identifiers)))),
            ("place", places(rows.iter().map(|r| &r.place), how)),
        ]
    }
}

impl StoredRow for SilenceRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, start, node) =
            (columns.text("bus")?, columns.time("start")?, columns.text("node")?);
        let (last_heard, due, end) =
            (columns.time("last_heard")?, columns.time("due")?, columns.time("end")?);
        let (returned, restarted) = (columns.flag("returned")?, columns.flag("restarted")?);
        let identifiers = columns.small("identifiers")?;
        let rows = columns.rows().zip(columns.places()?);
        Ok(rows
            .map(|(i, place)| SilenceRow {
                bus: bus.at(i),
                start: start.at(i),
                node: node.at(i),
                last_heard: last_heard.at(i),
                due: due.at(i),
                end: end.at(i),
                returned: returned.at(i),
                restarted: restarted.maybe(i),
                identifiers: identifiers.at(i),
                place,
            })
            .collect())
    }
}
