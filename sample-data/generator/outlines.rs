//! Outlines of the strips of three fields, as a planter's display would export them: GeoJSON, one file a field-season.
//!
//! The places are as invented as the rest: a grid in the sea off 0° N, 0° E, where nobody plants. Nothing here is drawn at random, so the
//! other files do not change with it.

use super::ReviewFile;
use super::emergence::FieldRecord;
use super::scenario::Client;

/// Field-seasons with outlines, each with the south-west corner of its grid: longitude and latitude in degrees.
const OUTLINED: [(&str, i32, f64, f64); 3] =
    [("quarry-east", 2024, 0.010, 0.010), ("cold-spring-2", 2025, 0.030, 0.010), ("home-north", 2024, 0.010, 0.040)];

/// Near the equator a degree is as long either way, near enough for a picture.
const METRES_PER_DEGREE: f64 = 111_000.0;
const ROW_SPACING_M: f64 = 0.762;
/// Every fifth strip lies behind a headland road.
const ROAD_M: f64 = 6.0;

/// The files.
pub fn outlines(records: &[FieldRecord]) -> Vec<ReviewFile> {
    OUTLINED
        .iter()
        .filter_map(|(field, season, lon, lat)| {
            let record = records.iter().find(|record| record.plan.is(field, *season))?;
            let name = field.replace('-', "_");
            Some(ReviewFile { path: format!("raw/strip-{name}-{season}.geojson"), text: features(record, *lon, *lat) })
        })
        .collect()
}

fn features(record: &FieldRecord, lon: f64, lat: f64) -> String {
    let plan = record.plan;
    let (length, rows) = match plan.client {
        Client::Tamarack => (402.3, 12.0),
        Client::Hollis => (380.0, 8.0),
    };
    let width = rows * ROW_SPACING_M;
    let strips: Vec<String> = record
        .strips
        .iter()
        .enumerate()
        .map(|(number, strip)| {
            let west = number as f64 * width + (number / 5) as f64 * ROAD_M;
            let corner = |east: f64, north: f64| {
                format!("[{:.7}, {:.7}]", lon + east / METRES_PER_DEGREE, lat + north / METRES_PER_DEGREE)
            };
            let ring = [(0.0, 0.0), (width, 0.0), (width, length), (0.0, length), (0.0, 0.0)]
                .map(|(east, north)| corner(west + east, north))
                .join(", ");
            format!(
                "    {{ \"type\": \"Feature\", \"properties\": {{ \"field_id\": \"{}\", \"season\": {}, \"strip_id\": \"{}\" }},\n      \
                 \"geometry\": {{ \"type\": \"Polygon\", \"coordinates\": [[{ring}]] }} }}",
                plan.field, plan.season, strip.id
            )
        })
        .collect();
    format!("{{ \"type\": \"FeatureCollection\", \"features\": [\n{}\n] }}\n", strips.join(",\n"))
}
