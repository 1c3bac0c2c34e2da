//! Single values of a column: times, identifiers, bytes, flags, counts, words.

use std::borrow::Cow;

use arrow::array::{Array, ArrayRef, AsArray};
use arrow::datatypes::{
    DataType, Float32Type, Float64Type, Int8Type, Int16Type, Int32Type, Int64Type, TimeUnit,
    TimestampMicrosecondType, TimestampMillisecondType, TimestampNanosecondType,
    TimestampSecondType, UInt8Type, UInt16Type, UInt32Type, UInt64Type,
};
use chrono_tz::Tz;

use super::cells::{self, Times};
use crate::read::times::local_instant;
use crate::vocabulary::Instant;

/// A column of one batch; values may stand in a dictionary.
pub(super) struct Column<'a> {
    rows: &'a dyn Array,
    values: &'a dyn Array,
    /// For each row the position of its value, in a dictionary.
    keys: Option<Vec<usize>>,
}

/// Words of a cell.
pub(super) enum Words<'a> {
    Nothing,
    Text(&'a str),
    Number(String),
}

impl Words<'_> {
    pub(super) fn text(&self) -> &str {
        match self {
            Words::Nothing => "",
            Words::Text(text) => text.trim(),
            Words::Number(text) => text,
        }
    }
}

impl<'a> Column<'a> {
    pub(super) fn new(array: &'a ArrayRef) -> Column<'a> {
        let rows: &'a dyn Array = array.as_ref();
        match rows.as_any_dictionary_opt() {
            Some(dictionary) if !dictionary.values().is_empty() => Column {
                rows,
                values: dictionary.values().as_ref(),
                keys: Some(dictionary.normalized_keys()),
            },
            _ => Column { rows, values: rows, keys: None },
        }
    }

    pub(super) fn kind(&self) -> &DataType {
        self.values.data_type()
    }

    /// The position of a row's value; `None` when it is null.
    fn at(&self, row: usize) -> Option<usize> {
        if self.rows.is_null(row) {
            return None;
        }
        let at = match &self.keys {
            Some(keys) => *keys.get(row)?,
            None => row,
        };
        (at < self.values.len() && !self.values.is_null(at)).then_some(at)
    }

    fn whole(&self, at: usize) -> Option<i128> {
        whole(self.values, at)
    }

    fn str(&self, at: usize) -> Option<&'a str> {
        match self.values.data_type() {
            DataType::Utf8 => Some(self.values.as_string::<i32>().value(at)),
            DataType::LargeUtf8 => Some(self.values.as_string::<i64>().value(at)),
            DataType::Utf8View => Some(self.values.as_string_view().value(at)),
            _ => None,
        }
    }

    pub(super) fn identifier(&self, row: usize) -> Result<(u32, bool), &'static str> {
        let at = self.at(row).ok_or("`id` is empty, every row needs it")?;
        if let Some(text) = self.str(at) {
            return cells::identifier(text.trim().as_bytes());
        }
        let word = self.whole(at).and_then(|value| u32::try_from(value).ok());
        word.map(|word| (word, false)).ok_or("`id` is negative or longer than 32 bits")
    }

    pub(super) fn count(&self, row: usize) -> Result<Option<u32>, &'static str> {
        let Some(at) = self.at(row) else { return Ok(None) };
        let count = self.whole(at).and_then(|value| u32::try_from(value).ok());
        count.map(Some).ok_or("`dlc` is not a whole number")
    }

    pub(super) fn flag(&self, row: usize) -> Result<Option<bool>, &'static str> {
        let Some(at) = self.at(row) else { return Ok(None) };
        if let Some(flags) = self.values.as_boolean_opt() {
            return Ok(Some(flags.value(at)));
        }
        match (self.str(at), self.whole(at)) {
            (Some(text), _) => cells::flag(text.trim().as_bytes()),
            (None, Some(value @ 0..=1)) => Ok(Some(value == 1)),
            _ => Err("a flag that is neither true nor false"),
        }
    }

    pub(super) fn words(&self, row: usize) -> Words<'a> {
        let Some(at) = self.at(row) else { return Words::Nothing };
        match (self.str(at), self.whole(at)) {
            (Some(text), _) => Words::Text(text),
            (None, Some(number)) => Words::Number(number.to_string()),
            (None, None) => Words::Nothing,
        }
    }

    /// Data bytes; how many there are. Null is none.
    pub(super) fn bytes(&self, row: usize, into: &mut [u8; 64]) -> Result<usize, &'static str> {
        let Some(at) = self.at(row) else { return Ok(0) };
        let bytes = match self.values.data_type() {
            DataType::Binary => self.values.as_binary::<i32>().value(at),
            DataType::LargeBinary => self.values.as_binary::<i64>().value(at),
            DataType::BinaryView => self.values.as_binary_view().value(at),
            DataType::FixedSizeBinary(_) => self.values.as_fixed_size_binary().value(at),
            DataType::List(_) => return items(&self.values.as_list::<i32>().value(at), into),
            DataType::LargeList(_) => return items(&self.values.as_list::<i64>().value(at), into),
            DataType::FixedSizeList(..) => {
                return items(&self.values.as_fixed_size_list().value(at), into);
            }
            _ => return cells::data(self.str(at).unwrap_or("").trim().as_bytes(), into),
        };
        into.get_mut(..bytes.len()).ok_or("more than 64 data bytes")?.copy_from_slice(bytes);
        Ok(bytes.len())
    }
}

