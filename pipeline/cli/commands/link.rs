//! store/ → one file of telemetry summed by strip.

use std::path::Path;

use evenstand_link::strip_totals;
use evenstand_store::write_strip_totals;

use crate::commands::model::{setting_logs_of, store_of};
use crate::failure::Failure;
use crate::review::Review;
use crate::voice::Voice;

/// Sums the kept telemetry by strip into a file: `out_file`, or strip_totals.parquet in the output folder.
pub fn link(review: &Review, out_file: Option<&Path>, voice: &mut Voice) -> Result<bool, Failure> {
    let store = store_of(review)?;
    let target = out_file.map_or_else(|| review.out.join("strip_totals.parquet"), Path::to_owned);
    refuse_place(review, &target)?;
    voice.stage("summing telemetry", 1);
    let totals = strip_totals(&setting_logs_of(&store)?, &store.read()?, &review.settings)?;
    write_strip_totals(&target, &totals)?;
    voice.stage_done();
    let rows: i64 = totals.iter().map(|row| row.rows).sum();
    voice.fact("telemetry_rows", rows);
    voice.fact("rows", totals.len());
    voice.fact("file", target.display().to_string());
    voice.note(&format!(
        "Summed {rows} telemetry rows into {} rows of {}; `evenstand model --strip-totals` takes them.",
        totals.len(),
        target.display()
    ));
    Ok(false)
}

/// A place that a person's files or the store take is no place for totals.
fn refuse_place(review: &Review, target: &Path) -> Result<(), Failure> {
    let wrong = |problem: &str| {
        Err(Failure::new(
            format!("{} {problem}", target.display()),
            "give another file with --out-file, ending in .parquet",
        ))
    };
    if target.is_dir() {
        return wrong("is a folder");
    }
    let folder = target.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let Ok(folder) = folder.canonicalize() else {
        return wrong("lies in a folder that is not there");
    };
    for (taken, name) in [(&review.raw, "raw/"), (&review.store, "store/"), (&review.results, "results/")] {
        if taken.canonicalize().is_ok_and(|taken| folder.starts_with(taken)) {
            return wrong(&format!("lies in {name}, which is for other files"));
        }
    }
    if target.exists() && target.extension().is_none_or(|extension| extension != "parquet") {
        return wrong("is there already and is no Parquet file");
    }
    Ok(())
}
