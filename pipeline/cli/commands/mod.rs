//! The commands. Each gives whether a person should look (exit status 1), or why nothing could be done (2).

mod check;
mod ingest;
mod link;
mod model;
mod report;
mod sheets;
mod shell;
mod trial;

use crate::failure::Failure;
use crate::review::Review;
use crate::voice::Voice;

pub use check::check;
pub use ingest::ingest;
pub use link::link;
pub use model::model;
pub use report::report;
pub use sheets::sheets;
pub use shell::{completions, man};
pub use trial::trial;

/// All three stages.
pub fn run(review: &Review, voice: &mut Voice) -> Result<bool, Failure> {
    let ingest = ingest(review, voice)?;
    let model = model(review, None, voice)?;
    let report = report(review, voice)?;
    Ok(ingest || model || report)
}
