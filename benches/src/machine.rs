//! What the numbers were measured on.

use std::fs;

/// Processor, cores and memory as the system tells them, in one line; unknown parts are left out.
pub fn description() -> String {
    let cores = std::thread::available_parallelism().map_or(0, std::num::NonZero::get);
    let mut parts = vec![format!("{cores} cores")];
    parts.extend(field("/proc/cpuinfo", "model name"));
    let kibibytes = field("/proc/meminfo", "MemTotal").and_then(|text| text.split(' ').next()?.parse::<f64>().ok());
    parts.extend(kibibytes.map(|kibibytes| format!("{:.0} GiB memory", kibibytes / 1024.0 / 1024.0)));
    parts.push(format!("{} {}", std::env::consts::OS, std::env::consts::ARCH));
    parts.join(", ")
}

fn field(path: &str, name: &str) -> Option<String> {
    let text = fs::read_to_string(path).ok()?;
    let line = text.lines().find(|line| line.starts_with(name))?;
    Some(line.split_once(':')?.1.trim().to_string())
}
