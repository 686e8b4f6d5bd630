//! raw/ → store/.

use std::path::Path;

use evenstand_ingest::{Mapping, Zones};
use evenstand_store::{KeptStore, Manifest, ReadFrom, SourceEntry, made_from, note_made_from, replace_folder};
use evenstand_tables::Finding;

use crate::failure::Failure;
use crate::inputs::{Inputs, names};
use crate::made_from;
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

/// Reads raw/ into store/. Where everything is as it was, the store stays; of files that changed or are new the others keep their rows.
pub fn ingest(review: &Review, voice: &mut Voice) -> Result<bool, Failure> {
    let mappings = mappings(review)?;
    let sources = Sources::of(review, &mappings)?;
    let from = made_from::of_raw(review, &sources.plan, &sources.digests);
    let old = made_from(&review.store).filter(|_| !review.afresh);
    let ingested = if old.as_deref() == Some(&from) {
        voice.note("store/ is up to date: no file has changed.");
        let store = KeptStore::open(&review.store)?;
        Ingested { manifest: store.manifest().clone(), findings: store.read_whole()? }
    } else {
        let mut ingested = None;
        replace_folder(&review.store, |folder| -> Result<(), Failure> {
            note_made_from(folder, &from)?;
            ingested = Some(read_into(review, sources, old.map(|_| review.store.as_path()), folder, voice)?);
            Ok(())
        })?;
        let Some(ingested) = ingested else { return Ok(false) };
        ingested
    };
    say(&ingested, voice);
    Ok(ingested.faulty_rows() > 0 || ingested.findings.iter().any(|finding| finding.severity == "error"))
}

/// What is to be read, with the digest of each job's files.
pub struct Sources<'a> {
    plan: Plan<'a>,
    digests: Vec<String>,
    inputs: Inputs,
}

impl<'a> Sources<'a> {
    /// Looks at raw/ and takes the digest of every file.
    pub fn of(review: &Review, mappings: &'a [Mapping]) -> Result<Self, Failure> {
        let raw = review.raw_files()?;
        let names = names(&raw)?;
        let plan = plan(raw, mappings);
        let inputs = Inputs::of(names, &plan)?;
        let digests = plan.jobs.iter().map(|job| inputs.digest_of(job)).collect::<Result<_, _>>()?;
        Ok(Self { plan, digests, inputs })
    }
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

/// Reads raw/ into an empty folder, which takes files over from an `old` store where there is one. Fails where not one row could be kept.
pub fn read_into(
    review: &Review,
    sources: Sources,
    old: Option<&Path>,
    folder: &Path,
    voice: &Voice,
) -> Result<Ingested, Failure> {
    let Sources { plan: Plan { jobs, mut findings }, digests, inputs } = sources;
    let zones =
        Zones::new(review.settings.timezone.as_deref(), review.settings.time_formats.clone()).map_err(|problem| {
            Failure::new(format!("evenstand.toml, timezone: {problem}"), "write the IANA name of the zone")
        })?;
    let mut reader = Reader::new(review, zones, old, folder);
    let mut kept = 0;
    voice.stage("reading files", jobs.len());
    for (job, sha256) in jobs.iter().zip(digests) {
        let report = reader.read(job, sha256)?;
        inputs.still_the_same(job)?;
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
    let read_from = ReadFrom { settings: review.settings_text.clone(), inputs: inputs.list };
    let manifest = reader.finish(&findings, read_from)?;
    Ok(Ingested { manifest, findings })
}
