//! GeoPackage, an SQLite database (OGC 12-128r18).
//!
//! A database is a program of sorts, so a file that anyone may have written is kept on a short lead: it is read into
//! memory and never written, views, triggers, virtual tables and computed columns are not touched, no extension is
//! loaded, and lengths and work are bounded.

use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::sync::atomic::{AtomicU32, Ordering};

use rusqlite::config::DbConfig;
use rusqlite::limits::Limit;
use rusqlite::types::ValueRef;
use rusqlite::{Connection, MAIN_DB, OpenFlags, OptionalExtension};

use crate::outline::outline;
use crate::properties::{Names, Property, raw};
use crate::strip::{Collected, Reading, StripFile};
use crate::{PlaceError, crs, well_known_binary};

const FORMAT: &str = "a GeoPackage";
/// Bytes of a database: it may hold a background map beside the strips.
const MOST_DATABASE_BYTES: usize = 256 << 20;
/// Bytes of one value.
const MOST_VALUE_BYTES: i32 = 32 << 20;
/// Bytes of all values that are read.
const MOST_READ_BYTES: usize = 256 << 20;
/// Steps of the database's machine between two looks at the clockwork, and how many looks there are: a hundred thousand
/// rows with fifty columns take a tenth.
const STEPS: (i32, u32) = (1_000, 100_000);
/// Sets of shapes whose names are read.
const MOST_LAYERS: usize = 1_000;

/// Reads the strips of a `.gpkg` file of at most 256 MiB. The file is not changed.
///
/// Errors as [`read_geopackage_bytes`], and where a program has the file open with changes that are not in it yet.
pub fn read_geopackage(path: &Path, reading: &Reading) -> Result<StripFile, PlaceError> {
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    if std::fs::metadata(&log).is_ok_and(|log| log.len() > 0) {
        let problem =
            "a program has it open, and its last changes are not in it yet; close that program and read it again";
        return Err(PlaceError::Open { problem: problem.into() });
    }
    let open = |error: std::io::Error| PlaceError::Open { problem: error.to_string() };
    let mut bytes = Vec::new();
    let file = File::open(path).map_err(open)?;
    file.take(MOST_DATABASE_BYTES as u64 + 1).read_to_end(&mut bytes).map_err(open)?;
    read_geopackage_bytes(bytes, reading)
}

/// Reads the strips of a GeoPackage in memory, features in the order of the table.
///
/// Every row is in the answer, as a strip or refused. Errors where it is no GeoPackage, damaged, or larger than 256
/// MiB, where it holds several sets of features and `reading.layer` names none of them, and where they are in another
/// system than WGS 84.
pub fn read_geopackage_bytes(mut bytes: Vec<u8>, reading: &Reading) -> Result<StripFile, PlaceError> {
    if bytes.len() > MOST_DATABASE_BYTES {
        return Err(PlaceError::TooMany { what: "bytes", limit: MOST_DATABASE_BYTES });
    }
    if !bytes.starts_with(b"SQLite format 3\0") {
        return Err(PlaceError::damaged(FORMAT, "its first bytes are not those of an SQLite database"));
    }
    // A database in memory has no write-ahead log; these two bytes say that there is one (SQLite, sqlite3_deserialize).
    if let Some(versions) = bytes.get_mut(18..20) {
        versions.fill(1);
    }
    let database = opened(&bytes).map_err(damaged)?;
    drop(bytes);
    let layer = the_layer(&database, reading)?;
    let mut collected = Collected::default();
    layer_system(&database, layer.srs_id)?.into_iter().for_each(|notice| collected.notice(notice));
    let columns = columns_of(&database, &layer.table)?;
    let is_geometry = |name: &String| name.eq_ignore_ascii_case(&layer.column);
    let Some(geometry) = columns.iter().position(is_geometry) else {
        return Err(PlaceError::damaged(FORMAT, format!("table {} has no column {}", layer.table, layer.column)));
    };
    let listed: Vec<String> = columns.iter().map(|name| quoted(name)).collect();
    let query = format!("SELECT {} FROM {}", listed.join(", "), quoted(&layer.table));
    let mut statement = database.prepare(&query).map_err(damaged)?;
    let mut rows = statement.query([]).map_err(damaged)?;
    let names = Names::whole(reading);
    let mut read = 0_usize;
    let at = |feature: usize, error| {
        let problem = format!("table {}, row {feature}: {error}; export it again", layer.table);
        PlaceError::damaged(FORMAT, problem)
    };
    for feature in 1.. {
        let Some(row) = rows.next().map_err(|error| at(feature, error))? else { break };
        let mut properties: Vec<Property> = Vec::new();
        let mut shape = Err("it has no geometry; draw the strip".to_owned());
        for (place, name) in columns.iter().enumerate() {
            let value = row.get_ref(place).map_err(|error| at(feature, error))?;
            read = read.saturating_add(value.as_bytes_or_null().ok().flatten().map_or(0, <[u8]>::len));
            match value {
                ValueRef::Blob(blob) if place == geometry => shape = well_known_binary::read(blob),
                _ if place == geometry => {}
                value => properties.extend(text_of(value).map(|text| (name.clone(), text))),
            }
        }
        if read > MOST_READ_BYTES {
            return Err(PlaceError::TooMany { what: "bytes of values", limit: MOST_READ_BYTES });
        }
        let found = shape.and_then(|shape| {
            if shape.srs_id != layer.srs_id {
                let (found, expected) = (shape.srs_id, layer.srs_id);
                return Err(format!("its geometry is in system {found}, but its table in {expected}: export it again"));
            }
            let (shape, notices) = outline(shape.polygons)?;
            Ok((names.strip(&properties, shape, feature)?, notices))
        });
        collected.push(feature, properties.len(), found, || raw(&properties))?;
    }
    Ok(collected.finish())
}

