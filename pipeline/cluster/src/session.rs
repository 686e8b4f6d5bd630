//! Sessions of the engine, the same in all processes: how files are read, and from where.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use ballista::prelude::{SessionConfigExt, SessionContextExt};
use ballista_core::extension::{ballista_aggregate_functions, ballista_scalar_functions, ballista_window_functions};
use datafusion::common::Result;
use datafusion::execution::runtime_env::{RuntimeEnv, RuntimeEnvBuilder};
use datafusion::execution::{SessionState, SessionStateBuilder};
use datafusion::prelude::{SessionConfig, SessionContext};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

use crate::failure::Failure;
use crate::store::Stores;

/// Message between processes; the list of fields of a calibrated planter is part of one.
const LARGEST_MESSAGE: usize = 64 << 20;

/// Settings of a session on the cluster.
pub fn config() -> SessionConfig {
    plain(SessionConfig::new_with_ballista())
        .with_ballista_grpc_client_max_message_size(LARGEST_MESSAGE)
        // One task a part: a machine that is lost takes little with it.
        .set_str("ballista.scheduler.max_partitions_per_task", "1")
}

/// Settings that one process and many have in common.
fn plain(config: SessionConfig) -> SessionConfig {
    config
        // Footers of all files would be read before the work begins.
        .with_collect_statistics(false)
        .set_bool("datafusion.execution.parquet.schema_force_view_types", false)
        .set_bool("datafusion.execution.parquet.pushdown_filters", false)
        .set_usize("datafusion.execution.batch_size", 8192)
}

/// The runtime: stores by address, and a folder for what does not fit into memory.
pub fn runtime(wait: Duration, spill: Option<&Path>) -> Result<Arc<RuntimeEnv>> {
    let builder = RuntimeEnvBuilder::new().with_object_store_registry(Arc::new(Stores::new(wait)));
    let builder = match spill {
        Some(folder) => builder.with_temp_file_path(folder),
        None => builder,
    };
    builder.build_arc()
}

/// A session of these settings, as the scheduler makes it for a client.
pub fn state(config: SessionConfig) -> Result<SessionState> {
    Ok(SessionStateBuilder::new()
        .with_runtime_env(runtime(Duration::ZERO, None)?)
        .with_config(config)
        .with_default_features()
        .with_scalar_functions(ballista_scalar_functions())
        .with_aggregate_functions(ballista_aggregate_functions())
        .with_window_functions(ballista_window_functions())
        .build())
}

/// A session that works in this process, or on the cluster of a scheduler.
pub async fn context(scheduler: Option<&str>, parts: usize) -> std::result::Result<SessionContext, Failure> {
    let broken = |error: datafusion::error::DataFusionError| Failure::bug(format!("no session: {error}"));
    let Some(url) = scheduler else {
        let config = plain(SessionConfig::new());
        return Ok(SessionContext::new_with_config_rt(config, runtime(Duration::ZERO, None).map_err(broken)?));
    };
    let (host, port) = address_of(url)?;
    ready(&host, port).await?;
    let state = state(config().with_target_partitions(parts)).map_err(broken)?;
    SessionContext::remote_with_state(&format!("df://{host}:{port}"), state).await.map_err(broken)
}

/// Host and port of an address such as `http://10.0.0.1:50050`.
pub fn address_of(text: &str) -> std::result::Result<(String, u16), Failure> {
    let wrong = || {
        Failure::new(
            format!("\"{text}\" is not the address of a scheduler"),
            "give the one that the scheduler prints, such as http://10.0.0.1:50050",
        )
    };
    let whole = if text.contains("://") { text.to_owned() } else { format!("http://{text}") };
    let url = url::Url::parse(&whole).map_err(|_| wrong())?;
    let host = url.host_str().filter(|host| !host.is_empty()).ok_or_else(wrong)?;
    Ok((host.to_owned(), url.port().unwrap_or(50050)))
}

/// Errors unless a scheduler answers there and has at least one executor: the work would wait for ever.
async fn ready(host: &str, port: u16) -> std::result::Result<(), Failure> {
    let asked = tokio::time::timeout(Duration::from_secs(10), ask(host, port)).await;
    let answer = match asked {
        Ok(Ok(answer)) => answer,
        Ok(Err(error)) => {
            return Err(Failure::new(
                format!("no scheduler answers at {host}:{port}: {error}"),
                "start one with `evenstand-cluster scheduler`, or leave --scheduler out to work in this process",
            ));
        }
        Err(_) => {
            return Err(Failure::new(
                format!("no scheduler answers at {host}:{port} within 10 seconds"),
                "check the address and whether a firewall stands between",
            ));
        }
    };
    match answer.split(' ').nth(1) {
        Some("200") => Ok(()),
        Some("503") => Err(Failure::new(
            format!("the scheduler at {host}:{port} has no executor"),
            format!("start one or more with `evenstand-cluster executor --scheduler http://{host}:{port}`"),
        )),
        _ => Err(Failure::new(
            format!("what answers at {host}:{port} is no scheduler"),
            "give the address that `evenstand-cluster scheduler` prints",
        )),
    }
}

/// First line of what the scheduler answers when asked whether it is ready.
async fn ask(host: &str, port: u16) -> std::io::Result<String> {
    let mut stream = TcpStream::connect((host, port)).await?;
    let question = format!("GET /readyz HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n");
    stream.write_all(question.as_bytes()).await?;
    let mut answer = Vec::new();
    stream.take(4096).read_to_end(&mut answer).await?;
    Ok(String::from_utf8_lossy(&answer).lines().next().unwrap_or_default().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_read_with_and_without_a_scheme() {
        let of = |text: &str| address_of(text).unwrap();
        assert_eq!(of("http://10.0.0.1:7000"), ("10.0.0.1".to_owned(), 7000));
        assert_eq!(of("planthost:7000"), ("planthost".to_owned(), 7000));
        assert_eq!(of("http://planthost"), ("planthost".to_owned(), 50050));
        assert!(address_of("http://").unwrap_err().message().contains("is not the address"));
    }
}
