//! The command line: arguments and glue. Each command loads, calls one stage, saves, and says what it did.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod args;
mod commands;
mod failure;
mod review;
mod voice;

use std::process::ExitCode;

use args::{Cli, Command};
use clap::Parser;
use voice::Voice;

fn main() -> ExitCode {
    let cli = Cli::parse();
    let (Command::Ingest(common)
    | Command::Model(common)
    | Command::Report(common)
    | Command::Run(common)
    | Command::Check(common)) = &cli.command;
    let mut voice = Voice::new(common);
    let outcome = match &cli.command {
        Command::Ingest(common) => commands::ingest(common, &mut voice),
        Command::Model(common) => commands::model(common, &mut voice),
        Command::Report(common) => commands::report(common, &mut voice),
        Command::Run(common) => commands::run(common, &mut voice),
        Command::Check(common) => commands::check(common, &mut voice),
    };
    let status = match outcome {
        Ok(look) => u8::from(look),
        Err(failure) => {
            voice.failure(&failure);
            2
        }
    };
    voice.close(status);
    ExitCode::from(status)
}