fn damaged(error: rusqlite::Error) -> PlaceError {
    PlaceError::damaged(FORMAT, format!("{error}; export it again"))
}

fn opened(bytes: &[u8]) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut database = Connection::open_in_memory_with_flags(flags)?;
    database.deserialize_read_exact(MAIN_DB, bytes, bytes.len(), true)?;
    for (setting, on) in [
        (DbConfig::SQLITE_DBCONFIG_DEFENSIVE, true),
        (DbConfig::SQLITE_DBCONFIG_TRUSTED_SCHEMA, false),
        (DbConfig::SQLITE_DBCONFIG_ENABLE_TRIGGER, false),
        (DbConfig::SQLITE_DBCONFIG_ENABLE_VIEW, false),
    ] {
        database.set_db_config(setting, on)?;
    }
    for (limit, value) in [
        (Limit::SQLITE_LIMIT_LENGTH, MOST_VALUE_BYTES),
        (Limit::SQLITE_LIMIT_SQL_LENGTH, 1 << 20),
        (Limit::SQLITE_LIMIT_EXPR_DEPTH, 100),
        (Limit::SQLITE_LIMIT_VDBE_OP, 100_000),
        (Limit::SQLITE_LIMIT_ATTACHED, 0),
        (Limit::SQLITE_LIMIT_TRIGGER_DEPTH, 1),
        (Limit::SQLITE_LIMIT_WORKER_THREADS, 0),
    ] {
        database.set_limit(limit, value)?;
    }
    let (steps, looks) = STEPS;
    let left = AtomicU32::new(looks);
    let spent = move || left.fetch_update(Ordering::Relaxed, Ordering::Relaxed, |left| left.checked_sub(1)).is_err();
    database.progress_handler(steps, Some(spent))?;
    database.pragma_update(None, "cell_size_check", true)?;
    Ok(database)
}

/// Where the features are.
struct Layer {
    table: String,
    column: String,
    srs_id: i32,
}

fn the_layer(database: &Connection, reading: &Reading) -> Result<Layer, PlaceError> {
    for table in ["gpkg_contents", "gpkg_geometry_columns", "gpkg_spatial_ref_sys"] {
        if !is_table(database, table)? {
            return Err(PlaceError::damaged(
                FORMAT,
                format!("it has no table {table}; export it as a GeoPackage again"),
            ));
        }
    }
    let query = "SELECT c.table_name, g.column_name, g.srs_id FROM gpkg_contents c, gpkg_geometry_columns g \
                 WHERE c.data_type = 'features' AND lower(c.table_name) = lower(g.table_name) \
                 ORDER BY c.table_name LIMIT ?1";
    let mut statement = database.prepare(query).map_err(damaged)?;
    let layers = statement
        .query_map([MOST_LAYERS as i64], |row| {
            Ok(Layer { table: row.get(0)?, column: row.get(1)?, srs_id: row.get(2)? })
        })
        .and_then(Iterator::collect::<rusqlite::Result<Vec<Layer>>>)
        .map_err(damaged)?;
    let named = |layer: &Layer| reading.layer.as_ref().is_none_or(|name| layer.table.eq_ignore_ascii_case(name));
    let mut layers: Vec<Layer> = layers.into_iter().filter(named).collect();
    match (layers.pop(), layers.is_empty()) {
        (Some(layer), true) if is_table(database, &layer.table)? => Ok(layer),
        (Some(layer), true) => {
            let problem =
                format!("{} is a view or another thing that is computed; export its features as a table", layer.table);
            Err(PlaceError::damaged(FORMAT, problem))
        }
        (Some(last), false) => {
            let names = layers.into_iter().chain([last]).map(|layer| layer.table).collect();
            Err(PlaceError::Several { names })
        }
        (None, _) => {
            let missing = reading
                .layer
                .as_ref()
                .map_or("a table of features".into(), |name| format!("a table {name} of features"));
            Err(PlaceError::damaged(FORMAT, format!("it has no {}", missing.trim_start_matches("a "))))
        }
    }
}

