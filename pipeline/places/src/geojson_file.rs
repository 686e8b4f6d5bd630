//! GeoJSON, as RFC 7946 has it and as older files do.
//!
//! Features are taken one by one, because one that cannot be used must not cost the file.

use std::borrow::Cow;

use geo::MultiPolygon;
use serde_json::{Map, Value};

use crate::outline::outline;
use crate::properties::{Names, Property, raw};
use crate::ring::Ring;
use crate::strip::{Collected, MOST_BYTES, Reading, Strip, StripFile};
use crate::{PlaceError, crs};

const FORMAT: &str = "GeoJSON";

/// Reads the strips of a GeoJSON file, at most 32 MiB of it: a FeatureCollection, one Feature, or
/// Features one after another (RFC 8142).
///
/// Every feature is in the answer, as a strip or refused. The whole file is held while it is read; at worst that took
/// 1.2 GiB for 32 MiB of nothing but digits and commas. A third number of a position, its height, is not needed. A
/// `crs` member (of the format before RFC 7946) is obeyed: errors where it names another system than WGS 84, and where
/// the file is not GeoJSON.
pub fn read_geojson(bytes: &[u8], reading: &Reading) -> Result<StripFile, PlaceError> {
    if bytes.len() > MOST_BYTES {
        return Err(PlaceError::TooMany { what: "bytes", limit: MOST_BYTES });
    }
    let text = std::str::from_utf8(bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes)).map_err(|error| {
        let problem = format!("it is not UTF-8 after byte {}; save it as UTF-8", error.valid_up_to());
        PlaceError::damaged(FORMAT, problem)
    })?;
    // Features one after another, a line each, are common; a record separator may stand before each (RFC 8142).
    let text = if text.contains('\u{1E}') { Cow::Owned(text.replace('\u{1E}', " ")) } else { Cow::Borrowed(text) };
    let values: Result<Vec<Value>, _> = serde_json::Deserializer::from_str(&text).into_iter().collect();
    let mut values = values.map_err(|error| PlaceError::damaged(FORMAT, format!("{error}; export it again")))?;
    let root = match values.pop() {
        Some(one) if values.is_empty() => one,
        Some(last) => {
            let features = values.into_iter().chain([last]).collect();
            let members =
                [("type".to_owned(), "FeatureCollection".into()), ("features".to_owned(), Value::Array(features))];
            Value::Object(members.into_iter().collect())
        }
        None => return Err(PlaceError::damaged(FORMAT, "it is empty; export it again")),
    };
    let Value::Object(mut root) = root else {
        return Err(PlaceError::damaged(FORMAT, "it is not an object in braces; expected is a FeatureCollection"));
    };
    let mut collected = Collected::default();
    system_of(&root)?.into_iter().for_each(|notice| collected.notice(notice));
    let kind = root.get("type").and_then(Value::as_str).unwrap_or("nothing").to_owned();
    let features = match kind.as_str() {
        "FeatureCollection" => match root.remove("features") {
            Some(Value::Array(features)) => features,
            _ => {
                return Err(PlaceError::damaged(
                    FORMAT,
                    "its FeatureCollection has no list `features`; export it again",
                ));
            }
        },
        "Feature" => vec![Value::Object(root)],
        other => {
            let problem =
                format!("its `type` is {other}, but expected is a FeatureCollection, whose features carry a strip_id");
            return Err(PlaceError::damaged(FORMAT, problem));
        }
    };
    let names = Names::whole(reading);
    for (number, feature) in (1..).zip(features) {
        let properties = properties_of(&feature);
        let found = strip_of(&feature, &properties, &names, number);
        let text = || match feature.get("properties") {
            Some(properties) => properties.to_string(),
            None => raw(&properties),
        };
        collected.push(number, properties.len(), found, text)?;
    }
    Ok(collected.finish())
}

