//! `own-spreadsheet`: a trial kept in spreadsheets of somebody's own, with decimal commas and German names.

use std::error::Error;

use super::super::ReviewFile;
use super::super::condition::Truth;
use super::super::random::SEED;
use super::plot::{Field, Ground, Plan, in_drawn_order};
use super::truth_table::{self, Decides};

const MOIST: Ground = Ground {
    label: "moist, covered",
    moisture: "feucht",
    cover_pct: 35,
    truth: Truth {
        best_force_n: 180.0,
        half_width_n: Some(100.0),
        final_share: 0.93,
        spread_heat: 42.0,
        open_limit_n: 60.0,
        firm_limit_n: 330.0,
    },
};

/// Newtons of closing force for a bar.
const NEWTONS_A_BAR: f64 = 140.0;
/// Settings compared, bar.
const SETTINGS: [f64; 4] = [0.6, 1.2, 1.8, 2.4];

fn fields() -> Result<Vec<Field>, Box<dyn Error>> {
    // The round through all fields was made on the same evenings.
    let (early, late): (&[i64], &[i64]) = (&[6, 7, 8, 9, 10, 12, 15, 20], &[5, 6, 7, 8, 9, 11, 14, 19]);
    [("Mühlenacker", (4, 28, 8), early), ("Langes Feld", (4, 28, 14), early), ("Am Bach", (4, 29, 9), late)]
        .into_iter()
        .enumerate()
        .map(|(position, (field, planted, visit_days))| {
            let index = 140 + position;
            let strips = in_drawn_order(index, &SETTINGS, 3, |bar| bar * NEWTONS_A_BAR);
            let places: &[_] = &[("a", 2), ("b", 3), ("c", 5)];
            Plan { index, field, season: 2025, planted, ground: &MOIST, level: 0.0, strips, places, visit_days }.grow()
        })
        .collect()
}

/// The files of the review.
///
/// # Errors
/// A distribution that cannot be set up.
pub fn files() -> Result<Vec<ReviewFile>, Box<dyn Error>> {
    let fields = fields()?;
    let mut card = vec![
        "Schlag;Aussaat;Reihenweite (cm);Saatstärke (Körner/m²);Bodenbearbeitung;Bodenfeuchte;Mulch (%)".to_owned(),
    ];
    let mut settings = vec!["Schlag;Streifen;Wiederholung;Schließdruck".to_owned()];
    let mut files = Vec::new();
    for field in &fields {
        let plan = &field.plan;
        card.push(format!(
            "{};{};75;8,3;Mulchsaat;{};{}",
            plan.field,
            german(&plan.planted_at().date()),
            plan.ground.moisture,
            plan.ground.cover_pct
        ));
        for strip in &plan.strips {
            let block = strip.block.map_or(String::new(), |block| block.to_string());
            settings.push(format!("{};{};{block};{}", plan.field, strip.id, comma(strip.knob)));
        }
    }
    files.push(file("Feldaufgang 2025.csv", &counts(&fields)));
    files.push(file("Schlagkartei.csv", &card));
    files.push(file("Einstellungen 2025.csv", &settings));
    files.push(ReviewFile::from_table(&truth_table::table(
        &Decides::OnTime,
        &[(&MOIST, truth_table::tested(&fields, &MOIST))],
    )));
    files.push(ReviewFile { path: "evenstand.toml".into(), text: SETTINGS_FILE.into() });
    files.push(ReviewFile { path: "README.md".into(), text: readme() });
    Ok(files)
}

/// The counts: names in two rows, a row a strip and a column a visit.
fn counts(fields: &[Field]) -> Vec<String> {
    let dates: Vec<String> = fields[0].visits().iter().map(|visit| german(&visit.date())).collect();
    let mut lines = vec![
        format!("Schlag;Streifen;Länge (m);Bestand{}", ";".repeat(dates.len() - 1)),
        format!(";;;{}", dates.join(";")),
    ];
    for field in fields {
        for (strip, places) in field.plan.strips.iter().zip(&field.places) {
            // Three rows of five metres and a third.
            let mut line = format!("{};{};16,07", field.plan.field, strip.id);
            for visit in field.visits() {
                let emerged: usize = places.iter().map(|place| field.emerged(place, visit)).sum();
                line.push_str(&format!(";{emerged}"));
            }
            lines.push(line);
        }
    }
    lines
}

fn file(name: &str, lines: &[String]) -> ReviewFile {
    ReviewFile { path: format!("raw/{name}"), text: lines.join("\n") + "\n" }
}

/// `2025-05-06` as `06.05.2025`.
fn german(date: &str) -> String {
    date.split('-').rev().collect::<Vec<_>>().join(".")
}

/// A number with a decimal comma.
fn comma(value: f64) -> String {
    value.to_string().replace('.', ",")
}

const SETTINGS_FILE: &str = "\
name = \"Own spreadsheet (invented data)\"
timezone = \"Europe/Berlin\"

[[planter]]
id = \"Sämaschine\"
closer = \"discs_and_press_wheel\"

[planter.closing]
kind = \"pressure\"
min_bar = 0
max_bar = 3
step_bar = 0.1
default_bar = 1.8
weighed = [
    { pressure_bar = 0.5, force_n = [71, 69, 70] },
    { pressure_bar = 1.5, force_n = [209, 211, 210] },
    { pressure_bar = 2.5, force_n = [351, 350, 349] },
]
";

fn readme() -> String {
    format!(
        "# Own spreadsheet

**Invented data.** No farm, field or planter here is real. A farm keeps its trial in spreadsheets of its own, saved as CSV: semicolons, decimal
commas, German names; counts with names in two rows and a column a visit. The settings say no unit: they are bar.

Made by `sample-data/make_demo.rs` with seed {SEED}; read by `notebooks-md/05-your-own-spreadsheet.md`.

## The truth it was drawn from

`truth.csv` has it as a table; nothing in the pipeline reads it.

- Every bar gives {NEWTONS_A_BAR:.0} N at a row, without any error.
- Moist ground, residue on 35 %, in all three fields. The best force is {best:.0} N, {bar:.1} bar.

{drawn}",
        best = MOIST.truth.best_force_n,
        bar = MOIST.truth.best_force_n / NEWTONS_A_BAR,
        drawn = truth_table::DRAWN,
    )
}
