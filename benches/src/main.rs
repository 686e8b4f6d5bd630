//! Runs the cases and prints the table in markdown; words on the command line pick cases whose names hold all of them.

use evenstand_benches::{cases, machine, table, timer};
use std::process::ExitCode;
use std::time::Duration;

const EFFORT: timer::Effort = timer::Effort { fewest: 7, most: 1001, enough: Duration::from_secs(2) };

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let chosen: Vec<cases::Case> =
        cases::all().into_iter().filter(|case| words.iter().all(|word| case.name.contains(word.as_str()))).collect();
    if chosen.is_empty() {
        eprintln!("no case has all of {words:?} in its name; the cases are:");
        cases::all().iter().for_each(|case| eprintln!("  {}", case.name));
        return ExitCode::FAILURE;
    }
    println!("{}\n\n{}", machine::description(), table::HEAD);
    let mut failed = false;
    let load = machine::load();
    for case in &chosen {
        match run(case) {
            Ok(timing) => println!("{}", table::row(&case.name, &timing, &case.usual)),
            Err(reason) => {
                failed = true;
                eprintln!("{}: {reason}", case.name);
            }
        }
    }
    let number = |value: Option<f64>| value.map_or("unknown".into(), |value| format!("{value:.1}"));
    println!("\nload before the first case {}; largest memory {} MiB", number(load), number(machine::peak_memory()));
    if failed { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}

fn run(case: &cases::Case) -> Result<timer::Timing, String> {
    let mut work = (case.prepare)().map_err(|error| error.to_string())?;
    let mut trouble = None;
    let timing = timer::time(EFFORT, || {
        work().unwrap_or_else(|error| {
            trouble = Some(error.to_string());
            0.0
        })
    })?;
    trouble.map_or(Ok(timing), Err)
}