/// The one area that a GeoJSON text draws: a Polygon or MultiPolygon, alone, in a Feature, or in a collection of one.
/// Names and other properties are not needed. Degrees on WGS 84, x is longitude.
///
/// Errors where the text is not GeoJSON, draws no area, or draws several features: which of them is meant is not to be guessed.
pub fn read_geojson_area(text: &str) -> Result<MultiPolygon<f64>, PlaceError> {
    if text.len() > MOST_BYTES {
        return Err(PlaceError::TooMany { what: "bytes", limit: MOST_BYTES });
    }
    let root: Value = serde_json::from_str(text.trim_start_matches('\u{FEFF}'))
        .map_err(|error| PlaceError::damaged(FORMAT, format!("{error}; export it again")))?;
    let object = |value: &Value| value.as_object().cloned().unwrap_or_default();
    let mut geometry = object(&root);
    let mut systems = vec![geometry.clone()];
    let kind = |object: &Map<String, Value>| object.get("type").and_then(Value::as_str).unwrap_or("nothing").to_owned();
    if kind(&geometry) == "FeatureCollection" {
        let features = geometry.get("features").and_then(Value::as_array).cloned().unwrap_or_default();
        let [feature] = features.as_slice() else {
            let problem = format!("it has {} features, expected is one: the outline of the field", features.len());
            return Err(PlaceError::damaged(FORMAT, problem));
        };
        geometry = object(feature);
        systems.push(geometry.clone());
    }
    if kind(&geometry) == "Feature" {
        geometry = geometry.get("geometry").map(object).unwrap_or_default();
        systems.push(geometry.clone());
    }
    for place in &systems {
        system_of(place)?;
    }
    let polygons = polygons_of(&geometry).map_err(|problem| PlaceError::damaged(FORMAT, problem))?;
    outline(polygons).map(|(shape, _)| shape).map_err(|problem| PlaceError::damaged(FORMAT, problem))
}

fn strip_of(
    feature: &Value,
    properties: &[Property],
    names: &Names,
    number: usize,
) -> Result<(Strip, Vec<String>), String> {
    let Some(feature) = feature.as_object() else {
        return Err("it is not an object in braces; export it again".into());
    };
    let geometry = match feature.get("geometry") {
        Some(Value::Object(geometry)) => geometry,
        _ => return Err("it has no geometry; draw the strip".into()),
    };
    let mut system = Vec::new();
    for place in [feature, geometry] {
        system.extend(system_of(place).map_err(|problem| problem.to_string())?);
    }
    let (shape, mut notices) = outline(polygons_of(geometry)?)?;
    notices.extend(system);
    Ok((names.strip(properties, shape, number)?, notices))
}

/// Obeys a `crs` member (GeoJSON 2008, section 3). Gives a notice where the datum is near WGS 84 or none is named.
fn system_of(object: &Map<String, Value>) -> Result<Option<String>, PlaceError> {
    match object.get("crs") {
        None => Ok(None),
        Some(Value::Null) => Ok(Some(crs::unnamed())),
        Some(crs) => match crs.pointer("/properties/name").and_then(Value::as_str) {
            Some(name) => crs::of_name(name),
            None => Err(PlaceError::OtherSystem {
                system: format!("a system that is not named (`crs`: {})", shortened(crs)),
            }),
        },
    }
}

fn shortened(value: &Value) -> String {
    value.to_string().chars().take(80).collect()
}

fn properties_of(feature: &Value) -> Vec<Property> {
    let members = feature.get("properties").and_then(Value::as_object).into_iter().flatten();
    let text = |value: &Value| match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    };
    members.map(|(name, value)| (name.clone(), text(value))).collect()
}

/// Polygons, each an outline and its holes.
fn polygons_of(geometry: &Map<String, Value>) -> Result<Vec<Vec<Ring>>, String> {
    let kind = geometry.get("type").and_then(Value::as_str).unwrap_or("nothing");
    let coordinates =
        || geometry.get("coordinates").ok_or("its geometry has no coordinates; export it again".to_owned());
    match kind {
        "Polygon" => Ok(vec![polygon_of(coordinates()?)?]),
        "MultiPolygon" => list(coordinates()?)?.iter().map(polygon_of).collect(),
        "GeometryCollection" => Err("it is a GeometryCollection: export it as Polygon or MultiPolygon".into()),
        other => Err(format!("its geometry is {other}, but a strip is an area: draw its outline as a Polygon")),
    }
}

fn polygon_of(rings: &Value) -> Result<Vec<Ring>, String> {
    list(rings)?.iter().map(|ring| list(ring)?.iter().map(position_of).collect()).collect()
}

fn list(value: &Value) -> Result<&Vec<Value>, String> {
    value
        .as_array()
        .ok_or_else(|| format!("its coordinates have `{}` where a list belongs; export it again", shortened(value)))
}