/// Whether a name is a plain table: no view, no virtual table.
fn is_table(database: &Connection, name: &str) -> Result<bool, PlaceError> {
    let query = "SELECT sql FROM sqlite_schema WHERE type = 'table' AND lower(name) = lower(?1)";
    let sql: Option<Option<String>> =
        database.query_row(query, [name], |row| row.get(0)).optional().map_err(damaged)?;
    let words = |sql: String| sql.split_whitespace().nth(1).is_some_and(|word| word.eq_ignore_ascii_case("table"));
    Ok(sql.flatten().is_some_and(words))
}

/// Columns that are stored, not computed.
fn columns_of(database: &Connection, table: &str) -> Result<Vec<String>, PlaceError> {
    let mut statement = database.prepare(&format!("PRAGMA table_xinfo({})", quoted(table))).map_err(damaged)?;
    let columns = statement
        .query_map([], |row| Ok((row.get::<_, String>("name")?, row.get::<_, i64>("hidden")?)))
        .and_then(Iterator::collect::<rusqlite::Result<Vec<_>>>)
        .map_err(damaged)?;
    Ok(columns.into_iter().filter(|(_, hidden)| *hidden == 0).map(|(name, _)| name).collect())
}

/// Judges the system of a layer by its row in `gpkg_spatial_ref_sys`; the standard sets 0 and -1 aside for undefined
/// ones.
fn layer_system(database: &Connection, srs_id: i32) -> Result<Option<String>, PlaceError> {
    match srs_id {
        0 => return Ok(Some(crs::unnamed())),
        -1 => return Err(PlaceError::OtherSystem { system: "an undefined flat system (srs_id -1)".into() }),
        _ => {}
    }
    let query = "SELECT srs_name, organization, organization_coordsys_id, definition FROM gpkg_spatial_ref_sys \
                 WHERE srs_id = ?1";
    let found = database
        .query_row(query, [srs_id], |row| {
            Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?, row.get::<_, i64>(2)?, row.get::<_, String>(3)?))
        })
        .optional()
        .map_err(damaged)?;
    match found {
        None => Err(PlaceError::OtherSystem {
            system: format!("a system that the file does not describe (srs_id {srs_id})"),
        }),
        Some((name, organization, code, _)) if organization.eq_ignore_ascii_case("EPSG") => {
            crs::of_code(u32::try_from(code).ok(), &name)
        }
        Some((_, _, _, definition)) => crs::of_definition(&definition),
    }
}

fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\""))
}

