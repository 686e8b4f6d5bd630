//! An invented review of three seasons, and what `evenstand link` makes of it.

use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use tempfile::TempDir;

const SETTINGS: &str = "min_speed_m_s = 1.2

[[planter]]
id = \"air\"
[planter.closing]
kind = \"pressure\"
max_kpa = 500
force_n = [[0, 0], [200, 205.3], [350, 377.7], [450, 520.1]]

[[planter]]
id = \"oil\"
[planter.closing]
kind = \"pressure\"
max_kpa = 9000
force_n = [[0, 10], [9000, 900]]

[[planter]]
id = \"plain\"
[planter.closing]
kind = \"pressure\"
max_kpa = 500
";

const HEADER: &str = "field_id,season,strip_id,time,planter_id,row_unit,lat,lon,speed_m_s,set_pressure_kpa,actual_pressure_kpa,set_force_n,actual_force_n,block,condition,depth_stop\n";

/// A review that was ingested, and the totals that `evenstand link` made of it.
pub struct Review {
    folder: TempDir,
}

impl Review {
    pub fn store(&self) -> PathBuf {
        self.folder.path().join("store")
    }
    pub fn settings(&self) -> PathBuf {
        self.folder.path().join("evenstand.toml")
    }
    pub fn expected(&self) -> PathBuf {
        self.folder.path().join("strip_totals.parquet")
    }
}

/// The review, made once; `None`, with the reason said, where `EVENSTAND` does not name the main binary.
pub fn review() -> Option<&'static Review> {
    static MADE: OnceLock<Option<Review>> = OnceLock::new();
    let made = MADE.get_or_init(|| std::env::var_os("EVENSTAND").map(|binary| make(Path::new(&binary))));
    if made.is_none() {
        println!("skipped: EVENSTAND does not name the evenstand binary");
    }
    made.as_ref()
}

fn make(evenstand: &Path) -> Review {
    let folder = tempfile::tempdir().unwrap();
    let raw = folder.path().join("raw");
    fs::create_dir(&raw).unwrap();
    // E names no planter; B stands twice, and its first row speaks.
    let mut fields = String::from("field_id,season,planter_id\n");
    for season in 2023..2026 {
        let _ = write!(
            fields,
            "A,{season},air\nB,{season},oil\nB,{season},plain\nC,{season},plain\nD,{season},air\nE,{season},\n"
        );
        for (file, field) in ["A", "B", "C", "D", "E"].into_iter().enumerate() {
            let log = telemetry(field, season, (season as u64) * 31 + file as u64);
            fs::write(raw.join(format!("setting_log-{season}-{field}.csv")), log).unwrap();
        }
    }
    fs::write(raw.join("field.csv"), fields).unwrap();
    fs::write(raw.join("setting_log-hand.csv"), "field_id,season,strip_id,set_force_n\nA,2024,by-hand,200\n").unwrap();
    fs::write(folder.path().join("evenstand.toml"), SETTINGS).unwrap();
    for command in ["ingest", "link"] {
        let said = Command::new(evenstand).arg(command).arg(folder.path()).output().unwrap();
        let text = String::from_utf8_lossy(&said.stderr).into_owned();
        assert!(matches!(said.status.code(), Some(0 | 1)), "evenstand {command}: {text}");
    }
    let review = Review { folder };
    let rows = super::table(&review.expected()).num_rows();
    assert!(rows > 100, "only {rows} rows to compare");
    review
}

/// A log with headlands, strips of two planters, gaps in every column, and forces beside pressures.
fn telemetry(field: &str, season: i64, seed: u64) -> String {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    let mut draw = |of: u64| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state % of
    };
    let mut log = String::from(HEADER);
    for row in 0..4000_u64 {
        let strip = row / 400;
        let strip = if strip == 4 { String::new() } else { format!("s{strip}") };
        let planter = match draw(9) {
            0 => "air",
            1 => "oil",
            2 if field == "A" => "unknown",
            _ => "",
        };
        let maybe = |value: String, there: bool| if there { value } else { String::new() };
        let time = format!("{season}-05-01T{:02}:{:02}:{:02}Z", 8 + row / 3600, row / 60 % 60, row % 60);
        let speed = maybe(format!("{}.{:03}", draw(4), draw(1000)), draw(20) > 0);
        let pressure = draw(520_000);
        let set_pressure = maybe(format!("{}.{:03}", pressure / 1000, pressure % 1000), draw(8) > 0);
        let actual = pressure + draw(3000);
        let actual_pressure = maybe(format!("{}.{:03}", actual / 1000, actual % 1000), draw(3) > 0);
        let set_force = maybe(format!("{}.{:02}", draw(600), draw(100)), draw(6) == 0);
        let actual_force = maybe(format!("{}.{:07}", draw(600), draw(10_000_000)), draw(5) == 0);
        let (lat, lon) = (format!("42.{:07}", draw(10_000_000)), format!("-93.{:07}", draw(10_000_000)));
        let block = maybe(format!("b{}", draw(3)), draw(2) == 0);
        let condition = ["", "moist", "dry"][draw(3) as usize];
        let depth_stop = maybe(draw(5).to_string(), draw(4) == 0);
        let unit = draw(4) + 1;
        let _ = writeln!(
            log,
            "{field},{season},{strip},{time},{planter},{unit},{lat},{lon},{speed},{set_pressure},{actual_pressure},{set_force},{actual_force},{block},{condition},{depth_stop}"
        );
    }
    log
}
