//! What becomes of each file in raw/: which table it is, by its name or a `[[source]]` block, and in which format.

use std::collections::BTreeMap;
use std::path::PathBuf;

use evenstand_ingest::{Format, Mapping, kind_of, read_order};
use evenstand_tables::Finding;

use crate::failure::Failure;
use crate::review::{RawFiles, Review, kinds};

/// A file that is read as one table; a file that several blocks name stands here once for each.
pub struct Job<'a> {
    /// Path below raw/.
    pub file: String,
    /// Where it is.
    pub path: PathBuf,
    /// Further files that go with it: the parts of a shapefile.
    pub parts: Vec<(String, PathBuf)>,
    /// How it is written.
    pub format: Format,
    /// Raw table it is.
    pub kind: &'static str,
    /// The block that says how it is read.
    pub mapping: Option<&'a Mapping>,
    /// Number of the block in the settings, from 1.
    pub block: Option<usize>,
}

/// Files to read, in the order in which they are read, and what a person should know about the others.
pub struct Plan<'a> {
    /// Fields first.
    pub jobs: Vec<Job<'a>>,
    /// Files that are not read, and blocks that are about no file.
    pub findings: Vec<Finding>,
}

/// The `[[source]]` blocks of a review, checked. Fails where one cannot work.
pub fn mappings(review: &Review) -> Result<Vec<Mapping>, Failure> {
    let checked = review.settings.sources.iter().map(Mapping::new);
    checked.collect::<Result<_, _>>().map_err(|problem| {
        Failure::new(format!("evenstand.toml, {problem}"), "correct the settings file; nothing was written")
    })
}

/// Tells what becomes of every file.
pub fn plan<'a>(raw: RawFiles, mappings: &'a [Mapping]) -> Plan<'a> {
    let mut plan = Plan { jobs: Vec::new(), findings: Vec::new() };
    for file in raw.passed_over {
        plan.findings.push(
            Finding::warning("file_not_read", "a link, or no plain file, so it was not read")
                .source(&file, None)
                .remedy("put a copy of the file itself into raw/"),
        );
    }
    let mut used = vec![false; mappings.len()];
    let folders = raw.task_data.into_iter().map(|(name, path)| (name, path, Some(Format::TaskData)));
    let parts = parts_of_shapefiles(&raw.files);
    let files = raw.files.iter().filter(|(name, _)| !parts.contains_key(*name));
    let files = files.map(|(name, path)| (name.clone(), path.clone(), Format::of(name)));
    for (file, path, format) in files.chain(folders) {
        let name = file.rsplit('/').next().unwrap_or(&file);
        let fitting: Vec<usize> = (0..mappings.len()).filter(|index| mappings[*index].fits(&file)).collect();
        for index in &fitting {
            used[*index] = true;
        }
        let readings: Vec<(&'static str, Option<usize>)> = if fitting.is_empty() {
            kind_of(name).map(|kind| (kind, None)).into_iter().collect()
        } else {
            fitting.iter().map(|index| (mappings[*index].kind(), Some(*index))).collect()
        };
        let own_parts = || {
            let with = parts.iter().filter(|(_, shapefile)| **shapefile == file);
            with.filter_map(|(name, _)| Some((name.clone(), raw.files.get(name)?.clone())))
        };
        for index in &fitting {
            let idle = format.map(|format| mappings[*index].keys_without_effect(format)).unwrap_or_default();
            if !idle.is_empty() {
                plan.findings.push(
                    Finding::warning(
                        "key_without_effect",
                        format!(
                            "its [[source]] block says {}, which means nothing for a file of this format",
                            idle.join(", ")
                        ),
                    )
                    .source(&file, None)
                    .remedy("take these keys out of the block, or check that the right file is meant"),
                );
            }
        }
        match format {
            Some(format) if !readings.is_empty() => plan.jobs.extend(readings.into_iter().map(|(kind, block)| Job {
                file: file.clone(),
                path: path.clone(),
                parts: own_parts().collect(),
                format,
                kind,
                mapping: block.map(|index| &mappings[index]),
                block: block.map(|index| index + 1),
            })),
            _ => plan.findings.push(not_read(&file, format, readings.first().map(|(kind, _)| *kind))),
        }
    }
    for (mapping, _) in mappings.iter().zip(used).filter(|(_, used)| !used) {
        plan.findings.push(
            Finding::warning(
                "source_without_file",
                format!(
                    "a [[source]] block of evenstand.toml is about \"{}\", and raw/ has no such file",
                    mapping.files().join("\", \"")
                ),
            )
            .remedy("correct the name in the block, or put the file into raw/"),
        );
    }
    plan.jobs.sort_by(|left, right| {
        let key = |job: &Job| (read_order(job.kind), job.file.clone(), job.kind, job.block);
        key(left).cmp(&key(right))
    });
    plan
}

fn not_read(file: &str, format: Option<Format>, kind: Option<&'static str>) -> Finding {
    let ending = file.rsplit_once('.').map(|(_, ending)| ending.to_ascii_lowercase()).unwrap_or_default();
    let finding = match (format, kind) {
        (None, Some(kind)) => {
            Finding::warning("file_not_read", format!("a {kind} file, but .{ending} files are not read")).table(kind)
        }
        (None, None) => Finding::warning("file_not_read", format!(".{ending} files are not read")),
        (Some(_), _) => Finding::warning(
            "file_not_read",
            "its name does not say which table it is, and no [[source]] block is about it, so it was not read",
        ),
    };
    let remedy = match format {
        Some(Format::GeoJson | Format::Shapefile | Format::GeoPackage) => {
            "if it has the outlines of strips, call it strip and keep its ending, for example strip.geojson".to_owned()
        }
        None => "save it as CSV or as a workbook (.xlsx)".to_owned(),
        Some(_) => format!(
            "name it after what it is, for example {}; or paste the [[source]] block that `evenstand check` proposes into \
             evenstand.toml",
            kinds().join(", ")
        ),
    };
    finding.source(file, None).remedy(remedy)
}

/// Files that only go with a shapefile, and the `.shp` that each goes with.
fn parts_of_shapefiles(files: &BTreeMap<String, PathBuf>) -> BTreeMap<String, String> {
    let stem = |name: &str| name.split_once('.').map_or(name, |(stem, _)| stem).to_ascii_lowercase();
    let stem = |name: &str| match name.rsplit_once('/') {
        Some((folder, name)) => format!("{folder}/{}", stem(name)),
        None => stem(name),
    };
    let shapes: BTreeMap<String, &String> = files
        .keys()
        .filter(|name| Format::of(name) == Some(Format::Shapefile))
        .map(|name| (stem(name), name))
        .collect();
    let parts = files.keys().filter(|name| Format::is_part_of_shapefile(name));
    parts.filter_map(|name| Some((name.clone(), (*shapes.get(&stem(name))?).clone()))).collect()
}
