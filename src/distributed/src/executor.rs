//! The executor: the engine's own process, with our plan node, and with nothing else that it may run or read.

use std::sync::Arc;
use std::time::Duration;

use ballista_core::config::TaskSchedulingPolicy;
use ballista_executor::executor_process::{ExecutorProcessConfig, start_executor_process};
use buswitness::command_line::Address;
use buswitness::pipeline::Hands;

use crate::codec::Codec;
use crate::connection;
use crate::folders::Folders;
use crate::guard::Guard;
use crate::node::Work;
use crate::objects::{Fetching, Stores};
use crate::roles::{Executor, in_url, open_network};
use crate::scheduler::{LARGEST_MESSAGE, runtime};
use crate::told::say;

/// Results that nobody has fetched go after so long, looked after so often, in seconds.
const KEPT: u64 = 6 * 3600;
const LOOKED: u64 = 600;

/// Reads logs until the process is told to end.
pub(crate) fn play(asked: &Executor) -> Result<(), String> {
    let folders = Folders::new(&asked.logs)?;
    let host = match &asked.host {
        Some(host) => {
            Some(Address::new(host, asked.port).ok_or_else(|| format!("`{host}` is no host"))?.host)
        }
        // Whoever listens everywhere is known by the address that the scheduler sees.
        None if asked.bind.is_unspecified() => None,
        None => Some(in_url(asked.bind)),
    };
    let cores = match asked.cores {
        Some(cores) => usize::from(cores),
        None => std::thread::available_parallelism().map_or(1, usize::from),
    };
    // The engine clears its folder away at the end: it gets one of its own.
    let own = asked.work.join(format!("buswitness-executor-{}", asked.port));
    let failed = |e: std::io::Error| format!("cannot make the work folder {}: {e}", own.display());
    if own.exists() {
        std::fs::remove_dir_all(&own).map_err(failed)?;
    }
    std::fs::create_dir_all(&own).map_err(failed)?;
    let threads = runtime()?;
    let objects = Fetching::new(
        Stores::new(threads.handle().clone()),
        &asked.objects,
        asked.largest_object << 20,
        &asked.work.join(format!("buswitness-objects-{}", asked.port)),
    )?;
    let own = own.to_str().ok_or("the work folder's path is no Unicode text")?.to_owned();
    let name = format!("executor {}:{}", host.as_deref().unwrap_or("*"), asked.port);
    if let Some(warning) = open_network(&[&in_url(asked.bind), &asked.on.host]) {
        say(&name, &warning);
    }
    say(&name, &format!("for {}, {cores} logs at a time", asked.on));
    // How many logs wait is the scheduler's knowledge; a hand that is free here may help.
    let patience = Duration::from_secs(asked.patience);
    let guard = Guard::new(&name, patience);
    let work = Arc::new(Work { name, folders, objects, hands: Hands::new(cores, 0), patience });
    let config = ExecutorProcessConfig {
        bind_host: in_url(asked.bind),
        external_host: host,
        port: asked.port,
        scheduler_host: asked.on.host.clone(),
        scheduler_port: asked.on.port,
        // Any number above 0: it waits for a scheduler that is not there yet.
        scheduler_connect_timeout_seconds: 1,
        vcores: cores,
        task_scheduling_policy: TaskSchedulingPolicy::PullStaged,
        work_dir: Some(own),
        job_data_ttl_seconds: KEPT,
        job_data_clean_up_interval_seconds: LOOKED,
        // Logs are no tables in memory: there is nothing to share out.
        memory_pool_size: Some(0),
        grpc_max_decoding_message_size: LARGEST_MESSAGE,
        override_config_producer: Some(Arc::new(connection::config)),
        override_execution_engine: Some(Arc::new(guard)),
        override_physical_codec: Some(Arc::new(Codec::working(work))),
        ..ExecutorProcessConfig::default()
    };
    threads.block_on(start_executor_process(Arc::new(config))).map_err(|e| e.to_string())
}
