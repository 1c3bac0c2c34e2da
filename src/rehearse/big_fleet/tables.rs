//! The tables of a part, in the columns that `[inputs] facts` reads.

use std::sync::Arc;

use arrow::array::{
    ArrayRef, BooleanBuilder, Float64Builder, StringBuilder, TimestampNanosecondBuilder,
    UInt32Builder, UInt64Builder,
};
use arrow::datatypes::{DataType, Field, Schema, TimeUnit};
use arrow::record_batch::RecordBatch;
use parquet::arrow::ArrowWriter;
use parquet::basic::{Compression, ZstdLevel};
use parquet::file::properties::WriterProperties;

use super::life::Lived;
use crate::rehearse::RehearseError;
use crate::vocabulary::Instant;

/// The bus of every invented network.
const BUS: &str = "main";

/// One column in the making.
enum Column {
    Text(StringBuilder),
    Time(TimestampNanosecondBuilder),
    Number(Float64Builder),
    Count(UInt64Builder),
    Small(UInt32Builder),
    Flag(BooleanBuilder),
}

/// A cell.
enum Cell<'a> {
    Text(&'a str),
    Time(Instant),
    Number(f64),
    Count(u64),
    Small(u32),
    Flag(bool),
    Empty,
}

/// A table in the making: name, type and whether cells may be empty, by column.
struct Table {
    columns: Vec<(&'static str, bool, Column)>,
}

impl Table {
    /// From words like `vehicle:text` or `code:text?`.
    fn new(words: &'static str) -> Table {
        let columns = words.split_whitespace().filter_map(|word| {
            let (name, kind) = word.split_once(':')?;
            let (kind, empty) = (kind.trim_end_matches('?'), kind.ends_with('?'));
            let column = match kind {
                "time" => Column::Time(TimestampNanosecondBuilder::new().with_timezone("UTC")),
                "number" => Column::Number(Float64Builder::new()),
                "count" => Column::Count(UInt64Builder::new()),
                "small" => Column::Small(UInt32Builder::new()),
                "flag" => Column::Flag(BooleanBuilder::new()),
                _ => Column::Text(StringBuilder::new()),
            };
            Some((name, empty, column))
        });
        Table { columns: columns.collect() }
    }

