//! One job: some orders as a plan to the scheduler, its state until it ends or its deadline passes, and its
//! results from the executors that hold them.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use ballista_core::client::BallistaClient;
use ballista_core::config::{BALLISTA_JOB_NAME, BALLISTA_SCHEDULER_MAX_PARTITIONS_PER_TASK};
use ballista_core::serde::protobuf::scheduler_grpc_client::SchedulerGrpcClient;
use ballista_core::serde::protobuf::{
    CancelJobParams, CleanJobDataParams, ExecuteQueryParams, GetJobStatusParams, KeyValuePair,
    PartitionLocation, execute_query_params, execute_query_result, job_status,
};
use ballista_core::version::insert_version_header;
use buswitness::command_line::Address;
use buswitness::pipeline::{Counts, Load};
use datafusion::arrow::array::{LargeBinaryArray, RecordBatch, UInt32Array, UInt64Array};
use datafusion::error::Result as Planned;
use datafusion::physical_plan::ExecutionPlan;
use datafusion_proto::physical_plan::AsExecutionPlan;
use datafusion_proto::protobuf::PhysicalPlanNode;
use futures::StreamExt;
use tonic::transport::{Channel, Endpoint};

use crate::codec::Codec;
use crate::connection;
use crate::counting::{Counting, Wrong};
use crate::node::{Node, REFUSED, Task, column};
use crate::recount;
use crate::weighing;

/// The largest message.
const LARGEST: usize = 64 << 20;
/// How long a scheduler may be out of reach before a run gives up.
const OUT_OF_REACH: Duration = Duration::from_secs(10);
/// How long a scheduler may not know of a job before it counts as lost.
const UNKNOWN: Duration = Duration::from_secs(5);
/// How often is asked what became of a job: at first, and at most.
const ASKED: (Duration, Duration) = (Duration::from_millis(25), Duration::from_millis(400));
/// How long fetching may take, however close the deadline.
const FETCHING: Duration = Duration::from_secs(30);

/// What takes whole answers, by the place of their order.
type Each<'a> = &'a mut dyn FnMut(usize, &[u8]) -> Result<(), Trouble>;

/// What takes rows that came.
type Take<'a> = &'a mut dyn FnMut(&RecordBatch) -> Result<(), Trouble>;

/// Why a job has not brought all answers.
#[derive(Debug)]
pub(crate) enum Trouble {
    /// Another try may do.
    Again(String),
    /// It would not.
    Never(String),
}

/// The way to a scheduler.
#[derive(Debug, Clone)]
pub(crate) struct Scheduler {
    address: Address,
    grpc: SchedulerGrpcClient<Channel>,
}

impl Scheduler {
    /// Makes sure that somebody is there.
    pub(crate) async fn reach(address: &Address) -> Result<Scheduler, String> {
        let url = format!("http://{}:{}", address.host, address.port);
        let endpoint = Endpoint::from_shared(url).map_err(|e| format!("{address}: {e}"))?;
        let endpoint = endpoint
            .connect_timeout(Duration::from_secs(5))
            .timeout(Duration::from_secs(30))
            .tcp_nodelay(true);
        let channel = endpoint.connect().await.map_err(|e| gone(address, &chain(&e)))?;
        let grpc = SchedulerGrpcClient::new(channel)
            .max_encoding_message_size(LARGEST)
            .max_decoding_message_size(LARGEST);
        Ok(Scheduler { address: address.clone(), grpc })
    }

    /// Has the orders done. Each whole answer is given to `each` as it comes; the orders that have none are
    /// told with the trouble.
    pub(crate) async fn run(
        &mut self,
        orders: &[Vec<u8>],
        deadline: Instant,
        stop: &AtomicBool,
        each: Each<'_>,
    ) -> Result<(), (Trouble, Vec<usize>)> {
        let mut counting = Counting::new(orders.len());
        let mut take = |rows: &RecordBatch| take_answers(rows, &mut counting, each);
        let plan = Node::plan(Task::Watch, orders, 1);
        let mut trouble = self.carry(plan, "watch logs", (deadline, stop), &mut take).await.err();
        let missing = counting.missing();
        if trouble.is_none() && !missing.is_empty() {
            let (lost, sent) = (missing.len(), orders.len());
            trouble = Some(Trouble::Never(format!(
                "a job ended well, but {lost} of {sent} answers did not come"
            )));
        }
        trouble.map_or(Ok(()), |why| Err((why, missing)))
    }

