//! How results came about, for `datapackage.json`: enough to make them again.

use std::path::Path;

use evenstand_store::{KeptStore, StoreError, sha256_of_bytes, sha256_of_file};
use serde_json::{Map, Value, json};

use crate::made_from;
use crate::review::Review;

/// Files that results hang on beside the store.
#[derive(Clone, Copy, Default)]
pub struct Beside<'a> {
    /// SHA-256 of last season's answers.
    pub last_season: Option<&'a str>,
    /// A file of telemetry summed by strip.
    pub totals: Option<&'a Path>,
}

/// One hash of all that results hang on, as the report tells it: SHA-256 of the settings as they stood, a line `NAME SHA-256` each file that was read,
/// in the order of their names, and a line `last season SHA-256` where there is such a file.
pub fn data_hash(review: &Review, store: &KeptStore, last_season: Option<&str>) -> String {
    let mut input = review.settings_text.clone();
    for file in &store.manifest().read_from.inputs {
        input.extend(file.sha256.iter().map(|sha256| format!("\n{} {sha256}", file.file)));
    }
    input.extend(last_season.map(|hash| format!("\nlast season {hash}")));
    sha256_of_bytes(input.as_bytes())
}

/// The program, the settings as they stood, the seed, and the SHA-256 of every file that was read; names of files are below `raw/`.
///
/// `settings_of_store` is there where the settings were changed between reading the files and working out the results, `last_season` and
/// `strip_totals` where there are such files. A file without a digest lay in `raw/` and was not read.
pub fn run_record(
    review: &Review,
    store: &KeptStore,
    title: &str,
    beside: Beside,
) -> Result<Map<String, Value>, StoreError> {
    let settings = &review.settings;
    let read_from = &store.manifest().read_from;
    let mut run = Map::new();
    let mut tell = |name: &str, value: Value| drop(run.insert(name.to_owned(), value));
    tell("program", json!("evenstand"));
    tell("version", json!(env!("CARGO_PKG_VERSION")));
    tell("build", json!(made_from::build()));
    tell("review", json!(title));
    tell("data_hash", json!(data_hash(review, store, beside.last_season)));
    tell("seed", json!(settings.analysis.seed));
    tell("draws", json!(settings.analysis.draws));
    tell("settings", json!(review.settings_text));
    if read_from.settings != review.settings_text {
        tell("settings_of_store", json!(read_from.settings));
    }
    tell("inputs", json!(read_from.inputs));
    if let (Some(file), Some(sha256)) = (&settings.last_season.starting_points, beside.last_season) {
        tell("last_season", json!({ "file": file, "sha256": sha256 }));
    }
    if let Some(totals) = beside.totals {
        tell("strip_totals", json!({ "sha256": sha256_of_file(totals)? }));
    }
    Ok(run)
}
