//! The command line: arguments and glue. Each command loads, calls one stage, saves, and says what it did.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod args;
mod commands;
mod failure;
mod last_season;
mod made_from;
mod proposals;
mod quantity;
mod reader;
mod review;
mod sources;
mod trial;
mod voice;

use std::process::ExitCode;

use args::{Cli, Command};
use clap::Parser;
use failure::Failure;
use review::Review;
use voice::{Voice, print_failure};

fn main() -> ExitCode {
    let cli = Cli::parse();
    let common = match &cli.command {
        Command::Ingest(common)
        | Command::Link { common, .. }
        | Command::Model { common, .. }
        | Command::Report(common)
        | Command::Run(common)
        | Command::Check(common)
        | Command::Sheets { common, .. } => common,
        Command::Trial(arguments) => &arguments.common,
        // These two know of no review.
        Command::Completions { shell } => return ended(commands::completions(*shell)),
        Command::Man { out } => return ended(commands::man(out)),
    };
    let mut voice = Voice::new(common);
    // A run takes the output folder for itself; a check writes nothing and takes nothing.
    let review = if matches!(cli.command, Command::Check(_)) { Review::look(common) } else { Review::open(common) };
    let outcome = review.and_then(|review| match &cli.command {
        Command::Ingest(_) => commands::ingest(&review, &mut voice),
        Command::Link { out_file, .. } => commands::link(&review, out_file.as_deref(), &mut voice),
        Command::Model { strip_totals, .. } => commands::model(&review, strip_totals.as_deref(), &mut voice),
        Command::Report(_) => commands::report(&review, &mut voice),
        Command::Run(_) => commands::run(&review, &mut voice),
        Command::Check(_) => commands::check(&review, &mut voice),
        Command::Sheets { units, .. } => commands::sheets(&review, *units, &mut voice),
        Command::Trial(arguments) => commands::trial(&review, arguments, &mut voice),
        Command::Completions { .. } | Command::Man { .. } => Ok(false),
    });
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

/// The exit status of a command that knows of no review.
fn ended(outcome: Result<(), Failure>) -> ExitCode {
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            print_failure(&failure);
            ExitCode::from(2)
        }
    }
}
