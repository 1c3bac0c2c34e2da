//! The header of a table is checked before its data: which column holds which field.

use chrono_tz::Tz;

use crate::read::account::Account;
use crate::read::nearest::nearest;
use crate::read::tables::cells::{separator_of, split_cells};
use crate::read::tables::forms::{ColumnChoice, ColumnChoices, Field, Form, Holds};
use crate::read::tables::units::{Scale, epoch_decimals};

/// Where a field's cells stand and how they are read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Column {
    /// Position in a row.
    pub(super) at: usize,
    /// The way of its numbers to the unit we keep.
    pub(super) scale: Scale,
    /// For times given as numbers: their decimals.
    pub(super) epoch: Option<u32>,
    /// The zone of times without an offset.
    pub(super) zone: Tz,
}

/// A checked header.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Header {
    pub(super) separator: char,
    pub(super) width: usize,
    /// By field position.
    pub(super) columns: Vec<Option<Column>>,
}

/// Checks a header line; the error lists all faults in one message.
pub(super) fn check_header(
    line: &str,
    form: &'static Form,
    choices: &ColumnChoices,
    zone: Tz,
    account: &mut Account,
) -> Result<Header, String> {
    let separator = separator_of(line);
    let names = split_cells(line, separator)
        .map_err(|_| format!("header of the {} has a quote that is never closed", form.title))?;
    let columns = check_names(&names, form, choices, zone, account)?;
    Ok(Header { separator, width: names.len(), columns })
}

/// Checks the names of a table's columns; where each field of the form stands.
pub(super) fn check_names(
    names: &[String],
    form: &'static Form,
    choices: &ColumnChoices,
    zone: Tz,
    account: &mut Account,
) -> Result<Vec<Option<Column>>, String> {
    let mut faults = Vec::new();
    let mut columns = vec![None; form.fields.len()];
    let mut used = vec![false; names.len()];
    let plain = ColumnChoice::default();
    for (position, field) in form.fields.iter().enumerate() {
        let choice = choices.get(field.name);
        match locate(field, choice, names, account) {
            Ok(None) => {}
            Ok(Some(at)) => {
                used[at] = true;
                match column(field, at, choice.unwrap_or(&plain), zone) {
                    Ok(column) => columns[position] = Some(column),
                    Err(reason) => faults.push(reason),
                }
            }
            Err(reason) => faults.push(reason),
        }
    }
    if !faults.is_empty() {
        return Err(format!("{}: {}", form.title, faults.join("; ")));
    }
    for (name, _) in names.iter().zip(&used).filter(|(_, used)| !**used) {
        account.lenient(&format!("unknown column `{name}` ignored"));
    }
    Ok(columns)
}

/// Finds a field's column: by the exact name, else by the name in any case.
fn locate(
    field: &Field,
    choice: Option<&ColumnChoice>,
    names: &[String],
    account: &mut Account,
) -> Result<Option<usize>, String> {
    let chosen = choice.and_then(|c| c.column.as_deref());
    let wanted = chosen.unwrap_or(field.name);
    let matching = |same: &dyn Fn(&str) -> bool| -> Vec<usize> {
        names.iter().enumerate().filter(|(_, n)| same(n)).map(|(at, _)| at).collect()
    };
    let mut found = matching(&|name| name == wanted);
    if found.is_empty() {
        found = matching(&|name| name.eq_ignore_ascii_case(wanted));
        if let [at] = found.as_slice() {
            account.lenient(&format!("column `{}` read as `{wanted}`", names[*at]));
        }
    }
    match found.as_slice() {
        [at] => Ok(Some(*at)),
        [first, second, ..] => Err(format!(
            "column `{wanted}` stands twice (columns {} and {}), remove one",
            first + 1,
            second + 1
        )),
        [] if field.required || chosen.is_some() => {
            let near = nearest(wanted, names.iter().map(String::as_str));
            let hint = near.map_or(String::new(), |n| format!(", the nearest is `{n}`"));
            Err(format!(
                "missing column `{wanted}`, found {}{hint}; rename it in the file or under \
                 [columns] in the pipeline",
                crate::read::times::shortened(&names.join(", "))
            ))
        }
        [] => Ok(None),
    }
}

fn column(field: &Field, at: usize, choice: &ColumnChoice, zone: Tz) -> Result<Column, String> {
    let mut column =
        Column { at, scale: Scale::SAME, epoch: None, zone: choice.zone.unwrap_or(zone) };
    check_choice(field, choice)?;
    match (field.holds, &choice.unit) {
        (Holds::Number(quantity), Some(unit)) => column.scale = quantity.scale(unit)?,
        (Holds::Time | Holds::Day, Some(unit)) => column.epoch = Some(epoch_decimals(unit)?),
        _ => {}
    }
    Ok(column)
}

/// Checks that a choice of the pipeline fits its field.
///
/// # Errors
/// A message fragment: the unit is unknown, or the field takes none.
pub fn check_choice(field: &Field, choice: &ColumnChoice) -> Result<(), String> {
    let said = |reason: String| format!("`{}`: {reason}", field.name);
    match (field.holds, &choice.unit) {
        (Holds::Number(quantity), Some(unit)) => {
            quantity.scale(unit).map_err(said)?;
        }
        (Holds::Time | Holds::Day, Some(unit)) => {
            epoch_decimals(unit).map_err(said)?;
        }
        (Holds::Text | Holds::Flag, Some(unit)) => {
            return Err(said(format!("takes no unit, found `{unit}`")));
        }
        (_, None) => {}
    }
    if choice.zone.is_some() && !matches!(field.holds, Holds::Time | Holds::Day) {
        return Err(said("takes no zone, only times do".to_owned()));
    }
    Ok(())
}
