//! raw/ → store/.

use std::path::Path;

use evenstand_ingest::Zones;
use evenstand_store::{KeptWriter, Manifest, SourceEntry, replace_folder};
use evenstand_tables::Finding;

use crate::failure::Failure;
use crate::reader::Reader;
use crate::review::Review;
use crate::sources::{Plan, mappings, plan};
use crate::voice::Voice;

/// What reading a review's files brought up.
pub struct Ingested {
    /// What was read, file by file.
    pub manifest: Manifest,
    /// What a person should look at.
    pub findings: Vec<Finding>,
}

impl Ingested {
    fn total(&self, rows: impl Fn(&SourceEntry) -> u64) -> u64 {
        self.manifest.sources.iter().map(rows).sum()
    }

    /// Rows set aside for a fault; a row of a plan that nobody filled in is none.
    pub fn faulty_rows(&self) -> u64 {
        self.total(|source| source.rows_set_aside.saturating_sub(source.rows_left_blank))
    }
}

/// Reads raw/ into store/.
pub fn ingest(review: &Review, voice: &mut Voice) -> Result<bool, Failure> {
    let mut ingested = None;
    replace_folder(&review.store, |folder| -> Result<(), Failure> {
        ingested = Some(ingest_into(review, folder, voice)?);
        Ok(())
    })?;
    let Some(ingested) = ingested else { return Ok(false) };
    say(&ingested, voice);
    Ok(ingested.faulty_rows() > 0 || ingested.findings.iter().any(|finding| finding.severity == "error"))
}

/// Tells how many rows became what.
pub fn say(ingested: &Ingested, voice: &mut Voice) {
    let (read, kept) = (ingested.total(|source| source.rows_read), ingested.total(|source| source.rows_kept));
    let set_aside = ingested.total(|source| source.rows_set_aside);
    voice.fact("rows_read", read);
    voice.fact("rows_kept", kept);
    voice.fact("rows_set_aside", set_aside);
    voice.findings(&ingested.findings);
    voice.say(&format!(
        "Read {read} rows from {} files: {kept} kept, {set_aside} set aside.",
        ingested.manifest.sources.len()
    ));
}

/// Reads raw/ into an empty folder. Fails where not one row could be kept.
pub fn ingest_into(review: &Review, folder: &Path, voice: &Voice) -> Result<Ingested, Failure> {
    let mappings = mappings(review)?;
    let Plan { jobs, mut findings } = plan(review.raw_files()?, &mappings);
    let zones =
        Zones::new(review.settings.timezone.as_deref(), review.settings.time_formats.clone()).map_err(|problem| {
            Failure::new(format!("evenstand.toml, timezone: {problem}"), "write the IANA name of the zone")
        })?;
    let mut reader = Reader::new(&review.settings, zones, KeptWriter::new(folder));
    let mut kept = 0;
    voice.stage("reading files", jobs.len());
    for job in &jobs {
        let report = reader.read(job)?;
        kept += report.rows_kept;
        findings.extend(report.findings);
        voice.step();
    }
    voice.stage_done();
    if kept == 0 {
        let details: Vec<String> = findings
            .iter()
            .take(20)
            .map(|finding| {
                let remedy = finding.remedy.as_ref().map(|remedy| format!("\n      {remedy}")).unwrap_or_default();
                format!("\n    {}: {}{remedy}", finding.place(), finding.message)
            })
            .collect();
        return Err(Failure::new(
            format!("not one row of {} could be used{}", review.raw.display(), details.concat()),
            "correct the files and run again; nothing was written",
        ));
    }
    let manifest = reader.finish(&findings)?;
    Ok(Ingested { manifest, findings })
}
