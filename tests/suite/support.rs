//! Runs the binary on a review made for the test.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use arrow::util::display::array_value_to_string;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use tempfile::TempDir;

/// Root of the repository.
pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// A folder of optional open data beside the repository; says so where it is not there.
pub fn shared(path: &str) -> Option<PathBuf> {
    let found = root().join("../shared").join(path);
    if !found.exists() {
        println!("skipped: ../shared/{path} is not there");
        return None;
    }
    Some(found)
}

/// What a run said.
pub struct Said {
    pub status: i32,
    pub stdout: String,
    pub stderr: String,
}

/// A review in a folder of its own.
pub struct TestReview {
    folder: TempDir,
}

impl TestReview {
    /// A review of these files; names without a slash go to raw/.
    pub fn new(files: &[(&str, &str)]) -> Self {
        let review = Self { folder: tempfile::tempdir().unwrap() };
        fs::create_dir(review.path().join("raw")).unwrap();
        for (name, text) in files {
            review.put(name, text);
        }
        review
    }

    /// A copy of a review folder (raw/ and settings).
    pub fn copy_of(source: &Path) -> Self {
        let review = Self::new(&[]);
        for (name, bytes) in files_below(source) {
            let top = name.split('/').next().unwrap();
            if top == "raw" || top == "last-season" || name == "evenstand.toml" {
                let target = review.path().join(&name);
                fs::create_dir_all(target.parent().unwrap()).unwrap();
                fs::write(target, bytes).unwrap();
            }
        }
        review
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    pub fn put(&self, name: &str, text: &str) {
        let name = if name.contains('/') || name == "evenstand.toml" { name.to_owned() } else { format!("raw/{name}") };
        fs::write(self.path().join(name), text).unwrap();
    }

    /// Runs `evenstand COMMAND REVIEW ARGUMENTS…`.
    pub fn run(&self, command: &str, arguments: &[&str]) -> Said {
        let mut all = vec![command, self.path().to_str().unwrap()];
        all.extend(arguments);
        evenstand(&all)
    }

    /// Rows of a kept table as maps from column to text, by season and file; the season stands in the folder's name.
    pub fn kept(&self, table: &str) -> Vec<BTreeMap<String, String>> {
        let folder = self.path().join("store").join(table);
        let mut rows = Vec::new();
        let files = if folder.exists() { files_below(&folder) } else { BTreeMap::new() };
        for name in files.keys() {
            let season = name.split('/').next().and_then(|part| part.strip_prefix("season=")).unwrap_or_default();
            let file = fs::File::open(folder.join(name)).unwrap();
            for batch in ParquetRecordBatchReaderBuilder::try_new(file).unwrap().build().unwrap() {
                let batch = batch.unwrap();
                for row in 0..batch.num_rows() {
                    let cell = |index: usize| array_value_to_string(batch.column(index), row).unwrap();
                    let mut cells: BTreeMap<String, String> = (0..batch.num_columns())
                        .map(|index| (batch.schema().field(index).name().clone(), cell(index)))
                        .collect();
                    cells.insert("season".into(), season.to_owned());
                    rows.push(cells);
                }
            }
        }
        rows
    }

    /// Rows of a result table as maps from column to text.
    pub fn result(&self, table: &str) -> Vec<BTreeMap<String, String>> {
        read_csv(&self.path().join(format!("results/{table}.csv")))
    }
}

/// Runs the binary.
pub fn evenstand(arguments: &[&str]) -> Said {
    let output = Command::new(env!("CARGO_BIN_EXE_evenstand")).args(arguments).env("TZ", "UTC").output().unwrap();
    Said {
        status: output.status.code().unwrap_or(-1),
        stdout: String::from_utf8(output.stdout).unwrap(),
        stderr: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Rows of a CSV file as maps from column to text.
pub fn read_csv(path: &Path) -> Vec<BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_path(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let names = reader.headers().unwrap().clone();
    reader
        .records()
        .map(|record| {
            names.iter().zip(&record.unwrap()).map(|(name, cell)| (name.to_owned(), cell.to_owned())).collect()
        })
        .collect()
}

/// Every file below a folder, by relative name.
pub fn files_below(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap().to_str().unwrap().replace('\\', "/");
                found.insert(name, fs::read(&path).unwrap());
            }
        }
    }
    found
}

/// Compares a generated file with the one in the repository, or writes it with `SNAPSHOTS=overwrite`.
pub fn matches_snapshot(path: &Path, text: &[u8]) {
    if std::env::var("SNAPSHOTS").as_deref() == Ok("overwrite") {
        if let Some(parent) = path.parent() {
            fs::create_dir_all(parent).unwrap();
        }
        fs::write(path, text).unwrap();
        return;
    }
    let committed = fs::read(path).unwrap_or_default();
    assert!(
        committed == text,
        "{} is not up to date; run the tests with SNAPSHOTS=overwrite and read the difference",
        path.display()
    );
}
