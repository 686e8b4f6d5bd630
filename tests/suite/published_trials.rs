//! Published field trials run through the binary as reviews: pairs of settings, curves, factors and covariates, held against what was published.
//!
//! The files are those of agridat (MIT); expected numbers stand in `expected_public.json` beside them, with what was published and what was
//! recomputed in R, and are typed in below with the publication. A whole plot is a strip; what was measured inside one is a sample of it.
//! Treatments get made-up forces, because a review is about forces; comparisons are by the names of treatments and do not use them.

use std::collections::BTreeMap;
use std::path::PathBuf;

use crate::support::{TestReview, read_csv, shared};

mod curves;
mod factors;
mod pairs;

type Row = BTreeMap<String, String>;

/// The rows of a trial; nothing where the open data are not there.
fn trial(name: &str) -> Option<Vec<Row>> {
    let path: PathBuf = shared(&format!("data/trials/agridat.{name}.csv"))?;
    Some(read_csv(&path))
}

/// Which cells of a trial's row say what.
#[derive(Clone, Copy)]
struct Adapter<'a> {
    block: &'a dyn Fn(&Row) -> String,
    strip: &'a dyn Fn(&Row) -> String,
    value: &'a dyn Fn(&Row) -> Option<f64>,
    field: Option<&'a str>,
    season: Option<&'a str>,
    condition: Option<&'a str>,
    /// Column of the treatment's name; made-up forces follow the order of names.
    treatment: Option<&'a str>,
    /// Column of a number that stands for the force.
    force: Option<&'a str>,
    /// Columns of the setting log, and those of the trial that fill them.
    parts: &'a [(&'a str, &'a str)],
    /// Columns that were measured before.
    before: &'a [&'a str],
    settings: &'a str,
}

/// Result tables as the binary gives them.
struct Answered {
    review: TestReview,
}

impl<'a> Adapter<'a> {
    fn of(
        block: &'a dyn Fn(&Row) -> String,
        strip: &'a dyn Fn(&Row) -> String,
        value: &'a dyn Fn(&Row) -> Option<f64>,
    ) -> Self {
        let (field, season, condition, treatment, force) = (None, None, None, None, None);
        Self { block, strip, value, field, season, condition, treatment, force, parts: &[], before: &[], settings: "" }
    }

    /// Writes a review folder and runs it.
    fn run(&self, rows: &[Row]) -> Answered {
        let cell = |row: &Row, column: Option<&str>, other: &str| {
            column.map_or_else(|| other.to_owned(), |column| row[column].clone())
        };
        let mut treatments: Vec<String> = rows.iter().map(|row| cell(row, self.treatment, "")).collect();
        treatments.sort_unstable();
        treatments.dedup();
        let mut log = BTreeMap::new();
        let mut table = BTreeMap::new();
        let mut measures = String::from("field_id,season,strip_id,sample_id,name,value,better\n");
        for (number, row) in rows.iter().enumerate() {
            let (field, season) = (cell(row, self.field, "trial"), cell(row, self.season, "2000"));
            let (block, condition) = ((self.block)(row), cell(row, self.condition, ""));
            let strip = format!("{field},{season},{}", (self.strip)(row));
            let treatment = cell(row, self.treatment, "");
            let made_up = 100 + 20 * treatments.partition_point(|other| *other < treatment);
            let force = cell(row, self.force, &made_up.to_string());
            let parts: String = self.parts.iter().map(|(_, column)| format!(",{}", row[*column])).collect();
            log.insert(strip.clone(), format!("{strip},{block},{force},{condition}{parts}\n"));
            table.insert(strip.clone(), format!("{strip},{block},{treatment},{condition}\n"));
            if let Some(value) = (self.value)(row) {
                measures += &format!("{strip},{number},yield,{value},higher\n");
            }
            for name in self.before {
                measures += &format!("{strip},{number},{name},{},none\n", row[*name]);
            }
        }
        let below =
            |head: &str, rows: BTreeMap<String, String>| head.to_owned() + &rows.into_values().collect::<String>();
        let parts: String = self.parts.iter().map(|(part, _)| format!(",{part}")).collect();
        let log = below(&format!("field_id,season,strip_id,block,set_force_n,condition{parts}\n"), log);
        let table = below("field_id,season,strip_id,block,treatment,condition\n", table);
        let review = TestReview::new(&[
            ("setting_log.csv", &log),
            ("strip.csv", &table),
            ("measure.csv", &measures),
            ("evenstand.toml", self.settings),
        ]);
        let said = review.run("run", &["-q"]);
        assert!(said.status < 2, "{}", said.stderr);
        Answered { review }
    }
}

impl Answered {
    /// a − b with its standard error and degrees of freedom, in the field-season, or over all where none is named.
    fn pair_in(&self, condition: &str, place: Option<(&str, &str)>, a: &str, b: &str) -> [f64; 3] {
        let rows = self.review.result("comparisons");
        let (field_id, season) = place.unwrap_or(("", ""));
        let of = |one: &str, other: &str| {
            rows.iter().find(|row| {
                row["response"] == "measure:yield"
                    && row["condition"] == condition
                    && (row["field_id"].as_str(), row["season"].as_str()) == (field_id, season)
                    && (row["treatment_a"].as_str(), row["treatment_b"].as_str()) == (one, other)
            })
        };
        let (row, sign) = of(a, b).map(|row| (row, 1.0)).or_else(|| Some((of(b, a)?, -1.0))).expect("the pair");
        let number = |name: &str| row[name].parse::<f64>().unwrap();
        [sign * number("difference"), number("std_error"), number("df")]
    }

    /// The same in the one field-season of a trial without conditions.
    fn pair(&self, a: &str, b: &str) -> [f64; 3] {
        self.pair_in("unstated", Some(("trial", "2000")), a, b)
    }

    /// A value of the model table about the measure.
    fn fact(&self, item: &str, name: &str) -> f64 {
        let rows = self.review.result("model");
        let own =
            |row: &&Row| row["item"] == item && row["name"].starts_with(name) && row["response"] == "measure:yield";
        rows.iter().find(own).unwrap_or_else(|| panic!("{item} {name}"))["value"].parse().unwrap()
    }

    /// The test of a term in the one field-season of a trial.
    fn factor(&self, term: &str) -> Row {
        let rows = self.review.result("factors");
        let own = |row: &&Row| row["response"] == "measure:yield" && row["term"] == term && row["field_id"] == "trial";
        rows.iter().find(own).unwrap_or_else(|| panic!("{term}")).clone()
    }

    /// p value of the test that all settings are alike.
    fn p_value(&self) -> f64 {
        self.fact("levels", "group 1")
    }
}

fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "{found}, published {expected}");
}

fn joined(names: &'static [&'static str]) -> impl Fn(&Row) -> String {
    move |row| names.iter().map(|name| row[*name].as_str()).collect::<Vec<_>>().join("-")
}

/// A number of the row, where it was measured.
fn number(name: &'static str) -> impl Fn(&Row) -> Option<f64> {
    move |row| row[name].parse().ok()
}
