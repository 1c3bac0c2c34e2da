//! The tables of what testers and nodes say in a log: codes, answers, events.

use arrow::array::ArrayRef;

use crate::facts::columns::{Columns, flags, places, smalls, texts, times};
use crate::facts::error::FactsError;
use crate::facts::schema::{BUS_EVENTS, LOGGED_ANSWERS, LOGGED_CODES};
use crate::facts::table::{Places, Row, StoredRow};
use crate::facts::table_shape::Table;
use crate::observe::{AnswerReading, BusEventKind, BusEventRow, LoggedAnswerRow, LoggedCodeRow};
use crate::vocabulary::{Code, CodeStatus, ParameterCode, TroubleCode};

const J2012: &str = "sae-j2012";
const J1939: &str = "sae-j1939";

/// Standard, number, failure, certainty.
fn parts(code: Code) -> (&'static str, u32, Option<u32>, bool) {
    match code {
        Code::Trouble(c) => (J2012, u32::from(c.word), c.failure_type.map(u32::from), true),
        Code::Parameter(c) => (J1939, c.spn, Some(u32::from(c.fmi)), c.certain),
    }
}

/// The code of such parts; `None` when they are none.
fn code(standard: &str, number: u32, failure: Option<u32>, certain: bool) -> Option<Code> {
    let failure = failure.map(u8::try_from).transpose().ok()?;
    match standard {
        J2012 => {
            let word = u16::try_from(number).ok()?;
            Some(Code::Trouble(TroubleCode { word, failure_type: failure }))
        }
        J1939 => Some(Code::Parameter(ParameterCode { spn: number, fmi: failure?, certain })),
        _ => None,
    }
}

impl Row for LoggedCodeRow {
    const TABLE: &'static Table = &LOGGED_CODES;

    fn columns(rows: &[&Self], how: Places) -> Vec<(&'static str, ArrayRef)> {
        let parts: Vec<_> = rows.iter().map(|r| parts(r.code)).collect();
        let known =
            |status: CodeStatus| (status != CodeStatus::Unknown).then(|| status.to_string());
        let statuses: Vec<Option<String>> = rows.iter().map(|r| known(r.status)).collect();
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("start", times(rows.iter().map(|r| r.start))),
            ("reporter", texts(rows.iter().map(|r| Some(r.reporter.as_str())))),
            ("by", texts(rows.iter().map(|r| Some(r.by.as_str())))),
            ("standard", texts(parts.iter().map(|p| Some(p.0)))),
            ("number", smalls(parts.iter().map(|p| Some(p.1)))),
            ("failure", smalls(parts.iter().map(|p| p.2))),
            ("certain", flags(parts.iter().map(|p| Some(p.3)))),
            ("status", texts(statuses.iter().map(Option::as_deref))),
            ("occurrences", smalls(rows.iter().map(|r| r.occurrences))),
            ("first", times(rows.iter().map(|r| r.first))),
            ("last", times(rows.iter().map(|r| r.last))),
            ("times", smalls(rows.iter().map(|r| Some(r.times)))),
            ("dated", flags(rows.iter().map(|r| Some(r.dated)))),
            ("place", places(rows.iter().map(|r| &r.place), how)),
        ]
    }
}

impl StoredRow for LoggedCodeRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, start) = (columns.text("bus")?, columns.time("start")?);
        let (reporter, by) = (columns.text("reporter")?, columns.text("by")?);
        let (standard, number) = (columns.text("standard")?, columns.small("number")?);
        let (failure, certain) = (columns.small("failure")?, columns.flag("certain")?);
        let (status, occurrences) = (columns.text("status")?, columns.small("occurrences")?);
        let (first, last) = (columns.time("first")?, columns.time("last")?);
        let (times, dated) = (columns.small("times")?, columns.flag("dated")?);
        let rows = columns.rows().zip(columns.places()?);
        rows.map(|(i, place)| {
            let standard = standard.word(i);
            let (number, failure) = (number.at(i), failure.maybe(i));
            let code = code(standard, number, failure, certain.at(i))
                .ok_or_else(|| columns.unknown_word("number", &format!("{standard} {number}")))?;
            let status = match status.maybe(i) {
                None => CodeStatus::Unknown,
                Some(text) => {
                    CodeStatus::parse(&text).ok_or_else(|| columns.unknown_word("status", &text))?
                }
            };
            Ok(LoggedCodeRow {
                bus: bus.at(i),
                start: start.at(i),
                reporter: reporter.at(i),
                by: by.at(i),
                code,
                status,
                occurrences: occurrences.maybe(i),
                first: first.at(i),
                last: last.at(i),
                times: times.at(i),
                dated: dated.at(i),
                place,
            })
        })
        .collect()
    }
}

impl Row for LoggedAnswerRow {
    const TABLE: &'static Table = &LOGGED_ANSWERS;

    fn columns(rows: &[&Self], how: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("start", times(rows.iter().map(|r| r.start))),
            ("node", texts(rows.iter().map(|r| Some(r.node.as_str())))),
            ("reading", texts(rows.iter().map(|r| Some(r.reading.word())))),
            ("first", times(rows.iter().map(|r| r.first))),
            ("last", times(rows.iter().map(|r| r.last))),
            ("times", smalls(rows.iter().map(|r| Some(r.times)))),
            ("place", places(rows.iter().map(|r| &r.place), how)),
        ]
    }
}

impl StoredRow for LoggedAnswerRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, start, node) =
            (columns.text("bus")?, columns.time("start")?, columns.text("node")?);
        let (reading, times) = (columns.text("reading")?, columns.small("times")?);
        let (first, last) = (columns.time("first")?, columns.time("last")?);
        let rows = columns.rows().zip(columns.places()?);
        rows.map(|(i, place)| {
            let word = reading.word(i);
            let reading = AnswerReading::ALL
                .into_iter()
                .find(|r| r.word() == word)
                .ok_or_else(|| columns.unknown_word("reading", word))?;
            Ok(LoggedAnswerRow {
                bus: bus.at(i),
                start: start.at(i),
                node: node.at(i),
                reading,
                first: first.at(i),
                last: last.at(i),
                times: times.at(i),
                place,
            })
        })
        .collect()
    }
}

impl Row for BusEventRow {
    const TABLE: &'static Table = &BUS_EVENTS;

    fn columns(rows: &[&Self], how: Places) -> Vec<(&'static str, ArrayRef)> {
        vec![
            ("bus", texts(rows.iter().map(|r| Some(r.bus.as_str())))),
            ("start", times(rows.iter().map(|r| r.start))),
            ("time", times(rows.iter().map(|r| r.time))),
            ("node", texts(rows.iter().map(|r| Some(r.node.as_str())))),
            ("kind", texts(rows.iter().map(|r| Some(r.kind.word())))),
            ("place", places(rows.iter().map(|r| &r.place), how)),
        ]
    }
}

impl StoredRow for BusEventRow {
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError> {
        let (bus, start, node) =
            (columns.text("bus")?, columns.time("start")?, columns.text("node")?);
        let (time, kind) = (columns.time("time")?, columns.text("kind")?);
        let rows = columns.rows().zip(columns.places()?);
        rows.map(|(i, place)| {
            let word = kind.word(i);
            let kind = BusEventKind::ALL
                .into_iter()
                .find(|k| k.word() == word)
                .ok_or_else(|| columns.unknown_word("kind", word))?;
            Ok(BusEventRow {
                bus: bus.at(i),
                start: start.at(i),
                time: time.at(i),
                node: node.at(i),
                kind,
                place,
            })
        })
        .collect()
    }
}
