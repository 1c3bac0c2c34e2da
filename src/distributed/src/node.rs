//! The one plan node of ours: orders go in, one after the other; out come answers about logs (`Task::Watch`),
//! numbers of stored facts (`Task::Count`, `recount`), or pieces of vehicles with their facts (`Task::Bring`), which go
//! in again, brought together by vehicle, and out come weighed vehicles (`Task::Weigh`, `weighing`).
//!
//! It has one child, the list of orders in memory, one partition for each order. A leaf of its own would not
//! do: the engine gives a task its share by cutting down the leaves it knows, and a leaf it does not know would
//! be run whole by every task.

use std::fmt;
use std::sync::{Arc, LazyLock};
use std::time::Duration;

use buswitness::facts::facts_form;
use buswitness::pipeline::{Answer, Hands, Order};
use buswitness::read::objects::{Missing, Object};
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
    DisplayAs, DisplayFormatType, ExecutionPlan, ExecutionPlanProperties, Partitioning,
    PlanProperties, SendableRecordBatchStream,
};
use futures::{Stream, StreamExt, TryStreamExt};
use tempfile::NamedTempFile;

use crate::folders::{Folders, Found};
use crate::objects::{Fetching, Unfetched};
use crate::recount::{COUNTS, counts_of};
use crate::told::say;
use crate::weighing::{self, CARRIED, all_of, carried_by};

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
    /// What it may fetch.
    pub objects: Fetching,
    /// Who may help with a large log while other logs do not need all cores.
    pub hands: Hands,
    /// How long a task may wait for what other executors hold.
    pub patience: Duration,
}

/// What is done with the orders.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Task {
    /// Logs are watched.
    Watch,
    /// Stored facts are counted.
    Count,
    /// Stored facts are put to the pieces of vehicles.
    Bring,
    /// Vehicles are weighed.
    Weigh,
}

impl Task {
    /// What comes out.
    fn schema(self) -> &'static SchemaRef {
        match self {
            Task::Watch | Task::Weigh => &ANSWERS,
            Task::Count => &COUNTS,
            Task::Bring => &CARRIED,
        }
    }
}

/// The plan node.
#[derive(Debug, Clone)]
pub(crate) struct Node {
    pub task: Task,
    input: Arc<dyn ExecutionPlan>,
    /// Version and form of the facts of whoever asks.
    pub form: String,
    /// What vehicles are weighed on; empty for other tasks.
    pub basis: Arc<[u8]>,
    /// Only on an executor.
    work: Option<Arc<Work>>,
    properties: Arc<PlanProperties>,
}

impl Node {
    /// Over a child that gives orders, asked by whoever has this form of facts and this basis.
    pub(crate) fn new(
        task: Task,
        input: Arc<dyn ExecutionPlan>,
        (form, basis): (String, Arc<[u8]>),
        work: Option<Arc<Work>>,
    ) -> Node {
        // By which column the child shares its rows out is nothing to whoever takes ours.
        let partitions = input.output_partitioning().partition_count();
        let properties = PlanProperties::new(
            EquivalenceProperties::new(Arc::clone(task.schema())),
            Partitioning::UnknownPartitioning(partitions),
            EmissionType::Incremental,
            Boundedness::Bounded,
        );
        Node { task, input, form, basis, work, properties: Arc::new(properties) }
    }

    /// A plan for these orders, so many in a partition.
    pub(crate) fn plan(
        task: Task,
        orders: &[Vec<u8>],
        together: usize,
    ) -> Result<Arc<dyn ExecutionPlan>> {
        let partition = |(at, some): (usize, &[Vec<u8>])| {
            let first = (at * together) as u64;
            let numbers = first..first + some.len() as u64;
            let numbers: ArrayRef = Arc::new(UInt64Array::from_iter_values(numbers));
            let bytes = some.iter().map(Vec::as_slice).collect();
            let bytes: ArrayRef = Arc::new(LargeBinaryArray::from_vec(bytes));
            Ok(vec![RecordBatch::try_new(Arc::clone(&ORDERS), vec![numbers, bytes])?])
        };
        let partitions: Vec<Vec<RecordBatch>> =
            orders.chunks(together).enumerate().map(partition).collect::<Result<_>>()?;
        let source = MemorySourceConfig::try_new_exec(&partitions, Arc::clone(&ORDERS), None)?;
        Ok(Arc::new(Node::new(task, source, (facts_form(), Arc::default()), None)))
    }
}

impl DisplayAs for Node {
    fn fmt_as(&self, _: DisplayFormatType, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}: {}", self.task, self.form)
    }
}