    /// Has the facts of entries counted.
    pub(crate) async fn count(
        &mut self,
        entries: &[Vec<u8>],
        deadline: Instant,
    ) -> Result<Counts, Trouble> {
        let mut counts = Counts::new();
        let mut take =
            |rows: &RecordBatch| recount::add_rows(&mut counts, rows).map_err(Trouble::Again);
        let plan = recount::plan(entries);
        let stop = AtomicBool::new(false);
        self.carry(plan, "count facts", (deadline, &stop), &mut take).await?;
        Ok(counts)
    }

    /// Has the vehicles of a load weighed: what came of each, by place.
    pub(crate) async fn weigh(
        &mut self,
        load: &Load,
        deadline: Instant,
    ) -> Result<Vec<Vec<u8>>, Trouble> {
        let mut counting = Counting::new(load.vehicles);
        let mut weighed = vec![Vec::new(); load.vehicles];
        let mut each = |place: usize, answer: &[u8]| {
            if let Some(of) = weighed.get_mut(place) {
                answer.clone_into(of);
            }
            Ok(())
        };
        let mut take = |rows: &RecordBatch| take_answers(rows, &mut counting, &mut each);
        let stop = AtomicBool::new(false);
        let plan = weighing::plan(load);
        self.carry(plan, "weigh vehicles", (deadline, &stop), &mut take).await?;
        match counting.missing().len() {
            0 => Ok(weighed),
            lost => Err(Trouble::Never(format!(
                "a job ended well, but {lost} of {} vehicles did not come",
                load.vehicles
            ))),
        }
    }

    /// Has a plan run, and its results taken.
    async fn carry(
        &mut self,
        plan: Planned<Arc<dyn ExecutionPlan>>,
        name: &str,
        (deadline, stop): (Instant, &AtomicBool),
        take: Take<'_>,
    ) -> Result<(), Trouble> {
        let job = self.submit(plan, name).await?;
        let outcome = match self.wait(&job, deadline, stop).await {
            Ok(locations) => {
                let until = deadline.max(Instant::now() + FETCHING);
                let fetching = fetch_all(locations, take);
                let late = |_| Trouble::Again("results could not be fetched in time".to_owned());
                tokio::time::timeout_at(until.into(), fetching).await.map_err(late).flatten()
            }
            Err(why) => Err(why),
        };
        // What is left of it on the executors is of no use to anybody; they clear it away in time anyway.
        let clean = CleanJobDataParams { job_id: job, remove_stage_ids: Vec::new() };
        let _ = self.grpc.clean_job_data(clean).await;
        outcome
    }

    /// Gives the plan to the scheduler; its name for the job.
    async fn submit(
        &mut self,
        plan: Planned<Arc<dyn ExecutionPlan>>,
        name: &str,
    ) -> Result<String, Trouble> {
        let plan =
            plan.and_then(|plan| PhysicalPlanNode::try_from_physical_plan(plan, &Codec::default()));
        let mut bytes = Vec::new();
        plan.and_then(|plan| plan.try_encode(&mut bytes))
            .map_err(|e| Trouble::Never(format!("a plan cannot be written: {e}")))?;
        let setting = |key: &str, value: &str| KeyValuePair {
            key: key.to_owned(),
            value: Some(value.to_owned()),
        };
        let mut request = tonic::Request::new(ExecuteQueryParams {
            // One session for all: the settings are the same.
            session_id: "buswitness".to_owned(),
            settings: vec![
                setting(BALLISTA_JOB_NAME, name),
                setting(BALLISTA_SCHEDULER_MAX_PARTITIONS_PER_TASK, "1"),
            ],
            operation_id: String::new(),
            query: Some(execute_query_params::Query::PhysicalPlan(bytes)),
        });
        insert_version_header(request.metadata_mut());
        let answer = self.grpc.execute_query(request).await;
        let answer = answer.map_err(|e| Trouble::Never(self.said(&e)))?.into_inner();
        match answer.result {
            Some(execute_query_result::Result::Success(job)) => Ok(job.job_id),
            other => Err(Trouble::Never(format!("{} takes no job: {other:?}", self.address))),
        }
    }

