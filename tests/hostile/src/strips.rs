//! The door of the model: small tables of strips, measures and digs, with numbers that mean nothing among them.

use std::collections::BTreeMap;

use arrow::array::{AsArray, RecordBatch};
use arrow::datatypes::{DataType, Float64Type};
use evenstand_model::{Answers, Questions, analyse, year_on_year};
use evenstand_settings::Settings;
use evenstand_tables::rows::{DigStripRow, StripMeasureRow, StripRow};
use evenstand_tables::{Moment, Row, Table, TablesError};

use crate::choices::Choices;

/// Settings that a first byte chooses among; few draws, so that many inputs pass.
const SETTINGS: [&str; 6] = [
    "draws = 200\n",
    "draws = 200\nprimary = \"emerged_share\"\n",
    "draws = 200\nprimary = \"t50_h\"\naxis = \"actual\"\n",
    "draws = 200\nprimary = \"measure:yield\"\ncovariates = [\"measure:before\"]\n",
    "draws = 200\nwhole_plots = [\"force\", \"closer\"]\n[hardware]\npool_closers = true\n",
    "draws = 200\n[[planter]]\nid = \"p\"\ncloser = \"c\"\n[planter.closing]\nkind = \"pressure\"\nmin_psi = 0\nmax_psi = 60\n\
     step_psi = 1\ndefault_psi = 30\nforce_n = [[0, 0], [400, 425]]\n",
];

/// Tables of an input.
struct Asked {
    settings: Settings,
    strips: Vec<StripRow>,
    measures: Vec<StripMeasureRow>,
    digs: Vec<DigStripRow>,
}

fn asked(input: &[u8], most: usize) -> Asked {
    let mut choices = Choices::of(input);
    let settings = Settings::parse(SETTINGS[choices.below(SETTINGS.len())]).unwrap_or_default();
    let (mut strips, mut measures, mut digs) = (Vec::new(), Vec::new(), Vec::new());
    while !choices.is_over() && strips.len() < most {
        let strip = strip(&mut choices, strips.len());
        if choices.below(4) == 3 {
            measures.push(measure(&mut choices, &strip));
        }
        if choices.below(4) == 3 {
            digs.push(dig(&mut choices, &strip));
        }
        strips.push(strip);
    }
    Asked { settings, strips, measures, digs }
}

fn strip(choices: &mut Choices, number: usize) -> StripRow {
    let place = choices.byte();
    let (field, season) = (place & 3, i64::from(place >> 2 & 3));
    let season = if place == 255 { i64::MAX } else { 2022 + season };
    let seeds = choices.number(120.0);
    let emerged = choices.number(120.0);
    let share = match (seeds, emerged) {
        (Some(seeds), Some(emerged)) if place & 64 == 0 => Some(emerged / seeds),
        _ => choices.number(1.0),
    };
    let force = choices.number(500.0);
    StripRow {
        field_id: format!("f{field}"),
        season,
        // One strip in eight has the name of one before it.
        strip_id: if place >> 5 == 7 { "s0".into() } else { format!("s{number}") },
        block: choices.name_or_none(&["1", "2", "3", ""]),
        treatment: (place & 16 != 0).then(|| choices.name(&["a", "b"])),
        condition: choices.name(&["any", "wet, high residue", "dry", ""]),
        planter_id: choices.name_or_none(&["p", "q"]),
        closer: choices.name_or_none(&["c", "c", "c", "d"]),
        force_n: force,
        force_source: force.map(|_| "set".to_owned()),
        set_force_n: force,
        actual_force_n: if place & 8 != 0 { choices.number(500.0) } else { None },
        set_pressure_kpa: choices.number(400.0),
        closing_position: if place & 128 != 0 { choices.name_or_none(&["1", "2", "3"]) } else { None },
        press_position: choices.name_or_none(&["low", "low", "high"]),
        depth_stop: choices.name_or_none(&["2", "2", "3"]),
        started_at: Some(Moment(i64::from(choices.byte()) * 60_000_000)),
        seeds_sown: seeds,
        emerged,
        emerged_share: share,
        on_time_share: choices.number(1.0),
        t50_h: choices.number(300.0),
        spread_h: choices.number(100.0),
        t50_fit_h: choices.number(300.0),
        t50_fit_se_h: choices.number(5.0),
        spread_fit_h: choices.number(100.0),
        spread_fit_se_h: choices.number(5.0),
        spacing_cv: choices.number(1.0),
        leaf_stage_sd: choices.number(1.0),
        speed_m_s: choices.number(3.0),
        n_samples: Some(i64::from(choices.byte())),
        usable: Some(place != 254),
        ..StripRow::default()
    }
}

