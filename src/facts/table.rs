//! From rows to record batches and back: what every table has in common.
//!
//! A row type names its table and gives its columns by name; the batch is put together in the
//! schema's order and refused when a column is missing, surplus or of another type.

use std::sync::Arc;

use arrow::array::ArrayRef;
use arrow::datatypes::Schema;
use arrow::record_batch::RecordBatch;

use crate::facts::columns::{Columns, texts};
use crate::facts::error::FactsError;
use crate::facts::table_shape::Table;

/// How places are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Places {
    /// File and spot: for people.
    Full,
    /// Only the spot: for the store, where the same log may have another name in the next run.
    SpotOnly,
}

/// A row type that has a table.
pub trait Row: Sized {
    /// Its table.
    const TABLE: &'static Table;

    /// The columns of these rows by name, in any order.
    fn columns(rows: &[&Self], places: Places) -> Vec<(&'static str, ArrayRef)>;
}

/// A row type that can be read back from its table.
pub trait StoredRow: Row {
    /// The rows of a batch whose schema has been checked.
    fn read(columns: &Columns<'_>) -> Result<Vec<Self>, FactsError>;
}

/// Rows as a record batch with the table's schema.
pub fn rows_table<R: Row>(rows: &[R], places: Places) -> Result<RecordBatch, FactsError> {
    let rows: Vec<&R> = rows.iter().collect();
    batch(R::TABLE, R::TABLE.arrow(), R::columns(&rows, places))
}

/// Rows of many vehicles as one record batch, with a column `vehicle` in front.
pub fn vehicles_table<R: Row>(parts: &[(&str, &[R])]) -> Result<RecordBatch, FactsError> {
    let rows: Vec<&R> = parts.iter().flat_map(|(_, rows)| rows.iter()).collect();
    let vehicles =
        parts.iter().flat_map(|(vehicle, rows)| std::iter::repeat_n(Some(*vehicle), rows.len()));
    let mut columns = R::columns(&rows, Places::Full);
    columns.push(("vehicle", texts(vehicles)));
    batch(R::TABLE, R::TABLE.arrow_with_vehicle(), columns)
}

/// Reads rows back from a batch; places get `file` as their file.
pub fn read_rows<R: StoredRow>(batch: &RecordBatch, file: &Arc<str>) -> Result<Vec<R>, FactsError> {
    same_shape(R::TABLE, &R::TABLE.arrow(), batch.schema_ref())?;
    R::read(&Columns::new(R::TABLE.name, batch, file))
}

/// Refuses what has not exactly the columns of a schema.
pub(super) fn same_shape(
    table: &'static Table,
    expected: &Schema,
    found: &Schema,
) -> Result<(), FactsError> {
    if found.fields() == expected.fields() {
        return Ok(());
    }
    let (expected, found) = (names(expected), names(found));
    Err(FactsError::Shape { table: table.name, expected, found })
}

fn batch(
    table: &'static Table,
    schema: Schema,
    mut given: Vec<(&'static str, ArrayRef)>,
) -> Result<RecordBatch, FactsError> {
    let mut arrays = Vec::with_capacity(given.len());
    for field in schema.fields() {
        let Some(at) = given.iter().position(|(name, _)| name == field.name()) else {
            let found = "no such column among the rows".to_owned();
            let expected = format!("a column `{}`", field.name());
            return Err(FactsError::Shape { table: table.name, expected, found });
        };
        arrays.push(given.swap_remove(at).1);
    }
    if let Some((surplus, _)) = given.first() {
        let (expected, found) = (names(&schema), format!("a further column `{surplus}`"));
        return Err(FactsError::Shape { table: table.name, expected, found });
    }
    RecordBatch::try_new(Arc::new(schema), arrays)
        .map_err(|source| FactsError::Arrow { table: table.name, source })
}

fn names(schema: &Schema) -> String {
    let parts: Vec<String> = schema
        .fields()
        .iter()
        .map(|f| {
            let empty = if f.is_nullable() { "?" } else { "" };
            format!("`{}` {}{empty}", f.name(), f.data_type())
        })
        .collect();
    format!("the columns {}", parts.join(", "))
}
