//! Record batches to Parquet bytes and back.
//!
//! The same batch gives the same bytes: the file names no time, no machine and no library
//! version. Text is zstd-compressed; the bytes are read by any Parquet reader.

use std::sync::Arc;

use arrow::compute::{cast, concat_batches};
use arrow::datatypes::{Field, Schema};
use arrow::record_batch::RecordBatch;
use bytes::Bytes;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::arrow::{ArrowWriter, ProjectionMask};
use parquet::basic::{Compression, ZstdLevel};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;

use crate::facts::error::FactsError;
use crate::facts::schema::VEHICLE;
use crate::facts::table_shape::{Kind, Table};

/// What the files name as their maker: fixed, so that a new library version changes no bytes here.
const MADE_BY: &str = "buswitness";

/// Rows that are decoded at a time.
const BATCH_ROWS: usize = 65_536;

/// A batch as the bytes of a Parquet file.
pub fn to_parquet(table: &'static Table, batch: &RecordBatch) -> Result<Vec<u8>, FactsError> {
    let failed = |source| FactsError::Parquet { doing: "write", table: table.name, source };
    let name = KeyValue::new("buswitness.table".to_owned(), table.name.to_owned());
    let settings = WriterProperties::builder()
        .set_created_by(MADE_BY.to_owned())
        .set_compression(Compression::ZSTD(ZstdLevel::default()))
        .set_key_value_metadata(Some(vec![name]))
        .build();
    let mut bytes = Vec::new();
    let write = |bytes: &mut Vec<u8>| -> Result<(), ParquetError> {
        let mut writer = ArrowWriter::try_new(bytes, batch.schema(), Some(settings))?;
        writer.write(batch)?;
        writer.close().map(|_| ())
    };
    write(&mut bytes).map_err(failed)?;
    Ok(bytes)
}

/// A batch as notebooks and engines want it: words and recurring names dictionary-encoded.
pub fn for_engines(table: &'static Table, batch: &RecordBatch) -> Result<RecordBatch, FactsError> {
    let failed = |source| FactsError::Arrow { table: table.name, source };
    let kind = |name: &str| {
        let all = std::iter::once(&VEHICLE).chain(table.columns);
        all.into_iter().find(|column| column.name == name).map(|column| column.kind)
    };
    let (mut fields, mut columns) = (Vec::new(), Vec::new());
    for (field, column) in batch.schema_ref().fields().iter().zip(batch.columns()) {
        let kept = || field.data_type().clone();
        let wanted = kind(field.name()).map_or_else(kept, Kind::written);
        columns.push(cast(column, &wanted).map_err(failed)?);
        fields.push(Field::new(field.name(), wanted, field.is_nullable()));
    }
    RecordBatch::try_new(Arc::new(Schema::new(fields)), columns).map_err(failed)
}

/// The bytes of a Parquet file as one batch.
pub fn from_parquet(table: &'static Table, bytes: Vec<u8>) -> Result<RecordBatch, FactsError> {
    some_columns(table, bytes.into(), None).map(|(_, batch)| batch)
}

/// The schema of a Parquet file, and the columns of these names (all without) as one batch; the others are
/// not decoded.
pub(super) fn some_columns(
    table: &'static Table,
    bytes: Bytes,
    names: Option<&[&str]>,
) -> Result<(Arc<Schema>, RecordBatch), FactsError> {
    let failed = |source| FactsError::Parquet { doing: "read", table: table.name, source };
    let builder = ParquetRecordBatchReaderBuilder::try_new(bytes).map_err(failed)?;
    let whole = Arc::clone(builder.schema());
    let mask = names.map_or_else(ProjectionMask::all, |names| {
        ProjectionMask::columns(builder.parquet_schema(), names.iter().copied())
    });
    let reader =
        builder.with_projection(mask).with_batch_size(BATCH_ROWS).build().map_err(failed)?;
    let schema = arrow::record_batch::RecordBatchReader::schema(&reader);
    let batches = reader.collect::<Result<Vec<_>, _>>();
    let arrow = |source| FactsError::Arrow { table: table.name, source };
    let batch = concat_batches(&schema, &batches.map_err(arrow)?).map_err(arrow)?;
    Ok((whole, batch))
}
