//! What can be typed. The comments here are the help.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

/// The heavy step of evenstand, kept telemetry to one row a strip, on one machine or several.
///
/// Start one scheduler, an executor on every machine, then `link`. Machines trust each other and talk in the clear: keep them on a
/// network of your own. The store lies where all of them reach it by the same name: a shared folder, or s3://bucket/folder.
#[derive(Debug, Parser)]
#[command(version, max_term_width = 100)]
pub struct Cli {
    /// Say on standard error what the engine does.
    #[arg(long, global = true)]
    pub log: bool,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Hand out work to executors until it is stopped.
    Scheduler(SchedulerArgs),
    /// Do work that a scheduler hands out, until it is stopped.
    Executor(ExecutorArgs),
    /// Sum the kept telemetry of a store by strip into a file, the one that `evenstand link` writes.
    ///
    /// Without --scheduler the work is done in this process. An object store takes its endpoint and keys from the usual environment
    /// variables (AWS_ENDPOINT, AWS_REGION, AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY, AWS_ALLOW_HTTP), which scheduler and
    /// executors need too.
    #[command(
        after_help = "Example:\n  evenstand-cluster link --scheduler http://10.0.0.1:50050 --store s3://reviews/network/store \\\n    --settings network/evenstand.toml --out network/strip_totals.parquet\n  evenstand model network --strip-totals network/strip_totals.parquet"
    )]
    Link(LinkArgs),
}

/// Options of `scheduler`.
#[derive(Debug, Args)]
pub struct SchedulerArgs {
    /// Address to listen on; port 0 takes a free one, which is then printed.
    #[arg(long, value_name = "HOST:PORT", default_value = "127.0.0.1:50050")]
    pub bind: String,
    /// Name or address by which executors reach this machine; by default the one it listens on.
    #[arg(long, value_name = "HOST")]
    pub advertise: Option<String>,
    /// Seconds without a sign of life after which an executor counts as lost and its work is given to others.
    #[arg(long, value_name = "SECONDS", default_value_t = 60, value_parser = clap::value_parser!(u64).range(2..=86_400))]
    pub executor_timeout: u64,
}

/// Options of `executor`.
#[derive(Debug, Args)]
pub struct ExecutorArgs {
    /// The scheduler.
    #[arg(long, value_name = "URL")]
    pub scheduler: String,
    /// Address to listen on.
    #[arg(long, value_name = "HOST", default_value = "127.0.0.1")]
    pub bind: String,
    /// Name or address by which the other machines reach this one; by default the one it listens on.
    #[arg(long, value_name = "HOST")]
    pub advertise: Option<String>,
    /// Port for results of tasks, fetched by other executors and by `link`.
    #[arg(long, default_value_t = 50051)]
    pub port: u16,
    /// Port for orders of the scheduler.
    #[arg(long, default_value_t = 50052)]
    pub order_port: u16,
    /// Tasks at a time; by default as many as there are cores.
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub cores: Option<u16>,
    /// Memory for sums, in megabytes, shared by the tasks; by default 70 % of what the machine has.
    #[arg(long, value_name = "MB", value_parser = clap::value_parser!(u64).range(64..))]
    pub memory: Option<u64>,
    /// Folder for results of tasks; by default a temporary one that goes with the process.
    #[arg(long, value_name = "DIR")]
    pub work_dir: Option<PathBuf>,
    /// Seconds between signs of life.
    #[arg(long, value_name = "SECONDS", default_value_t = 15, value_parser = clap::value_parser!(u64).range(1..=3600))]
    pub heartbeat: u64,
    /// Wait so many milliseconds before each read, as a slow store would.
    #[arg(long, value_name = "MS", default_value_t = 0, hide = true)]
    pub slow_reads: u64,
}

/// Options of `link`.
#[derive(Debug, Args)]
pub struct LinkArgs {
    /// The scheduler; without it the work is done here.
    #[arg(long, value_name = "URL")]
    pub scheduler: Option<String>,
    /// The store of the review: a folder, or s3://bucket/folder.
    #[arg(long, value_name = "URI")]
    pub store: String,
    /// The settings of the review; without them nothing is calibrated, and the least speed is the default one.
    #[arg(long, value_name = "FILE")]
    pub settings: Option<PathBuf>,
    /// The file to write.
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// On a cluster: parts that the telemetry is read in; more than there are cores in all, so that none stands idle at the end.
    #[arg(long, default_value_t = 16, value_parser = clap::value_parser!(u16).range(1..=4096))]
    pub parts: u16,
}
