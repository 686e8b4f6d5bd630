//! Opens files and hands them to the reader of their format, one after the other.

use std::fs::{self, File};
use std::path::Path;

use evenstand_bundle::{Bundle, BundleError, Limits};
use evenstand_ingest::{
    FileReport, Format, IngestError, Outlines, SameRows, Sketch, Source, StripTime, Surroundings, Whereabouts, Zones,
    read_parquet, read_strips, read_task_data, read_text, read_workbook,
};
use evenstand_places::Strip;
use evenstand_settings::Settings;
use evenstand_store::{KeptWriter, Manifest, ReadFrom, Remembered, SourceEntry};
use evenstand_tables::Finding;

use crate::failure::Failure;
use crate::made_from;
use crate::review::Review;
use crate::sources::Job;

/// Files that are read as a whole are no larger than this; text, Parquet and logs are streamed and may be.
const LARGEST_WHOLE: u64 = 256 << 20;

/// Reads the files of a review in their order: fields, then strips, then everything else.
pub struct Reader<'a> {
    settings: &'a Settings,
    settings_text: &'a str,
    zones: Zones,
    writer: KeptWriter,
    /// The store that is being written.
    folder: &'a Path,
    /// A store whose rows are taken over where a file is the same.
    old: Option<&'a Path>,
    /// Files that fields and strips were read from: what every other file hangs on.
    told: String,
    /// Outlines and times of strips, until the first file that needs them.
    strips: Vec<Strip>,
    strip_times: Vec<StripTime>,
    whereabouts: Option<Whereabouts>,
    same_rows: SameRows,
}

/// Kept rows of one table of a file, to be held against those of other files: its name, and what stands for its rows.
type Held = Vec<(String, Sketch)>;

impl<'a> Reader<'a> {
    /// A reader that writes what it keeps into a store in `folder`, and takes over what it can of an `old` one.
    pub fn new(review: &'a Review, zones: Zones, old: Option<&'a Path>, folder: &'a Path) -> Self {
        Self {
            settings: &review.settings,
            settings_text: &review.settings_text,
            zones,
            writer: KeptWriter::new(folder),
            folder,
            old,
            told: String::new(),
            strips: Vec::new(),
            strip_times: Vec::new(),
            whereabouts: None,
            same_rows: SameRows::default(),
        }
    }

    /// Reads one file with its digest, or takes over what reading it came to before. Faults of the file are findings of the report; errors end
    /// the run.
    pub fn read(&mut self, job: &Job, sha256: String) -> Result<FileReport, Failure> {
        let source = Source { sha256, kind: job.kind, file: job.file.clone() };
        let mut findings = Vec::new();
        let tells_where = matches!(job.kind, "field" | "strip");
        let whereabouts = match self.whereabouts.take() {
            Some(whereabouts) => whereabouts,
            None if tells_where => Whereabouts::default(),
            None => {
                let (strips, times) = (std::mem::take(&mut self.strips), std::mem::take(&mut self.strip_times));
                let whereabouts = Whereabouts::new(strips, times, self.settings.place.buffer_m)
                    .map_err(|error| Failure::new(error.to_string(), "correct [place] in evenstand.toml"))?;
                findings.extend(whereabouts.findings());
                whereabouts
            }
        };
        self.writer.begin_source(&source.file);
        let name = self.writer.name_of_source();
        let key = made_from::of_file(self.settings_text, &self.told, &job.file, job.kind, job.block, &source.sha256);
        let old = self.old.filter(|_| !tells_where);
        let known = old.and_then(|old| Some((old, Remembered::<Held>::read(old, &name, &key)?)));
        let (entry, mut report) = match known {
            Some((old, known)) => {
                self.writer.take_over(old, &known.written)?;
                let part = |file| Source { file, ..source.clone() };
                let sketches = known.held.into_iter().map(|(file, sketch)| (part(file), sketch)).collect();
                let entry = known.entry;
                let report = FileReport {
                    rows_read: entry.rows_read,
                    rows_kept: entry.rows_kept,
                    rows_set_aside: entry.rows_set_aside,
                    rows_left_blank: entry.rows_left_blank,
                    findings: known.findings,
                    strip_times: Vec::new(),
                    sketches,
                };
                (entry, report)
            }
            None => {
                let report = self.read_rows(job, &source, &whereabouts)?;
                let entry = SourceEntry {
                    rows_read: report.rows_read,
                    rows_kept: report.rows_kept,
                    rows_set_aside: report.rows_set_aside,
                    rows_left_blank: report.rows_left_blank,
                    file: source.file.clone(),
                    sha256: source.sha256.clone(),
                    kind: job.kind.to_owned(),
                    block: job.block,
                };
                (entry, report)
            }
        };
        let written = self.writer.end_source(entry.clone())?;
        if tells_where {
            self.told.push_str(&key);
        } else {
            self.whereabouts = Some(whereabouts);
            let held = report.sketches.iter().map(|(part, sketch)| (part.file.clone(), sketch.clone())).collect();
            Remembered::<Held> { key, entry, written, findings: report.findings.clone(), held }
                .write(self.folder, &name)?;
        }
        self.strip_times.append(&mut report.strip_times);
        findings.append(&mut report.findings);
        for (part, sketch) in report.sketches.drain(..) {
            findings.extend(self.same_rows.compare(&part, sketch));
        }
        report.findings = findings;
        Ok(report)
    }

