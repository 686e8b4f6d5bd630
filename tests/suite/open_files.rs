//! Every open file beside the repository is read right, or refused with a clear reason.
//!
//! Each folder has a table of readings: a file, the `[[source]]` blocks that it is read with, and what must come out. A file
//! without a reading fails. Expected values were worked out without this program, with Python's csv, zipfile, struct and
//! ElementTree (XLS: xlrd 2.0), or come with the data; each table says how.

mod counts;
mod free_text;
mod sheets;
mod task_data;
mod weather_soil;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use crate::support::{Said, TestReview, files_below, shared};

/// A row of a kept table.
type Row = BTreeMap<String, String>;
/// Tables that the readings here are kept in.
const TABLES: [&str; 5] = ["measure", "setting_log", "soil_note", "stand_count", "weather"];
/// The field of the file beside, so that a review in which nothing else can be read still has a row.
const BESIDE: &str = "beside";

/// One way to read one file, and what must come out.
struct Reading {
    file: &'static str,
    settings: String,
    balance: [usize; 3],
    rows: Vec<(i64, &'static [(&'static str, &'static str)])>,
    sums: Vec<(&'static str, f64)>,
    set_aside: Vec<(i64, &'static str, &'static str)>,
    says: Vec<&'static str>,
}

/// A file, below the folder of its table, with the blocks that say how it is read.
fn reading(file: &'static str, settings: String) -> Reading {
    let (rows, sums, set_aside, says) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    Reading { file, settings, balance: [0; 3], rows, sums, set_aside, says }
}

impl Reading {
    /// Rows that are kept, and rows that are set aside.
    fn balance(mut self, kept: usize, set_aside: usize) -> Self {
        self.balance = [kept + set_aside, kept, set_aside];
        self
    }

    /// Among the kept rows of this row of the file is one with all these cells.
    fn row(mut self, number: i64, cells: &'static [(&'static str, &'static str)]) -> Self {
        self.rows.push((number, cells));
        self
    }

    /// What a column adds up to over all kept rows.
    fn sum(mut self, column: &'static str, sum: f64) -> Self {
        self.sums.push((column, sum));
        self
    }

    /// The row is set aside with this code, and the message has these words.
    fn set_aside(mut self, number: i64, code: &'static str, words: &'static str) -> Self {
        self.set_aside.push((number, code, words));
        self
    }

    /// Words that a person is told.
    fn says(mut self, words: &[&'static str]) -> Self {
        self.says.extend(words);
        self
    }

    /// Reads the file and compares; what is not as expected comes back in words.
    fn faults(&self, folder: &Path) -> Vec<String> {
        let (said, review) = self.run(folder);
        let mut faults = Vec::new();
        let balance = balance(&said.stdout);
        if balance != self.balance {
            faults.push(format!("read, kept, set aside: {balance:?}, expected {:?}", self.balance));
        }
        faults.extend(
            self.says.iter().filter(|words| !said.stderr.contains(*words)).map(|words| format!("not said: {words}")),
        );
        let rows = kept_rows(&review);
        for (number, cells) in &self.rows {
            let fits = |row: &&Row| cells.iter().all(|(name, text)| row.get(*name).is_some_and(|cell| cell == text));
            if !of_row(&rows, *number).iter().any(fits) {
                let found = of_row(&rows, *number);
                let found = found.iter().map(|row| cells.iter().map(|(name, _)| row.get(*name)).collect::<Vec<_>>());
                faults.push(format!("row {number} with {cells:?}, found {:?}", found.take(9).collect::<Vec<_>>()));
            }
        }
        for (column, expected) in &self.sums {
            let sum: f64 = rows.iter().filter_map(|row| row.get(*column)?.parse::<f64>().ok()).sum();
            if (sum - expected).abs() > 1e-9 * expected.abs().max(1.0) {
                faults.push(format!("sum of {column}: {sum}, expected {expected}"));
            }
        }
        let set_aside = review.kept("set_aside");
        if set_aside.len() != self.balance[2] {
            faults.push(format!("{} rows in set_aside, expected {}", set_aside.len(), self.balance[2]));
        }
        for (number, code, words) in &self.set_aside {
            let fits = |row: &&Row| row["code"] == *code && row["message"].contains(words) && !row["raw"].is_empty();
            if !of_row(&set_aside, *number).iter().any(fits) {
                let found: Vec<_> =
                    of_row(&set_aside, *number).iter().map(|row| (&row["code"], &row["message"])).collect();
                faults.push(format!("row {number} set aside as {code}, \"{words}\", found {found:?}"));
            }
        }
        if !faults.is_empty() {
            faults.push(format!("with the settings\n{}\nit said {}", self.settings, said.stderr));
        }
        faults.into_iter().map(|fault| format!("{}: {fault}", self.file)).collect()
    }

    /// Runs the binary on the file alone, with a small sound file beside it.
    fn run(&self, folder: &Path) -> (Said, TestReview) {
        let review = TestReview::new(&[
            ("stand_count.csv", &format!("field_id,season,strip_id,emerged\n{BESIDE},2025,1,80\n")),
            ("evenstand.toml", &self.settings),
        ]);
        copy(&folder.join(self.file), &review.path().join("raw"));
        (review.run("ingest", &["--json"]), review)
    }
}

/// Rows read, kept and set aside, without the row beside.
fn balance(stdout: &str) -> [usize; 3] {
    let said: serde_json::Value = serde_json::from_str(stdout).unwrap();
    let [read, kept, set_aside] =
        ["rows_read", "rows_kept", "rows_set_aside"].map(|key| said[key].as_u64().unwrap() as usize);
    [read - 1, kept - 1, set_aside]
}

fn of_row(rows: &[Row], number: i64) -> Vec<&Row> {
    rows.iter().filter(|row| row["source_row"] == number.to_string()).collect()
}

/// Puts a file, or a folder of task data, into another folder under its own name.
fn copy(from: &Path, into: &Path) {
    let to = into.join(from.file_name().unwrap());
    if from.is_file() {
        fs::copy(from, to).unwrap();
        return;
    }
    for (name, bytes) in files_below(from) {
        let to = to.join(name);
        fs::create_dir_all(to.parent().unwrap()).unwrap();
        fs::write(to, bytes).unwrap();
    }
}

/// What was kept of the file, without the row beside.
fn kept_rows(review: &TestReview) -> Vec<Row> {
    let rows = TABLES.iter().flat_map(|table| review.kept(table));
    rows.filter(|row| row["field_id"] != BESIDE).collect()
}

/// A block that feeds columns of a table; the field and the season are constants.
fn block(file: &str, kind: &str, columns: &str, further: &str) -> String {
    let keyed = match kind {
        "weather" => "",
        // The season is the year of the log.
        "setting_log" => "constants.field_id = \"A\"\n",
        _ => "constants.field_id = \"A\"\nconstants.season = 2020\n",
    };
    format!(
        "[[source]]\nfile = \"{file}\"\nkind = \"{kind}\"\n{keyed}columns = {{ {columns} }}\ntimezone = \"UTC\"\n{further}\n"
    )
}

/// Checks every reading, and that each file of the folder has one.
fn check_all(folder: &str, readings: &[Reading]) {
    let Some(folder) = shared(folder) else { return };
    let entries = fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
    let there: BTreeSet<String> = entries.collect();
    let read: BTreeSet<String> = readings.iter().map(|reading| reading.file.to_owned()).collect();
    assert_eq!(there, read, "files of {} and files of the table of readings", folder.display());
    let faults: Vec<String> = readings.iter().flat_map(|reading| reading.faults(&folder)).collect();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn a_file_that_no_block_is_about_is_named_and_keeps_no_other_from_being_read() {
    let review = TestReview::new(&[("stand_count.csv", "field_id,season,strip_id,emerged\nA,2025,1,80\n")]);
    let folders = ["csv", "emergence", "isoxml", "sheets", "weather_soil"];
    for folder in folders {
        let Some(folder) = shared(&format!("data/{folder}")) else { return };
        copy(&folder, &review.path().join("raw"));
    }
    let said = review.run("check", &["--json"]);
    assert!(matches!(said.status, 0 | 1), "{}", said.stderr);
    assert!(!review.path().join("store").exists());
    let said = review.run("ingest", &["--json"]);
    assert_eq!((said.status, balance(&said.stdout)), (0, [0; 3]), "{}", said.stderr);
    let named: BTreeSet<String> = review.kept("findings").iter().map(|row| row["source_file"].clone()).collect();
    for name in files_below(&review.path().join("raw")).keys().filter(|name| *name != "stand_count.csv") {
        let folder = name.rsplit_once('/').map(|(folder, _)| folder).unwrap_or_default();
        assert!(named.contains(name) || named.contains(folder), "{name} is not named: {named:?}");
    }
}
