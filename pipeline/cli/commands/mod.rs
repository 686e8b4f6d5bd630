//! The commands. Each gives whether a person should look (exit status 1), or why nothing could be done (2).

mod check;
mod ingest;
mod model;
mod report;

use crate::args::Common;
use crate::failure::Failure;
use crate::voice::Voice;

pub use check::check;
pub use ingest::ingest;
pub use model::model;
pub use report::report;

/// All three stages.
pub fn run(common: &Common, voice: &mut Voice) -> Result<bool, Failure> {
    let ingest = ingest(common, voice)?;
    let model = model(common, voice)?;
    let report = report(common, voice)?;
    Ok(ingest || model || report)
}
