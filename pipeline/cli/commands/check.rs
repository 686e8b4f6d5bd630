//! Reads and judges raw/; writes nothing in the review.

use evenstand_store::KeptStore;
use serde_json::json;

use crate::commands::ingest::{Sources, read_into, say};
use crate::commands::model::linked;
use crate::failure::Failure;
use crate::proposals::{print, proposals};
use crate::review::Review;
use crate::sources::mappings;
use crate::voice::Voice;

/// Judges raw/ by reading it into a passing store and linking that; proposes a block for every file that cannot be read as
/// it is, also where nothing else can be done.
pub fn check(review: &Review, voice: &mut Voice) -> Result<bool, Failure> {
    let proposed = proposals(review)?;
    let said = proposed.iter().map(|proposal| {
        json!({ "file": proposal.file, "kind": proposal.kind, "block": proposal.block, "questions": proposal.questions })
    });
    voice.fact("proposals", said.collect::<Vec<_>>());
    let judged = judge(review, voice);
    print(&proposed, voice);
    judged
}

fn judge(review: &Review, voice: &mut Voice) -> Result<bool, Failure> {
    let passing = tempfile::tempdir()
        .map_err(|error| Failure::new(format!("no temporary folder: {error}"), "free some space, or set TMPDIR"))?;
    let mappings = mappings(review)?;
    let ingested = read_into(review, Sources::of(review, &mappings)?, None, passing.path(), voice)?;
    for source in &ingested.manifest.sources {
        voice.say(&format!(
            "{}: read as {}, {} rows, {} kept, {} set aside",
            source.file, source.kind, source.rows_read, source.rows_kept, source.rows_set_aside
        ));
    }
    say(&ingested, voice);
    let linked = linked(&KeptStore::open(passing.path())?, None, &review.settings, passing.path())?;
    voice.findings(&linked.findings);
    let used = linked.strips.iter().filter(|strip| strip.usable == Some(true)).count();
    voice.fact("strips", linked.strips.len());
    voice.fact("strips_usable", used);
    voice.say(&format!("{} strips, of which {used} have both a setting and usable counts.", linked.strips.len()));
    let serious = ingested.findings.iter().chain(&linked.findings).any(|finding| finding.severity == "error");
    Ok(serious || ingested.faulty_rows() > 0)
}
