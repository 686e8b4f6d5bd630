//! An invented research network: telemetry of any length, field-seasons of three blocks of eight strips, eight visits each.
//!
//! The work that `statistics` environments are timed on as well. The same arguments give the same bytes.

use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::Path;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Blocks of a field-season.
pub const BLOCKS: usize = 3;
/// Settings, and strips of a block.
pub const SETTINGS_KPA: [u64; 8] = [80, 110, 140, 170, 200, 230, 260, 290];
/// Strips of a field-season.
pub const STRIPS: usize = BLOCKS * SETTINGS_KPA.len();
/// Seasons that the fields are spread over.
const SEASONS: usize = 10;
/// Seeds in the row counted in each strip.
const SEEDS: f64 = 200.0;
/// Days from planting to each visit, and the share of the final stand that is up by then.
const VISITS: [(u64, f64); 8] =
    [(5, 0.02), (6, 0.12), (7, 0.35), (8, 0.62), (9, 0.81), (10, 0.92), (12, 0.98), (16, 1.0)];
const CONDITIONS: [(&str, f64); 3] = [("dry", 230.0), ("moist", 190.0), ("wet", 140.0)];
const SETTINGS: &str = r#"name = "A research network (invented data)"
timezone = "America/Chicago"

[condition]
by = ["logged"]

[[planter]]
id = "air-12"
closer = "discs_and_press_wheel"
[planter.closing]
kind = "pressure"
min_kpa = 0
max_kpa = 400
step_kpa = 10
default_kpa = 200
force_n = [[0, 0], [400, 420]]
"#;

/// Writes `evenstand.toml` and `raw/` of a network with about so many telemetry rows: every strip has as many as the others,
/// and at least ten. Returns the rows written.
///
/// # Errors
/// Where a file cannot be written.
pub fn write(rows: usize, fields: usize, folder: &Path) -> io::Result<usize> {
    let raw = folder.join("raw");
    fs::create_dir_all(&raw)?;
    fs::write(folder.join("evenstand.toml"), SETTINGS)?;
    let mut random = ChaCha8Rng::seed_from_u64(20_260_301);
    let mut field = BufWriter::new(File::create(raw.join("field.csv"))?);
    let mut strip = BufWriter::new(File::create(raw.join("strip.csv"))?);
    let mut counts = BufWriter::new(File::create(raw.join("stand_count.csv"))?);
    let mut log = BufWriter::with_capacity(1 << 20, File::create(raw.join("setting_log.csv"))?);
    writeln!(field, "field_id,season,crop,planted_at,row_spacing_m,seed_rate_per_m2,planter_id")?;
    writeln!(strip, "field_id,season,strip_id,block,condition")?;
    writeln!(counts, "field_id,season,strip_id,sample_id,row_length_m,seeds_sown,counted_at,emerged")?;
    writeln!(log, "field_id,season,strip_id,time,speed_m_s,set_pressure_kpa,actual_pressure_kpa")?;
    let per_strip = (rows / (fields * STRIPS)).max(10);
    for number in 0..fields {
        let (name, season) = (format!("F{:04}", number / SEASONS + 1), 2016 + number % SEASONS);
        let (condition, best) = CONDITIONS[(number / SEASONS + number) % CONDITIONS.len()];
        let day = 20 + (number / 7) as u64 % 10;
        writeln!(field, "{name},{season},maize,{season}-04-{day:02}T08:00,0.76,8.2,air-12")?;
        let level = 0.80 + 0.08 * normal(&mut random);
        for block in 0..BLOCKS {
            let block_level = level + 0.02 * normal(&mut random);
            for place in 0..SETTINGS_KPA.len() {
                let (id, setting) =
                    (block * SETTINGS_KPA.len() + place + 1, SETTINGS_KPA[(place * 3 + block + number) % 8]);
                writeln!(strip, "{name},{season},{id},{},{condition}", block + 1)?;
                let share = block_level - 0.05 * ((setting as f64 - best) / 100.0).powi(2) + 0.02 * normal(&mut random);
                let final_stand = SEEDS * share.clamp(0.2, 0.97);
                for (days, up) in VISITS {
                    let (month, of_month) = if day + days > 30 { (5, day + days - 30) } else { (4, day + days) };
                    writeln!(
                        counts,
                        "{name},{season},{id},1,20,{SEEDS},{season}-{month:02}-{of_month:02}T08:00,{}",
                        (final_stand * up).round()
                    )?;
                }
                write_log(&mut log, &name, season, id, (day, setting), per_strip, &mut random)?;
            }
        }
    }
    for mut file in [field, strip, counts, log] {
        file.flush()?;
    }
    Ok(per_strip * fields * STRIPS)
}

/// Telemetry of one strip, five rows a second: the planter gets going, holds its speed, and its pressure swings around the one set.
fn write_log(
    log: &mut impl Write,
    field: &str,
    season: usize,
    strip: usize,
    (day, setting): (u64, u64),
    rows: usize,
    random: &mut ChaCha8Rng,
) -> io::Result<()> {
    let mut line = String::new();
    let start = strip * 1_800; // fifths of a second after 14:00: six minutes a strip
    for row in 0..rows {
        let fifths = start + row;
        let (day, fifths) = (day as usize + (fifths + 14 * 18_000) / 432_000, (fifths + 14 * 18_000) % 432_000);
        let (hour, minute, second, tenth) = (fifths / 18_000, fifths / 300 % 60, fifths / 5 % 60, fifths % 5 * 2);
        let speed = if row < 5 { 0.4 + 0.3 * row as f64 } else { 2.0 + 0.4 * random.random::<f64>() };
        let actual = setting as f64 * (0.96 + 0.08 * random.random::<f64>());
        line.clear();
        let _ = writeln!(
            line,
            "{field},{season},{strip},{season}-04-{day:02}T{hour:02}:{minute:02}:{second:02}.{tenth}Z,{speed:.2},{setting},{actual:.1}"
        );
        log.write_all(line.as_bytes())?;
    }
    Ok(())
}

/// A standard normal number by the sum of twelve uniform ones: exact enough to invent data with.
fn normal(random: &mut ChaCha8Rng) -> f64 {
    (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0
}