impl ExecutionPlan for Node {
    fn name(&self) -> &'static str {
        match self.task {
            Task::Watch => "Watch",
            Task::Count => "Count",
            Task::Bring => "Bring",
            Task::Weigh => "Weigh",
        }
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
            .map_err(|c| DataFusionError::Plan(format!("a node with {} children", c.len())))?;
        let asked = (self.form.clone(), Arc::clone(&self.basis));
        Ok(Arc::new(Node::new(self.task, input, asked, self.work.clone())))
    }

    fn execute(
        &self,
        partition: usize,
        context: Arc<TaskContext>,
    ) -> Result<SendableRecordBatchStream> {
        let Some(work) = self.work.clone() else {
            return Err(refused("this is done on an executor only"));
        };
        let input = self.input.execute(partition, context)?;
        // The thread of a task is its own; nothing else waits for it.
        let done: fn(&RecordBatch, &Work) -> Result<Vec<RecordBatch>> = match self.task {
            Task::Watch => answers_to,
            Task::Count => counts_of,
            Task::Bring => carried_by,
            Task::Weigh => {
                let basis = Arc::clone(&self.basis);
                let weighed = async move {
                    let pieces = all_of(input, work.patience).await?;
                    weighing::weighed(&pieces, &basis, &work)
                };
                return Ok(rows_of(self.task, futures::stream::once(weighed)));
            }
        };
        let answers = input.map(move |batch| batch.and_then(|batch| done(&batch, &work)));
        Ok(rows_of(self.task, answers))
    }
}

/// Batches one after the other as the engine takes them.
fn rows_of(
    task: Task,
    answers: impl Stream<Item = Result<Vec<RecordBatch>>> + Send + 'static,
) -> SendableRecordBatchStream {
    let rows = answers.map_ok(|batches| futures::stream::iter(batches.into_iter().map(Ok)));
    Box::pin(RecordBatchStreamAdapter::new(Arc::clone(task.schema()), rows.try_flatten()))
}

pub(crate) fn refused(why: &str) -> DataFusionError {
    DataFusionError::Execution(format!("{REFUSED}{why}"))
}

/// A column of a batch as what it must be.
pub(crate) fn column<A: Array + 'static>(batch: &RecordBatch, at: usize) -> Result<&A> {
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
    // An object's file goes when the log is read.
    let fetched;
    let path = match order.object() {
        Some(object) => match fetched_from(&object, work)? {
            Ok(file) => {
                fetched = file;
                fetched.path().to_owned()
            }
            Err(reason) => {
                say(&work.name, &reason);
                return Ok(Answer::Unreadable { reason });
            }
        },
        None => match work.folders.find(&order.file()).map_err(|why| refused(&why))? {
            Found::At(path) => path,
            Found::Unreachable(why) => {
                say(&work.name, &format!("cannot open {}: {why}", order.path));
                return Ok(unreadable(why));
            }
        },
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
        Answer::Watched { .. } => {
            say(&work.name, &format!("read {} in {took:.2} s", order.name.escape_debug()));
            Ok(answer)
        }
        Answer::Stored { .. } => {
            say(&work.name, &format!("{} is known", order.name.escape_debug()));
            Ok(answer)
        }
    }
}

/// An object as a file; or why it is no longer there to be read, for anybody.
fn fetched_from(object: &Object, work: &Work) -> Result<Result<NamedTempFile, String>> {
    match work.objects.fetch(object) {
        Ok(file) => Ok(Ok(file)),
        Err(Unfetched::Missing(Missing::Object(why))) => Ok(Err(why)),
        Err(Unfetched::Missing(Missing::Store(why))) => {
            say(&work.name, &why);
            Err(DataFusionError::Execution(format!("{}: {why}", work.name)))
        }
        Err(Unfetched::Forbidden(why)) => Err(refused(&why)),
    }
}

/// An answer as batches of one row each.
pub(crate) fn in_parts(order: u64, bytes: &[u8]) -> Result<Vec<RecordBatch>> {
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
    fn orders_make_as_many_partitions_as_asked() {
        let orders = [vec![1], vec![2, 3], vec![]];
        let partitions = |together| {
            let plan = Node::plan(Task::Watch, &orders, together).expect("a plan");
            plan.output_partitioning().partition_count()
        };
        assert_eq!((partitions(1), partitions(2), partitions(3)), (3, 2, 1));
    }

    #[test]
    fn nothing_is_watched_but_on_an_executor() {
        let plan = Node::plan(Task::Watch, &[vec![1]], 1).expect("a plan");
        let error = plan.execute(0, Arc::default()).err().expect("refused").to_string();
        assert!(error.contains("on an executor only"), "{error}");
    }
}
