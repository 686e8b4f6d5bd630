//! A file to read, what it is read with, and what became of it.

use evenstand_settings::Settings;
use evenstand_tables::{Finding, Sink};

use crate::mapping::Mapping;
use crate::same_rows::Sketch;
use crate::time::Zones;
use crate::whereabouts::{StripTime, Whereabouts};

/// A file to read.
#[derive(Debug, Clone)]
pub struct Source {
    /// Path below `raw/`, with forward slashes; the sheet or log behind it where the file holds several.
    pub file: String,
    /// SHA-256 of its bytes.
    pub sha256: String,
    /// Raw table it is.
    pub kind: &'static str,
}

/// What became of a file. `rows_read` is `rows_kept` and `rows_set_aside` together.
#[derive(Debug, Default)]
pub struct FileReport {
    /// Rows below the header; blank lines do not count.
    pub rows_read: u64,
    /// Rows that went to the sink; one of a wide table counts once, however many kept rows it gives.
    pub rows_kept: u64,
    /// Rows that could not be used; they went to the sink too.
    pub rows_set_aside: u64,
    /// Those among them that a plan's sheet had ready and nobody filled in: no fault.
    pub rows_left_blank: u64,
    /// What a person should look at.
    pub findings: Vec<Finding>,
    /// When the planter was in which strip, where strips say so.
    pub strip_times: Vec<StripTime>,
    /// Kept rows of each table of the file, to be held against those of other files.
    pub sketches: Vec<(Source, Sketch)>,
}

impl FileReport {
    /// Takes in what became of another table of the same file.
    pub(crate) fn add(&mut self, other: FileReport) {
        self.rows_read += other.rows_read;
        self.rows_kept += other.rows_kept;
        self.rows_set_aside += other.rows_set_aside;
        self.rows_left_blank += other.rows_left_blank;
        self.findings.extend(other.findings);
        self.strip_times.extend(other.strip_times);
        self.sketches.extend(other.sketches);
    }
}

/// What a file is read with, apart from its rows.
pub struct Surroundings<'a> {
    /// The `[[source]]` block that is about the file.
    pub mapping: Option<&'a Mapping>,
    /// Choices of the review.
    pub settings: &'a Settings,
    /// Where and when strips are, for rows that name none.
    pub whereabouts: &'a Whereabouts,
    /// Time zones of fields; those that the file names are noted here.
    pub zones: &'a mut Zones,
    /// Receives kept rows in batches.
    pub sink: &'a mut dyn Sink,
}