fn items(list: &ArrayRef, into: &mut [u8; 64]) -> Result<usize, &'static str> {
    for at in 0..list.len() {
        let byte = if list.is_null(at) { None } else { whole(list.as_ref(), at) };
        let byte = byte.and_then(|value| u8::try_from(value).ok());
        *into.get_mut(at).ok_or("more than 64 data bytes")? =
            byte.ok_or("an item of `data` is not a byte")?;
    }
    Ok(list.len())
}

fn whole(values: &dyn Array, at: usize) -> Option<i128> {
    Some(match values.data_type() {
        DataType::Int8 => values.as_primitive::<Int8Type>().value(at).into(),
        DataType::Int16 => values.as_primitive::<Int16Type>().value(at).into(),
        DataType::Int32 => values.as_primitive::<Int32Type>().value(at).into(),
        DataType::Int64 => values.as_primitive::<Int64Type>().value(at).into(),
        DataType::UInt8 => values.as_primitive::<UInt8Type>().value(at).into(),
        DataType::UInt16 => values.as_primitive::<UInt16Type>().value(at).into(),
        DataType::UInt32 => values.as_primitive::<UInt32Type>().value(at).into(),
        DataType::UInt64 => values.as_primitive::<UInt64Type>().value(at).into(),
        _ => return None,
    })
}

/// How the times of a column are read.
pub(super) enum Clock {
    /// Whole numbers or time stamps of so many decimals; wall clocks in a zone, or since 1970.
    Whole { decimals: u32, wall: Option<Tz> },
    /// Floats in a unit of so many decimals.
    Float { decimals: u32 },
    /// Text.
    Text(Times),
}

