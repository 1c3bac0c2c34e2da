//! The columns of bus logs that are tables, for the log readers.

use chrono_tz::Tz;

use super::forms::{BUS_LOGS, ColumnChoices};
use super::header::{Column, check_header, check_names};
use crate::read::account::Account;

/// A field of a bus log table; its number is its position in the form.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[expect(missing_docs, reason = "each is the column of its name")]
pub enum LogField {
    Time,
    Bus,
    Id,
    Extended,
    Dlc,
    Data,
    Fd,
    Esi,
    Remote,
    Error,
    Direction,
}

/// How many fields there are.
pub const LOG_FIELDS: usize = 11;

const ALL: [LogField; LOG_FIELDS] = [
    LogField::Time,
    LogField::Bus,
    LogField::Id,
    LogField::Extended,
    LogField::Dlc,
    LogField::Data,
    LogField::Fd,
    LogField::Esi,
    LogField::Remote,
    LogField::Error,
    LogField::Direction,
];

/// Which column of a table holds which field.
#[derive(Debug, Clone, PartialEq)]
pub struct LogColumns {
    /// The separator of a text table.
    pub separator: u8,
    /// The field of each column, `None` for columns that are not known.
    pub field_of: Vec<Option<LogField>>,
    /// Decimals of the unit of times, when the pipeline says that they are numbers.
    pub epoch: Option<u32>,
    /// The zone of times without an offset.
    pub zone: Tz,
}

impl LogColumns {
    fn new(separator: char, width: usize, columns: &[Option<Column>], zone: Tz) -> LogColumns {
        let mut found = LogColumns {
            separator: u8::try_from(separator).unwrap_or(b','),
            field_of: vec![None; width],
            epoch: None,
            zone,
        };
        for (field, column) in ALL.iter().zip(columns) {
            let Some(column) = column else { continue };
            if let Some(place) = found.field_of.get_mut(column.at) {
                *place = Some(*field);
            }
            if *field == LogField::Time {
                found.epoch = column.epoch;
                found.zone = column.zone;
            }
        }
        found
    }
}

/// Reads the header line of a text table.
///
/// # Errors
/// A message that names all missing columns and those found.
pub fn log_columns_of_header(
    line: &str,
    choices: &ColumnChoices,
    zone: Tz,
    account: &mut Account,
) -> Result<LogColumns, String> {
    let header = check_header(line, &BUS_LOGS, choices, zone, account)?;
    Ok(LogColumns::new(header.separator, header.width, &header.columns, zone))
}

/// Reads the column names of a table that is not text.
///
/// # Errors
/// As [`log_columns_of_header`].
pub fn log_columns_of_names(
    names: &[String],
    choices: &ColumnChoices,
    zone: Tz,
    account: &mut Account,
) -> Result<LogColumns, String> {
    let columns = check_names(names, &BUS_LOGS, choices, zone, account)?;
    Ok(LogColumns::new(',', names.len(), &columns, zone))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fields_stand_in_the_order_of_the_form() {
        let names: Vec<String> = ALL.iter().map(|f| format!("{f:?}").to_lowercase()).collect();
        assert_eq!(names, BUS_LOGS.names());
    }
}
