//! Columns and types of tables; what is missing or wrong is named.

use std::sync::Arc;

use arrow::array::{
    Array, ArrayRef, DictionaryArray, FixedSizeBinaryArray, Float64Array, Int64Array, ListBuilder,
    RecordBatch, StringArray, TimestampMillisecondArray, TimestampNanosecondArray,
    TimestampSecondArray, UInt8Builder,
};
use arrow::datatypes::Int32Type;
use parquet::basic::Compression;

use buswitness::read::frames::{FrameKind, LogTables};
use buswitness::read::tables::ColumnChoice;
use buswitness::vocabulary::{Identifier, Place};

use super::writers::{arrow_stream, batch, parquet};
use super::{Format, Told, Wire, mixed_traffic, name, read};

fn of_text(text: &str) -> (Vec<Told>, Vec<String>) {
    let (frames, account) = read(Format::Table, text.into(), &LogTables::default());
    (frames, account.rejects.iter().map(|r| format!("{} {}", r.place, r.reason)).collect())
}

fn choosing(field: &str, column: Option<&str>, unit: Option<&str>) -> LogTables {
    let mut tables = LogTables::default();
    let [column, unit] = [column, unit].map(|text| text.map(str::to_owned));
    tables.choices.insert(field.to_owned(), ColumnChoice { column, unit, zone: None });
    tables
}

#[test]
fn quotes_blanks_separators_and_kinds_of_frames() {
    let (frames, rejects) = of_text(
        "id;time;data;bus;dlc;remote\r\n\
         1A0;1767600000.5;00 11 22;\"body; left\";3;\r\n\
         \"0x18FEDF00\";2026-01-05T08:00:01Z;\"8AA0\";;2;no\r\n\
         \r\n\
         20000088;1767600002;0000000000000000;can0;;\r\n\
         123;1767600003;;can0;8;yes\r\n",
    );
    assert_eq!(rejects, [""; 0]);
    let told: Vec<_> =
        frames.iter().map(|(f, bus)| (f.line, f.kind, f.id, f.length, bus.as_str())).collect();
    let expected = [
        (2, FrameKind::Data, Identifier::base(0x1A0), 3, "body; left"),
        (3, FrameKind::Data, Identifier::extended(0x18FE_DF00), 2, "can"),
        (5, FrameKind::Error, Identifier(0x88), 8, "can0"),
        (6, FrameKind::Remote, Identifier::base(0x123), 8, "can0"),
    ];
    assert_eq!(told, expected);
}

#[test]
fn wrong_rows_are_rejected_with_their_line() {
    let rows = [
        ("1767600000,can0,1A0,0,3,0011", "disagree"),
        ("1767600000,can0,1A0,0,2,001", "half a data byte"),
        ("1767600000,can0,XYZ,0,1,00", "not hexadecimal"),
        ("1767600000,can0,,0,1,00", "`id` is empty"),
        (",can0,1A0,0,1,00", "`time` is empty"),
        ("noon,can0,1A0,0,1,00", "not a time"),
        ("1767600000,can0,800,0,1,00", "above 7FF"),
        ("1767600000,can0,1A0,perhaps,1,00", "neither true nor false"),
        ("1767600000,can0,1A0,0,1", "row has 5 cells, the header has 6"),
        ("1767600000,can0,1A0,0,1,\"00", "not closed"),
        ("1767600000,can0,1A0,0,many,00", "`dlc`"),
    ];
    for (row, part) in rows {
        let text = format!("time,bus,id,extended,dlc,data\n{row}\n1767600000,can0,1A0,0,1,00\n");
        let (frames, rejects) = of_text(&text);
        assert_eq!((frames.len(), rejects.len()), (1, 1), "{row}: {rejects:?}");
        assert!(rejects[0].starts_with("log:2 ") && rejects[0].contains(part), "{}", rejects[0]);
    }
    let (_, rejects) = of_text("time,bus,data\n1,can0,00\n");
    assert!(rejects[0].contains("missing column `id`, found time, bus, data"), "{rejects:?}");
}

#[test]
fn columns_and_units_of_the_pipeline() {
    let text = "t_us,id,data\n1767600000123456,1A0,00\n".to_owned();
    let (frames, _) =
        read(Format::Table, text.into_bytes(), &choosing("time", Some("t_us"), Some("epoch_us")));
    assert_eq!(frames[0].0.time.0, 1_767_600_000_123_456_000);
}

/// The batch with one column replaced.
fn with(traffic: &[Wire], name: &str, column: ArrayRef) -> RecordBatch {
    let rows = batch(traffic);
    let columns = rows.schema_ref().fields().iter().zip(rows.columns()).map(|(field, old)| {
        let new = if field.name() == name { Arc::clone(&column) } else { Arc::clone(old) };
        (field.name().clone(), new)
    });
    RecordBatch::try_from_iter(columns).expect("columns of one length")
}

