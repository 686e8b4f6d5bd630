//! Corners of the strips' outlines.

use std::collections::BTreeMap;

use evenstand_tables::rows::{OutlineRow, StripSheetRow};
use serde::Deserialize;

use crate::key::StripKey;

/// A GeoJSON geometry (RFC 7946, section 3.1) that has an area; positions are longitude, latitude and more.
#[derive(Deserialize)]
#[serde(tag = "type", content = "coordinates")]
enum Geometry {
    Polygon(Vec<Ring>),
    MultiPolygon(Vec<Vec<Ring>>),
}

type Ring = Vec<Vec<f64>>;

/// A row a corner, strip by strip: outer rings first, then holes. Of a strip that is drawn twice the first outline counts. A boundary that cannot be
/// read gives none: `ingest` has judged it already.
pub(crate) fn outlines(strips: &[StripSheetRow]) -> Vec<OutlineRow> {
    let mut drawn: BTreeMap<StripKey, Vec<OutlineRow>> = BTreeMap::new();
    for strip in strips {
        let corners = corners(strip);
        if !corners.is_empty() {
            drawn.entry(StripKey::new(&strip.field_id, strip.season, &strip.strip_id)).or_insert(corners);
        }
    }
    drawn.into_values().flatten().collect()
}

fn corners(strip: &StripSheetRow) -> Vec<OutlineRow> {
    let parts = match strip.boundary.as_deref().map(serde_json::from_str) {
        Some(Ok(Geometry::Polygon(rings))) => vec![rings],
        Some(Ok(Geometry::MultiPolygon(parts))) => parts,
        _ => Vec::new(),
    };
    let outer = parts.iter().filter_map(|rings| rings.first());
    let rings: Vec<&Ring> = outer.chain(parts.iter().flat_map(|rings| rings.iter().skip(1))).collect();
    let corner = |ring: i64, number: i64, place: &[f64]| OutlineRow {
        field_id: strip.field_id.clone(),
        season: strip.season,
        strip_id: strip.strip_id.clone(),
        ring,
        corner: number,
        lat: place.get(1).copied(),
        lon: place.first().copied(),
    };
    (1..)
        .zip(rings)
        .flat_map(|(ring, places)| (1..).zip(places).map(move |(number, place)| corner(ring, number, place)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strip(boundary: &str) -> StripSheetRow {
        StripSheetRow {
            field_id: "A".into(),
            season: 2025,
            strip_id: "1".into(),
            boundary: Some(boundary.into()),
            ..StripSheetRow::default()
        }
    }

    #[test]
    fn corners_of_polygons_come_ring_by_ring() {
        let square = r#"{"type":"Polygon","coordinates":[[[10,50],[10.1,50],[10.1,50.1],[10,50]],[[10.01,50.01],[10.02,50.01],[10.02,50.02],[10.01,50.01]]]}"#;
        let rows = outlines(&[strip(square)]);
        assert_eq!(rows.len(), 8);
        assert_eq!((rows[1].ring, rows[1].corner, rows[1].lon, rows[1].lat), (1, 2, Some(10.1), Some(50.0)));
        assert_eq!((rows[4].ring, rows[4].corner), (2, 1));
        let two = r#"{"type":"MultiPolygon","coordinates":[[[[1,2],[3,4],[5,6],[1,2]],[[2,3],[3,4],[2,4],[2,3]]],[[[7,8],[9,8],[9,9],[7,8]]]]}"#;
        let firsts: Vec<_> =
            outlines(&[strip(two)]).iter().filter(|row| row.corner == 1).map(|row| (row.ring, row.lon)).collect();
        assert_eq!(firsts, [(1, Some(1.0)), (2, Some(7.0)), (3, Some(2.0))], "outer rings before holes");
    }

    #[test]
    fn what_is_no_area_gives_no_corners_and_a_strip_drawn_twice_is_drawn_once() {
        assert!(
            outlines(&[strip("{}"), strip("POINT(1 2)"), strip(r#"{"type":"Point","coordinates":[1,2]}"#)]).is_empty()
        );
        let corners = strip(r#"{"type":"Polygon","coordinates":[[[1,2],[3,4],[5,6],[1,2]]]}"#);
        let more = strip(r#"{"type":"Polygon","coordinates":[[[1,2],[3,4],[5,6],[0,3],[1,2]]]}"#);
        let twice = outlines(&[strip("{}"), corners.clone(), more]);
        assert_eq!(twice, outlines(&[corners]), "not one corner of the second");
        assert_eq!(twice.len(), 4);
    }
}
