//! The command line: arguments and glue. Each command loads, calls one stage, saves, and says what it did.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod args;
mod commands;
mod failure;
mod inputs;
mod last_season;
mod made_from;
mod proposals;
mod reader;
mod review;
mod run_record;
mod sources;
mod trial;
mod voice;

use std::io::Write;
use std::process::ExitCode;

use args::{Cli, Command};
use clap::Parser;
use failure::Failure;
use review::Review;
use voice::{Voice, print_failure};

fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(said) => return ExitCode::from(help_or_fault(&said)),
    };
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
    if review.as_ref().is_ok_and(|review| review.unlocked) {
        voice.note("This folder cannot be held for one run alone here: see to it that no other run is at work in it.");
    }
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
    ExitCode::from(voice.close(status))
}

/// Prints the help, the version or what is wrong with the arguments. Exit status 2 also where the help could not be printed.
fn help_or_fault(said: &clap::Error) -> u8 {
    let printed = said.print().and_then(|()| std::io::stdout().flush());
    if said.use_stderr() || printed.is_err() { 2 } else { 0 }
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
