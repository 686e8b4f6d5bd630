use std::collections::BTreeMap;

use geo::MultiPolygon;

use crate::PlaceError;

/// Formats that carry strips as polygons.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlaceFormat {
    /// RFC 7946, `.geojson` or `.json`.
    GeoJson,
    /// A set of `.shp`, `.dbf` and more, in a folder or in a `.zip`.
    Shapefile,
    /// OGC 12-128, `.gpkg`.
    GeoPackage,
}

impl PlaceFormat {
    /// The format that a file name's ending stands for, whatever its case; `.zip` is not among them, for it may hold
    /// anything.
    pub fn of_name(file_name: &str) -> Option<Self> {
        let (_, ending) = file_name.rsplit_once('.')?;
        match ending.to_ascii_lowercase().as_str() {
            "geojson" | "json" => Some(Self::GeoJson),
            "shp" => Some(Self::Shapefile),
            "gpkg" => Some(Self::GeoPackage),
            _ => None,
        }
    }
}

/// What a caller knows about a file beyond what stands in it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Reading {
    /// Foreign names of properties and the names they stand for, such as `plot` for `strip_id`.
    pub names: BTreeMap<String, String>,
    /// Field of all strips that name none.
    pub field_id: Option<String>,
    /// Year of planting of all strips that name none.
    pub season: Option<i64>,
    /// Which set of shapes to read where a bundle or a GeoPackage holds several: the name without its ending.
    pub layer: Option<String>,
}

/// One strip as it was drawn. A strip drawn in several features stands here several times.
#[derive(Debug, Clone, PartialEq)]
pub struct Strip {
    /// The field, where the file or the caller names it.
    pub field_id: Option<String>,
    /// Year of planting, where the file or the caller names it.
    pub season: Option<i64>,
    /// The strip.
    pub strip_id: String,
    /// Its block.
    pub block: Option<String>,
    /// Every other property that has a value, as text; `treatment` and `condition` under these names.
    pub properties: BTreeMap<String, String>,
    /// Outlines in degrees: x is longitude, y is latitude, WGS 84.
    pub shape: MultiPolygon<f64>,
    /// Number of the feature in its file, from 1.
    pub feature: usize,
}

impl Strip {
    /// The outline as the text of a GeoJSON geometry (RFC 7946, section 3.1.7), a `MultiPolygon`.
    pub fn boundary(&self) -> String {
        let ring = |ring: &geo::LineString<f64>| {
            let corners: Vec<String> = ring.coords().map(|corner| format!("[{},{}]", corner.x, corner.y)).collect();
            format!("[{}]", corners.join(","))
        };
        let polygon = |polygon: &geo::Polygon<f64>| {
            let rings = std::iter::once(polygon.exterior()).chain(polygon.interiors());
            format!("[{}]", rings.map(ring).collect::<Vec<_>>().join(","))
        };
        let polygons: Vec<String> = self.shape.iter().map(polygon).collect();
        format!("{{\"type\":\"MultiPolygon\",\"coordinates\":[{}]}}", polygons.join(","))
    }
}

/// A feature that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    /// Number of the feature in its file, from 1.
    pub feature: usize,
    /// What was found, what was expected, what to do.
    pub reason: String,
    /// Its properties as text.
    pub raw: String,
}

/// What a file gave: every feature is in `strips` or in `refused`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StripFile {
    /// Strips in the order of the file.
    pub strips: Vec<Strip>,
    /// Features that cannot be used, in the order of the file.
    pub refused: Vec<Refused>,
    /// What a person should know about the strips that were read.
    pub notices: Vec<String>,
}

/// Features of one file; a trial has hundreds.
pub(crate) const MOST_FEATURES: usize = 100_000;
/// Values of properties of one file, which bounds the memory they take.
pub(crate) const MOST_VALUES: usize = 2_000_000;
/// Bytes of one file of strips.
pub(crate) const MOST_BYTES: usize = 32 << 20;

/// Collects features, and stops where there are more than a file of strips can hold.
#[derive(Default)]
pub(crate) struct Collected {
    file: StripFile,
    values: usize,
}

impl Collected {
    /// Takes the next feature: what it gave (a strip and notices about it), or the reason against it and its text.
    pub(crate) fn push(
        &mut self,
        feature: usize,
        values: usize,
        found: Result<(Strip, Vec<String>), String>,
        raw: impl FnOnce() -> String,
    ) -> Result<(), PlaceError> {
        if self.file.strips.len() + self.file.refused.len() >= MOST_FEATURES {
            return Err(PlaceError::TooMany { what: "features", limit: MOST_FEATURES });
        }
        self.values = self.values.saturating_add(values);
        if self.values > MOST_VALUES {
            return Err(PlaceError::TooMany { what: "values of properties", limit: MOST_VALUES });
        }
        match found {
            Ok((strip, notices)) => {
                self.file.notices.extend(notices.into_iter().map(|notice| format!("feature {feature}: {notice}")));
                self.file.strips.push(strip);
            }
            Err(reason) => self.file.refused.push(Refused { feature, reason, raw: raw() }),
        }
        Ok(())
    }

    /// Adds what concerns the whole file.
    pub(crate) fn notice(&mut self, notice: impl Into<String>) {
        self.file.notices.push(notice.into());
    }

    pub(crate) fn finish(self) -> StripFile {
        self.file
    }
}
