//! raw/ → store/.

use std::fs::File;
use std::path::Path;

use evenstand_ingest::{FileReport, Format, IngestError, Source, Zones, read_parquet, read_text};
use evenstand_settings::Settings;
use evenstand_store::{KeptWriter, Manifest, SourceEntry, replace_folder, sha256_of_file};
use evenstand_tables::{Finding, SetAside};

use crate::failure::Failure;
use crate::review::Review;
use crate::sources::{Job, Plan, mappings, plan};
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
    let set_aside = ingested.total(|source| source.rows_set_aside);
    Ok(set_aside > 0 || ingested.findings.iter().any(|finding| finding.severity == "error"))
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
    let mut zones =
        Zones::new(review.settings.timezone.as_deref(), review.settings.time_formats.clone()).map_err(|problem| {
            Failure::new(format!("evenstand.toml, timezone: {problem}"), "write the IANA name of the zone")
        })?;
    let mut writer = KeptWriter::new(folder);
    let mut set_aside: Vec<SetAside> = Vec::new();
    let mut kept = 0;
    voice.stage("reading files", jobs.len());
    for job in jobs {
        let source = Source { sha256: sha256_of_file(&job.path)?, kind: job.kind, file: job.file.clone() };
        writer.begin_source(&source.file);
        let report = read(&job, &source, &review.settings, &mut zones, &mut writer)?;
        kept += report.rows_kept;
        writer.end_source(SourceEntry {
            rows_read: report.rows_read,
            rows_kept: report.rows_kept,
            rows_set_aside: report.set_aside.len() as u64,
            file: source.file,
            sha256: source.sha256,
            kind: job.kind.to_owned(),
        })?;
        set_aside.extend(report.set_aside);
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
    let manifest = writer.finish(&set_aside, &findings)?;
    Ok(Ingested { manifest, findings })
}

/// Reads one file by its format.
fn read(
    job: &Job,
    source: &Source,
    settings: &Settings,
    zones: &mut Zones,
    sink: &mut KeptWriter,
) -> Result<FileReport, Failure> {
    let file = File::open(&job.path).map_err(|error| {
        Failure::new(format!("{} cannot be read: {error}", job.path.display()), "check the file's permissions")
    })?;
    let read = match job.format {
        Format::Text => read_text(source, file, job.mapping, settings, zones, sink),
        Format::Parquet => read_parquet(source, file, job.mapping, settings, zones, sink),
    };
    match read {
        // One file that is not what its name says must not keep the others from being read.
        Err(IngestError::Format { problem, remedy, .. }) => {
            let finding = Finding::error("unreadable_file", format!("{problem}; nothing of this file was read"));
            let finding = finding.table(job.kind).source(&source.file, None).remedy(remedy);
            Ok(FileReport { findings: vec![finding], ..FileReport::default() })
        }
        other => Ok(other?),
    }
}
