//! `next-years-default`: a grower with one planter and three fields, who turned the knob for a few passes.

use std::error::Error;

use super::super::ReviewFile;
use super::super::condition::Truth;
use super::super::random::SEED;
use super::super::tidy::TidyTable;
use super::plot::{Field, Ground, Plan, in_drawn_order};
use super::truth_table::{self, Decides};

/// Newtons of closing force for a pound-force per square inch: 2 lbf a psi, and 4.448 N a lbf.
const NEWTONS_A_PSI: f64 = 2.0 * 4.448_222;

const MOIST: Ground = Ground {
    label: "moist, covered",
    moisture: "moist",
    cover_pct: 45,
    truth: Truth {
        best_force_n: 240.0,
        half_width_n: Some(100.0),
        final_share: 0.94,
        spread_heat: 42.0,
        open_limit_n: 125.0,
        firm_limit_n: 370.0,
    },
};

const WET: Ground = Ground {
    label: "wet, covered",
    moisture: "wet",
    cover_pct: 45,
    truth: Truth {
        best_force_n: 170.0,
        half_width_n: Some(120.0),
        final_share: 0.90,
        spread_heat: 60.0,
        open_limit_n: 90.0,
        firm_limit_n: 280.0,
    },
};

fn fields() -> Result<Vec<Field>, Box<dyn Error>> {
    let force_n = |psi: f64| psi * NEWTONS_A_PSI;
    let first: &[f64] = &[20.0, 30.0, 40.0];
    let second: &[f64] = &[20.0, 30.0, 40.0];
    [
        ("road-piece", 2024, (4, 29, 9), &MOIST, first),
        ("hilltop", 2024, (5, 2, 8), &MOIST, first),
        ("creek", 2024, (5, 6, 10), &MOIST, first),
        ("road-piece", 2025, (4, 27, 9), &MOIST, second),
        ("hilltop", 2025, (4, 30, 13), &MOIST, second),
        ("creek", 2025, (5, 5, 9), &WET, second),
    ]
    .into_iter()
    .enumerate()
    .map(|(position, (field, season, planted, ground, knobs))| {
        let index = 100 + position;
        let strips = in_drawn_order(index, knobs, 3, force_n);
        let places: &[_] = &[("a", 2), ("b", 6)];
        let visit_days: &[_] = &[6, 7, 8, 9, 10, 12, 15, 21];
        Plan { index, field, season, planted, ground, level: 0.0, strips, places, visit_days }.grow()
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
        &["field_id", "season", "crop", "planted_at", "row_spacing_in", "seed_rate_per_ac", "tillage", "planter_id"],
    );
    let mut log =
        TidyTable::new("raw/setting_log.csv", &["field_id", "season", "strip_id", "block", "set_pressure_psi"]);
    let mut notes =
        TidyTable::new("raw/soil_note.csv", &["field_id", "season", "taken_at", "moisture_feel", "residue_cover_pct"]);
    let mut digs = TidyTable::new(
        "raw/dig_check.csv",
        &["field_id", "season", "strip_id", "trench_shut", "air_gap", "firm_all_round", "dig_effort"],
    );
    let mut counts = TidyTable::new(
        "raw/stand_count.csv",
        &["field_id", "season", "strip_id", "sample_id", "row_length_ft", "counted_at", "emerged"],
    );
    for field in &fields {
        let plan = &field.plan;
        let name = || plan.field.to_owned();
        let season = || plan.season.to_string();
        field_table.push([
            name(),
            season(),
            "maize".into(),
            plan.planted_at().plain(),
            "30".into(),
            "33200".into(),
            "no_till".into(),
            "eight-row".into(),
        ]);
        notes.push([
            name(),
            season(),
            plan.planted_at().date(),
            plan.ground.moisture.into(),
            plan.ground.cover_pct.to_string(),
        ]);
        for strip in &plan.strips {
            let block = strip.block.map_or(String::new(), |block| block.to_string());
            log.push([name(), season(), strip.id.clone(), block, strip.knob.to_string()]);
        }
        for round in 0..2 {
            for (strip, [shut, _, air, firm, _, effort, _]) in plan.strips.iter().zip(field.digs(round)) {
                digs.push([name(), season(), strip.id.clone(), shut.into(), air.into(), firm.into(), effort.into()]);
            }
        }
        for visit in field.visits() {
            for (strip, places) in plan.strips.iter().zip(&field.places) {
                for place in places {
                    let emerged = field.emerged(place, visit).to_string();
                    let [length, when] = ["17.42".into(), visit.plain()];
                    counts.push([name(), season(), strip.id.clone(), place.id.into(), length, when, emerged]);
                }
            }
        }
    }
    let truth = truth_table::table(
        &Decides::OnTime,
        &[&MOIST, &WET].map(|ground| (ground, truth_table::tested(&fields, ground))),
    );
    let mut files: Vec<ReviewFile> =
        [field_table, log, notes, digs, counts, truth].iter().map(ReviewFile::from_table).collect();
    files.push(ReviewFile { path: "evenstand.toml".into(), text: SETTINGS.into() });
    files.push(ReviewFile { path: "README.md".into(), text: readme() });
    Ok(files)
}

const SETTINGS: &str = "\
name = \"Next year's default (invented data)\"
timezone = \"America/Chicago\"

[display]
units = \"us\"

[[planter]]
id = \"eight-row\"
closer = \"discs_and_press_wheel\"

[planter.closing]
kind = \"pressure\"
min_psi = 0
max_psi = 75
step_psi = 1
default_psi = 40
weighed = [   # the closing system of one row unit, weighed three times at each pressure
    { pressure_psi = 15, force_lbf = [30, 29, 31] },
    { pressure_psi = 30, force_lbf = [61, 60, 59] },
    { pressure_psi = 50, force_lbf = [99, 101, 100] },
]
";

fn readme() -> String {
    format!(
        "# Next year's default

**Invented data.** No field, person or planter here is real. A grower has one planter and three fields. In two seasons
nine strips in each field were planted at three pressures in turn, and the rest at the default of 40 psi: 20, 30 and 40 psi in
both. Two places in each strip were dug behind the planter, and counted on eight evenings.

Made by `sample-data/make_demo.rs` with seed {SEED}; read by `notebooks-md/03-next-years-default.md`.

## The truth it was drawn from

`truth.csv` has it as a table; nothing in the pipeline reads it.

- Every pound a square inch gives 2 pounds of closing force at a row, 8.9 N, without any error.
- Moist ground, residue on 45 %: the best force is {moist:.0} N, {moist_psi:.0} psi. The default of 40 psi, 356 N, is too heavy.
- Wet ground (`creek`, 2025): the best is {wet:.0} N, {wet_psi:.0} psi.

{drawn}",
        moist = MOIST.truth.best_force_n,
        moist_psi = MOIST.truth.best_force_n / NEWTONS_A_PSI,
        wet = WET.truth.best_force_n,
        wet_psi = WET.truth.best_force_n / NEWTONS_A_PSI,
        drawn = truth_table::DRAWN,
    )
}