    fn row(&mut self, cells: &[Cell<'_>]) {
        for ((_, _, column), cell) in self.columns.iter_mut().zip(cells) {
            match (column, cell) {
                (Column::Text(c), Cell::Text(v)) => c.append_value(v),
                (Column::Text(c), _) => c.append_null(),
                (Column::Time(c), Cell::Time(v)) => c.append_value(v.0),
                (Column::Time(c), _) => c.append_null(),
                (Column::Number(c), Cell::Number(v)) => c.append_value(*v),
                (Column::Number(c), _) => c.append_null(),
                (Column::Count(c), Cell::Count(v)) => c.append_value(*v),
                (Column::Count(c), _) => c.append_null(),
                (Column::Small(c), Cell::Small(v)) => c.append_value(*v),
                (Column::Small(c), _) => c.append_null(),
                (Column::Flag(c), Cell::Flag(v)) => c.append_value(*v),
                (Column::Flag(c), _) => c.append_null(),
            }
        }
    }

    fn bytes(self) -> Result<Vec<u8>, RehearseError> {
        let (mut fields, mut arrays): (Vec<Field>, Vec<ArrayRef>) = (Vec::new(), Vec::new());
        for (name, empty, column) in self.columns {
            let (kind, array): (DataType, ArrayRef) = match column {
                Column::Text(mut c) => (DataType::Utf8, Arc::new(c.finish())),
                Column::Time(mut c) => (
                    DataType::Timestamp(TimeUnit::Nanosecond, Some("UTC".into())),
                    Arc::new(c.finish()),
                ),
                Column::Number(mut c) => (DataType::Float64, Arc::new(c.finish())),
                Column::Count(mut c) => (DataType::UInt64, Arc::new(c.finish())),
                Column::Small(mut c) => (DataType::UInt32, Arc::new(c.finish())),
                Column::Flag(mut c) => (DataType::Boolean, Arc::new(c.finish())),
            };
            fields.push(Field::new(name, kind, empty));
            arrays.push(array);
        }
        let failed = |e: &dyn std::fmt::Display| std::io::Error::other(e.to_string());
        let batch =
            RecordBatch::try_new(Arc::new(Schema::new(fields)), arrays).map_err(|e| failed(&e))?;
        let settings = WriterProperties::builder()
            .set_created_by("buswitness".to_owned())
            .set_compression(Compression::ZSTD(ZstdLevel::default()))
            .build();
        let mut bytes = Vec::new();
        let mut writer = ArrowWriter::try_new(&mut bytes, batch.schema(), Some(settings))
            .map_err(|e| failed(&e))?;
        writer.write(&batch).map_err(|e| failed(&e))?;
        writer.close().map_err(|e| failed(&e))?;
        Ok(bytes)
    }
}

/// The tables of one part.
pub(super) struct Tables([(&'static str, Table); 6]);

impl Default for Tables {
    fn default() -> Tables {
        let table = |name, words| (name, Table::new(words));
        Tables([
            table(
                "vehicles",
                "vehicle:text network:text? model:text? site:text? in_service:time? odometer_km:number?",
            ),
            table(
                "modules",
                "vehicle:text node:text part_number:text? hardware:text? software:text? batch:text? \
                 built_on:time? installed_on:time? removed_on:time? removal_reason:text?",
            ),
            table(
                "reports",
                "vehicle:text taken_at:time since_start_s:number? ambient_c:number? node:text \
                 answered:flag? code:text? status:text?",
            ),
            table(
                "starts",
                "vehicle:text bus:text begin:time end:time woke:flag slept:flag frames:count \
                 error_frames:count load:number? judged:flag why:text place:text",
            ),
            table(
                "presences",
                "vehicle:text bus:text start:time node:text first:time last:time frames:count \
                 fastest_period_s:number?",
            ),
            table(
                "silences",
                "vehicle:text bus:text start:time node:text last_heard:time due:time end:time \
                 returned:flag restarted:flag? identifiers:small place:text",
            ),
        ])
    }
}

impl Tables {
    /// Adds one vehicle.
    pub(super) fn add(&mut self, lived: &Lived) {
        let [vehicles, modules, reports, starts, presences, silences] = &mut self.0;
        let vehicle = || Cell::Text(&lived.name);
        vehicles.1.row(&[
            vehicle(),
            Cell::Text(&lived.network),
            Cell::Text(&lived.model),
            Cell::Text(&lived.site),
            Cell::Time(lived.in_service),
            Cell::Number(lived.odometer_km),
        ]);
        for part in &lived.parts {
            modules.1.row(&[
                vehicle(),
                Cell::Text(&part.node),
                Cell::Text(&part.part_number),
                Cell::Text(&part.hardware),
                Cell::Text(&part.software),
                Cell::Text(&part.batch),
                Cell::Time(part.built),
                Cell::Time(part.installed),
                part.removed.map_or(Cell::Empty, Cell::Time),
                part.removed.map_or(Cell::Empty, |_| Cell::Text("network-fault")),
            ]);
        }
        for report in &lived.reports {
            for said in &report.said {
                let code = said.code.as_ref();
                reports.1.row(&[
                    vehicle(),
                    Cell::Time(report.taken),
                    Cell::Number(report.since_start_s),
                    Cell::Number(report.ambient_c),
                    Cell::Text(&said.node),
                    Cell::Flag(said.answered),
                    code.map_or(Cell::Empty, |(code, _)| Cell::Text(code)),
                    code.map_or(Cell::Empty, |(_, status)| Cell::Text(status)),
                ]);
            }
        }
        for start in &lived.starts {
            let seconds = start.end.seconds_since(start.begin);
            let place = format!("{}:1", date_name(start.begin));
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "some thousands"
            )]
            let frames = |period: f64| (seconds / period) as u64;
            let all: u64 = lived.nodes.iter().map(|(_, period)| frames(*period)).sum();
            starts.1.row(&[
                vehicle(),
                Cell::Text(BUS),
                Cell::Time(start.begin),
                Cell::Time(start.end),
                Cell::Flag(true),
                Cell::Flag(true),
                Cell::Count(all),
                Cell::Count(0),
                Cell::Empty,
                Cell::Flag(true),
                Cell::Text(""),
                Cell::Text(&place),
            ]);
            for (node, period) in &lived.nodes {
                presences.1.row(&[
                    vehicle(),
                    Cell::Text(BUS),
                    Cell::Time(start.begin),
                    Cell::Text(node),
                    Cell::Time(start.begin),
                    Cell::Time(start.end),
                    Cell::Count(frames(*period)),
                    Cell::Number(*period),
                ]);
            }
            if let Some((node, due, back)) = &start.silent {
                silences.1.row(&[
                    vehicle(),
                    Cell::Text(BUS),
                    Cell::Time(start.begin),
                    Cell::Text(node),
                    Cell::Time(due.plus_seconds(-0.02)),
                    Cell::Time(*due),
                    Cell::Time(*back),
                    Cell::Flag(true),
                    Cell::Flag(false),
                    Cell::Small(1),
                    Cell::Text(&place),
                ]);
            }
        }
    }

    /// Every table's name and bytes.
    pub(super) fn files(self) -> Result<Vec<(&'static str, Vec<u8>)>, RehearseError> {
        self.0.into_iter().map(|(name, table)| Ok((name, table.bytes()?))).collect()
    }
}

fn date_name(time: Instant) -> String {
    time.utc().format("%Y%m%dT%H%M%SZ.log").to_string()
}
