//! The files of a shapefile together.

use evenstand_bundle::Bundle;

use crate::dbf::{Row, read_table};
use crate::outline::outline;
use crate::properties::{Names, raw};
use crate::ring::nested;
use crate::shp::read_shapes;
use crate::strip::{Collected, MOST_BYTES, Reading, StripFile};
use crate::{PlaceError, crs};

/// Reads the strips of a shapefile: `.shp` and `.dbf`, and `.prj` and `.cpg` where they are there, in any case.
///
/// Every row of the `.dbf` and every shape of the `.shp` is in the answer, as a strip or refused; rows and shapes
/// belong together by their order. The `.shx` is not needed. Without a `.prj` the coordinates are taken as WGS 84, with
/// a notice.
///
/// Errors where there is no shapefile, where there are several and `reading.layer` names none of them, where a file is
/// damaged beyond its rows, and where the `.prj` names another system than WGS 84.
pub fn read_shapefile(bundle: &mut Bundle, reading: &Reading) -> Result<StripFile, PlaceError> {
    let shapes_name = the_shapes(bundle, reading)?;
    let stem = stem_of(&shapes_name).to_owned();
    let beside = |ending: &str, bundle: &Bundle| {
        let wanted = |name: &&String| {
            name.rsplit_once('.')
                .is_some_and(|(of, is)| of.eq_ignore_ascii_case(&stem) && is.eq_ignore_ascii_case(ending))
        };
        bundle.names().iter().find(wanted).cloned()
    };
    let table_name = beside("dbf", bundle).ok_or_else(|| PlaceError::Missing { missing: format!("{stem}.dbf") })?;
    let text_of = |ending: &str, bundle: &mut Bundle| match beside(ending, bundle) {
        Some(name) => small_text(bundle, &name).map(Some),
        None => Ok(None),
    };
    let (system, code_page) = (text_of("prj", bundle)?, text_of("cpg", bundle)?);
    let mut collected = Collected::default();
    match system.as_deref().map(crs::of_definition).transpose()? {
        None => collected.notice(format!("{stem}.prj is missing: {}", crs::unnamed())),
        Some(notice) => notice.into_iter().for_each(|notice| collected.notice(notice)),
    }
    let table = read_table(&bytes_of(bundle, &table_name)?, code_page.as_deref())?;
    table.notices.into_iter().for_each(|notice| collected.notice(notice));
    let names = Names::cut(reading);
    let mut shapes = read_shapes(&bytes_of(bundle, &shapes_name)?)?.into_iter();
    let mut rows = table.rows.into_iter();
    for feature in 1.. {
        let (shape, row) = (shapes.next(), rows.next());
        if shape.is_none() && row.is_none() {
            break;
        }
        let no_row = row.is_none();
        let Row { deleted, properties } = row.unwrap_or(Row { deleted: false, properties: Vec::new() });
        let found = match shape {
            _ if deleted => Err("its row is marked as deleted in the .dbf: remove the mark to use it".into()),
            _ if no_row => Err("it has a shape but no row in the .dbf: copy or export the files again".into()),
            None => Err("it has a row in the .dbf but no shape: copy or export the files again".into()),
            Some(rings) => rings
                .and_then(nested)
                .and_then(outline)
                .and_then(|(shape, notices)| Ok((names.strip(&properties, shape, feature)?, notices))),
        };
        collected.push(feature, properties.len(), found, || raw(&properties))?;
    }
    Ok(collected.finish())
}

/// The one `.shp`, or the one that the caller names.
fn the_shapes(bundle: &Bundle, reading: &Reading) -> Result<String, PlaceError> {
    let last = |name: &str| name.rsplit('/').next().unwrap_or_default().to_owned();
    let is_shapes = |name: &&String| {
        let last = last(name);
        !last.starts_with('.') && last.rsplit_once('.').is_some_and(|(_, ending)| ending.eq_ignore_ascii_case("shp"))
    };
    let is_named =
        |name: &&String| reading.layer.as_ref().is_none_or(|layer| stem_of(&last(name)).eq_ignore_ascii_case(layer));
    let found: Vec<&String> = bundle.names().iter().filter(is_shapes).filter(is_named).collect();
    match found.as_slice() {
        [one] => Ok((*one).clone()),
        [] => Err(PlaceError::Missing {
            missing: reading.layer.as_ref().map_or("a file ending in .shp".into(), |layer| format!("{layer}.shp")),
        }),
        several => Err(PlaceError::Several { names: several.iter().map(|name| (*name).clone()).collect() }),
    }
}

fn stem_of(name: &str) -> &str {
    name.rsplit_once('.').map_or(name, |(stem, _)| stem)
}

fn bytes_of(bundle: &mut Bundle, name: &str) -> Result<Vec<u8>, PlaceError> {
    let bytes = bundle.read(name)?;
    if bytes.len() > MOST_BYTES { Err(PlaceError::TooMany { what: "bytes", limit: MOST_BYTES }) } else { Ok(bytes) }
}

