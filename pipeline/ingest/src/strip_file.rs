//! Strips drawn as polygons: each becomes a row of the strip table, and a place in which others are found.

use std::collections::BTreeSet;
use std::path::Path;

use evenstand_bundle::Bundle;
use evenstand_places::{PlaceError, Reading, Strip, StripFile, read_geojson, read_geopackage, read_shapefile};
use evenstand_tables::{Finding, SetAside};

use crate::IngestError;
use crate::file_report::{FileReport, Source, Surroundings};
use crate::mapping::Mapping;
use crate::record::{InMemory, OwnedCell};
use crate::table_file::read_table;

/// Where outlines of strips are read from.
pub enum Outlines<'a> {
    /// The bytes of a GeoJSON file.
    GeoJson(&'a [u8]),
    /// The files of a shapefile.
    Shapefile(&'a mut Bundle),
    /// A GeoPackage.
    GeoPackage(&'a Path),
}

/// Reads outlines. Each feature is a row: kept as a strip, or set aside with the reason; the strips themselves come back
/// beside the report.
///
/// Errors where the file cannot be read as a whole, or the sink fails.
pub fn read_strips(
    source: &Source,
    outlines: Outlines,
    around: Surroundings,
) -> Result<(FileReport, Vec<Strip>), IngestError> {
    if source.kind != "strip" {
        return Err(IngestError::Format {
            file: source.file.clone(),
            problem: format!("a file of outlines can only give strips, not {}", source.kind),
            remedy: "write kind = \"strip\" in its [[source]] block, or rename it strip".into(),
        });
    }
    let reading = reading(around.mapping);
    let file = match outlines {
        Outlines::GeoJson(bytes) => read_geojson(bytes, &reading),
        Outlines::Shapefile(bundle) => read_shapefile(bundle, &reading),
        Outlines::GeoPackage(path) => read_geopackage(path, &reading),
    }
    .map_err(|error| refused(source, &error))?;
    // The names are ours by now.
    let Surroundings { settings, whereabouts, zones, sink, .. } = around;
    let around = Surroundings { mapping: None, settings, whereabouts, zones, sink: &mut *sink };
    let mut report = if file.strips.is_empty() && !file.refused.is_empty() {
        FileReport::default()
    } else {
        read_table(source, &mut InMemory::new(rows(&file)), around)?
    };
    for refused in file.refused {
        report.rows_read += 1;
        report.rows_set_aside += 1;
        sink.set_aside(SetAside {
            source_file: source.file.clone(),
            source_row: refused.feature as i64,
            source_sha256: source.sha256.clone(),
            kind: source.kind.to_owned(),
            code: "unusable_outline".into(),
            message: refused.reason.clone(),
            raw: Some(refused.raw),
        })?;
        report.findings.push(
            Finding::warning("unusable_outline", format!("strip set aside: {}", refused.reason))
                .table(source.kind)
                .source(&source.file, Some(refused.feature as i64))
                .remedy("correct the outline in the program it was drawn with, and export it again"),
        );
    }
    report.findings.extend(file.notices.into_iter().map(|notice| {
        Finding::note("outline_notice", notice)
            .table(source.kind)
            .source(&source.file, None)
            .remedy("nothing need be done if this is as it should be")
    }));
    Ok((report, file.strips))
}

/// What a block says about the properties of the features.
fn reading(mapping: Option<&Mapping>) -> Reading {
    let Some(mapping) = mapping else { return Reading::default() };
    let rule = &mapping.rule;
    let names =
        rule.columns.iter().flat_map(|(ours, column)| column.from.iter().map(|theirs| (theirs.clone(), ours.clone())));
    let constant = |name: &str| rule.constants.get(name);
    Reading {
        names: names.collect(),
        field_id: constant("field_id").map(|value| value.as_str().map_or_else(|| value.to_string(), str::to_owned)),
        season: constant("season").and_then(toml::Value::as_integer),
        layer: rule.sheet.first().cloned(),
    }
}

fn refused(source: &Source, error: &PlaceError) -> IngestError {
    IngestError::Format {
        file: source.file.clone(),
        problem: error.to_string(),
        remedy: "export the outlines again, best as GeoJSON (RFC 7946)".into(),
    }
}

/// The features as a table, so that they are read and judged as rows of any other file.
fn rows(file: &StripFile) -> Vec<(i64, Vec<OwnedCell>)> {
    let properties: BTreeSet<&str> =
        file.strips.iter().flat_map(|strip| strip.properties.keys().map(String::as_str)).collect();
    let fixed = ["field_id", "season", "strip_id", "block", "boundary"];
    let names = fixed.iter().chain(properties.iter().filter(|name| !fixed.contains(name)));
    let header = names.map(|name| OwnedCell::Text((*name).to_owned())).collect();
    let text = |value: &Option<String>| value.clone().map_or(OwnedCell::Empty, OwnedCell::Text);
    let row = |strip: &Strip| {
        let own = [
            text(&strip.field_id),
            strip.season.map_or(OwnedCell::Empty, |season| OwnedCell::Number(season as f64)),
            OwnedCell::Text(strip.strip_id.clone()),
            text(&strip.block),
            OwnedCell::Text(strip.boundary()),
        ];
        let further = properties.iter().filter(|name| !fixed.contains(name));
        own.into_iter().chain(further.map(|name| text(&strip.properties.get(*name).cloned()))).collect()
    };
    std::iter::once((0, header)).chain(file.strips.iter().map(|strip| (strip.feature as i64, row(strip)))).collect()
}
