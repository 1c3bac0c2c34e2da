//! The one plan node of ours: orders go in, answers come out, one log after the other.
//!
//! It has one child, the list of orders in memory, one partition for each order. A leaf of its own would not
//! do: the engine gives a task its share by cutting down the leaves it knows, and a leaf it does not know would
//! be run whole by every task.

use std::fmt;
use std::sync::{Arc, LazyLock};

use buswitness::facts::facts_form;
use buswitness::pipeline::{Answer, Hands, Order};
use datafusion::arrow::array::{
    Array, ArrayRef, LargeBinaryArray, RecordBatch, UInt32Array, UInt64Array,
};
use datafusion::arrow::datatypes::{DataType, Field, Schema, SchemaRef};
use datafusion::common::tree_node::TreeNodeRecursion;
use datafusion::datasource::memory::MemorySourceConfig;
use datafusion::error::{DataFusionError, Result};
use datafusion::execution::TaskContext;
use datafusion::physical_expr::{EquivalenceProperties, PhysicalExpr};
use datafusion::physical_plan::execution_plan::{Boundedness, EmissionType};
use datafusion::physical_plan::stream::RecordBatchStreamAdapter;
use datafusion::physical_plan::{
    DisplayAs, DisplayFormatType, ExecutionPlan, ExecutionPlanProperties, PlanProperties,
    SendableRecordBatchStream,
};
use futures::{StreamExt, TryStreamExt};

use crate::folders::{Folders, Found};
use crate::told::say;

/// What an error begins with when sending again would not help.
pub(crate) const REFUSED: &str = "refused by an executor: ";

/// Bytes of an answer in one row: far below what one message may hold.
const PART: usize = 1 << 20;

/// What goes in.
pub(crate) static ORDERS: LazyLock<SchemaRef> = LazyLock::new(|| {
    let order = Field::new("order", DataType::UInt64, false);
    Arc::new(Schema::new(vec![order, Field::new("bytes", DataType::LargeBinary, false)]))
});

/// What comes out: an answer in parts, counted from 0.
pub(crate) static ANSWERS: LazyLock<SchemaRef> = LazyLock::new(|| {
    Arc::new(Schema::new(vec![
        Field::new("order", DataType::UInt64, false),
        Field::new("part", DataType::UInt32, false),
        Field::new("parts", DataType::UInt32, false),
        Field::new("bytes", DataType::LargeBinary, false),
    ]))
});

/// What an executor needs to watch logs.
#[derive(Debug)]
pub(crate) struct Work {
    /// The name of the executor, for messages.
    pub name: String,
    /// Where it may read.
    pub folders: Folders,
    /// Who may help with a large log while other logs do not need all cores.
    pub hands: Hands,
}

/// The plan node.
#[derive(Debug, Clone)]
pub(crate) struct Watch {
    input: Arc<dyn ExecutionPlan>,
    /// Version and form of the facts of whoever asks.
    pub form: String,
    /// Only on an executor.
    work: Option<Arc<Work>>,
    properties: Arc<PlanProperties>,
}

impl Watch {
    /// Over a child that gives orders.
    pub(crate) fn new(
        input: Arc<dyn ExecutionPlan>,
        form: String,
        work: Option<Arc<Work>>,
    ) -> Watch {
        let properties = PlanProperties::new(
            EquivalenceProperties::new(Arc::clone(&ANSWERS)),
            input.output_partitioning().clone(),
            EmissionType::Incremental,
            Boundedness::Bounded,
        );
        Watch { input, form, work, properties: Arc::new(properties) }
    }

    /// A plan for these orders, one partition each.
    pub(crate) fn plan(orders: &[Vec<u8>]) -> Result<Arc<dyn ExecutionPlan>> {
        let partition = |(at, bytes): (usize, &Vec<u8>)| {
            let order: ArrayRef = Arc::new(UInt64Array::from(vec![at as u64]));
            let bytes: ArrayRef = Arc::new(LargeBinaryArray::from_vec(vec![bytes.as_slice()]));
            Ok(vec![RecordBatch::try_new(Arc::clone(&ORDERS), vec![order, bytes])?])
        };
        let partitions: Vec<Vec<RecordBatch>> =
            orders.iter().enumerate().map(partition).collect::<Result<_>>()?;
        let source = MemorySourceConfig::try_new_exec(&partitions, Arc::clone(&ORDERS), None)?;
        Ok(Arc::new(Watch::new(source, facts_form(), None)))
    }
}

impl DisplayAs for Watch {
    fn fmt_as(&self, _: DisplayFormatType, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Watch: {}", self.form)
    }
}

