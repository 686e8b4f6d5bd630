//! Small reviews, each for one notebook: a few fields, one question.

mod logs_only;
mod next_default;
mod own_spreadsheet;
mod plot;
mod strip_trial;
mod truth_table;

use std::error::Error;

use super::SampleReview;

/// All small reviews.
///
/// # Errors
/// A distribution that cannot be set up.
pub fn reviews() -> Result<Vec<SampleReview>, Box<dyn Error>> {
    Ok(vec![
        SampleReview { folder: "next-years-default", files: next_default::files()? },
        SampleReview { folder: "strip-trial", files: strip_trial::files()? },
        SampleReview { folder: "own-spreadsheet", files: own_spreadsheet::files()? },
        SampleReview { folder: "logs-only", files: logs_only::files()? },
    ])
}
