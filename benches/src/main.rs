//! Prints the table of README.md in markdown from what criterion kept: `compare CRITERION_FOLDER`, which `benches/compare.sh` names.

use evenstand_benches::{cases, machine, table, timing};
use std::path::PathBuf;
use std::process::ExitCode;

fn main() -> ExitCode {
    let Some(folder) = std::env::args_os().nth(1).map(PathBuf::from) else {
        eprintln!("no folder named; benches/compare.sh times the cases and names criterion's folder");
        return ExitCode::FAILURE;
    };
    let timings = match timing::kept_in(&folder) {
        Ok(timings) => timings,
        Err(error) => {
            eprintln!("{}: {error}; run benches/compare.sh, which times the cases first", folder.display());
            return ExitCode::FAILURE;
        }
    };
    println!("{}\n\n{}", machine::description(), table::HEAD);
    for case in cases::all() {
        if let Some(timing) = timings.get(&case.name) {
            println!("{}", table::row(&case.name, timing, &case.usual));
        }
    }
    ExitCode::SUCCESS
}