impl ExecutionPlan for Watch {
    fn name(&self) -> &'static str {
        "Watch"
    }

    fn properties(&self) -> &Arc<PlanProperties> {
        &self.properties
    }

    fn children(&self) -> Vec<&Arc<dyn ExecutionPlan>> {
        vec![&self.input]
    }

    fn apply_expressions(
        &self,
        _: &mut dyn FnMut(&Arc<dyn PhysicalExpr>) -> Result<TreeNodeRecursion>,
    ) -> Result<TreeNodeRecursion> {
        Ok(TreeNodeRecursion::Continue)
    }

    fn with_new_children(
        self: Arc<Self>,
        children: Vec<Arc<dyn ExecutionPlan>>,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        let [input] = <[_; 1]>::try_from(children)
            .map_err(|c| DataFusionError::Plan(format!("Watch has one child, not {}", c.len())))?;
        Ok(Arc::new(Watch::new(input, self.form.clone(), self.work.clone())))
    }

    fn execute(
        &self,
        partition: usize,
        context: Arc<TaskContext>,
    ) -> Result<SendableRecordBatchStream> {
        let Some(work) = self.work.clone() else {
            return Err(refused("logs are watched on an executor only"));
        };
        let input = self.input.execute(partition, context)?;
        let answers = input.map(move |batch| {
            let work = Arc::clone(&work);
            // The thread of a task is its own; nothing else waits for it.
            batch.and_then(|batch| answers_to(&batch, &work))
        });
        let rows = answers.map_ok(|batches| futures::stream::iter(batches.into_iter().map(Ok)));
        let rows = rows.try_flatten();
        Ok(Box::pin(RecordBatchStreamAdapter::new(Arc::clone(&ANSWERS), rows)))
    }
}

fn refused(why: &str) -> DataFusionError {
    DataFusionError::Execution(format!("{REFUSED}{why}"))
}

/// A column of a batch as what it must be.
pub(crate) fn column<'a, A: Array + 'static>(batch: &'a RecordBatch, at: usize) -> Result<&'a A> {
    let found = batch.columns().get(at).and_then(|c| c.as_any().downcast_ref::<A>());
    found.ok_or_else(|| refused("rows that are no orders or answers"))
}

/// Does what a batch of orders asks.
fn answers_to(batch: &RecordBatch, work: &Work) -> Result<Vec<RecordBatch>> {
    let numbers: &UInt64Array = column(batch, 0)?;
    let orders: &LargeBinaryArray = column(batch, 1)?;
    let mut rows = Vec::new();
    for at in 0..batch.num_rows() {
        let answer = answer(orders.value(at), work)?;
        let bytes = answer.to_bytes().map_err(DataFusionError::Execution)?;
        rows.extend(in_parts(numbers.value(at), &bytes)?);
    }
    Ok(rows)
}

/// Does one order.
fn answer(order: &[u8], work: &Work) -> Result<Answer> {
    let order = Order::from_bytes(order).map_err(|why| refused(&why))?;
    let unreadable =
        |reason: String| Answer::Unreadable { reason: format!("{}: {reason}", work.name) };
    let path = match work.folders.find(&order.file()).map_err(|why| refused(&why))? {
        Found::At(path) => path,
        Found::Unreachable(why) => {
            say(&work.name, &format!("cannot open {}: {why}", order.path));
            return Ok(unreadable(why));
        }
    };
    let begun = std::time::Instant::now();
    let _hand = work.hands.begin_file();
    let answer = order.obey(&path, &work.hands).map_err(|why| refused(&why))?;
    let took = begun.elapsed().as_secs_f64();
    match answer {
        Answer::Unreadable { reason } => {
            say(&work.name, &format!("cannot open {}: {reason}", order.path));
            Ok(unreadable(reason))
        }
        answer => {
            say(&work.name, &format!("read {} in {took:.2} s", order.name.escape_debug()));
            Ok(answer)
        }
    }
}

/// An answer as batches of one row each.
fn in_parts(order: u64, bytes: &[u8]) -> Result<Vec<RecordBatch>> {
    // An answer has one part at least: one byte tells its kind.
    let parts: Vec<&[u8]> = bytes.chunks(PART).collect();
    let too_many = |_| DataFusionError::Execution("an answer of more than 4 PiB".to_owned());
    let of = u32::try_from(parts.len()).map_err(too_many)?;
    let row = |(part, bytes): (u32, &&[u8])| {
        let columns: Vec<ArrayRef> = vec![
            Arc::new(UInt64Array::from(vec![order])),
            Arc::new(UInt32Array::from(vec![part])),
            Arc::new(UInt32Array::from(vec![of])),
            Arc::new(LargeBinaryArray::from_vec(vec![*bytes])),
        ];
        Ok(RecordBatch::try_new(Arc::clone(&ANSWERS), columns)?)
    };
    (0..of).zip(&parts).map(row).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::counting::Counting;

    #[test]
    fn a_large_answer_goes_in_parts_and_comes_whole() {
        let bytes: Vec<u8> = (0..=255).cycle().take(2 * PART + 17).collect();
        let rows = in_parts(4, &bytes).expect("rows");
        assert_eq!(rows.len(), 3);
        let mut counting = Counting::new(5);
        let mut whole = None;
        for row in &rows {
            let order = column::<UInt64Array>(row, 0).expect("order").value(0);
            let part = column::<UInt32Array>(row, 1).expect("part").value(0);
            let of = column::<UInt32Array>(row, 2).expect("parts").value(0);
            let piece = column::<LargeBinaryArray>(row, 3).expect("bytes").value(0);
            whole = counting.add(order, (part, of), piece).expect("counted");
        }
        assert_eq!(whole, Some(bytes));
    }

    #[test]
    fn orders_make_one_partition_each() {
        let plan = Watch::plan(&[vec![1], vec![2, 3], vec![]]).expect("a plan");
        assert_eq!(plan.output_partitioning().partition_count(), 3);
    }

    #[test]
    fn nothing_is_watched_but_on_an_executor() {
        let plan = Watch::plan(&[vec![1]]).expect("a plan");
        let error = plan.execute(0, Arc::default()).err().expect("refused").to_string();
        assert!(error.contains("on an executor only"), "{error}");
    }
}
