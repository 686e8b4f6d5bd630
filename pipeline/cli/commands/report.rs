//! results/ → report/, from results/ alone.

use evenstand_report::{Parts, Results, SourceError, render, starting_points_text};
use evenstand_store::{check_results, made_from, note_made_from, read_result_parts, replace_folder_by};

use crate::failure::Failure;
use crate::made_from;
use crate::review::Review;
use crate::voice::Voice;

/// Makes report/ from results/.
pub fn report(review: &Review, voice: &mut Voice) -> Result<bool, Failure> {
    let folder = &review.results;
    if !folder.exists() {
        return Err(Failure::new(
            format!("{} is not there", folder.display()),
            format!("run `evenstand run {}` first", review.folder.display()),
        ));
    }
    let checked = check_results(folder)?;
    let source = |name: &str| -> Result<Parts, SourceError> {
        Ok(Box::new(read_result_parts(folder, name)?.map(|part| Ok(part?))))
    };
    let results = Results::read(&source)?;
    let starting_points = starting_points_text(&results);
    let open = results.starting_points.is_empty()
        || results.starting_points.iter().any(|row| row.primary == Some(true) && row.evidence == "open");
    let from = made_from::of_results(&checked);
    if !review.afresh && from.is_some() && made_from(&review.report) == from {
        voice.note("report/ is up to date: the results have not changed.");
        say(review, &starting_points, voice);
        return Ok(open);
    }
    voice.stage("drawing the report", 1);
    replace_folder_by(&review.report, |new| -> Result<(), Failure> {
        from.map_or(Ok(()), |from| note_made_from(new.path(), &from))?;
        render(results, &source, &mut |name, bytes| new.write(name, bytes))?;
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
