//! Cells to arrow arrays and arrow arrays to cells, one function a column type.
//!
//! Text is copied once each way; an absent value becomes an empty cell and nothing else does.

use std::sync::Arc;

use arrow::array::{
    Array, ArrayRef, BooleanArray, Float64Array, ListBuilder, StringArray, StringBuilder,
    TimestampNanosecondArray, UInt32Array, UInt64Array,
};
use arrow::record_batch::RecordBatch;

use crate::facts::error::FactsError;
use crate::facts::table::Places;
use crate::vocabulary::{Instant, Place};

/// A column of texts.
pub(super) fn texts<'a>(cells: impl Iterator<Item = Option<&'a str>>) -> ArrayRef {
    let mut column = StringBuilder::new();
    cells.for_each(|cell| column.append_option(cell));
    Arc::new(column.finish())
}

/// A column of lists of texts.
pub(super) fn lists(cells: impl Iterator<Item = Option<Vec<String>>>) -> ArrayRef {
    let mut column = ListBuilder::new(StringBuilder::new());
    for cell in cells {
        for text in cell.iter().flatten() {
            column.values().append_value(text);
        }
        column.append(cell.is_some());
    }
    Arc::new(column.finish())
}

/// A column of times.
pub(super) fn times(cells: impl Iterator<Item = Instant>) -> ArrayRef {
    Arc::new(TimestampNanosecondArray::from_iter_values(cells.map(|t| t.0)).with_timezone("UTC"))
}

/// A column of floats.
pub(super) fn numbers(cells: impl Iterator<Item = Option<f64>>) -> ArrayRef {
    Arc::new(cells.collect::<Float64Array>())
}

/// A column of 64-bit counts.
pub(super) fn counts(cells: impl Iterator<Item = u64>) -> ArrayRef {
    Arc::new(UInt64Array::from_iter_values(cells))
}

/// A column of 32-bit counts or patterns.
pub(super) fn smalls(cells: impl Iterator<Item = Option<u32>>) -> ArrayRef {
    Arc::new(cells.collect::<UInt32Array>())
}

/// A column of yes and no.
pub(super) fn flags(cells: impl Iterator<Item = Option<bool>>) -> ArrayRef {
    Arc::new(cells.collect::<BooleanArray>())
}

/// A column of places.
pub(super) fn places<'a>(cells: impl Iterator<Item = &'a Place>, how: Places) -> ArrayRef {
    let nameless: Arc<str> = "".into();
    let mut column = StringBuilder::new();
    for place in cells {
        match how {
            Places::Full => column.append_value(place.to_string()),
            Places::SpotOnly => {
                let spot = Place { file: Arc::clone(&nameless), spot: place.spot };
                column.append_value(spot.to_string());
            }
        }
    }
    Arc::new(column.finish())
}

/// The columns of a batch whose schema has been checked, by name.
#[derive(Debug, Clone, Copy)]
pub struct Columns<'a> {
    table: &'static str,
    batch: &'a RecordBatch,
    file: &'a Arc<str>,
}

/// One column of a known type.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cells<'a, A>(&'a A);

impl<'a> Columns<'a> {
    pub(super) fn new(table: &'static str, batch: &'a RecordBatch, file: &'a Arc<str>) -> Self {
        Columns { table, batch, file }
    }

    /// The positions of the rows.
    pub(super) fn rows(&self) -> std::ops::Range<usize> {
        0..self.batch.num_rows()
    }

