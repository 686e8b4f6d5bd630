//! The review's README and its settings.

use super::blemish::Blemish;
use super::emergence::FieldRecord;
use super::random::SEED;
use super::scenario::{CALIBRATION, POSITIONS};
use super::truth::role_words;

/// `README.md`: that it is invented, how it was made, and what is odd on purpose.
pub fn readme(records: &[FieldRecord], blemishes: &[Blemish]) -> String {
    let mut fields = String::new();
    for record in records {
        let plan = record.plan;
        fields.push_str(&format!(
            "| {} | {} | {} | {} | {} | {} | {} |\n",
            plan.field,
            plan.season,
            plan.farm,
            record.strips[0].setting.planter(),
            plan.condition.label(),
            role_words(plan),
            record.strips.len(),
        ));
    }
    let mut early = Vec::new();
    for record in records {
        let planted = record.plan.planted_at();
        for strip in &record.strips {
            let first = strip.emerged_at(0, planted).unwrap_or(0);
            let last = strip.emerged_at(strip.visits.len() - 1, planted).unwrap_or(0);
            if last > 0 && first * 10 > last {
                early.push(format!("`{}` {} {}", record.plan.field, record.plan.season, strip.id));
            }
        }
    }
    let mut spoilt = String::new();
    for blemish in blemishes {
        spoilt.push_str(&format!("| `{}` | {} | {} |\n", blemish.file, blemish.line, blemish.what));
    }
    format!(
        "# Winter review, demo

**Invented data.** No field, person, planter or plant in this folder is real. It shows what a consultant's winter review of two
clients looks like: {count} field-seasons of maize over four seasons, with strip trials of closing downforce, ordinary fields,
and the gaps and slips of records that people keep.

Made by `sample-data/make_demo.rs` with seed {seed}; the same program writes the same bytes:

    cargo run --release --example make_demo

`truth.csv`, `truth_fields.csv` and `truth.md` say what the numbers were drawn from. Nothing in the pipeline reads them.

| field | season | farm | planter | condition | what it is | strips |
| --- | --- | --- | --- | --- | --- | --- |
{fields}
## Odd on purpose

- The two clients keep records in different units: inches, feet, psi and miles an hour; centimetres, metres, kPa and km/h.
- `last-season/starting_points.csv` are the answers of the same records without those of 2025; a test makes them again.
- `ridge-mill`: force does nothing there, in either season.
- `quarry-east` 2024, `home-north` 2024 and `cold-spring-2` 2025 have outlines of their strips. The places are invented: a grid in the sea off 0° N, 0° E.
- `quarry-pond` 2023, `cold-spring-1` 2024 and `home-north` 2025 were planted at one setting throughout, light where it was wet
  and heavy where it was dry: the setting followed the soil, so between these fields it proves nothing.
- `lindqvist-bottom` 2023 and `reach-creek` 2024, the wet trials, have three blocks and four light settings only.
- `reach-house` 2025 was replanted; its counts are there and must not be used.
- Some strips were planted and never counted: `quarry-west` 2023 S06 and S17, `quarry-east` 2024 S13, `home-north` 2024 S11,
  `cold-spring-2` 2025 S04 and S05.
- `home-north` 2024, strip S07, has two notes of the same hour, moist and dry: it lies in two conditions.
- `home-south` 2025: nobody noted the moisture of block 4.
- `quarry-east` 2024 has an older note and one from 12 inches down that say wet; the note of the planting day counts.
- `home-south` 2023: rain stopped the planter, and block 4 was planted the next morning (`planted_at` in the strip list).
- `lindqvist-40` 2024, strip S08: the air line leaked, and the measured pressure is 7 psi under the set one.
- A tenth of the plants were up before the first visit in: {early}. Their T10 is not known.
- Weather is of one invented station and agrees with the plants on average, not day by day.

Rows that are wrong:

| file | line | what is wrong |
| --- | --- | --- |
{spoilt}",
        count = records.len(),
        seed = SEED,
        early = early.join(", "),
    )
}

/// `evenstand.toml`.
pub fn settings() -> String {
    let pairs: Vec<String> = CALIBRATION.iter().map(|[kpa, force_n]| format!("[{kpa}, {force_n}]")).collect();
    let positions: Vec<String> = POSITIONS
        .iter()
        .enumerate()
        .map(|(order, force_n)| format!("    {{ label = \"{}\", force_n = {force_n} }},\n", order + 1))
        .collect();
    format!(
        "name = \"Winter review, demo (invented data)\"
timezone = \"America/Chicago\"
seed = 1

[last_season]
starting_points = \"last-season/starting_points.csv\"   # the answers of this review a year ago

[condition]
by = [\"moisture\", \"residue\"]

[display]
units = \"metric\"

[[planter]]
id = \"north-12\"
closer = \"discs_and_press_wheel\"
gauge_wheel = \"reduced_inner_diameter\"

[planter.closing]
kind = \"pressure\"
min_psi = 0
max_psi = 60
step_psi = 1
default_psi = 28
force_n = [{}]   # kPa -> N at one row, weighed

[[planter]]
id = \"south-8\"
closer = \"discs_and_press_wheel\"
gauge_wheel = \"reduced_inner_diameter\"

[planter.closing]
kind = \"positions\"
positions = [   # spring positions, weighed
{}]
default = \"3\"
",
        pairs.join(", "),
        positions.concat(),
    )
}