fn measure(choices: &mut Choices, strip: &StripRow) -> StripMeasureRow {
    StripMeasureRow {
        field_id: strip.field_id.clone(),
        season: strip.season,
        strip_id: strip.strip_id.clone(),
        name: choices.name(&["yield", "before", ""]),
        value: choices.number(20.0),
        unit: choices.name_or_none(&["t/ha"]),
        better: choices.name_or_none(&["more", "less", "odd"]),
        n_samples: Some(1),
    }
}

fn dig(choices: &mut Choices, strip: &StripRow) -> DigStripRow {
    let answers = choices.byte();
    DigStripRow {
        field_id: strip.field_id.clone(),
        season: strip.season,
        strip_id: Some(strip.strip_id.clone()),
        condition: strip.condition.clone(),
        planter_id: strip.planter_id.clone(),
        closer: strip.closer.clone(),
        force_n: strip.force_n,
        not_shut: (answers & 1 != 0).then_some(answers & 2 != 0),
        too_firm: (answers & 4 != 0).then_some(answers & 8 != 0),
        dig_effort: (answers & 16 != 0).then(|| i64::from(choices.byte())),
        block: strip.block.clone(),
        ..DigStripRow::default()
    }
}

/// Rows through their tables and back: types, missing values and needed columns.
pub fn strip_tables(input: &[u8]) {
    let asked = asked(input, 6);
    same_again(&asked.strips);
    same_again(&asked.measures);
    same_again(&asked.digs);
}

fn same_again<R: Row + std::fmt::Debug>(rows: &[R]) {
    match R::to_table(rows).and_then(|table| R::from_table(&table)) {
        // NaN is not equal to itself; its words are.
        Ok(again) => assert_eq!(format!("{rows:?}"), format!("{again:?}")),
        Err(error) => assert!(error.to_string().len() > 10, "{error}"),
    }
}

/// The whole model on such tables: it never fails, and no number of its tables is none.
pub fn model(input: &[u8]) {
    analysed(&asked(input, 60));
}

/// The same with no more strips than a block has and a handful of draws: a twentieth of the time, so that many more inputs pass, and many more
/// designs with an empty cell.
pub fn small_model(input: &[u8]) {
    let mut asked = asked(input, 8);
    // Fewer than a settings file may ask for.
    asked.settings.analysis.draws = 25;
    analysed(&asked);
}

fn analysed(asked: &Asked) {
    let questions =
        Questions { strips: &asked.strips, measures: &asked.measures, digs: &asked.digs, settings: &asked.settings };
    let answers = analyse(&questions);
    looked_at(&answers);
    year_on_year(&answers.starting_points, &[], &asked.strips, &asked.measures);
}

/// Every number of every result is finite or missing, and an answer that is open says why.
fn looked_at(answers: &Answers) {
    for start in &answers.starting_points {
        assert!(!start.reason.is_empty(), "an answer without a reason: {start:?}");
    }
    finite(&answers.curves);
    usable(answers.field_curves.to_table());
    finite(&answers.field_effects);
    finite(&answers.starting_points);
    finite(&answers.settings);
    finite(&answers.next_trials);
    finite(&answers.sensitivity);
    finite(&answers.shapes);
    usable(answers.comparisons.to_table());
    finite(&answers.factors);
    finite(&answers.dig_window);
    finite(&answers.dig_curves);
    finite(&answers.dig_levels);
    finite(&answers.dig_checklist);
    finite(&answers.dig_stand);
    usable(answers.adjusted.to_table());
    finite(&answers.model);
}

fn finite<R: Row>(rows: &[R]) {
    usable(R::to_table(rows));
}

fn usable(table: Result<Table, TablesError>) {
    let table = match table {
        Ok(table) => table,
        Err(error) => unreachable!("result rows that are no table: {error}"),
    };
    let odd = odd_columns(table.batch());
    assert!(odd.is_empty(), "{} holds what is no number in {odd:?}", table.schema().name);
}

/// Columns that hold NaN or infinity, and how often.
fn odd_columns(batch: &RecordBatch) -> BTreeMap<String, usize> {
    let schema = batch.schema();
    let numbers =
        batch.columns().iter().zip(schema.fields()).filter(|(column, _)| *column.data_type() == DataType::Float64);
    let counted = numbers.map(|(column, field)| {
        let odd = column.as_primitive::<Float64Type>().iter().flatten().filter(|value| !value.is_finite()).count();
        (field.name().clone(), odd)
    });
    counted.filter(|(_, odd)| *odd > 0).collect()
}
