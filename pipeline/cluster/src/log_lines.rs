//! Log lines of the engine on standard error, where they are asked for.

use std::io::Write;

use log::{LevelFilter, Log, Metadata, Record};

struct Lines;

impl Log for Lines {
    fn enabled(&self, _: &Metadata) -> bool {
        true
    }

    fn log(&self, record: &Record) {
        let _ = writeln!(std::io::stderr(), "{}: {}", record.level(), record.args());
    }

    fn flush(&self) {}
}

/// Writes what the engine logs to standard error; without `wanted` only its errors.
pub fn start(wanted: bool) {
    static LINES: Lines = Lines;
    if log::set_logger(&LINES).is_ok() {
        log::set_max_level(if wanted { LevelFilter::Info } else { LevelFilter::Error });
    }
}
