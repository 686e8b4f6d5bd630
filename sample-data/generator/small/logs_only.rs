//! `logs-only`: ordinary fields at one setting each, with a final stand and nothing else.

use std::error::Error;

use super::super::ReviewFile;
use super::super::condition::Truth;
use super::super::random::SEED;
use super::super::tidy::TidyTable;
use super::plot::{Field, Ground, Plan, Strip};
use super::truth_table::{self, Decides};

const MOIST: Ground = Ground {
    label: "moist, covered",
    moisture: "moist",
    cover_pct: 50,
    truth: Truth {
        best_force_n: 235.0,
        half_width_n: Some(90.0),
        final_share: 0.93,
        spread_heat: 42.0,
        open_limit_n: 90.0,
        firm_limit_n: 340.0,
    },
};

/// Weighed force of the spring positions 1 to 5, N.
const POSITIONS: [f64; 5] = [90.0, 140.0, 190.0, 240.0, 290.0];

/// A field in one season.
struct Log {
    field: &'static str,
    season: i32,
    /// Month and day of planting.
    planted: (u32, u32),
    /// Spring position throughout.
    position: usize,
    /// What its ground added to final emergence, share of the seeds.
    level: f64,
}

const fn log(field: &'static str, season: i32, planted: (u32, u32), position: usize, level: f64) -> Log {
    Log { field, season, planted, position, level }
}

const LOGS: [Log; 10] = [
    log("river", 2024, (4, 26), 2, 0.03),
    log("church", 2024, (4, 29), 3, 0.0),
    log("quarry", 2024, (5, 3), 4, -0.06),
    log("windmill", 2024, (5, 6), 5, -0.10),
    log("pond", 2024, (5, 8), 3, 0.01),
    log("river", 2025, (4, 24), 2, 0.03),
    log("church", 2025, (4, 28), 3, 0.0),
    log("quarry", 2025, (4, 30), 5, -0.07),
    log("windmill", 2025, (5, 5), 4, -0.08),
    log("pond", 2025, (5, 9), 2, 0.02),
];

fn fields() -> Result<Vec<Field>, Box<dyn Error>> {
    LOGS.into_iter()
        .enumerate()
        .map(|(order, Log { field, season, planted: (month, day), position, level })| {
            let strip = |spot: usize| Strip {
                id: format!("spot {spot}"),
                block: None,
                knob: position as f64,
                force_n: POSITIONS[position - 1],
            };
            let strips = (1..=4).map(strip).collect();
            let places: &[_] = &[("a", 2), ("b", 7)];
            let visit_days: &[_] = &[30];
            let index = 160 + order;
            let planted = (month, day, 9);
            Plan { index, field, season, planted, ground: &MOIST, level, strips, places, visit_days }.grow()
        })
        .collect()
}

/// The files of the review.
///
/// # Errors
/// A distribution that cannot be set up.
pub fn files() -> Result<Vec<ReviewFile>, Box<dyn Error>> {
    let fields = fields()?;
    let mut field_table = TidyTable::new(
        "raw/field.csv",
        &["field_id", "season", "planted_at", "row_spacing_in", "seed_rate_per_ac", "tillage", "planter_id"],
    );
    let mut log = TidyTable::new("raw/setting_log.csv", &["field_id", "season", "closing_position"]);
    let mut notes =
        TidyTable::new("raw/soil_note.csv", &["field_id", "season", "taken_at", "moisture_feel", "residue_cover_pct"]);
    let mut counts = TidyTable::new(
        "raw/stand_count.csv",
        &["field_id", "season", "strip_id", "sample_id", "row_length_ft", "counted_at", "emerged"],
    );
    for field in &fields {
        let plan = &field.plan;
        let name = || plan.field.to_owned();
        let season = || plan.season.to_string();
        let day = || plan.planted_at().date();
        field_table.push([
            name(),
            season(),
            day(),
            "30".into(),
            "33200".into(),
            "no_till".into(),
            "farm-planter".into(),
        ]);
        log.push([name(), season(), plan.strips[0].knob.to_string()]);
        notes.push([name(), season(), day(), plan.ground.moisture.into(), plan.ground.cover_pct.to_string()]);
        for visit in field.visits() {
            for (strip, places) in plan.strips.iter().zip(&field.places) {
                for place in places {
                    let emerged = field.emerged(place, visit).to_string();
                    let [length, when] = ["17.42".into(), visit.date()];
                    counts.push([name(), season(), strip.id.clone(), place.id.into(), length, when, emerged]);
                }
            }
        }
    }
    let truth = truth_table::table(&Decides::Emerged, &[(&MOIST, truth_table::tested(&fields, &MOIST))]);
    let mut files: Vec<ReviewFile> =
        [field_table, log, notes, counts, truth].iter().map(ReviewFile::from_table).collect();
    files.push(ReviewFile { path: "evenstand.toml".into(), text: settings() });
    files.push(ReviewFile { path: "README.md".into(), text: readme() });
    Ok(files)
}

fn settings() -> String {
    let positions: Vec<String> = POSITIONS
        .iter()
        .enumerate()
        .map(|(order, force_n)| format!("    {{ label = \"{}\", force_n = {force_n} }},\n", order + 1))
        .collect();
    format!(
        "name = \"Logs only (invented data)\"
timezone = \"America/Chicago\"

[[planter]]
id = \"farm-planter\"
closer = \"discs_and_press_wheel\"

[planter.closing]
kind = \"positions\"
positions = [   # spring positions, weighed
{}]
default = \"3\"
",
        positions.concat()
    )
}

fn readme() -> String {
    let rows: Vec<String> = LOGS
        .iter()
        .map(|Log { field, season, position, level, .. }| {
            format!("| {field} | {season} | {position} | {:+.0} |\n", 100.0 * level)
        })
        .collect();
    format!(
        "# Logs only

**Invented data.** No farm, field or planter here is real. Five fields in two seasons, each planted at one spring position throughout, as somebody
thought right for the ground; four spots in each were counted once, when everything was up. Nobody tried two settings side by side.

Made by `sample-data/make_demo.rs` with seed {SEED}; read by `notebooks-md/06-logs-only.md`.

## The truth it was drawn from

`truth.csv` has it as a table; nothing in the pipeline reads it.

- In all fields the best force is {best:.0} N, between positions 3 and 4. Position 2, 140 N, loses two plants in a hundred seeds.
- The ground differs, and nobody wrote it down: hard ground takes plants, whatever the planter is set to. The heavy positions were used on hard ground. So heavier looks worse than
  it is.

| field | season | position | what its ground adds, points of final emergence |
| --- | --- | --- | --- |
{rows}
{drawn}",
        best = MOIST.truth.best_force_n,
        rows = rows.concat(),
        drawn = truth_table::DRAWN,
    )
}