/// Text of a `.prj` or `.cpg`, which are one line: no more than its beginning is looked at.
fn small_text(bundle: &mut Bundle, name: &str) -> Result<String, PlaceError> {
    let bytes = bundle.read(name)?;
    Ok(String::from_utf8_lossy(bytes.get(..65_536).unwrap_or(&bytes)).into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::samples::{Shapefile, WGS_84, rectangle, zipped};
    use evenstand_bundle::Limits;

    fn read(files: &[(&str, &[u8])], reading: &Reading) -> Result<StripFile, PlaceError> {
        read_shapefile(&mut Bundle::of_bytes(zipped(files), Limits::default()).unwrap(), reading)
    }

    #[test]
    fn a_shapefile_in_a_zip_is_read_whatever_the_case_of_its_names() {
        let made = Shapefile::of_strips(&["1", "2"]);
        let files = [
            ("trial/Strips.SHP", &made.shp[..]),
            ("trial/strips.dbf", &made.dbf),
            ("trial/STRIPS.PRJ", WGS_84.as_bytes()),
        ];
        let file = read(&files, &Reading::default()).unwrap();
        assert_eq!(file.strips.iter().map(|s| s.strip_id.as_str()).collect::<Vec<_>>(), ["1", "2"]);
        assert_eq!(file.strips[1].properties["treatment"], "30 psi");
        assert_eq!(file.strips[1].feature, 2);
        assert!(file.refused.is_empty() && file.notices.is_empty(), "{file:?}");
        let corners: Vec<[f64; 2]> = file.strips[0].shape.0[0].exterior().coords().map(|c| [c.x, c.y]).collect();
        let mut expected = rectangle(0);
        expected.reverse();
        assert!(corners == rectangle(0) || corners == expected, "{corners:?}");
    }

    #[test]
    fn without_a_prj_it_is_read_with_a_notice_and_in_metres_it_is_refused() {
        let made = Shapefile::of_strips(&["1"]);
        let bare = [("a.shp", &made.shp[..]), ("a.dbf", &made.dbf)];
        let file = read(&bare, &Reading::default()).unwrap();
        assert!(file.notices[0].contains("a.prj is missing"), "{:?}", file.notices);
        let projected = br#"PROJCS["WGS 84 / UTM zone 15N",GEOGCS["WGS 84"]]"#;
        let problem = read(&[bare[0], bare[1], ("a.prj", projected)], &Reading::default()).unwrap_err();
        assert!(problem.to_string().contains("UTM zone 15N"), "{problem}");
    }

    #[test]
    fn several_shapefiles_are_named_unless_the_caller_names_one() {
        let made = Shapefile::of_strips(&["1"]);
        let files = [("a.shp", &made.shp[..]), ("a.dbf", &made.dbf), ("b.shp", &made.shp), ("b.dbf", &made.dbf)];
        let problem = read(&files, &Reading::default()).unwrap_err().to_string();
        assert!(problem.contains("a.shp, b.shp"), "{problem}");
        let named = Reading { layer: Some("B".into()), ..Reading::default() };
        assert_eq!(read(&files, &named).unwrap().strips.len(), 1);
        assert!(read(&files[..1], &Reading::default()).unwrap_err().to_string().contains("a.dbf is missing"));
        assert!(matches!(read(&files[1..2], &Reading::default()), Err(PlaceError::Missing { .. })));
    }

    #[test]
    fn rows_and_shapes_that_have_no_partner_are_refused_and_none_is_lost() {
        let (two, three) = (Shapefile::of_strips(&["1", "2"]), Shapefile::of_strips(&["1", "2", "3"]));
        let file = read(&[("a.shp", &two.shp), ("a.dbf", &three.dbf)], &Reading::default()).unwrap();
        assert_eq!((file.strips.len(), file.refused[0].feature), (2, 3));
        assert!(file.refused[0].raw.contains("strip_id=3"), "{}", file.refused[0].raw);
        let file = read(&[("a.shp", &three.shp), ("a.dbf", &two.dbf)], &Reading::default()).unwrap();
        assert!(file.refused[0].reason.contains("no row"), "{:?}", file.refused);
        let cut = &three.shp[..three.shp.len() - 20];
        let file = read(&[("a.shp", cut), ("a.dbf", &three.dbf)], &Reading::default()).unwrap();
        assert_eq!((file.strips.len(), file.refused.len()), (2, 1));
    }

    #[test]
    fn what_an_independent_reader_reads_is_read_here_too() {
        let made = Shapefile::with_hole();
        let file = read(&[("a.shp", &made.shp), ("a.dbf", &made.dbf)], &Reading::default()).unwrap();
        let reader = shapefile::ShapeReader::new(std::io::Cursor::new(made.shp)).unwrap();
        let theirs = reader.read_as::<shapefile::Polygon>().unwrap();
        let rings = |shape: &shapefile::Polygon| -> Vec<Vec<[f64; 2]>> {
            shape.rings().iter().map(|ring| ring.points().iter().map(|p| [p.x, p.y]).collect()).collect()
        };
        let polygon = &file.strips[0].shape.0[0];
        let ours: Vec<Vec<[f64; 2]>> = std::iter::once(polygon.exterior())
            .chain(polygon.interiors())
            .map(|ring| ring.coords().map(|c| [c.x, c.y]).collect())
            .collect();
        assert_eq!(ours, rings(&theirs[0]));
        assert_eq!(ours.len(), 2);
    }

    #[test]
    fn points_and_lines_are_refused_as_such() {
        let made = Shapefile::of_strips(&["1"]);
        for (kind, word) in [(1, "point"), (3, "line"), (0, "no shape"), (77, "kind 77")] {
            let mut shp = made.shp.clone();
            shp[108] = kind;
            let file = read(&[("a.shp", &shp), ("a.dbf", &made.dbf)], &Reading::default()).unwrap();
            assert!(file.refused[0].reason.contains(word), "{:?}", file.refused);
        }
    }
}