#[test]
fn every_type_that_a_column_may_have() {
    let traffic = mixed_traffic(80);
    let none = LogTables::default();
    let plain = parquet(&batch(&traffic), Compression::UNCOMPRESSED);
    let (expected, _) = read(Format::Parquet, plain, &none);
    assert_eq!(expected.len(), traffic.len());
    let nanos = || traffic.iter().map(|w| w.nanos);
    let texts = |of: &dyn Fn(&Wire) -> String| -> ArrayRef {
        Arc::new(StringArray::from_iter_values(traffic.iter().map(of)))
    };
    let hex = |w: &Wire| w.data.iter().map(|b| format!("{b:02x} ")).collect::<String>();
    let padded = |w: &Wire| [&w.data[..], &[0; 64]].concat()[..64].to_vec();
    let mut lists = ListBuilder::new(UInt8Builder::new());
    for w in &traffic {
        lists.values().append_slice(&w.data);
        lists.append(true);
    }
    let buses: DictionaryArray<Int32Type> =
        traffic.iter().map(|w| if w.bus == 0 { "can0" } else { "can1" }).collect();
    let micros = choosing("time", None, Some("epoch_us"));
    let seconds = nanos().map(|n| n as f64 / 1e9);
    let cases: Vec<(&str, &str, ArrayRef, &LogTables)> = vec![
        ("float seconds", "time", Arc::new(Float64Array::from_iter_values(seconds)), &none),
        (
            "whole microseconds",
            "time",
            Arc::new(Int64Array::from_iter_values(nanos().map(|n| n / 1000))),
            &micros,
        ),
        (
            "stamps, ns",
            "time",
            Arc::new(TimestampNanosecondArray::from_iter_values(nanos())),
            &none,
        ),
        ("text", "time", texts(&|w| buswitness::vocabulary::Instant(w.nanos).to_string()), &none),
        ("identifiers as text", "id", texts(&|w| format!("{:X}", w.id)), &none),
        (
            "whole words",
            "id",
            Arc::new(Int64Array::from_iter_values(traffic.iter().map(|w| i64::from(w.word())))),
            &none,
        ),
        ("data as text", "data", texts(&hex), &none),
        ("data as lists", "data", Arc::new(lists.finish()), &none),
        (
            "data of fixed size",
            "data",
            Arc::new(FixedSizeBinaryArray::try_from_iter(traffic.iter().map(padded)).expect("64")),
            &none,
        ),
        ("buses in a dictionary", "bus", Arc::new(buses), &none),
        ("flags as text", "remote", texts(&|w| w.remote.to_string()), &none),
        (
            "flags as numbers",
            "error",
            Arc::new(Int64Array::from_iter_values(traffic.iter().map(|w| i64::from(w.error)))),
            &none,
        ),
    ];
    for (what, column, values, tables) in cases {
        let rows = with(&traffic, column, values);
        let stream = arrow_stream(&rows, None);
        let file = parquet(&rows, Compression::UNCOMPRESSED);
        for (format, bytes) in [(Format::ArrowStream, stream), (Format::Parquet, file)] {
            let (frames, account) = read(format, bytes, tables);
            assert_eq!(account.rejects, [], "{what} in {format:?}");
            assert_eq!(frames, expected, "{what} in {format:?}");
        }
    }
    // Coarse stamps are what they say.
    for (unit, column) in [
        (
            1_000_000_000,
            Arc::new(TimestampSecondArray::from_iter_values(nanos().map(|n| n / 1_000_000_000)))
                as ArrayRef,
        ),
        (
            1_000_000,
            Arc::new(TimestampMillisecondArray::from_iter_values(nanos().map(|n| n / 1_000_000)))
                as ArrayRef,
        ),
    ] {
        let rows = with(&traffic, "time", column);
        let (frames, _) = read(Format::ArrowStream, arrow_stream(&rows, None), &none);
        let times: Vec<i64> = frames.iter().map(|(f, _)| f.time.0).collect();
        assert_eq!(times, nanos().map(|n| n / unit * unit).collect::<Vec<_>>());
    }
}

#[test]
fn what_a_columnar_log_may_not_be_is_named() {
    let traffic = mixed_traffic(10);
    let said = |rows: &RecordBatch| {
        let bytes = parquet(rows, Compression::UNCOMPRESSED);
        let (frames, account) = read(Format::Parquet, bytes, &LogTables::default());
        assert!(frames.is_empty());
        assert_eq!(account.rejects[0].place, Place::whole(&name()));
        account.rejects[0].reason.clone()
    };
    let without = |gone: &str| {
        let rows = batch(&traffic);
        let kept: Vec<usize> = (0..rows.num_columns())
            .filter(|at| rows.schema_ref().field(*at).name() != gone)
            .collect();
        rows.project(&kept).expect("a part")
    };
    let reason = said(&without("data"));
    assert!(reason.contains("missing column `data`, found time, bus, id"), "{reason}");
    let whole = Arc::new(Int64Array::from_iter_values(traffic.iter().map(|w| w.nanos)));
    let reason = said(&with(&traffic, "time", whole));
    assert!(reason.contains("say its unit") && reason.contains("epoch_us"), "{reason}");
    let floats = Arc::new(Float64Array::from_iter_values(traffic.iter().map(|w| f64::from(w.id))));
    let reason = said(&with(&traffic, "id", floats));
    assert!(reason.contains("column `id` is of type Float64"), "{reason}");
}

#[test]
fn rows_with_nulls_or_wrong_values_are_rejected_by_number() {
    let traffic = mixed_traffic(4);
    let ids: ArrayRef = Arc::new(Int64Array::from(vec![Some(0x1A0), None, Some(-1), Some(0x1A1)]));
    assert_eq!(ids.null_count(), 1);
    let rows = with(&traffic, "id", ids);
    let (frames, account) =
        read(Format::ArrowStream, arrow_stream(&rows, None), &LogTables::default());
    let lines: Vec<u64> = frames.iter().map(|(f, _)| f.line).collect();
    assert_eq!(lines, [1, 4]);
    let told: Vec<String> =
        account.rejects.iter().map(|r| format!("{} {}", r.place, r.reason)).collect();
    assert!(told[0].starts_with("log:2 `id` is empty"), "{told:?}");
    assert!(told[1].starts_with("log:3 `id` is negative"), "{told:?}");
}
