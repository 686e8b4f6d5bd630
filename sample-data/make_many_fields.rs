//! Writes a large invented review, to time the pipeline and the report with.
//!
//! `make_many_fields COUNT OUT_DIR` writes `evenstand.toml` and `raw/*.csv` of COUNT field-seasons over three seasons: three blocks of six
//! settings, four visits, telemetry, outlines in the sea off 0° N, 0° E. A constant seed: the same arguments write the same bytes.

use std::error::Error;
use std::fmt::Write;
use std::fs;
use std::path::PathBuf;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

const SETTINGS_KPA: [f64; 6] = [80.0, 120.0, 160.0, 200.0, 240.0, 280.0];
const BLOCKS: usize = 3;
/// Hours from planting to each visit, and the share of the final stand that is up by then.
const VISITS: [(i64, f64); 4] = [(144, 0.05), (192, 0.45), (240, 0.85), (336, 1.0)];
const SETTINGS: &str = r#"name = "Many fields (invented data)"
timezone = "America/Chicago"

[condition]
by = ["moisture", "residue"]

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

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let usage = "make_many_fields takes a number of field-seasons and a folder to write into";
    let count: usize = arguments.next().ok_or(usage)?.parse()?;
    let folder = PathBuf::from(arguments.next().ok_or(usage)?);
    let raw = folder.join("raw");
    fs::create_dir_all(&raw)?;
    let mut random = ChaCha8Rng::seed_from_u64(20_260_301);
    let mut field =
        String::from("field_id,season,client,farm,crop,planted_at,row_spacing_m,seed_rate_per_m2,planter_id\n");
    let mut log = String::from("field_id,season,strip_id,block,time,speed_m_s,set_pressure_kpa,actual_pressure_kpa\n");
    let mut soil = String::from("field_id,season,block,taken_at,depth_cm,moisture_feel,residue_cover_pct\n");
    let mut counts = String::from("field_id,season,strip_id,sample_id,row_length_m,seeds_sown,counted_at,emerged\n");
    let mut outlines: Vec<String> = Vec::new();
    for number in 0..count {
        let season = 2023 + number % 3;
        let name = format!("field-{:04}", number / 3 + 1);
        let day = 1 + number % 25;
        let planted = format!("{season}-05-{day:02}");
        let farm = number / 9;
        writeln!(field, "{name},{season},Client {},Farm {farm},maize,{planted}T09:00,0.76,8.2,air-12", farm / 4)?;
        let (moisture, best) = [("dry", 240.0), ("moist", 180.0), ("wet", 120.0)][number % 3];
        let covered = number % 2 == 0;
        for block in 1..=BLOCKS {
            let cover = if covered { 55 } else { 12 };
            writeln!(soil, "{name},{season},{block},{planted}T08:00,5,{moisture},{cover}")?;
        }
        let level = 0.72 + 0.1 * (random.random::<f64>() - 0.5);
        for strip in 0..BLOCKS * SETTINGS_KPA.len() {
            let (block, place) = (strip / SETTINGS_KPA.len(), strip % SETTINGS_KPA.len());
            let setting = SETTINGS_KPA[(place + block * 2 + number) % SETTINGS_KPA.len()];
            let id = format!("S{:02}", strip + 1);
            for second in 0..60 {
                let actual = setting * (0.97 + 0.06 * random.random::<f64>());
                let (minute, second) = (strip, second);
                writeln!(
                    log,
                    "{name},{season},{id},{},{planted}T09:{minute:02}:{second:02},2.2,{setting},{actual:.1}",
                    block + 1
                )?;
            }
            let share = level - 0.08 * ((setting - best) / 100.0).powi(2) + 0.04 * (random.random::<f64>() - 0.5);
            for (hours, up) in VISITS {
                let seeds = 200.0;
                let emerged = (seeds * share.clamp(0.05, 0.98) * up).round();
                let at = format!("{season}-05-{:02}T09:00", day as i64 + hours / 24);
                let at = if day as i64 + hours / 24 > 31 {
                    format!("{season}-06-{:02}T09:00", day as i64 + hours / 24 - 31)
                } else {
                    at
                };
                writeln!(counts, "{name},{season},{id},1,20,{seeds},{at},{emerged}")?;
            }
            outlines.push(outline(&name, season, &id, number, strip));
        }
    }
    fs::write(folder.join("evenstand.toml"), SETTINGS)?;
    for (name, text) in [
        ("field.csv", field),
        ("setting_log.csv", log),
        ("soil_note.csv", soil),
        ("stand_count.csv", counts),
        ("strip.geojson", format!("{{\"type\":\"FeatureCollection\",\"features\":[\n{}\n]}}\n", outlines.join(",\n"))),
    ] {
        fs::write(raw.join(name), text)?;
    }
    Ok(())
}

/// A strip of 9 by 400 m in the field's own square.
fn outline(field: &str, season: usize, strip: &str, number: usize, place: usize) -> String {
    let (west, south) = (0.01 * (number % 30) as f64 + 9e-5 * place as f64, 0.01 * (number / 30) as f64);
    let (east, north) = (west + 8e-5, south + 3.6e-3);
    format!(
        "{{\"type\":\"Feature\",\"properties\":{{\"field_id\":\"{field}\",\"season\":{season},\"strip_id\":\"{strip}\"}},\
         \"geometry\":{{\"type\":\"Polygon\",\"coordinates\":[[[{west:.6},{south:.6}],[{east:.6},{south:.6}],[{east:.6},{north:.6}],[{west:.6},{north:.6}],[{west:.6},{south:.6}]]]}}}}"
    )
}
