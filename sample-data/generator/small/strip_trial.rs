//! `strip-trial`: a research farm that compares settings in strips, over two seasons.
//!
//! The first season lies in `raw/`. What the second brought lies in `season-2025/`: the notebook plans it first and then puts it in.

use std::error::Error;

use super::super::ReviewFile;
use super::super::condition::Truth;
use super::super::random::SEED;
use super::super::tidy::TidyTable;
use super::plot::{Field, Ground, Plan, Strip, in_drawn_order, in_order};
use super::truth_table::{self, Decides};

const MOIST: Ground = Ground {
    label: "moist, covered",
    moisture: "moist",
    cover_pct: 60,
    truth: Truth {
        best_force_n: 170.0,
        half_width_n: Some(120.0),
        final_share: 0.94,
        spread_heat: 40.0,
        open_limit_n: 60.0,
        firm_limit_n: 330.0,
    },
};

/// Pressure in kPa and the force it gives at one row, N.
const CALIBRATION: [[f64; 2]; 5] = [[0.0, 0.0], [100.0, 85.0], [200.0, 168.0], [300.0, 250.0], [400.0, 330.0]];

/// Force at one of the pressures of the calibration, or between two, on a straight line.
fn force_n(kpa: f64) -> f64 {
    let upper = CALIBRATION.iter().position(|[point, _]| *point >= kpa).unwrap_or(CALIBRATION.len() - 1).max(1);
    let ([low, low_n], [high, high_n]) = (CALIBRATION[upper - 1], CALIBRATION[upper]);
    low_n + (high_n - low_n) * (kpa - low) / (high - low)
}

/// Settings of the first season, kPa.
const FIRST: [f64; 4] = [100.0, 200.0, 300.0, 400.0];
/// Settings of the second season, as the first one advised, kPa.
const SECOND: [f64; 6] = [100.0, 160.0, 220.0, 280.0, 340.0, 400.0];

fn plan(index: usize, field: &'static str, season: i32, planted: (u32, u32, i64), strips: Vec<Strip>) -> Plan {
    Plan {
        index,
        field,
        season,
        planted,
        ground: &MOIST,
        level: 0.0,
        strips,
        places: &[("a", 2), ("b", 3), ("c", 5)],
        visit_days: &[6, 7, 8, 9, 10, 12, 15, 20],
    }
}

fn first_season() -> Result<Vec<Field>, Box<dyn Error>> {
    let drawn = |index| in_drawn_order(index, &FIRST, 4, force_n);
    [plan(120, "K1", 2024, (5, 3, 9), drawn(120)), plan(121, "K2", 2024, (5, 7, 10), drawn(121))]
        .into_iter()
        .map(Plan::grow)
        .collect()
}

fn second_season() -> Result<Vec<Field>, Box<dyn Error>> {
    let drawn = in_drawn_order(122, &SECOND, 3, force_n);
    // Laid out by somebody who went through the settings in turn.
    let in_turn = in_order(&vec![SECOND.to_vec(); 3], force_n);
    [plan(122, "K3", 2025, (4, 30, 9), drawn), plan(123, "K4", 2025, (5, 6, 14), in_turn)]
        .into_iter()
        .map(Plan::grow)
        .collect()
}

