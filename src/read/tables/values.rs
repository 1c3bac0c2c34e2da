//! The values of a row's cells.
//!
//! A number is digits with an optional sign, decimal point and exponent. In tables separated by `;` or
//! tabs a decimal comma is read and counted. `NA`, `N/A`, `-`, `null`, `none` and `nan` in a cell for
//! a number, time or flag mean that there is no value, and are counted.

use std::io::Read;

use crate::read::tables::forms::{Field, Holds};
use crate::read::tables::header::Column;
use crate::read::tables::sheet::Sheet;
use crate::read::times::{parse_day, parse_epoch, parse_time, shortened};
use crate::vocabulary::Instant;

impl<R: Read> Sheet<R> {
    /// The words of a cell; `None` when it is empty or the column is not there.
    #[must_use]
    pub fn text(&self, name: &str) -> Option<String> {
        let (_, column) = self.find(name)?;
        let cell = self.cell(column);
        (!cell.is_empty()).then(|| cell.to_owned())
    }

    /// The words of a cell that must be there; otherwise the row is refused.
    pub fn must_text(&mut self, name: &str) -> Option<String> {
        let found = self.text(name);
        if found.is_none() {
            self.refuse(format!("`{name}` is empty, every row needs it"));
        }
        found
    }

    /// The number of a cell in the unit we keep. A bad or impossible one is refused alone.
    pub fn number(&mut self, name: &str) -> Option<f64> {
        let (field, column, cell) = self.value(name)?;
        let comma = self.separator() != ',' && cell.contains(',') && !cell.contains('.');
        let plain = if comma { cell.replace(',', ".") } else { cell.clone() };
        let checked = parse_number(&plain).map(|v| column.scale.keep(v));
        match checked.and_then(|value| check_range(value, field.range).map(|()| value)) {
            Ok(value) => {
                if comma {
                    self.account.lenient("decimal comma read as a point");
                }
                Some(value)
            }
            Err(mut reason) => {
                if cell.contains(',') && !comma {
                    reason.push_str("; a decimal comma is only read in tables separated by `;`");
                }
                self.refuse(format!("`{name}`: {reason}"));
                None
            }
        }
    }

    /// The whole number of a cell.
    pub fn whole(&mut self, name: &str) -> Option<u32> {
        let value = self.number(name)?;
        let whole = whole_number(value);
        if whole.is_none() {
            self.refuse(format!("`{name}`: `{value}` is not a whole number"));
        }
        whole
    }

    /// The yes or no of a cell.
    pub fn flag(&mut self, name: &str) -> Option<bool> {
        let (_, _, cell) = self.value(name)?;
        let flag = parse_flag(&cell);
        if flag.is_none() {
            self.refuse(format!("`{name}`: `{}` is neither true nor false", shortened(&cell)));
        }
        flag
    }

    /// The time of a cell. A bad one is refused alone; whether the row can live without it is the
    /// caller's choice.
    pub fn time(&mut self, name: &str) -> Option<Instant> {
        let (field, column, cell) = self.value(name)?;
        let read = match (column.epoch, field.holds) {
            (Some(decimals), _) => parse_epoch(&cell, decimals).map(|instant| (instant, None)),
            (None, Holds::Day) => parse_day(&cell, column.zone).map(|t| (t.instant, t.leniency)),
            (None, _) => parse_time(&cell, column.zone).map(|t| (t.instant, t.leniency)),
        };
        match read {
            Ok((instant, leniency)) => {
                if let Some(what) = leniency {
                    self.account.lenient(what);
                }
                Some(instant)
            }
            Err(reason) => {
                self.refuse(format!("`{name}`: {reason}"));
                None
            }
        }
    }

    /// The time of a cell that must be there; otherwise the row is refused (once).
    pub fn must_time(&mut self, name: &str) -> Option<Instant> {
        let before = self.account.rejects.len();
        let time = self.time(name);
        if time.is_none() && self.account.rejects.len() == before {
            self.refuse(format!("`{name}` is empty, every row needs it"));
        }
        time
    }

    /// A cell that holds a value; marks for "no value" are counted and dropped.
    fn value(&mut self, name: &str) -> Option<(&'static Field, Column, String)> {
        let (field, column) = self.find(name)?;
        let cell = self.cell(column);
        if cell.is_empty() {
            return None;
        }
        if is_no_value(cell) {
            let what = format!("`{cell}` read as no value");
            self.account.lenient(&what);
            return None;
        }
        let cell = cell.to_owned();
        Some((field, column, cell))
    }
}

/// Reads a number in plain digits.
///
/// # Errors
/// A message fragment with what was found.
pub fn parse_number(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let plain = text.bytes().all(|b| b.is_ascii_digit() || b"+-.eE".contains(&b));
    text.parse::<f64>()
        .ok()
        .filter(|value| plain && value.is_finite())
        .ok_or_else(|| format!("`{}` is not a number", shortened(text)))
}

/// Checks that a value can be true.
///
/// # Errors
/// A message fragment with the range.
pub fn check_range(value: f64, (low, high): (f64, f64)) -> Result<(), String> {
    if (low..=high).contains(&value) {
        Ok(())
    } else {
        Err(format!("{value} is outside what can be true ({low} to {high})"))
    }
}

/// The whole number that a float is; `None` when it has decimals or does not fit.
#[must_use]
pub fn whole_number(value: f64) -> Option<u32> {
    let fits = (0.0..=f64::from(u32::MAX)).contains(&value) && value.fract().abs() < f64::EPSILON;
    #[expect(clippy::cast_possible_truncation, reason = "checked to be whole and in range")]
    #[expect(clippy::cast_sign_loss, reason = "checked to be at least 0")]
    fits.then_some(value as u32)
}

/// Reads yes or no.
#[must_use]
pub fn parse_flag(text: &str) -> Option<bool> {
    match text.trim().to_ascii_lowercase().as_str() {
        "true" | "yes" | "y" | "1" => Some(true),
        "false" | "no" | "n" | "0" => Some(false),
        _ => None,
    }
}

fn is_no_value(cell: &str) -> bool {
    ["na", "n/a", "-", "null", "none", "nan"].iter().any(|mark| cell.eq_ignore_ascii_case(mark))
}
