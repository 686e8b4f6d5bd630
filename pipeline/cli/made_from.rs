//! What each output folder is made from, as one line: where it is still the same and the folder is as it was made, the stage has nothing to do.
//!
//! A raw file hangs on its bytes, the settings, and the files of fields and strips; results hang on the whole store, for every condition's models hang on every
//! strip; the report hangs on the results. All of them hang on the program itself.

use evenstand_store::{CheckedFolder, contents_of, sha256_of_bytes};

use crate::review::Review;
use crate::sources::Plan;

/// A number of the program, another one whenever a line of it changes.
const BUILD: &str = env!("EVENSTAND_BUILD");

fn line(parts: &[&str]) -> String {
    let mut text = BUILD.to_owned();
    for part in parts {
        text.push('\n');
        text.push_str(&sha256_of_bytes(part.as_bytes()));
    }
    sha256_of_bytes(text.as_bytes())
}

/// What `store/` is made from: every file that is read, with its digest, and what is to be said of the others.
pub fn of_raw(review: &Review, plan: &Plan, digests: &[String]) -> String {
    let jobs = plan.jobs.iter().zip(digests);
    let jobs: Vec<String> = jobs
        .map(|(job, sha256)| format!("{} {} {:?} {:?} {sha256}", job.file, job.kind, job.block, job.format))
        .collect();
    line(&["store", &review.settings_text, &format!("{:?}", plan.findings), &jobs.join("\n")])
}

/// What reading one file hangs on; `told` is what fields and strips were read from.
pub fn of_file(settings_text: &str, told: &str, file: &str, kind: &str, block: Option<usize>, sha256: &str) -> String {
    line(&["file", settings_text, told, file, kind, &format!("{block:?}"), sha256])
}

/// What `results/` is made from, of a store that was checked.
pub fn of_store(review: &Review, title: &str, last_season: Option<&str>) -> Option<String> {
    Some(line(&[
        "results",
        &review.settings_text,
        title,
        last_season.unwrap_or_default(),
        &contents_of(&review.store)?,
    ]))
}

/// What `report/` is made from; `None` where the results do not say what they are made from.
pub fn of_results(results: &CheckedFolder) -> Option<String> {
    results.made_from.as_ref()?;
    Some(line(&["report", &results.contents]))
}

/// A number of the program: another one whenever a line of it changes.
pub fn build() -> &'static str {
    BUILD
}
