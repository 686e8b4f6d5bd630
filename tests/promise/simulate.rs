//! Draws reviews from stated truths, answers each with the code behind `evenstand model`, and judges the answers by the truth.
//!
//! `cargo run --release --example promise -- --reviews 1000`. Everything is invented; the same arguments give the same bytes.

mod calibration;
mod digs;
mod files;
mod judge;
mod lines;
mod notebook;
mod print;
mod rivals;
mod scenarios;
mod season;
mod tally;
mod truth;
mod world;

use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};

use clap::Parser;
use indicatif::{ProgressBar, ProgressStyle};
use rayon::prelude::*;

use calibration::classes;
use judge::{Record, judge};
use notebook::{Run, first_review, notebook};
use tally::tally;
use truth::Truth;
use world::World;

#[derive(Parser)]
#[command(about = "Does the answer keep its promise? Simulated reviews, judged by their truth.")]
struct Arguments {
    /// Reviews of each scenario
    #[arg(long, default_value_t = 200, value_parser = clap::value_parser!(u64).range(1..))]
    reviews: u64,
    /// Draws of the model behind every probability
    #[arg(long, default_value_t = 2000, value_parser = clap::value_parser!(u64).range(200..=100_000))]
    draws: u64,
    /// Seed of the first review; the others follow
    #[arg(long, default_value_t = 1)]
    first_seed: u64,
    /// Simulate digs instead: reviews of each world of digs, printed as a table
    #[arg(long)]
    digs: Option<u64>,
    /// Only scenarios whose name contains this text; may be given again
    #[arg(long)]
    scenario: Vec<String>,
    /// Write every figure of every scenario
    #[arg(long)]
    csv: Option<PathBuf>,
    /// Write one row a review and condition
    #[arg(long)]
    records: Option<PathBuf>,
    /// Write the result as a page of markdown
    #[arg(long)]
    notebook: Option<PathBuf>,
}

/// The table of dig windows.
fn print_digs(reviews: u64) {
    println!("| digs | open limit held | firm limit held | window said | settled | leaning | middle right |");
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    let worlds = digs::worlds();
    let lines: Vec<String> = worlds.par_iter().map(|world| world.judge(reviews).line(world)).collect();
    lines.iter().for_each(|line| println!("{line}"));
}

fn main() -> Result<(), Box<dyn Error>> {
    let arguments = Arguments::parse();
    if let Some(reviews) = arguments.digs {
        print_digs(reviews);
        return Ok(());
    }
    let asked = |world: &World| {
        arguments.scenario.is_empty() || arguments.scenario.iter().any(|text| world.name.contains(text.as_str()))
    };
    let worlds: Vec<World> = scenarios::scenarios().into_iter().filter(asked).collect();
    if worlds.is_empty() {
        return Err("no scenario has such a name".into());
    }
    let bar = ProgressBar::new(worlds.len() as u64 * arguments.reviews);
    bar.set_style(ProgressStyle::with_template("{bar:30} {pos} of {len} reviews, {eta} left  {msg}")?);
    let (mut tallies, mut trials, mut logs) = (Vec::new(), Vec::new(), Vec::new());
    let mut rows = files::records_header();
    let mut first = Vec::new();
    for world in &worlds {
        bar.set_message(world.name.clone());
        let records = simulate(world, &arguments, &bar);
        tallies.extend(tally(world, &records));
        rows.push_str(&files::records_csv(&world.name, &records));
        let firsts = records.iter().filter(|record| record.seed == arguments.first_seed);
        first.extend(firsts.map(|record| first_review(&world.name, record)));
        if world.is_logs() { logs.extend(records) } else { trials.extend(records) }
    }
    bar.finish_and_clear();
    let (trials, logs) = (classes(trials), classes(logs));
    if let Some(file) = &arguments.records {
        fs::write(file, rows)?;
    }
    if let Some(file) = &arguments.csv {
        fs::write(file, files::figures_csv(&tallies))?;
    }
    if let Some(file) = &arguments.notebook {
        let run = Run {
            reviews: arguments.reviews,
            draws: arguments.draws,
            first_seed: arguments.first_seed,
            scenarios: arguments.scenario.clone(),
            file: named(file),
        };
        fs::write(file, notebook(&run, &tallies, &trials, &logs, &first))?;
    }
    println!("{} reviews a scenario from seed {}, {} draws", arguments.reviews, arguments.first_seed, arguments.draws);
    println!("{}", print::table(&tallies));
    println!("said and kept, trials:\n{}", print::said_and_kept(&trials));
    println!("said and kept, logs:\n{}", print::said_and_kept(&logs));
    print!("{}", print::lines_not_held(&tallies));
    Ok(())
}

/// A file as the page names it: below the working folder as it is, elsewhere by its name alone.
fn named(file: &Path) -> String {
    let shown = if file.is_relative() { Some(file.as_os_str()) } else { file.file_name() };
    shown.map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

/// All records of one world, in the order of their seeds.
fn simulate(world: &World, arguments: &Arguments, bar: &ProgressBar) -> Vec<Record> {
    let truths: Vec<Truth> = world.conditions.iter().map(|condition| Truth::new(world, condition)).collect();
    (0..arguments.reviews)
        .into_par_iter()
        .flat_map_iter(|number| {
            let records = judge(world, &truths, arguments.first_seed.wrapping_add(number), arguments.draws as usize);
            bar.inc(1);
            records
        })
        .collect()
}
