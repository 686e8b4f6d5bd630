//! The process that hands out work.

use std::io::Write;
use std::sync::Arc;

use ballista_scheduler::cluster::BallistaCluster;
use ballista_scheduler::config::{SchedulerConfig, TaskDistributionPolicy};
use ballista_scheduler::scheduler_process::{create_scheduler, start_grpc_service_with_listener};
use datafusion_proto::protobuf::{LogicalPlanNode, PhysicalPlanNode};
use tokio::net::TcpListener;

use crate::args::SchedulerArgs;
use crate::failure::Failure;
use crate::session;

/// Runs a scheduler until it is stopped. Prints its address once it listens.
pub async fn run(arguments: SchedulerArgs) -> Result<(), Failure> {
    let listener = TcpListener::bind(&arguments.bind).await.map_err(|error| {
        Failure::new(
            format!("nothing can listen on {}: {error}", arguments.bind),
            "give another address as --bind HOST:PORT; port 0 takes a free one",
        )
    })?;
    let address = listener.local_addr().map_err(|error| Failure::bug(format!("no address: {error}")))?;
    let host = arguments.advertise.unwrap_or_else(|| address.ip().to_string());
    let config = SchedulerConfig {
        external_host: host.clone(),
        bind_host: address.ip().to_string(),
        bind_port: address.port(),
        // One task an executor in turn, so that a small job uses all machines.
        task_distribution: TaskDistributionPolicy::RoundRobin,
        executor_timeout_seconds: arguments.executor_timeout,
        expire_dead_executor_interval_seconds: (arguments.executor_timeout / 4).max(1),
        no_executors_grace_period_seconds: arguments.executor_timeout * 2,
        override_config_producer: Some(Arc::new(session::config)),
        override_session_builder: Some(Arc::new(session::state)),
        ..SchedulerConfig::default()
    };
    let broken = |error: ballista_core::error::BallistaError| {
        Failure::new(format!("the scheduler stopped: {error}"), "start it again; executors join by themselves")
    };
    let cluster = BallistaCluster::new_from_config(&config).await.map_err(broken)?;
    let scheduler =
        create_scheduler::<LogicalPlanNode, PhysicalPlanNode>(cluster, Arc::new(config)).await.map_err(broken)?;
    let _ = writeln!(std::io::stdout(), "scheduler at http://{host}:{}", address.port());
    let _ = std::io::stdout().flush();
    start_grpc_service_with_listener(listener, scheduler).await.map_err(broken)
}
