//! In which format a file is, by the ending of its name.

use evenstand_bundle::Bundle;
use evenstand_taskdata::TaskData;

/// A format that can be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Cells divided by a letter, or columns of text.
    Text,
    /// XLSX, XLS or ODS; which of them, its content tells.
    Workbook,
    /// Apache Parquet.
    Parquet,
    /// Outlines of strips as GeoJSON.
    GeoJson,
    /// Outlines of strips as a shapefile: several files of one name.
    Shapefile,
    /// Outlines of strips as a GeoPackage.
    GeoPackage,
    /// ISO 11783-10 task data, in a folder.
    TaskData,
    /// An archive with a shapefile or task data in it; which of them, its content tells.
    Archive,
}

impl Format {
    /// The format of a file of this name; `None` where files with its ending are not read.
    pub fn of(file_name: &str) -> Option<Self> {
        let (_, ending) = file_name.rsplit_once('.')?;
        Some(match ending.to_ascii_lowercase().as_str() {
            "csv" | "txt" | "tsv" | "dat" => Format::Text,
            "xlsx" | "xlsm" | "xlsb" | "xls" | "ods" => Format::Workbook,
            "parquet" | "pq" => Format::Parquet,
            "geojson" | "json" => Format::GeoJson,
            "shp" => Format::Shapefile,
            "gpkg" => Format::GeoPackage,
            "zip" => Format::Archive,
            _ => return None,
        })
    }

    /// Whether a file of this name only goes with another: the parts of a shapefile beside its `.shp`.
    pub fn is_part_of_shapefile(file_name: &str) -> bool {
        let lower = file_name.to_ascii_lowercase();
        [".dbf", ".shx", ".prj", ".cpg", ".sbn", ".sbx", ".qix", ".shp.xml"]
            .iter()
            .any(|ending| lower.ends_with(ending))
    }

    /// What an archive holds that can be read: task data or a shapefile.
    pub fn in_archive(bundle: &Bundle) -> Option<Self> {
        if !TaskData::places(bundle).is_empty() {
            return Some(Format::TaskData);
        }
        bundle.names().iter().any(|name| name.to_ascii_lowercase().ends_with(".shp")).then_some(Format::Shapefile)
    }
}
