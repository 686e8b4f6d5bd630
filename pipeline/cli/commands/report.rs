//! results/ → report/, from results/ alone.

use std::fs;
use std::panic::resume_unwind;
use std::path::Path;
use std::thread::{self, ScopedJoinHandle};

use evenstand_report::{Results, render, starting_points_text};
use evenstand_store::{StoreError, made_from, note_made_from, read_result, replace_folder};

use crate::failure::Failure;
use crate::made_from;
use crate::review::Review;
use crate::voice::Voice;

/// Makes report/ from results/.
pub fn report(review: &Review, voice: &mut Voice) -> Result<bool, Failure> {
    let folder = &review.results;
    if !folder.join("datapackage.json").exists() {
        return Err(Failure::new(
            format!("{} is not there", folder.display()),
            format!("run `evenstand run {}` first", review.folder.display()),
        ));
    }
    let results = read_results(folder)?;
    let starting_points = starting_points_text(&results);
    let open = results.starting_points.is_empty()
        || results.starting_points.iter().any(|row| row.primary == Some(true) && row.evidence == "open");
    let from = made_from::of_results(folder);
    if !review.afresh && from.is_some() && made_from(&review.report) == from {
        voice.note("report/ is up to date: the results have not changed.");
        say(review, &starting_points, voice);
        return Ok(open);
    }
    voice.stage("drawing the report", 1);
    replace_folder(&review.report, |target| -> Result<(), Failure> {
        from.map_or(Ok(()), |from| note_made_from(target, &from))?;
        render(results, &mut |name, bytes| {
            let path = target.join(name);
            if let Some(parent) = path.parent() {
                fs::create_dir_all(parent)?;
            }
            fs::write(path, bytes)
        })?;
        Ok(())
    })?;
    voice.stage_done();
    say(review, &starting_points, voice);
    Ok(open)
}

/// Tells the starting points and where the report is.
fn say(review: &Review, starting_points: &str, voice: &mut Voice) {
    let page = review.report.join("index.html");
    voice.fact("report", page.display().to_string());
    voice.say(starting_points);
    voice.say(&format!("Report: {}", page.display()));
}

/// Every result table. Those that are long are read beside the others.
fn read_results(folder: &Path) -> Result<Results, StoreError> {
    thread::scope(|scope| {
        let comparisons = scope.spawn(|| read_result(folder));
        let traces = scope.spawn(|| read_result(folder));
        Ok(Results {
            strips: read_result(folder)?,
            strip_measures: read_result(folder)?,
            field_seasons: read_result(folder)?,
            planters: read_result(folder)?,
            curves: read_result(folder)?,
            field_curves: read_result(folder)?,
            adjusted: read_result(folder)?,
            courses: read_result(folder)?,
            course_means: read_result(folder)?,
            starting_points: read_result(folder)?,
            settings: read_result(folder)?,
            shapes: read_result(folder)?,
            next_trials: read_result(folder)?,
            comparisons: joined(comparisons)?,
            factors: read_result(folder)?,
            dig_window: read_result(folder)?,
            digs: read_result(folder)?,
            dig_curves: read_result(folder)?,
            dig_levels: read_result(folder)?,
            dig_checklist: read_result(folder)?,
            dig_stand: read_result(folder)?,
            calibrations: read_result(folder)?,
            conditions: read_result(folder)?,
            set_actual: read_result(folder)?,
            telemetry: read_result(folder)?,
            sensitivity: read_result(folder)?,
            field_effects: read_result(folder)?,
            since_last: read_result(folder)?,
            followed: read_result(folder)?,
            traces: joined(traces)?,
            outlines: read_result(folder)?,
            recorded: read_result(folder)?,
            sources: read_result(folder)?,
            findings: read_result(folder)?,
            set_aside: read_result(folder)?,
            model: read_result(folder)?,
        })
    })
}

fn joined<T>(reader: ScopedJoinHandle<T>) -> T {
    reader.join().unwrap_or_else(|panic| resume_unwind(panic))
}
