//! Files that people put into `raw/`, one function a format.

use std::cell::RefCell;
use std::fs::File;
use std::io::{Seek, SeekFrom, Write};

use evenstand_bundle::{Bundle, Limits};
use evenstand_ingest::{
    Format, IngestError, Outlines, StripTime, Whereabouts, kind_of, look_at_parquet, look_at_text, look_at_workbook,
    read_parquet, read_strips, read_task_data, read_text, read_workbook, survey_task_data,
};
use evenstand_places::{Reading, Strip, read_geopackage_bytes};
use evenstand_settings::Settings;
use evenstand_trial::Ground;
use evenstand_workbook::Workbook;

use crate::door::{read, settings};
use crate::parts::Parts;

/// Delimited text, with or without a `[[source]]` block; also text in fixed widths, with two header rows, one column a visit.
pub fn text(input: &[u8]) {
    let parts = Parts::of(input);
    let (name, bytes) = parts.first();
    let kind = kind_of(name).unwrap_or("stand_count");
    let settings = settings(&parts.settings());
    read(kind, &settings, |source, around| read_text(source, bytes, around));
}

/// The block that is proposed for delimited text must be TOML.
pub fn proposal(input: &[u8]) {
    let parts = Parts::of(input);
    let (name, bytes) = parts.first();
    if let Ok(rows) = look_at_text("hostile", bytes) {
        proposed(&rows.propose("counts/hostile file.csv").block);
        rows.fits(kind_of(name).unwrap_or("stand_count"), &Settings::default());
    }
}

/// Proposing costs many times as much as reading; of other formats one input in sixteen is proposed for.
fn is_proposed_for(input: &[u8]) -> bool {
    input.iter().fold(0_u8, |sum, byte| sum.wrapping_add(*byte)).is_multiple_of(16)
}

fn proposed(block: &str) {
    assert!(block.parse::<toml::Table>().is_ok(), "a proposal that is no TOML:\n{block}");
}

/// A workbook as bytes: XLS, an ODS that is one XML file, or an archive.
pub fn workbook(input: &[u8]) {
    through_workbook(input.to_vec(), &Settings::default());
}

/// The parts of an XLSX or ODS workbook.
pub fn workbook_parts(input: &[u8]) {
    let parts = Parts::of(input);
    if let Some(bytes) = parts.zipped() {
        through_workbook(bytes, &settings(&parts.settings()));
    }
}

fn through_workbook(bytes: Vec<u8>, settings: &Settings) {
    if let Ok(mut book) = Workbook::open(bytes.clone()) {
        for name in book.sheets().iter().take(4).map(|sheet| sheet.name.clone()).collect::<Vec<_>>() {
            match book.sheet(&name) {
                Ok(mut sheet) => {
                    sheet.fill_merged();
                    sheet.regions();
                }
                Err(error) => assert!(error.to_string().len() > 20, "{error}"),
            }
        }
    }
    read("stand_count", settings, |source, around| read_workbook(source, bytes.clone(), around));
    if is_proposed_for(&bytes) {
        for rows in look_at_workbook("hostile", bytes).unwrap_or_default() {
            proposed(&rows.propose("hostile.xlsx").block);
        }
    }
}

thread_local! {
    /// One file that every input overwrites: Parquet is read from a file.
    static ON_DISK: RefCell<Option<File>> = const { RefCell::new(None) };
}

fn on_disk(bytes: &[u8]) -> std::io::Result<File> {
    ON_DISK.with_borrow_mut(|place| {
        let file = match place {
            Some(file) => file,
            None => place.insert(tempfile::tempfile()?),
        };
        file.set_len(0)?;
        file.seek(SeekFrom::Start(0))?;
        file.write_all(bytes)?;
        file.seek(SeekFrom::Start(0))?;
        file.try_clone()
    })
}

/// A Parquet file.
pub fn parquet(input: &[u8]) {
    let Ok(file) = on_disk(input) else { return };
    read("stand_count", &Settings::default(), |source, around| read_parquet(source, file, around));
    if is_proposed_for(input)
        && let Ok(file) = on_disk(input)
        && let Ok(rows) = look_at_parquet("hostile", file)
    {
        proposed(&rows.propose("hostile.parquet").block);
    }
}

/// Outlines as GeoJSON, and everything that takes outlines: the strip of a point, and the outline of a field for a trial.
pub fn geojson(input: &[u8]) {
    outlines(Outlines::GeoJson(input));
    if let Ok(text) = std::str::from_utf8(input)
        && let Err(error) = Ground::from_outline(text, None)
    {
        assert!(error.to_string().len() > 10, "{error}");
    }
}

/// Outlines as a GeoPackage.
pub fn geopackage(input: &[u8]) {
    match read_geopackage_bytes(input.to_vec(), &Reading::default()) {
        Ok(file) => found(file.strips),
        Err(error) => assert!(error.to_string().len() > 20, "{error}"),
    }
}

/// Outlines as the parts of a shapefile.
pub fn shapefile(input: &[u8]) {
    if let Some(mut bundle) = Parts::of(input).bundle() {
        outlines(Outlines::Shapefile(&mut bundle));
    }
}

fn outlines(outlines: Outlines) {
    let mut strips = Vec::new();
    read("strip", &Settings::default(), |source, around| -> Result<_, IngestError> {
        let (report, read) = read_strips(source, outlines, around)?;
        strips = read;
        Ok(report)
    });
    found(strips);
}

/// Whatever outlines were read can be searched and measured.
fn found(strips: Vec<Strip>) {
    if strips.len() <= 200
        && let Ok(whereabouts) = Whereabouts::new(strips, Vec::<StripTime>::new(), 0.5)
    {
        for finding in whereabouts.findings() {
            assert!(!finding.message.contains("NaN m") && !finding.message.contains("inf m"), "{}", finding.message);
        }
    }
}

/// Parts of ISO 11783-10 task data: XML, headers and binary logs.
pub fn task_data(input: &[u8]) {
    let parts = Parts::of(input);
    if let Some(mut bundle) = parts.bundle() {
        through_task_data(&mut bundle, &settings(&parts.settings()));
    }
}

fn through_task_data(bundle: &mut Bundle, settings: &Settings) {
    read("setting_log", settings, |source, around| read_task_data(source, bundle, around));
    if let Err(error) = survey_task_data("hostile", bundle) {
        assert!(error.to_string().len() > 10, "{error}");
    }
}

/// An archive in `raw/`, read as what it holds.
pub fn archive(input: &[u8]) {
    match Bundle::of_bytes(input.to_vec(), Limits::default()) {
        Err(error) => assert!(error.to_string().len() > 10, "{error}"),
        Ok(mut bundle) => {
            for name in bundle.names().to_vec() {
                let leads_out = name.starts_with('/') || name.split('/').any(|part| part == "..");
                assert!(!leads_out, "{name} leads out of the archive");
                if let Err(error) = bundle.read(&name) {
                    assert!(error.to_string().len() > 10, "{error}");
                }
            }
            match Format::in_archive(&bundle) {
                Some(Format::TaskData) => through_task_data(&mut bundle, &Settings::default()),
                Some(_) => outlines(Outlines::Shapefile(&mut bundle)),
                None => {}
            }
        }
    }
}