/// The tables of one season; `folder` with a slash stands before their names.
fn tables(fields: &[Field], folder: &str) -> Vec<TidyTable> {
    let season = fields[0].plan.season;
    let named = |table: &str| format!("{folder}{table}-{season}.csv");
    let mut field_table = TidyTable::new(
        named("field"),
        &["field_id", "season", "planted_at", "row_spacing_cm", "seed_rate_per_m2", "tillage", "planter_id"],
    );
    let mut layout = TidyTable::new(named("strip"), &["field_id", "season", "strip_id", "block", "treatment"]);
    let mut log = TidyTable::new(named("setting_log"), &["field_id", "season", "strip_id", "set_pressure_kpa"]);
    let mut notes =
        TidyTable::new(named("soil_note"), &["field_id", "season", "taken_at", "moisture_feel", "residue_cover_pct"]);
    let mut counts = TidyTable::new(
        named("stand_count"),
        &["field_id", "season", "strip_id", "seeds_sown", "counted_at", "emerged"],
    );
    for field in fields {
        let plan = &field.plan;
        let name = || plan.field.to_owned();
        let season = || plan.season.to_string();
        let when = plan.planted_at();
        field_table.push([
            name(),
            season(),
            when.plain(),
            "75".into(),
            "8.2".into(),
            "no_till".into(),
            "trial-planter".into(),
        ]);
        notes.push([name(), season(), when.date(), plan.ground.moisture.into(), plan.ground.cover_pct.to_string()]);
        for strip in &plan.strips {
            let block = strip.block.map_or(String::new(), |block| block.to_string());
            layout.push([name(), season(), strip.id.clone(), block, format!("{} kPa", strip.knob)]);
            log.push([name(), season(), strip.id.clone(), strip.knob.to_string()]);
        }
        for visit in field.visits() {
            for (strip, places) in plan.strips.iter().zip(&field.places) {
                // Three rows of a strip are counted as one place.
                let seeds: usize = places.iter().map(|place| place.seeds).sum();
                let emerged: usize = places.iter().map(|place| field.emerged(place, visit)).sum();
                counts.push([
                    name(),
                    season(),
                    strip.id.clone(),
                    seeds.to_string(),
                    visit.plain(),
                    emerged.to_string(),
                ]);
            }
        }
    }
    vec![field_table, layout, log, notes, counts]
}

/// The files of the review.
///
/// # Errors
/// A distribution that cannot be set up.
pub fn files() -> Result<Vec<ReviewFile>, Box<dyn Error>> {
    let mut fields = first_season()?;
    let mut all = tables(&fields, "raw/");
    let second = second_season()?;
    all.extend(tables(&second, "season-2025/"));
    fields.extend(second);
    all.push(truth_table::table(&Decides::OnTime, &[(&MOIST, truth_table::tested(&fields, &MOIST))]));
    let mut files: Vec<ReviewFile> = all.iter().map(ReviewFile::from_table).collect();
    files.push(ReviewFile { path: "evenstand.toml".into(), text: settings() });
    files.push(ReviewFile { path: "README.md".into(), text: readme() });
    Ok(files)
}

fn settings() -> String {
    let pairs: Vec<String> = CALIBRATION.iter().map(|[kpa, force_n]| format!("[{kpa}, {force_n}]")).collect();
    format!(
        "name = \"Strip trial (invented data)\"
timezone = \"America/Chicago\"

[[planter]]
id = \"trial-planter\"
closer = \"discs_and_press_wheel\"

[planter.closing]
kind = \"pressure\"
min_kpa = 0
max_kpa = 400
step_kpa = 10
default_kpa = 300
force_n = [{}]   # kPa -> N at one row, weighed
",
        pairs.join(", ")
    )
}

fn readme() -> String {
    let near = MOIST.truth.near_best(force_n(FIRST[0]), force_n(FIRST[3]), Truth::expected_on_time);
    format!(
        "# Strip trial

**Invented data.** No farm, field or planter here is real. A research farm compares settings of one planter in strips. `raw/` holds the
first season: two fields, four settings, four blocks each. `season-2025/` holds what the second brought: the plan (`field-2025.csv`, `strip-2025.csv`) and, after the
counts, the rest. The plan takes the range that the first season advised to test next: six settings in three blocks, in an order drawn anew for every block of `K3`. In `K4`
somebody went through the settings in the same order in every block. Three rows of each strip were counted together on eight evenings.

Made by `sample-data/make_demo.rs` with seed {SEED}; read by `notebooks-md/04-strip-trial.md`.

## The truth it was drawn from

`truth.csv` has it as a table; nothing in the pipeline reads it.

- Moist ground, residue on 60 %, in all four fields. The best force is {best:.0} N, some 200 kPa; two fewer in a hundred seeds come up {width:.0} N away from it.
- From {low:.0} to {high:.0} N the share on time of a typical field is within two points of the best. The default of 300 kPa, 250 N, is not.
- The order of the strips in `K4` did no harm: place in the block changes nothing there. Nobody who has the data alone can know that.

{drawn}",
        best = MOIST.truth.best_force_n,
        width = MOIST.truth.half_width_n.unwrap_or(f64::NAN),
        low = near.low_n,
        high = near.high_n,
        drawn = truth_table::DRAWN,
    )
}
