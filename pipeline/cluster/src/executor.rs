//! A process that does what the scheduler hands out.

use std::sync::Arc;
use std::time::Duration;

use ballista_executor::executor_process::{ExecutorProcessConfig, start_executor_process};

use crate::args::ExecutorArgs;
use crate::failure::Failure;
use crate::session::{self, address_of};

/// Runs an executor until it is stopped.
pub async fn run(arguments: ExecutorArgs) -> Result<(), Failure> {
    let (scheduler_host, scheduler_port) = address_of(&arguments.scheduler)?;
    let no_folder = |error: std::io::Error| {
        Failure::new(
            format!("no folder for results of tasks: {error}"),
            "give one that can be written, as --work-dir DIR",
        )
    };
    // Held until the end: the folder goes with it.
    let temporary;
    let work_dir = match &arguments.work_dir {
        Some(folder) => {
            std::fs::create_dir_all(folder).map_err(no_folder)?;
            folder.clone()
        }
        None => {
            temporary = tempfile::tempdir().map_err(no_folder)?;
            temporary.path().to_owned()
        }
    };
    let wait = Duration::from_millis(arguments.slow_reads);
    let spill = work_dir.clone();
    let config = ExecutorProcessConfig {
        bind_host: arguments.bind.clone(),
        external_host: Some(arguments.advertise.unwrap_or_else(|| arguments.bind.clone())),
        port: arguments.port,
        grpc_port: arguments.order_port,
        scheduler_host,
        scheduler_port,
        scheduler_connect_timeout_seconds: 30,
        vcores: arguments.cores.map_or(0, usize::from),
        work_dir: Some(work_dir.to_string_lossy().into_owned()),
        memory_pool_size: arguments.memory.map(|megabytes| megabytes * 1_000_000),
        executor_heartbeat_interval_seconds: arguments.heartbeat,
        job_data_ttl_seconds: 86_400,
        job_data_clean_up_interval_seconds: 600,
        override_config_producer: Some(Arc::new(session::config)),
        override_runtime_producer: Some(Arc::new(move |_| session::runtime(wait, Some(&spill)))),
        ..ExecutorProcessConfig::default()
    };
    start_executor_process(Arc::new(config)).await.map_err(|error| {
        Failure::new(
            format!("the executor stopped: {error}"),
            format!(
                "check that a scheduler runs at {} and that ports {} and {} are free",
                arguments.scheduler, arguments.port, arguments.order_port
            ),
        )
    })
}
