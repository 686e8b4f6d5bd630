//! Reads and judges raw/; writes nothing in the review.

use std::fs::File;

use evenstand_ingest::{Format, Proposal, kind_of, look_at_parquet, look_at_text};
use evenstand_link::link;
use evenstand_store::KeptStore;
use serde_json::json;

use crate::commands::ingest::{ingest_into, say};
use crate::commands::model::kept_of;
use crate::failure::Failure;
use crate::review::Review;
use crate::sources::mappings;
use crate::voice::Voice;

/// Judges raw/ by reading it into a passing store and linking that; proposes a block for every file that cannot be read as
/// it is, also where nothing else can be done.
pub fn check(review: &Review, voice: &mut Voice) -> Result<bool, Failure> {
    let proposed = proposals(review)?;
    let said = proposed.iter().map(|(file, proposal)| {
        json!({ "file": file, "kind": proposal.kind, "block": proposal.block, "questions": proposal.questions })
    });
    voice.fact("proposals", said.collect::<Vec<_>>());
    let judged = judge(review, voice);
    print(&proposed, voice);
    judged
}

fn judge(review: &Review, voice: &mut Voice) -> Result<bool, Failure> {
    let passing = tempfile::tempdir()
        .map_err(|error| Failure::new(format!("no temporary folder: {error}"), "free some space, or set TMPDIR"))?;
    let ingested = ingest_into(review, passing.path(), voice)?;
    for source in &ingested.manifest.sources {
        voice.say(&format!(
            "{}: read as {}, {} rows, {} kept, {} set aside",
            source.file, source.kind, source.rows_read, source.rows_kept, source.rows_set_aside
        ));
    }
    say(&ingested, voice);
    let linked = link(kept_of(&KeptStore::open(passing.path())?)?, &review.settings)?;
    voice.findings(&linked.findings);
    let used = linked.strips.iter().filter(|strip| strip.usable == Some(true)).count();
    voice.fact("strips", linked.strips.len());
    voice.fact("strips_usable", used);
    voice.say(&format!("{} strips, of which {used} have both a setting and usable counts.", linked.strips.len()));
    let serious = ingested.findings.iter().chain(&linked.findings).any(|finding| finding.severity == "error");
    Ok(serious || ingested.manifest.sources.iter().any(|source| source.rows_set_aside > 0))
}

/// Blocks for files that no block is about and that cannot be read by their name and header.
fn proposals(review: &Review) -> Result<Vec<(String, Proposal)>, Failure> {
    let mappings = mappings(review)?;
    let mut proposed = Vec::new();
    for (file, path) in review.raw_files()?.files {
        let name = file.rsplit('/').next().unwrap_or(&file);
        let Some(format) = Format::of(name).filter(|_| !mappings.iter().any(|mapping| mapping.fits(&file))) else {
            continue;
        };
        // A file that cannot be read at all is named by the findings of reading it.
        let Ok(bytes) = File::open(&path) else { continue };
        let rows = match format {
            Format::Text => look_at_text(&file, bytes),
            Format::Parquet => look_at_parquet(&file, bytes),
        };
        let Ok(rows) = rows else { continue };
        if kind_of(name).is_none_or(|kind| !rows.fits(kind, &review.settings)) {
            let proposal = rows.propose(&file);
            proposed.push((file, proposal));
        }
    }
    Ok(proposed)
}

fn print(proposed: &[(String, Proposal)], voice: &Voice) {
    let known = proposed.iter().filter(|(_, proposal)| proposal.kind.is_some()).count();
    if known > 0 {
        voice.say(
            "\nThe following can be pasted into evenstand.toml. Lines that end in # ? hold a question; take away the # in \
             front of a line that you complete.",
        );
    }
    for (file, proposal) in proposed {
        match proposal.kind {
            Some(kind) => voice.say(&format!("\n# {file}: looks like {kind}\n{}", proposal.block.trim_end())),
            None => voice.say(&format!("\n# {}", proposal.questions.join("; "))),
        }
    }
}
