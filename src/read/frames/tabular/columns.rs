//! Rows of a columnar batch: the schema is checked once, then each batch is read row by row.
//!
//! Types read: times as time stamps of any unit, floats (seconds unless a unit is chosen), whole
//! numbers (a unit must be chosen) or text; identifiers as whole numbers or hexadecimal text; data as
//! bytes of fixed or free length, lists of whole numbers, or hexadecimal text; flags as yes/no, whole
//! numbers or text. Any of them may be dictionary-encoded.

use arrow::array::RecordBatch;
use arrow::datatypes::{DataType, Schema};

use super::row::Row;
use super::values::{Clock, Column, Words};
use crate::read::account::Account;
use crate::read::frames::handing::Batches;
use crate::read::frames::log::LogTables;
use crate::read::frames::rejects::RejectList;
use crate::read::tables::{LOG_FIELDS, LogField, log_columns_of_names};
use crate::vocabulary::Spot;

/// The checked columns of a file, and what of its rows was refused.
pub(super) struct Rows {
    /// The name of each field's column.
    names: [Option<String>; LOG_FIELDS],
    clock: Clock,
    number: u64,
    pub(super) rejects: RejectList,
}

impl Rows {
    /// Checks a schema.
    ///
    /// # Errors
    /// A message that names all that is missing or of a type that is not read, and what was found.
    pub(super) fn of_schema(
        schema: &Schema,
        tables: &LogTables,
        rejects: RejectList,
        account: &mut Account,
    ) -> Result<Rows, String> {
        let found: Vec<String> = schema.fields().iter().map(|f| f.name().clone()).collect();
        let columns = log_columns_of_names(&found, &tables.choices, tables.zone, account)?;
        let mut names: [Option<String>; LOG_FIELDS] = std::array::from_fn(|_| None);
        let mut faults = Vec::new();
        let mut clock = None;
        for (field, place) in schema.fields().iter().zip(&columns.field_of) {
            let Some(place) = place else { continue };
            let kind = plain(field.data_type());
            if *place == LogField::Time {
                match Clock::of_type(kind, columns.epoch, columns.zone) {
                    Ok(found) => clock = Some(found),
                    Err(reason) => faults.push(reason),
                }
            } else if !fits(*place, kind) {
                faults.push(format!(
                    "column `{}` is of type {kind}, which is not read as `{}`",
                    field.name(),
                    format!("{place:?}").to_lowercase()
                ));
            }
            names[*place as usize] = Some(field.name().clone());
        }
        match clock {
            Some(clock) if faults.is_empty() => Ok(Rows { names, clock, number: 0, rejects }),
            _ => Err(format!("bus log table: {}", faults.join("; "))),
        }
    }

    /// The names of the columns that are read.
    pub(super) fn names(&self) -> impl Iterator<Item = &str> {
        self.names.iter().flatten().map(String::as_str)
    }

    /// Reads a batch.
    ///
    /// # Errors
    /// When the batch lacks a column of the schema; nothing was read of it then.
    pub(super) fn batch(
        &mut self,
        batch: &RecordBatch,
        batches: &mut Batches<'_>,
        account: &mut Account,
    ) -> Result<(), String> {
        let column = |field: LogField| -> Result<Option<Column<'_>>, String> {
            let Some(name) = &self.names[field as usize] else { return Ok(None) };
            let array = batch.column_by_name(name).ok_or(format!("a batch lacks `{name}`"))?;
            Ok(Some(Column::new(array)))
        };
        let need = |field| column(field)?.ok_or("a batch lacks a column".to_owned());
        let times = need(LogField::Time)?;
        let ids = need(LogField::Id)?;
        let data = need(LogField::Data)?;
        let buses = column(LogField::Bus)?;
        let lengths = column(LogField::Dlc)?;
        let [extended, fd, esi, remote, error] = [
            column(LogField::Extended)?,
            column(LogField::Fd)?,
            column(LogField::Esi)?,
            column(LogField::Remote)?,
            column(LogField::Error)?,
        ];
        let padded =
            matches!(data.kind(), DataType::FixedSizeBinary(_) | DataType::FixedSizeList(..));
        let flag =
            |column: &Option<Column<'_>>, at| column.as_ref().map_or(Ok(None), |c| c.flag(at));
        for at in 0..batch.num_rows() {
            self.number += 1;
            let mut bytes = [0; 64];
            let mut read = || -> Result<_, String> {
                let (time, leniency) = self.clock.read(&times, at)?;
                let (id, eight_digits) = ids.identifier(at)?;
                let length = data.bytes(at, &mut bytes)?;
                let row = Row {
                    id,
                    eight_digits,
                    extended: flag(&extended, at)?,
                    fd: flag(&fd, at)?,
                    esi: flag(&esi, at)?,
                    remote: flag(&remote, at)?,
                    error: flag(&error, at)?,
                    dlc: lengths.as_ref().map_or(Ok(None), |column| column.count(at))?,
                    data: &bytes[..length],
                    padded,
                };
                let bus = buses.as_ref().map_or(Words::Nothing, |column| column.words(at));
                let channel = batches.channel(bus.text().as_bytes())?;
                Ok((row.content()?.at(time, self.number, channel), leniency))
            };
            match read() {
                Ok((frame, leniency)) => {
                    if let Some(what) = leniency {
                        account.lenient(what);
                    }
                    batches.push(frame);
                }
                Err(reason) => {
                    self.rejects.record(self.number, Spot::Line(self.number), &reason);
                }
            }
        }
        Ok(())
    }
}

/// The type of the values, whether or not they stand in a dictionary.
fn plain(kind: &DataType) -> &DataType {
    match kind {
        DataType::Dictionary(_, values) => values,
        other => other,
    }
}

fn fits(field: LogField, kind: &DataType) -> bool {
    let text = matches!(kind, DataType::Utf8 | DataType::LargeUtf8 | DataType::Utf8View);
    let whole = kind.is_integer();
    match field {
        LogField::Time | LogField::Direction => true,
        LogField::Bus | LogField::Id => text || whole,
        LogField::Dlc => whole,
        LogField::Extended | LogField::Fd | LogField::Esi | LogField::Remote | LogField::Error => {
            text || whole || *kind == DataType::Boolean
        }
        LogField::Data => match kind {
            DataType::Binary
            | DataType::LargeBinary
            | DataType::BinaryView
            | DataType::FixedSizeBinary(_) => true,
            DataType::List(item) | DataType::LargeList(item) | DataType::FixedSizeList(item, _) => {
                item.data_type().is_integer()
            }
            _ => text,
        },
    }
}