    /// A column of texts.
    pub(super) fn text(&self, name: &str) -> Result<Cells<'a, StringArray>, FactsError> {
        self.typed(name)
    }

    /// A column of times.
    pub(super) fn time(
        &self,
        name: &str,
    ) -> Result<Cells<'a, TimestampNanosecondArray>, FactsError> {
        self.typed(name)
    }

    /// A column of floats.
    pub(super) fn number(&self, name: &str) -> Result<Cells<'a, Float64Array>, FactsError> {
        self.typed(name)
    }

    /// A column of 64-bit counts.
    pub(super) fn count(&self, name: &str) -> Result<Cells<'a, UInt64Array>, FactsError> {
        self.typed(name)
    }

    /// A column of 32-bit counts or patterns.
    pub(super) fn small(&self, name: &str) -> Result<Cells<'a, UInt32Array>, FactsError> {
        self.typed(name)
    }

    /// A column of yes and no.
    pub(super) fn flag(&self, name: &str) -> Result<Cells<'a, BooleanArray>, FactsError> {
        self.typed(name)
    }

    fn typed<A: Array + 'static>(&self, name: &str) -> Result<Cells<'a, A>, FactsError> {
        let found = self.batch.column_by_name(name);
        if let Some(array) = found.and_then(|array| array.as_any().downcast_ref::<A>()) {
            return Ok(Cells(array));
        }
        let found = found.map_or_else(|| "none".to_owned(), |a| a.data_type().to_string());
        let expected = format!("a column `{name}` of type {}", std::any::type_name::<A>());
        Err(FactsError::Shape { table: self.table, expected, found })
    }

    /// The places of the column `place`, in the file that this batch is read for.
    pub(super) fn places(&self) -> Result<Vec<Place>, FactsError> {
        let spots = self.text("place")?;
        let place =
            |at| Place { file: Arc::clone(self.file), spot: Place::parse(spots.word(at)).spot };
        Ok(self.rows().map(place).collect())
    }

    /// An error: a cell holds a word that the schema does not know.
    pub(super) fn unknown_word(&self, column: &str, word: &str) -> FactsError {
        FactsError::Shape {
            table: self.table,
            expected: format!("a known word in column `{column}`"),
            found: format!("{word:?}"),
        }
    }
}

impl Cells<'_, StringArray> {
    /// The text of a row.
    pub(super) fn at(&self, row: usize) -> String {
        self.0.value(row).to_owned()
    }

    /// The text of a row, borrowed.
    pub(super) fn word(&self, row: usize) -> &str {
        self.0.value(row)
    }

    /// The text of a row, if it has one.
    pub(super) fn maybe(&self, row: usize) -> Option<String> {
        self.0.is_valid(row).then(|| self.at(row))
    }
}

impl Cells<'_, TimestampNanosecondArray> {
    /// The time of a row.
    pub(super) fn at(&self, row: usize) -> Instant {
        Instant(self.0.value(row))
    }

    /// The time of a row, if it has one.
    pub(super) fn maybe(&self, row: usize) -> Option<Instant> {
        self.0.is_valid(row).then(|| self.at(row))
    }
}

impl Cells<'_, Float64Array> {
    /// The number of a row.
    pub(super) fn at(&self, row: usize) -> f64 {
        self.0.value(row)
    }

    /// The number of a row, if it has one.
    pub(super) fn maybe(&self, row: usize) -> Option<f64> {
        self.0.is_valid(row).then(|| self.at(row))
    }
}

impl Cells<'_, UInt64Array> {
    /// The count of a row.
    pub(super) fn at(&self, row: usize) -> u64 {
        self.0.value(row)
    }
}

impl Cells<'_, UInt32Array> {
    /// The count or pattern of a row.
    pub(super) fn at(&self, row: usize) -> u32 {
        self.0.value(row)
    }

    /// The count or pattern of a row, if it has one.
    pub(super) fn maybe(&self, row: usize) -> Option<u32> {
        self.0.is_valid(row).then(|| self.at(row))
    }
}

impl Cells<'_, BooleanArray> {
    /// Whether it is so in a row.
    pub(super) fn at(&self, row: usize) -> bool {
        self.0.value(row)
    }

    /// Whether it is so in a row, if the row tells.
    pub(super) fn maybe(&self, row: usize) -> Option<bool> {
        self.0.is_valid(row).then(|| self.at(row))
    }
}