/// A value as text; nothing where there is none, or bytes that are no text.
fn text_of(value: ValueRef) -> Option<String> {
    match value {
        ValueRef::Null | ValueRef::Blob(_) => None,
        ValueRef::Integer(number) => Some(number.to_string()),
        ValueRef::Real(number) => Some(number.to_string()),
        ValueRef::Text(text) => Some(String::from_utf8_lossy(text).into_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::samples::{GEOPACKAGE, geometry_blob, geopackage, rectangle};

    fn read(sql: &str) -> Result<StripFile, PlaceError> {
        read_geopackage_bytes(geopackage(sql), &Reading::default())
    }

    fn problem(sql: &str) -> String {
        read(sql).unwrap_err().to_string()
    }

    #[test]
    fn features_are_read_with_their_properties_and_no_row_is_lost() {
        let file = read(GEOPACKAGE).unwrap();
        assert_eq!(
            file.strips.iter().map(|s| (s.feature, s.strip_id.as_str())).collect::<Vec<_>>(),
            [(1, "1"), (2, "2")]
        );
        assert_eq!((file.strips[0].season, file.strips[0].properties["note"].as_str()), (Some(2025), "wet"));
        let corners: Vec<[f64; 2]> = file.strips[1].shape.0[0].exterior().coords().map(|c| [c.x, c.y]).collect();
        assert_eq!(corners, rectangle(1));
        assert_eq!((file.refused.len(), file.refused[0].feature), (1, 3));
        assert!(file.refused[0].reason.contains("no geometry") && file.refused[0].raw.contains("Strip ID=3"));
    }

    #[test]
    fn another_system_is_refused_by_name() {
        let utm = "INSERT INTO gpkg_spatial_ref_sys VALUES ('NAD83 / UTM zone 15N', 26915, 'EPSG', 26915, 'PROJCS[]');
                   UPDATE gpkg_geometry_columns SET srs_id = 26915;";
        assert!(problem(&format!("{GEOPACKAGE}{utm}")).contains("NAD83 / UTM zone 15N"));
        assert!(problem(&format!("{GEOPACKAGE}UPDATE gpkg_geometry_columns SET srs_id = -1;")).contains("undefined"));
        assert!(problem(&format!("{GEOPACKAGE}UPDATE gpkg_geometry_columns SET srs_id = 77;")).contains("77"));
        let own = "INSERT INTO gpkg_spatial_ref_sys VALUES ('x', 9, 'me', 9, 'GEOGCS[\"x\",DATUM[\"D_North_American_1983\"]]');
                   UPDATE gpkg_geometry_columns SET srs_id = 9;";
        let file = read(&format!("{GEOPACKAGE}{own}")).unwrap();
        assert!(file.notices[0].contains("metre or two"), "{:?}", file.notices);
        assert!(file.refused[0].reason.contains("system 4326"), "{:?}", file.refused);
    }

    #[test]
    fn several_sets_of_features_are_named_unless_the_caller_names_one() {
        let two = format!(
            "{GEOPACKAGE}CREATE TABLE more (fid INTEGER PRIMARY KEY, strip_id TEXT, geom BLOB);
             INSERT INTO gpkg_contents VALUES ('more', 'features', 4326);
             INSERT INTO gpkg_geometry_columns VALUES ('more', 'geom', 4326);"
        );
        assert!(problem(&two).contains("more, strips"));
        let reading = Reading { layer: Some("MORE".into()), ..Reading::default() };
        assert_eq!(read_geopackage_bytes(geopackage(&two), &reading).unwrap(), StripFile::default());
        let reading = Reading { layer: Some("none".into()), ..Reading::default() };
        assert!(read_geopackage_bytes(geopackage(&two), &reading).unwrap_err().to_string().contains("table none"));
    }

    #[test]
    fn views_computed_columns_and_endless_queries_are_not_run() {
        let endless = format!(
            "{GEOPACKAGE}ALTER TABLE strips RENAME TO hidden;
             CREATE VIEW strips AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i AS geom FROM n;"
        );
        assert!(problem(&endless).contains("strips"), "{}", problem(&endless));
        let computed = format!("{GEOPACKAGE}ALTER TABLE strips ADD COLUMN big TEXT AS (hex(zeroblob(10000000)));");
        assert!(!read(&computed).unwrap().strips[0].properties.contains_key("big"));
        let contents = "ALTER TABLE gpkg_contents RENAME TO old; CREATE VIEW gpkg_contents AS SELECT * FROM old;";
        assert!(problem(&format!("{GEOPACKAGE}{contents}")).contains("gpkg_contents"));
    }

    #[test]
    fn a_database_in_write_ahead_mode_is_read_and_other_files_are_told_apart() {
        let mut bytes = geopackage(GEOPACKAGE);
        bytes[18..20].fill(2);
        assert_eq!(read_geopackage_bytes(bytes.clone(), &Reading::default()).unwrap().strips.len(), 2);
        bytes.truncate(5000);
        assert!(read_geopackage_bytes(bytes, &Reading::default()).is_err());
        assert!(read_geopackage_bytes(b"PK".to_vec(), &Reading::default()).unwrap_err().to_string().contains("SQLite"));
        assert!(problem("CREATE TABLE a (b);").contains("no table gpkg_contents"));
    }

    #[test]
    fn a_file_on_disk_is_read_and_one_with_waiting_changes_is_not() {
        let folder = std::env::temp_dir().join(format!("evenstand-places-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let (path, log) = (folder.join("strips.gpkg"), folder.join("strips.gpkg-wal"));
        std::fs::write(&path, geopackage(GEOPACKAGE)).unwrap();
        let whole = read_geopackage(&path, &Reading::default()).unwrap();
        std::fs::write(&log, b"changes").unwrap();
        let waiting = read_geopackage(&path, &Reading::default()).unwrap_err().to_string();
        std::fs::remove_dir_all(&folder).unwrap();
        assert_eq!(whole.strips.len(), 2);
        assert!(waiting.contains("close that program"), "{waiting}");
        assert!(matches!(read_geopackage(&path, &Reading::default()), Err(PlaceError::Open { .. })));
    }

    #[test]
    fn a_geometry_of_another_system_than_its_table_is_refused() {
        let mut blob = geometry_blob(&[vec![rectangle(0)]], true, 0);
        blob[4..8].copy_from_slice(&26915_i32.to_le_bytes());
        let hex: String = blob.iter().map(|byte| format!("{byte:02x}")).collect();
        let file = read(&format!("{GEOPACKAGE}UPDATE strips SET geom = x'{hex}' WHERE fid = 1;")).unwrap();
        assert!(file.refused[0].reason.contains("26915"), "{:?}", file.refused);
    }
}
