//! How results came about, for `datapackage.json`: enough to make them again.

use std::path::Path;

use evenstand_store::{KeptStore, StoreError, sha256_of_file};
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
