//! Tables and expected values for the tests.

use serde_json::Value;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// A small table of text cells by column name.
#[derive(Clone, Default)]
pub struct Table {
    columns: BTreeMap<String, Vec<String>>,
}

/// Group codes of a column, and the label of each code.
pub struct Factor {
    pub codes: Vec<usize>,
    pub labels: Vec<String>,
}

impl Table {
    pub fn from_csv(text: &str) -> Self {
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let names: Vec<String> = reader.headers().expect("a header").iter().map(String::from).collect();
        let mut table = Self::default();
        for record in reader.records() {
            let record = record.expect("a well-formed row");
            for (name, cell) in names.iter().zip(record.iter()) {
                table.columns.entry(name.clone()).or_default().push(cell.to_string());
            }
        }
        table
    }

    pub fn from_rows(names: &[&str], rows: Vec<Vec<String>>) -> Self {
        let mut table = Self::default();
        for row in rows {
            for (name, cell) in names.iter().zip(row) {
                table.columns.entry((*name).to_string()).or_default().push(cell);
            }
        }
        table
    }

    /// Rows of the optional reference folder beside the repository; says so and gives nothing when it is absent.
    pub fn from_shared(file: &str) -> Option<Self> {
        let path = shared().join("reference/stats").join(file);
        match std::fs::read_to_string(&path) {
            Ok(text) => Some(Self::from_csv(&text)),
            Err(_) => {
                println!("skipped: ../shared/reference/stats/{file} is not here");
                None
            }
        }
    }

    pub fn text(&self, name: &str) -> &[String] {
        &self.columns[name]
    }

    pub fn numbers(&self, name: &str) -> Vec<f64> {
        self.text(name).iter().map(|cell| cell.parse().expect("a number")).collect()
    }

    pub fn rows(&self) -> usize {
        self.columns.values().next().map_or(0, Vec::len)
    }

    /// Levels in ascending order: numbers by size, text by letter.
    pub fn factor(&self, name: &str) -> Factor {
        factor(self.text(name))
    }

    /// Levels of two columns together, labelled `a:b`.
    pub fn crossed(&self, first: &str, second: &str) -> Factor {
        let cells: Vec<String> =
            self.text(first).iter().zip(self.text(second)).map(|(a, b)| format!("{a}:{b}")).collect();
        factor(&cells)
    }
}

fn factor(cells: &[String]) -> Factor {
    let mut labels: Vec<String> = cells.to_vec();
    labels.sort_by(|a, b| match (a.parse::<f64>(), b.parse::<f64>()) {
        (Ok(x), Ok(y)) => x.total_cmp(&y),
        _ => a.cmp(b),
    });
    labels.dedup();
    let codes = cells.iter().map(|cell| labels.iter().position(|label| label == cell).expect("listed above")).collect();
    Factor { codes, labels }
}

fn shared() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared")
}

/// The entry `id` of a file of expected values.
pub fn expected(text: &str, id: &str) -> Value {
    let file: Value = serde_json::from_str(text).expect("valid JSON");
    file["checks"]
        .as_array()
        .expect("a list of checks")
        .iter()
        .find(|check| check["id"] == id)
        .unwrap_or_else(|| panic!("no expected values named {id}"))
        .clone()
}

pub fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

pub fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(number).collect()
}

/// Values of an object in the order of `names`.
pub fn by_name(value: &Value, names: &[String]) -> Vec<f64> {
    names.iter().map(|name| number(&value[name.as_str()])).collect()
}
