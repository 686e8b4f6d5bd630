//! Rows a second of `evenstand ingest` on telemetry, beside a plain polars scan and group-by of the same file.
//!
//! `cargo run --release --manifest-path benches/telemetry/Cargo.toml -- BINARY [ROWS]`
//!
//! The two do not do the same work: ingest checks every cell, notes where every row came from and writes Parquet; the scan
//! reads two columns and adds them up. The scan says how fast the file can be read at all on the machine.

use std::error::Error;
use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use polars::prelude::{Engine, LazyCsvReader, LazyFileListReader, PlRefPath, col};

const STRIPS: usize = 400;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let binary = arguments.next().ok_or("give the path of the evenstand binary")?;
    let rows: usize = arguments.next().map_or(Ok(10_000_000), |text| text.replace('_', "").parse())?;
    let review = tempfile::tempdir()?;
    fs::create_dir(review.path().join("raw"))?;
    let file = review.path().join("raw/setting_log.csv");
    write_telemetry(&file, rows)?;
    let megabytes = fs::metadata(&file)?.len() >> 20;
    println!("{rows} rows of telemetry in {STRIPS} strips, {megabytes} MB of CSV");

    let (seconds, peak) = ingest(&binary, review.path())?;
    println!(
        "evenstand ingest: {seconds:.1} s, {:.2} million rows a second, peak {} MB",
        rows as f64 / seconds / 1e6,
        peak >> 10
    );

    let scanned = scan(&file)?;
    println!("polars scan and group-by: {scanned:.1} s, {:.2} million rows a second", rows as f64 / scanned / 1e6);
    println!("ratio: ingest takes {:.1} times as long as the scan", seconds / scanned);
    Ok(())
}

/// Invented telemetry: one row each 0.2 s, strip after strip, with a set pressure and one that swings around it.
fn write_telemetry(path: &Path, rows: usize) -> Result<(), Box<dyn Error>> {
    let mut out = BufWriter::new(File::create(path)?);
    writeln!(
        out,
        "field_id,season,strip_id,time,planter_id,row_unit,lat,lon,speed_km_h,set_pressure_kpa,actual_pressure_kpa"
    )?;
    let per_strip = rows.div_ceil(STRIPS);
    for row in 0..rows {
        let (strip, step) = (row / per_strip, row % per_strip);
        let (day, tenths) = (1 + row / 432_000, row % 432_000 * 2);
        let (hour, minute, second) = (tenths / 36_000, tenths / 600 % 60, tenths % 600);
        let set = 100 + 50 * (strip % 5);
        writeln!(
            out,
            "Invented,2025,{strip},2025-04-{day:02}T{hour:02}:{minute:02}:{:02}.{}Z,demo,{},{:.7},{:.7},{:.1},{set},{:.1}",
            second / 10,
            second % 10,
            1 + step % 12,
            42.0 + step as f64 * 1e-6,
            -93.0 + strip as f64 * 1e-4,
            8.0 + (step % 17) as f64 * 0.1,
            set as f64 + ((step * 7) % 23) as f64 - 11.0
        )?;
    }
    Ok(out.flush()?)
}

/// Seconds and peak memory in kilobytes (Linux; 0 elsewhere).
fn ingest(binary: &str, review: &Path) -> Result<(f64, u64), Box<dyn Error>> {
    let start = Instant::now();
    let mut child = Command::new(binary).arg("ingest").arg(review).arg("--json").stdout(Stdio::piped()).spawn()?;
    let status = format!("/proc/{}/status", child.id());
    let mut peak = 0;
    while child.try_wait()?.is_none() {
        let text = fs::read_to_string(&status).unwrap_or_default();
        let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        peak = line.and_then(|line| line.split_whitespace().next()?.parse().ok()).unwrap_or(0).max(peak);
        std::thread::sleep(Duration::from_millis(20));
    }
    let seconds = start.elapsed().as_secs_f64();
    let said: serde_json::Value = serde_json::from_reader(child.stdout.take().ok_or("no output")?)?;
    if said["status"] != 0 || said["rows_kept"] != said["rows_read"] {
        return Err(format!("ingest did not keep every row: {said}").into());
    }
    Ok((seconds, peak))
}

fn scan(file: &Path) -> Result<f64, Box<dyn Error>> {
    let start = Instant::now();
    let path = file.to_str().ok_or("the temporary folder's name is no text")?;
    LazyCsvReader::new(PlRefPath::new(path))
        .finish()?
        .group_by([col("strip_id")])
        .agg([col("set_pressure_kpa").mean(), col("actual_pressure_kpa").mean()])
        .collect_with_engine(Engine::Streaming)?;
    Ok(start.elapsed().as_secs_f64())
}
