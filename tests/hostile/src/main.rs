//! Runs damaged inputs through one target: `hostile TARGET [--inputs N] [--from N] [--seed N] [--found FOLDER]`.
//!
//! An input that panics or takes longer than its target may ([`Target::longest`]) is written to the folder. At the end stand how many ran, the rate, the longest
//! time of one input and the most memory that the program held (Linux tells it).

#![allow(clippy::print_stdout)]

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Mutex;
use std::time::{Duration, Instant};

use evenstand_hostile::{TARGETS, Target, damage, inputs};

/// Most memory that the program may hold, in kilobytes.
const MOST_KB: u64 = 1 << 20;
/// Faults after which a run ends.
const MOST_FAULTS: usize = 20;

struct Asked {
    target: &'static Target,
    inputs: u64,
    from: u64,
    seed: u64,
    found: PathBuf,
}

fn main() -> ExitCode {
    match asked() {
        Ok(asked) => run(&asked),
        Err(problem) => {
            let names: Vec<&str> = TARGETS.iter().map(|target| target.name).collect();
            eprintln!(
                "{problem}\nhostile TARGET [--inputs N] [--from N] [--seed N] [--found FOLDER]\ntargets: {}",
                names.join(", ")
            );
            ExitCode::from(2)
        }
    }
}

fn asked() -> Result<Asked, String> {
    let mut arguments = std::env::args().skip(1);
    let name = arguments.next().ok_or("which target?")?;
    let target =
        TARGETS.iter().find(|target| target.name == name).ok_or_else(|| format!("no target is called {name}"))?;
    let mut asked = Asked { target, inputs: 100_000, from: 0, seed: 1, found: PathBuf::from("found") };
    while let Some(option) = arguments.next() {
        let value = arguments.next().ok_or_else(|| format!("{option} needs a value"))?;
        let number = || value.parse::<u64>().map_err(|_| format!("{option} {value} is no whole number"));
        match option.as_str() {
            "--inputs" => asked.inputs = number()?,
            "--from" => asked.from = number()?,
            "--seed" => asked.seed = number()?,
            "--found" => asked.found = PathBuf::from(&value),
            other => return Err(format!("{other} is no option")),
        }
    }
    Ok(asked)
}

fn run(asked: &Asked) -> ExitCode {
    let name = asked.target.name;
    let seeds: Vec<Vec<u8>> = match inputs(name) {
        Ok(inputs) => inputs.into_iter().map(|(_, bytes)| bytes).collect(),
        Err(error) => {
            eprintln!("corpus/{name} cannot be read: {error}");
            return ExitCode::from(2);
        }
    };
    let working = Mutex::new((Instant::now(), asked.from));
    std::thread::scope(|scope| {
        let (over, watch) = std::sync::mpsc::channel::<()>();
        // An input that never ends is told by number, so that it can be made again.
        scope.spawn(|| {
            let watch = watch;
            while watch.recv_timeout(Duration::from_millis(500)) == Err(std::sync::mpsc::RecvTimeoutError::Timeout) {
                let (since, number) = *working.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
                if since.elapsed() > 30 * asked.target.longest() {
                    keep(asked, number, &damage::input(&seeds, asked.seed, number), "endless");
                    println!("{name}: input {number} does not end");
                    std::process::exit(1);
                }
            }
        });
        let code = all(asked, &seeds, &working);
        drop(over);
        code
    })
}

fn all(asked: &Asked, seeds: &[Vec<u8>], working: &Mutex<(Instant, u64)>) -> ExitCode {
    let (mut faults, mut longest, mut slowest, mut bytes_in_all) = (0, Duration::ZERO, 0, 0);
    let started = Instant::now();
    let until = asked.from + asked.inputs;
    let mut ran = 0;
    for number in asked.from..until {
        let bytes = damage::input(seeds, asked.seed, number);
        bytes_in_all += bytes.len();
        let (began, cpu) = (Instant::now(), processor_time());
        *working.lock().unwrap_or_else(std::sync::PoisonError::into_inner) = (began, number);
        let ended = catch_unwind(AssertUnwindSafe(|| (asked.target.run)(&bytes)));
        // Of the processor where the system tells it, so that other programs do not count.
        let took = match (cpu, processor_time()) {
            (Some(before), Some(after)) => after.saturating_sub(before),
            _ => began.elapsed(),
        };
        if took > longest {
            (longest, slowest) = (took, number);
        }
        ran += 1;
        if ended.is_err() || took > asked.target.longest() {
            faults += 1;
            keep(asked, number, &bytes, if ended.is_err() { "panic" } else { "slow" });
        }
        if faults >= MOST_FAULTS || (ran % 1000 == 0 && peak_kb().is_some_and(|peak| peak > MOST_KB)) {
            break;
        }
    }
    let seconds = started.elapsed().as_secs_f64();
    let peak = peak_kb();
    println!(
        "{:14} {ran:>9} inputs {:>8.0}/s  mean {:>6} bytes  longest {:>8.1} ms (input {slowest})  at most {:>5} MB  {faults} faults",
        asked.target.name,
        ran as f64 / seconds,
        bytes_in_all / ran.max(1) as usize,
        longest.as_secs_f64() * 1e3,
        peak.map_or_else(|| "?".to_owned(), |kilobytes| (kilobytes / 1024).to_string()),
    );
    if faults > 0 || peak.is_some_and(|peak| peak > MOST_KB) { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}

fn keep(asked: &Asked, number: u64, bytes: &[u8], what: &str) {
    let path = asked.found.join(format!("{}-{}-{number}-{what}", asked.target.name, asked.seed));
    if let Err(error) = std::fs::create_dir_all(&asked.found).and_then(|()| std::fs::write(&path, bytes)) {
        eprintln!("{} cannot be written: {error}", path.display());
    }
    println!("{what}: {}", path.display());
}

/// What the threads of this program have had of the processors, in steps of a hundredth of a second, where the system tells.
fn processor_time() -> Option<Duration> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    let behind_name = stat.rsplit_once(')')?.1;
    let ticks: Vec<u64> =
        behind_name.split_whitespace().skip(11).take(2).filter_map(|ticks| ticks.parse().ok()).collect();
    Some(Duration::from_millis(10 * ticks.iter().sum::<u64>()))
}

/// The most memory that this program ever held, where the system tells.
fn peak_kb() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}