    /// Waits for the end of a job; where its results are.
    async fn wait(
        &mut self,
        job: &str,
        deadline: Instant,
        stop: &AtomicBool,
    ) -> Result<Vec<PartitionLocation>, Trouble> {
        let mut pause = ASKED.0;
        let (mut reached, mut known) = (Instant::now(), Instant::now());
        loop {
            if stop.load(Ordering::Relaxed) || Instant::now() > deadline {
                let cancel = CancelJobParams { job_id: job.to_owned() };
                let _ = self.grpc.cancel_job(cancel).await;
                return Err(Trouble::Again("its deadline passed".to_owned()));
            }
            match self.grpc.get_job_status(GetJobStatusParams { job_id: job.to_owned() }).await {
                Ok(answer) => {
                    reached = Instant::now();
                    match answer.into_inner().status.and_then(|status| status.status) {
                        Some(job_status::Status::Successful(done)) => {
                            return Ok(done.partition_location);
                        }
                        Some(job_status::Status::Failed(failed)) => {
                            return Err(match failed.error.contains(REFUSED) {
                                true => Trouble::Never(refusal(&failed.error)),
                                false => Trouble::Again(format!("it failed: {}", failed.error)),
                            });
                        }
                        Some(_) => known = Instant::now(),
                        None if known.elapsed() > UNKNOWN => {
                            return Err(Trouble::Again("the scheduler lost it".to_owned()));
                        }
                        None => {}
                    }
                }
                Err(why) if reached.elapsed() > OUT_OF_REACH => {
                    return Err(Trouble::Never(self.said(&why)));
                }
                Err(_) => {}
            }
            tokio::time::sleep(pause).await;
            pause = (pause * 2).min(ASKED.1);
        }
    }

    fn said(&self, status: &tonic::Status) -> String {
        gone(&self.address, &chain(status))
    }
}

fn gone(address: &Address, why: &str) -> String {
    format!("the scheduler at {address} does not answer, or refuses: {why}")
}

/// The refusal itself, out of all that the engine says around it.
fn refusal(error: &str) -> String {
    let text = error.find(REFUSED).map_or(error, |at| &error[at..]);
    text.split(['\n', '"']).next().unwrap_or(text).trim_end_matches(['\\', ')', ' ']).to_owned()
}

/// An error with what caused it.
fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        text.push_str(": ");
        text.push_str(&error.to_string());
        cause = error.source();
    }
    text
}

/// Fetches all results. What one executor no longer has does not keep the others' from being taken.
async fn fetch_all(locations: Vec<PartitionLocation>, take: Take<'_>) -> Result<(), Trouble> {
    let mut trouble = None;
    for location in locations {
        match fetch(location, take).await {
            Err(Trouble::Again(why)) => trouble = Some(Trouble::Again(why)),
            done => done?,
        }
    }
    trouble.map_or(Ok(()), Err)
}

async fn fetch(location: PartitionLocation, take: Take<'_>) -> Result<(), Trouble> {
    let again = |e: &dyn std::fmt::Display| Trouble::Again(format!("a result was lost: {e}"));
    let layout = location.layout();
    let (Some(executor), Some(partition)) = (location.executor_meta, location.partition_id) else {
        return Err(Trouble::Never("the scheduler names a result without its place".to_owned()));
    };
    let port = u16::try_from(executor.port).map_err(|e| again(&e))?;
    let how = Some(connection::endpoint());
    let mut client =
        BallistaClient::try_new(&executor.host, port, LARGEST, false, how, 1, 200, 0, 0)
            .await
            .map_err(|e| again(&e))?;
    let file = location.file_id;
    let mut rows = client
        .fetch_partition(&executor.id, &partition.into(), file, layout, true)
        .await
        .map_err(|e| again(&e))?;
    while let Some(batch) = rows.next().await {
        take(&batch.map_err(|e| again(&e))?)?;
    }
    Ok(())
}

/// Takes answers about logs, and hands on those that are whole.
fn take_answers(
    rows: &RecordBatch,
    counting: &mut Counting,
    each: Each<'_>,
) -> Result<(), Trouble> {
    let never = |e| Trouble::Never(format!("a result is no answer: {e}"));
    let orders: &UInt64Array = column(rows, 0).map_err(never)?;
    let parts: &UInt32Array = column(rows, 1).map_err(never)?;
    let of: &UInt32Array = column(rows, 2).map_err(never)?;
    let bytes: &LargeBinaryArray = column(rows, 3).map_err(never)?;
    for row in 0..rows.num_rows() {
        let (order, part) = (orders.value(row), (parts.value(row), of.value(row)));
        let whole = counting.add(order, part, bytes.value(row)).map_err(|wrong| match wrong {
            Wrong::Again(why) => Trouble::Again(why),
            Wrong::Unasked(why) => Trouble::Never(why),
        })?;
        if let Some(whole) = whole {
            each(usize::try_from(order).unwrap_or(usize::MAX), &whole)?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_refusal_is_told_without_the_engines_words() {
        let error =
            "Job failed: Execution(\"refused by an executor: /x is not below /logs\")\nat stage 1";
        assert_eq!(refusal(error), "refused by an executor: /x is not below /logs");
    }
}