/// A time with what was let pass.
type Read = (Instant, Option<&'static str>);

impl Clock {
    /// # Errors
    /// A message when times cannot be of this type.
    pub(super) fn of_type(kind: &DataType, epoch: Option<u32>, zone: Tz) -> Result<Clock, String> {
        match (kind, epoch) {
            (DataType::Timestamp(unit, zoned), _) => {
                let decimals = match unit {
                    TimeUnit::Second => 0,
                    TimeUnit::Millisecond => 3,
                    TimeUnit::Microsecond => 6,
                    TimeUnit::Nanosecond => 9,
                };
                let wall = (zoned.is_none() && zone != Tz::UTC).then_some(zone);
                Ok(Clock::Whole { decimals, wall })
            }
            (DataType::Float32 | DataType::Float64, _) => {
                Ok(Clock::Float { decimals: epoch.unwrap_or(0) })
            }
            (whole, Some(decimals)) if whole.is_integer() => {
                Ok(Clock::Whole { decimals, wall: None })
            }
            (whole, None) if whole.is_integer() => Err(format!(
                "column `time` is of type {whole}; say its unit in the pipeline, under \
                 [columns.bus_logs]: time = {{unit = \"epoch_us\"}} (or epoch_s, epoch_ms, epoch_ns)"
            )),
            (DataType::Utf8 | DataType::LargeUtf8 | DataType::Utf8View, _) => {
                Ok(Clock::Text(Times::new(epoch, zone)))
            }
            (other, _) => {
                Err(format!("column `time` is of type {other}, which is not read as a time"))
            }
        }
    }

    pub(super) fn read(
        &mut self,
        column: &Column<'_>,
        row: usize,
    ) -> Result<Read, Cow<'static, str>> {
        const EMPTY: &str = "`time` is empty, every row needs it";
        const OUTSIDE: &str = "a time outside the years 1678 to 2261";
        let at = column.at(row).ok_or(EMPTY)?;
        match self {
            Clock::Text(times) => {
                let text = column.str(at).ok_or(EMPTY)?;
                Ok(times.read(text.trim().as_bytes())?)
            }
            Clock::Float { decimals } => {
                let value = match column.values.as_primitive_opt::<Float64Type>() {
                    Some(doubles) => doubles.value(at),
                    None => f64::from(column.values.as_primitive::<Float32Type>().value(at)),
                };
                Ok((of_float(value, *decimals).ok_or(OUTSIDE)?, None))
            }
            Clock::Whole { decimals, wall } => {
                let value = stamp(column.values, at).or_else(|| column.whole(at)).ok_or(EMPTY)?;
                let nanos = value.checked_mul(10i128.pow(9 - (*decimals).min(9)));
                let nanos = nanos.and_then(|n| i64::try_from(n).ok()).ok_or(OUTSIDE)?;
                match wall {
                    None => Ok((Instant(nanos), None)),
                    Some(zone) => {
                        let read = local_instant(nanos, *zone)?;
                        Ok((read.instant, read.leniency))
                    }
                }
            }
        }
    }
}

fn stamp(values: &dyn Array, at: usize) -> Option<i128> {
    let DataType::Timestamp(unit, _) = values.data_type() else { return None };
    Some(i128::from(match unit {
        TimeUnit::Second => values.as_primitive::<TimestampSecondType>().value(at),
        TimeUnit::Millisecond => values.as_primitive::<TimestampMillisecondType>().value(at),
        TimeUnit::Microsecond => values.as_primitive::<TimestampMicrosecondType>().value(at),
        TimeUnit::Nanosecond => values.as_primitive::<TimestampNanosecondType>().value(at),
    }))
}

/// A float as an instant, rounded to the finest decimal that a double of its size can hold: digits
/// below are noise of the writer's conversion (today's seconds since 1970 hold microseconds).
pub(super) fn of_float(value: f64, decimals: u32) -> Option<Instant> {
    let scale = 10f64.powi(9 - i32::try_from(decimals.min(9)).ok()?);
    let whole = value.trunc();
    if !value.is_finite() || (whole * scale).abs() >= 9.2e18 {
        return None;
    }
    #[expect(clippy::cast_possible_truncation, reason = "below 9.2e18 by the check above")]
    let (whole_nanos, rest) =
        (whole as i128 * scale as i128, ((value - whole) * scale).round() as i128);
    let noise = (value.next_up() - value).abs() * scale;
    let mut step = 1i128;
    while (step as f64) < noise && step < 1_000_000_000_000 {
        step *= 10;
    }
    let nanos = whole_nanos + rest;
    let rounded = (nanos + step / 2).div_euclid(step) * step;
    i64::try_from(rounded).ok().map(Instant)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn floats_keep_the_digits_they_hold() {
        assert_eq!(of_float(1_767_600_000.123_456, 0), Some(Instant(1_767_600_000_123_456_000)));
        assert_eq!(of_float(0.000_000_123, 0), Some(Instant(123)));
        assert_eq!(of_float(-1.5, 0), Some(Instant(-1_500_000_000)));
        assert_eq!(of_float(1_767_600_000_123.25, 3), Some(Instant(1_767_600_000_123_250_000)));
        assert_eq!(
            (of_float(f64::NAN, 0), of_float(1e300, 0), of_float(1e11, 0)),
            (None, None, None)
        );
    }
}