    /// Reads the rows of a file. One that is not what its name says must not keep the others from being read.
    fn read_rows(&mut self, job: &Job, source: &Source, whereabouts: &Whereabouts) -> Result<FileReport, Failure> {
        match self.by_format(job, source, whereabouts) {
            Ok(report) => Ok(report),
            Err(IngestError::Format { problem, remedy, .. }) => {
                let finding = Finding::error("unreadable_file", format!("{problem}; nothing of this file was read"));
                let finding = finding.table(job.kind).source(&source.file, None).remedy(remedy);
                Ok(FileReport { findings: vec![finding], ..FileReport::default() })
            }
            Err(error) => Err(error.into()),
        }
    }

    /// Writes findings and the manifest.
    pub fn finish(self, findings: &[Finding], read_from: ReadFrom) -> Result<Manifest, Failure> {
        Ok(self.writer.finish(findings, read_from)?)
    }

    fn by_format(&mut self, job: &Job, source: &Source, whereabouts: &Whereabouts) -> Result<FileReport, IngestError> {
        let around = Surroundings {
            mapping: job.mapping,
            settings: self.settings,
            whereabouts,
            zones: &mut self.zones,
            sink: &mut self.writer,
        };
        let unopened = |problem: String| IngestError::Format {
            file: source.file.clone(),
            problem,
            remedy: "check the file and its permissions, or copy it again".into(),
        };
        let open = || File::open(&job.path).map_err(|error| unopened(format!("it cannot be opened: {error}")));
        let whole = || whole(&job.path).map_err(unopened);
        let bundle = |bundle: Result<Bundle, BundleError>| bundle.map_err(|error| unopened(error.to_string()));
        let strips = |outlines: Outlines, around| read_strips(source, outlines, around);
        let (report, strips) = match job.format {
            Format::Text => (read_text(source, open()?, around)?, Vec::new()),
            Format::Parquet => (read_parquet(source, open()?, around)?, Vec::new()),
            Format::Workbook => (read_workbook(source, whole()?, around)?, Vec::new()),
            Format::TaskData => {
                let mut files = bundle(Bundle::of_folder(&job.path, Limits::default()))?;
                (read_task_data(source, &mut files, around)?, Vec::new())
            }
            Format::GeoJson => strips(Outlines::GeoJson(&whole()?), around)?,
            Format::GeoPackage => strips(Outlines::GeoPackage(&job.path), around)?,
            Format::Shapefile => {
                let mut files = vec![(job.file.clone(), job.path.clone())];
                files.extend(job.parts.iter().cloned());
                strips(Outlines::Shapefile(&mut bundle(Bundle::of_files(files, Limits::default()))?), around)?
            }
            Format::Archive => {
                let mut files = bundle(Bundle::of_zip(&job.path, Limits::default()))?;
                match Format::in_archive(&files) {
                    Some(Format::TaskData) => (read_task_data(source, &mut files, around)?, Vec::new()),
                    Some(_) => strips(Outlines::Shapefile(&mut files), around)?,
                    None => {
                        return Err(IngestError::Format {
                            file: source.file.clone(),
                            problem: format!(
                                "this archive holds neither task data (TASKDATA.XML) nor a shapefile (.shp); found {}",
                                told(files.names())
                            ),
                            remedy:
                                "if a terminal wrote it, copy its whole TASKDATA folder again; else unpack it and put \
                                     the files themselves into raw/"
                                    .into(),
                        });
                    }
                }
            }
        };
        self.strips.extend(strips);
        Ok(report)
    }
}

/// The bytes of a file that is read as a whole. Errors, in words, where it is too large or cannot be read.
pub fn whole(path: &Path) -> Result<Vec<u8>, String> {
    match fs::metadata(path).map(|about| about.len()) {
        Ok(bytes) if bytes > LARGEST_WHOLE => Err(format!(
            "it has {} MB, more than the {} MB that are read of such a file",
            bytes >> 20,
            LARGEST_WHOLE >> 20
        )),
        _ => fs::read(path).map_err(|error| format!("it cannot be read: {error}")),
    }
}

/// Names of files, the first few of them.
fn told(names: &[String]) -> String {
    match names {
        [] => "nothing in it".to_owned(),
        [first, second, _, further @ ..] if !further.is_empty() => {
            format!("{first}, {second} and {} more", further.len() + 1)
        }
        few => few.join(", "),
    }
}
