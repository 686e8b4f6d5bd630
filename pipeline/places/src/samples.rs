//! Files that tests read, made in code.

use std::io::{Cursor, Write};

use shapefile::dbase::{FieldValue, Record, TableWriterBuilder};
use shapefile::{Point, Polygon, PolygonRing};
use zip::write::SimpleFileOptions;

pub(crate) const WGS_84: &str = r#"GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]]"#;

/// A strip 1e-4 degrees wide and 3e-3 degrees long (8 m by 333 m at 42° N), the `place`th from the west.
pub(crate) fn rectangle(place: u32) -> Vec<[f64; 2]> {
    let west = -93.0 + f64::from(place) * 1e-4;
    let east = -93.0 + f64::from(place + 1) * 1e-4;
    vec![[west, 42.0], [east, 42.0], [east, 42.003], [west, 42.003], [west, 42.0]]
}

pub(crate) struct Shapefile {
    pub shp: Vec<u8>,
    pub dbf: Vec<u8>,
}

impl Shapefile {
    /// Rectangles side by side, with `strip_id` and `treatment`.
    pub(crate) fn of_strips(ids: &[&str]) -> Self {
        let shapes = (0..).zip(ids).map(|(place, id)| (*id, vec![PolygonRing::Outer(points(&rectangle(place)))]));
        Self::of_shapes(shapes.collect())
    }

    /// One strip with a hole, the hole written first.
    pub(crate) fn with_hole() -> Self {
        let hole = [[-92.99998, 42.001], [-92.99994, 42.001], [-92.99994, 42.002], [-92.99998, 42.001]];
        Self::of_shapes(vec![("1", vec![PolygonRing::Outer(points(&rectangle(0))), PolygonRing::Inner(points(&hole))])])
    }

    fn of_shapes(shapes: Vec<(&str, Vec<PolygonRing<Point>>)>) -> Self {
        let (mut shp, mut dbf) = (Cursor::new(Vec::new()), Cursor::new(Vec::new()));
        let table = TableWriterBuilder::new()
            .add_character_field("strip_id".try_into().unwrap(), 12)
            .add_character_field("Treatment".try_into().unwrap(), 12)
            .build_with_dest(&mut dbf);
        let mut writer = shapefile::Writer::new(shapefile::ShapeWriter::new(&mut shp), table);
        for (id, rings) in shapes {
            let mut record = Record::default();
            record.insert("strip_id".into(), FieldValue::Character(Some(id.into())));
            record.insert("Treatment".into(), FieldValue::Character(Some("30 psi".into())));
            writer.write_shape_and_record(&Polygon::with_rings(rings), &record).unwrap();
        }
        drop(writer);
        Self { shp: shp.into_inner(), dbf: dbf.into_inner() }
    }
}

fn points(ring: &[[f64; 2]]) -> Vec<Point> {
    ring.iter().map(|[x, y]| Point::new(*x, *y)).collect()
}

pub(crate) fn zipped(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        writer.start_file(*name, SimpleFileOptions::default()).unwrap();
        writer.write_all(bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

/// A geometry as GeoPackage stores it: MultiPolygon where there are several polygons.
pub(crate) fn geometry_blob(polygons: &[Vec<Vec<[f64; 2]>>], little: bool, envelope: u8) -> Vec<u8> {
    let whole = |number: u32| if little { number.to_le_bytes() } else { number.to_be_bytes() };
    let number = |number: f64| if little { number.to_le_bytes() } else { number.to_be_bytes() };
    let mut blob = vec![b'G', b'P', 0, u8::from(little) | (envelope << 1)];
    blob.extend(whole(4326));
    for _ in 0..[0, 4, 6, 6, 8][usize::from(envelope)] {
        blob.extend(number(0.0));
    }
    if polygons.len() > 1 {
        blob.push(u8::from(little));
        blob.extend(whole(6));
        blob.extend(whole(polygons.len() as u32));
    }
    for rings in polygons {
        blob.push(u8::from(little));
        blob.extend(whole(3));
        blob.extend(whole(rings.len() as u32));
        for ring in rings {
            blob.extend(whole(ring.len() as u32));
            ring.iter().flatten().for_each(|coordinate| blob.extend(number(*coordinate)));
        }
    }
    blob
}

/// Two strips and a row without a geometry; `{n}` stands for the geometry of rectangle n.
pub(crate) const GEOPACKAGE: &str = "
    CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT NOT NULL, srs_id INTEGER PRIMARY KEY, organization TEXT NOT NULL,
        organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL);
    CREATE TABLE gpkg_contents (table_name TEXT PRIMARY KEY, data_type TEXT NOT NULL, srs_id INTEGER);
    CREATE TABLE gpkg_geometry_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, srs_id INTEGER NOT NULL);
    CREATE TABLE strips (fid INTEGER PRIMARY KEY, \"Strip ID\" REAL, season INTEGER, note TEXT, geom BLOB);
    INSERT INTO gpkg_spatial_ref_sys VALUES ('WGS 84', 4326, 'EPSG', 4326, 'undefined');
    INSERT INTO gpkg_contents VALUES ('strips', 'features', 4326), ('map', 'tiles', 4326);
    INSERT INTO gpkg_geometry_columns VALUES ('strips', 'geom', 4326);
    INSERT INTO strips VALUES (1, 1, 2025, 'wet', x'{0}'), (2, 2, 2025, NULL, x'{1}'), (3, 3, 2025, 'lost', NULL);
";

/// A database that the statements make, as bytes.
pub(crate) fn geopackage(sql: &str) -> Vec<u8> {
    let mut sql = sql.to_owned();
    for place in 0..2 {
        let blob = geometry_blob(&[vec![rectangle(place)]], true, 1);
        let hex: String = blob.iter().map(|byte| format!("{byte:02x}")).collect();
        sql = sql.replace(&format!("{{{place}}}"), &hex);
    }
    let database = rusqlite::Connection::open_in_memory().unwrap();
    database.execute_batch(&sql).unwrap();
    database.serialize(rusqlite::MAIN_DB).unwrap().to_vec()
}
