//! The heavy step on several machines: kept telemetry becomes one row a strip, on DataFusion in one process or on
//! DataFusion Ballista with a scheduler and executors.
//!
//! It writes the table that `evenstand link` writes, equal row for row, because everything that is summed is a whole number.
//! `query` says what is summed, `store` where from, `planters` whose rows they are, `totals` puts the parts together and `table`
//! writes them; `scheduler`, `executor` and `session` start the engine.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod args;
mod executor;
mod failure;
mod link;
mod log_lines;
mod planters;
mod query;
mod scheduler;
mod session;
mod store;
mod table;
mod totals;

use std::process::ExitCode;

use args::{Cli, Command};
use clap::Parser;
use failure::Failure;

/// Plans are walked by functions that call themselves; the usual stack is too small for large ones.
const STACK_BYTES: usize = 32 << 20;

fn main() -> ExitCode {
    let cli = Cli::parse();
    log_lines::start(cli.log);
    let outcome = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .thread_stack_size(STACK_BYTES)
        .build()
        .map_err(|error| {
            Failure::new(format!("no threads can be started: {error}"), "close other programs and try again")
        })
        .and_then(|runtime| {
            runtime.block_on(async {
                // A task of the runtime, not the thread it was started from: only the runtime's threads have the large stack.
                let done = tokio::spawn(async move {
                    match cli.command {
                        Command::Scheduler(arguments) => scheduler::run(arguments).await,
                        Command::Executor(arguments) => executor::run(arguments).await,
                        Command::Link(arguments) => link::run(arguments).await,
                    }
                });
                done.await.unwrap_or_else(|error| Err(Failure::bug(format!("the command broke off: {error}"))))
            })
        });
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            failure.tell();
            ExitCode::from(2)
        }
    }
}
