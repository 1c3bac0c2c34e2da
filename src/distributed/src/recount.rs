//! Stored facts counted by vehicle, kind and node, by the engine's own grouping: each executor counts the entries
//! that it reads and sums them up, then the sums are brought together by vehicle on all executors.

use std::sync::{Arc, LazyLock};

use buswitness::facts::StoredLog;
use buswitness::pipeline::{Counts, Entry, add_counts};
use datafusion::arrow::array::{ArrayRef, LargeBinaryArray, RecordBatch, StringArray, UInt64Array};
use datafusion::arrow::datatypes::{DataType, Field, Schema, SchemaRef};
use datafusion::error::{DataFusionError, Result};
use datafusion::functions_aggregate::sum::sum_udaf;
use datafusion::physical_expr::aggregate::AggregateExprBuilder;
use datafusion::physical_expr::expressions::col;
use datafusion::physical_expr::{Partitioning, PhysicalExpr};
use datafusion::physical_plan::ExecutionPlan;
use datafusion::physical_plan::aggregates::{AggregateExec, AggregateMode, PhysicalGroupBy};
use datafusion::physical_plan::repartition::RepartitionExec;

use crate::folders::Found;
use crate::node::{Node, Task, Work, column, refused};
use crate::told::say;

/// Into so many tasks entries are shared out at least, as long as there are so many, and most that one task reads.
const TASKS: usize = 32;
const TOGETHER: usize = 64;
/// Tasks that bring the sums together.
const SHARES: usize = 16;

/// What comes out: number of facts by vehicle, kind and node.
pub(crate) static COUNTS: LazyLock<SchemaRef> = LazyLock::new(|| {
    Arc::new(Schema::new(vec![
        Field::new("vehicle", DataType::Utf8, false),
        Field::new("kind", DataType::Utf8, false),
        Field::new("node", DataType::Utf8, false),
        Field::new("facts", DataType::UInt64, false),
    ]))
});

/// A plan that counts these entries.
pub(crate) fn plan(entries: &[Vec<u8>]) -> Result<Arc<dyn ExecutionPlan>> {
    let together = (entries.len() / TASKS).clamp(1, TOGETHER);
    let source = Node::plan(Task::Count, entries, together)?;
    let schema = source.schema();
    let by = |name: &str| Ok((col(name, &schema)?, name.to_owned()));
    let by = ["vehicle", "kind", "node"].into_iter().map(by).collect::<Result<Vec<_>>>()?;
    let by = PhysicalGroupBy::new_single(by);
    let sum = AggregateExprBuilder::new(sum_udaf(), vec![col("facts", &schema)?]);
    let sum = vec![Arc::new(sum.schema(Arc::clone(&schema)).alias("facts").build()?)];
    let own = AggregateExec::try_new(
        AggregateMode::Partial,
        by.clone(),
        sum.clone(),
        vec![None],
        source,
        Arc::clone(&schema),
    )?;
    // Whole vehicles, so that one executor has all of each.
    let vehicle: Arc<dyn PhysicalExpr> = col("vehicle", &own.schema())?;
    let shares = Partitioning::Hash(vec![vehicle], SHARES);
    let shared = RepartitionExec::try_new(Arc::new(own), shares)?;
    Ok(Arc::new(AggregateExec::try_new(
        AggregateMode::FinalPartitioned,
        by.as_final(),
        sum,
        vec![None],
        Arc::new(shared),
        schema,
    )?))
}

/// Counts what the entries of a batch hold.
pub(crate) fn counts_of(batch: &RecordBatch, work: &Work) -> Result<Vec<RecordBatch>> {
    let entries: &LargeBinaryArray = column(batch, 1)?;
    let mut counts = Counts::new();
    for bytes in entries.iter().flatten() {
        let entry = Entry::from_bytes(bytes).map_err(|why| refused(&why))?;
        add_entry(&mut counts, &entry, work)?;
    }
    say(&work.name, &format!("counted the facts of {} logs", batch.num_rows()));
    let texts = |of: fn(&(String, String, String)) -> &str| -> ArrayRef {
        Arc::new(StringArray::from_iter_values(counts.keys().map(of)))
    };
    let columns: Vec<ArrayRef> = vec![
        texts(|key| &key.0),
        texts(|key| &key.1),
        texts(|key| &key.2),
        Arc::new(UInt64Array::from_iter_values(counts.values().copied())),
    ];
    Ok(vec![RecordBatch::try_new(Arc::clone(&COUNTS), columns)?])
}

/// Adds the facts of one entry. One that is damaged counts nothing, and so is missed by whoever asked.
fn add_entry(counts: &mut Counts, entry: &Entry, work: &Work) -> Result<()> {
    let absent = |why: &str| refused(&format!("cannot read {}: {why}", entry.folder));
    let place = match work.folders.find(&entry.place()).map_err(|why| refused(&why))? {
        Found::At(place) => place,
        Found::Unreachable(why) => return Err(absent(&why)),
    };
    match StoredLog::in_folder(&place) {
        Ok(Some(log)) => add_counts(counts, &entry.vehicle, &log),
        Ok(None) => return Err(absent("it is not there")),
        Err(why) => say(&work.name, &format!("{}: {}", entry.folder, why.chain())),
    }
    Ok(())
}

/// Adds rows that came back; no vehicle, kind and node may come twice.
pub(crate) fn add_rows(counts: &mut Counts, rows: &RecordBatch) -> Result<(), String> {
    let wrong = |e: DataFusionError| format!("a result is no count: {e}");
    let text = |at| column::<StringArray>(rows, at).map_err(wrong);
    let (vehicles, kinds, nodes) = (text(0)?, text(1)?, text(2)?);
    let facts: &UInt64Array = column(rows, 3).map_err(wrong)?;
    for row in 0..rows.num_rows() {
        let part = |texts: &StringArray| texts.value(row).to_owned();
        let key = (part(vehicles), part(kinds), part(nodes));
        if counts.insert(key, facts.value(row)).is_some() {
            return Err(format!("the {} of {} came twice", kinds.value(row), vehicles.value(row)));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_comes_twice_is_an_error() {
        let text = |text: &str| -> ArrayRef { Arc::new(StringArray::from(vec![text])) };
        let number: ArrayRef = Arc::new(UInt64Array::from(vec![3]));
        let columns = vec![text("LH-01"), text("silences"), text("lift"), number];
        let rows = RecordBatch::try_new(Arc::clone(&COUNTS), columns).expect("rows");
        let mut counts = Counts::new();
        add_rows(&mut counts, &rows).expect("once");
        assert_eq!(counts.into_iter().next().expect("a row").1, 3);
        let mut counts = Counts::new();
        add_rows(&mut counts, &rows).expect("once");
        let error = add_rows(&mut counts, &rows).expect_err("twice");
        assert_eq!(error, "the silences of LH-01 came twice");
    }

    #[test]
    fn entries_are_shared_out_and_brought_together() {
        for (entries, tasks) in [(3, 3), (TASKS + 1, TASKS + 1), (4096, 64)] {
            let plan = plan(&vec![Vec::new(); entries]).expect("a plan");
            assert_eq!(plan.properties().partitioning.partition_count(), SHARES);
            let own = plan.children()[0].children()[0];
            assert_eq!(own.properties().partitioning.partition_count(), tasks);
        }
    }
}