fn position_of(position: &Value) -> Result<[f64; 2], String> {
    match list(position)?.as_slice() {
        [longitude, latitude, ..] => longitude.as_f64().zip(latitude.as_f64()).map(|(x, y)| [x, y]),
        _ => None,
    }
    .ok_or_else(|| format!("its position `{}` is not two numbers, longitude and latitude", shortened(position)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn feature(properties: &str, geometry: &str) -> String {
        format!(r#"{{"type":"Feature","properties":{properties},"geometry":{geometry}}}"#)
    }

    fn collection(features: &[String]) -> String {
        format!(r#"{{"type":"FeatureCollection","features":[{}]}}"#, features.join(","))
    }

    fn read(text: &str) -> Result<StripFile, PlaceError> {
        read_geojson(text.as_bytes(), &Reading::default())
    }

    /// RFC 7946, appendix A.3, a polygon with a hole.
    const WITH_HOLE: &str = r#"{"type":"Polygon","coordinates":[
        [[100.0,0.0],[101.0,0.0],[101.0,1.0],[100.0,1.0],[100.0,0.0]],
        [[100.8,0.8],[100.8,0.2],[100.2,0.2],[100.2,0.8],[100.8,0.8]]]}"#;

    /// RFC 7946, appendix A.6.
    const TWO_PARTS: &str = r#"{"type":"MultiPolygon","coordinates":[
        [[[102.0,2.0],[103.0,2.0],[103.0,3.0],[102.0,3.0],[102.0,2.0]]],
        [[[100.0,0.0],[101.0,0.0],[101.0,1.0],[100.0,1.0],[100.0,0.0]],
         [[100.2,0.2],[100.2,0.8],[100.8,0.8],[100.8,0.2],[100.2,0.2]]]]}"#;

    #[test]
    fn the_collection_of_rfc_7946_section_1_5_loses_no_feature() {
        let text = r#"{"type":"FeatureCollection","features":[
            {"type":"Feature","geometry":{"type":"Point","coordinates":[102.0,0.5]},"properties":{"prop0":"value0"}},
            {"type":"Feature","geometry":{"type":"LineString","coordinates":[[102.0,0.0],[103.0,1.0],[104.0,0.0],[105.0,1.0]]},
             "properties":{"prop0":"value0","prop1":0.0}},
            {"type":"Feature","geometry":{"type":"Polygon","coordinates":[[[100.0,0.0],[101.0,0.0],[101.0,1.0],[100.0,1.0],[100.0,0.0]]]},
             "properties":{"prop0":"value0","prop1":{"this":"that"}}}]}"#;
        let names = [("prop0".to_owned(), "strip_id".to_owned())].into();
        let file = read_geojson(text.as_bytes(), &Reading { names, ..Reading::default() }).unwrap();
        assert_eq!((file.strips.len(), file.refused.len()), (1, 2));
        assert_eq!((file.strips[0].feature, file.strips[0].strip_id.as_str()), (3, "value0"));
        assert_eq!(file.strips[0].properties["prop1"], r#"{"this":"that"}"#);
        assert!(file.refused[0].reason.contains("Point") && file.refused[1].reason.contains("LineString"));
        assert_eq!(file.refused[0].raw, r#"{"prop0":"value0"}"#);
    }

    #[test]
    fn polygons_and_multipolygons_of_rfc_7946_appendix_a_are_read_as_another_reader_reads_them() {
        for geometry in [WITH_HOLE, TWO_PARTS] {
            let file = read(&collection(&[feature(r#"{"strip_id":1}"#, geometry)])).unwrap();
            let ours: Vec<Vec<Vec<[f64; 2]>>> = file.strips[0]
                .shape
                .iter()
                .map(|polygon| {
                    let rings = std::iter::once(polygon.exterior()).chain(polygon.interiors());
                    rings.map(|ring| ring.coords().map(|c| [c.x, c.y]).collect()).collect()
                })
                .collect();
            let plain = |polygon: Vec<Vec<geojson::Position>>| -> Vec<Vec<[f64; 2]>> {
                polygon.iter().map(|ring| ring.iter().map(|p| [p[0], p[1]]).collect()).collect()
            };
            let theirs = match geometry.parse::<geojson::Geometry>().unwrap().value {
                geojson::GeometryValue::Polygon { coordinates } => vec![plain(coordinates)],
                geojson::GeometryValue::MultiPolygon { coordinates } => coordinates.into_iter().map(plain).collect(),
                other => panic!("{other:?}"),
            };
            assert_eq!(ours, theirs);
            assert_eq!(file.strips[0].strip_id, "1");
        }
    }

    #[test]
    fn a_bad_feature_is_refused_by_number_and_the_others_are_read() {
        let good = feature(r#"{"strip_id":"a"}"#, WITH_HOLE);
        let bad = [
            "5".to_owned(),
            feature(r#"{"strip_id":"b"}"#, "null"),
            feature("null", WITH_HOLE),
            feature(r#"{"strip_id":"c"}"#, r#"{"type":"Polygon","coordinates":[[[1],[2]]]}"#),
            feature(r#"{"strip_id":"d"}"#, r#"{"type":"Polygon","coordinates":5}"#),
            feature(r#"{"strip_id":"e"}"#, r#"{"type":"GeometryCollection","geometries":[]}"#),
            feature(
                r#"{"strip_id":"f"}"#,
                r#"{"type":"Polygon","coordinates":[[[42,-93],[42,-94],[41,-94],[42,-93]]]}"#,
            ),
        ];
        let all: Vec<String> = bad.iter().cloned().chain([good]).collect();
        let file = read(&collection(&all)).unwrap();
        assert_eq!(file.refused.iter().map(|refused| refused.feature).collect::<Vec<_>>(), [1, 2, 3, 4, 5, 6, 7]);
        for (refused, word) in file.refused.iter().zip([
            "braces",
            "no geometry",
            "strip_id",
            "`[1]`",
            "`5`",
            "GeometryCollection",
            "swapped",
        ]) {
            assert!(refused.reason.contains(word), "{word}: {}", refused.reason);
        }
        assert_eq!((file.strips.len(), file.strips[0].feature), (1, 8));
    }

    #[test]
    fn a_crs_member_is_obeyed() {
        let with = |crs: &str| {
            read(&collection(&[feature(r#"{"strip_id":1}"#, WITH_HOLE)]).replacen(
                '{',
                &format!(r#"{{"crs":{crs},"#),
                1,
            ))
        };
        let named = |name: &str| with(&format!(r#"{{"type":"name","properties":{{"name":"{name}"}}}}"#));
        assert!(named("urn:ogc:def:crs:OGC:1.3:CRS84").unwrap().notices.is_empty());
        assert!(named("EPSG:4326").unwrap().notices.is_empty());
        assert_eq!(named("EPSG:4269").unwrap().notices.len(), 1);
        assert_eq!(with("null").unwrap().notices.len(), 1);
        let problem = named("urn:ogc:def:crs:EPSG::26915").unwrap_err().to_string();
        assert!(problem.contains("26915") && problem.contains("WGS 84 (EPSG:4326)"), "{problem}");
        assert!(with(r#"{"type":"link","properties":{"href":"x"}}"#).is_err());
    }

    #[test]
    fn what_is_no_collection_is_told_so() {
        for (text, word) in [
            ("", "empty"),
            ("[1]", "braces"),
            (r#"{"type":"Topology"}"#, "Topology"),
            (r#"{"a":1}"#, "nothing"),
            (r#"{"type":"FeatureCollection"}"#, "features"),
            (r#"{"type":"FeatureCollection","features":[}"#, "line 1"),
        ] {
            let problem = read(text).unwrap_err().to_string();
            assert!(problem.contains(word), "{text}: {problem}");
        }
        assert!(read_geojson(b"{\"a\":\"\xFF\"}", &Reading::default()).unwrap_err().to_string().contains("byte 6"));
        let deep = "[".repeat(100_000);
        assert!(read(&deep).unwrap_err().to_string().contains("recursion limit"));
    }

    #[test]
    fn one_area_is_read_with_or_without_a_feature_around_it_and_several_are_not() {
        for text in [WITH_HOLE.to_owned(), feature("null", WITH_HOLE), collection(&[feature("{}", WITH_HOLE)])] {
            let area = read_geojson_area(&text).unwrap();
            assert_eq!((area.0.len(), area.0[0].interiors().len()), (1, 1), "{text}");
        }
        let two = collection(&[feature("{}", WITH_HOLE), feature("{}", TWO_PARTS)]);
        for (text, word) in [
            (two.as_str(), "2 features"),
            (r#"{"type":"Point","coordinates":[1,2]}"#, "Point"),
            ("{", "line 1"),
            ("[]", "nothing"),
            (r#"{"type":"Polygon","coordinates":[[[42,-93],[42,-94],[41,-94],[42,-93]]]}"#, "swapped"),
        ] {
            let problem = read_geojson_area(text).unwrap_err().to_string();
            assert!(problem.contains(word), "{text}: {problem}");
        }
    }

    #[test]
    fn features_a_line_each_are_read() {
        let lines: String = ["a", "b"]
            .map(|id| {
                format!("\u{1E}{}\n", feature(&format!(r#"{{"strip_id":"{id}"}}"#), WITH_HOLE).replace('\n', " "))
            })
            .concat();
        let file = read(&lines).unwrap();
        assert_eq!(
            file.strips.iter().map(|s| (s.feature, s.strip_id.as_str())).collect::<Vec<_>>(),
            [(1, "a"), (2, "b")]
        );
        assert!(read(&format!("{lines}{{")).unwrap_err().to_string().contains("line 3"));
    }

    #[test]
    fn one_feature_alone_and_a_byte_order_mark_are_read() {
        let text = format!("\u{FEFF}{}", feature(r#"{"Strip ID":"a","season":2025}"#, TWO_PARTS));
        let file = read(&text).unwrap();
        assert_eq!((file.strips.len(), file.strips[0].season, file.strips[0].shape.0.len()), (1, Some(2025), 2));
    }
}
