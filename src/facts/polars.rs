//! Tables handed to polars, and the queries over them.
//!
//! A record batch crosses over through the Arrow C data interface, without a copy of numbers: the
//! one place in the crate, beside `read/frames/hexadecimal.rs`, that needs unsafe code.

use arrow::array::Array as _;
use arrow::ffi::{FFI_ArrowArray, FFI_ArrowSchema};
use arrow::record_batch::RecordBatch;
use polars::error::{PolarsError, PolarsResult};
use polars::prelude::{Column, DataFrame, DataType, IntoLazy as _, Series, col, len, lit};
use polars_arrow::ffi::{ArrowArray, ArrowSchema, import_array_from_c, import_field_from_c};

use crate::facts::error::FactsError;
use crate::vocabulary::Instant;

/// What one vehicle's exposures come to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VehicleTally {
    /// The vehicle.
    pub vehicle: String,
    /// Its starts.
    pub starts: u64,
    /// Starts that could have shown an incident.
    pub judged: u64,
    /// Starts in which an incident happened.
    pub with_incident: u64,
}

/// A record batch as a polars table, column by column and under the same names.
pub fn to_polars(batch: &RecordBatch) -> Result<DataFrame, FactsError> {
    let failed = |source| FactsError::Query { doing: "hand a table to polars", source };
    let mut columns = Vec::with_capacity(batch.num_columns());
    for (field, array) in batch.schema_ref().fields().iter().zip(batch.columns()) {
        let schema = FFI_ArrowSchema::try_from(field)
            .map_err(|source| FactsError::Arrow { table: "of a query", source })?;
        let series = cross(FFI_ArrowArray::new(&array.to_data()), schema).map_err(failed)?;
        columns.push(Column::from(series));
    }
    DataFrame::new(batch.num_rows(), columns).map_err(failed)
}

/// One column across the C data interface.
fn cross(array: FFI_ArrowArray, schema: FFI_ArrowSchema) -> PolarsResult<Series> {
    // SAFETY: both crates lay out these structs as the Arrow C data interface states (`repr(C)`,
    // same fields, `transmute` checks the size). Moving the struct moves the ownership: each side's
    // drop calls the one `release` that the maker put in. The array was made from the field that
    // the schema describes, so the imported type is the type of the buffers.
    #[expect(unsafe_code, reason = "the C data interface is the only bridge between the crates")]
    let (field, array) = unsafe {
        let schema = std::mem::transmute::<FFI_ArrowSchema, ArrowSchema>(schema);
        let array = std::mem::transmute::<FFI_ArrowArray, ArrowArray>(array);
        let field = import_field_from_c(&schema)?;
        let array = import_array_from_c(array, field.dtype.clone())?;
        (field, array)
    };
    Series::try_from((&field, vec![array]))
}

/// The latest time of a column for each vehicle of a table, by vehicle name, within a period: its first
/// instant, and the first one after it.
pub(super) fn latest(
    table: DataFrame,
    time: &str,
    period: (Option<Instant>, Option<Instant>),
) -> Result<Vec<(String, Instant)>, FactsError> {
    let of = || -> PolarsResult<Vec<(String, Instant)>> {
        let at = col(time).cast(DataType::Int64);
        let mut rows = table.lazy().select([col("vehicle"), at.alias("at")]);
        if let Some(from) = period.0 {
            rows = rows.filter(col("at").gt_eq(lit(from.0)));
        }
        if let Some(to) = period.1 {
            rows = rows.filter(col("at").lt(lit(to.0)));
        }
        let found = rows
            .group_by([col("vehicle")])
            .agg([col("at").max()])
            .sort(["vehicle"], Default::default())
            .collect()?;
        let pairs = found.column("vehicle")?.str()?.iter().zip(found.column("at")?.i64()?.iter());
        Ok(pairs.filter_map(|(name, at)| Some((name?.to_owned(), Instant(at?)))).collect())
    };
    of().map_err(|source| FactsError::Query { doing: "ask when vehicles were last seen", source })
}

/// Starts, judged starts and starts with an incident for each vehicle, by vehicle name. Takes the
/// table `exposures`.
pub fn fleet_tally(exposures: DataFrame) -> Result<Vec<VehicleTally>, FactsError> {
    tally(exposures).map_err(|source| FactsError::Query { doing: "tally the exposures", source })
}

fn tally(exposures: DataFrame) -> Result<Vec<VehicleTally>, PolarsError> {
    let happened = col("incidents").gt(lit(0_u32));
    let table = exposures
        .lazy()
        .group_by([col("vehicle")])
        .agg([
            len().cast(DataType::UInt64).alias("starts"),
            col("judged").sum().cast(DataType::UInt64),
            happened.sum().cast(DataType::UInt64).alias("with_incident"),
        ])
        .sort(["vehicle"], Default::default())
        .collect()?;
    let vehicles = table.column("vehicle")?.str()?;
    let starts = table.column("starts")?.u64()?;
    let judged = table.column("judged")?.u64()?;
    let with_incident = table.column("with_incident")?.u64()?;
    let rows = vehicles.iter().zip(starts.iter()).zip(judged.iter()).zip(with_incident.iter());
    let row = |(((vehicle, starts), judged), with_incident): (((Option<&str>, _), _), _)| {
        Some(VehicleTally {
            vehicle: vehicle?.to_owned(),
            starts: starts?,
            judged: judged?,
            with_incident: with_incident?,
        })
    };
    Ok(rows.filter_map(row).collect())
}
