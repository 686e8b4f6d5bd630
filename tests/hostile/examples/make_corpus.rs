//! Writes the made inputs of `corpus/` again: small, invented, one or more for every target. Kept crashes are left alone.
//!
//! `cargo run --release --workspace --example make_corpus`

#![allow(clippy::unwrap_used)]

use std::fs;
use std::io::{Cursor, Write};
use std::path::Path;
use std::sync::Arc;

use arrow::array::{
    ArrayRef, Date32Array, Float64Array, Int64Array, RecordBatch, StringArray, StructArray, TimestampMicrosecondArray,
};
use arrow::datatypes::{DataType, Field};
use evenstand_bundle::{Bundle, Limits};
use evenstand_hostile::joined;
use parquet::arrow::ArrowWriter;
use parquet::basic::Compression;
use parquet::file::properties::WriterProperties;
use rust_xlsxwriter::{ExcelDateTime, Format, Workbook};
use shapefile::dbase::{FieldValue, Record, TableWriterBuilder};
use shapefile::{Point, Polygon, PolygonRing};

fn main() {
    text();
    words();
    workbooks();
    tables();
    outlines();
    task_data();
    choices();
}

fn put(target: &str, name: &str, bytes: &[u8]) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus").join(target);
    fs::create_dir_all(&folder).unwrap();
    fs::write(folder.join(name), bytes).unwrap();
}

fn text() {
    let counts = "field_id,season,strip_id,sample_id,row_length_ft,counted_at,emerged\n\
        North,2025,1,a,17.4,2025-05-08T07:30:00Z,30\nNorth,2025,2,\"b, west\",17.4,2025-05-08,31\nSouth,2024,3,\"two\nlines\",17.4,,29\n\n";
    for target in ["text", "proposal"] {
        put(target, "counts", &joined(&[("stand_count.csv", counts.as_bytes())]));
    }
    let foreign = b"Trial report,,,\nField,Block,Plot,Plants 8 May,Plants 12 May\nNorth,1,101,20,31\nNorth,1,102,22,33\nNorth,2,201,x,30\n";
    put("proposal", "foreign", &joined(&[("Counts of May.csv", foreign)]));
    let german = "Feld;Tag;Niederschlag mm;Tmin\nWest;01.05.2025;0,2;4,5\nWest;02.05.2025;1.200,0;-1,5\n";
    put("proposal", "german", &joined(&[("Wetter.csv", german.as_bytes())]));
    let log = "field_id;season;time;set_pressure_psi;speed_mph;lat;lon\r\nNorth;2025;2025-04-28 10:00:00;30;5.1;42.0;-93.0\r\n";
    put("text", "log", &joined(&[("setting_log.csv", log.as_bytes())]));
    let utf16: Vec<u8> = "field_id\tseason\tdate\train_in\nWeiß\t2025\t2025-05-01\t0.2\n"
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    put("text", "utf16", &joined(&[("weather.csv", &[&[0xFF, 0xFE], utf16.as_slice()].concat())]));
    put("text", "notes", &joined(&[("soil_note.csv", b"field_id,season,taken_at,texture,sand_pct,crust,note\nN,2025,2025-05-01,silt loam,20,yes,\"a \"\"note\"\"\"\n")]));

    let wide = "[[source]]\nfile = \"hostile\"\nkind = \"stand_count\"\ndecimal = \",\"\nthousands = \".\"\nmissing = \"x\"\n\
        constants = { field_id = \"A\", season = 2025 }\ncolumns.strip_id = \"plot\"\n[source.wide]\ncolumns = \"V*\"\n\
        name_to = \"counted_at\"\nvalue_to = \"emerged\"\nday_zero = \"2025-04-28\"\nnewly = true";
    put(
        "foreign_text",
        "wide",
        &joined(&[("evenstand.toml", wide.as_bytes()), ("counts.csv", b"plot;V7;V9;V12\n1;10;1.040;x\n2;;35;12\n")]),
    );
    let words = "timezone = \"Europe/Berlin\"\n[[source]]\nfile = \"*\"\nkind = \"soil_note\"\nencoding = \"windows-1252\"\ndelimiter = \"tab\"\n\
        time_formats = [\"%d.%m.%Y %H:%M\", \"%d.%m.%y\"]\nskip_rows_with = \"Total\"\nskip_rows = 3\nignore = \"Rest\"\n\
        [source.columns]\nfield_id = [\"Feld\", \"Teil\"]\ntaken_at = { from = [\"Tag\", \"Zeit\"] }\nresidue_cover = { from = \"Rest %\", unit = \"pct\" }\n\
        [source.constants]\nseason = 2025\n[source.synonyms.crust]\nja = \"yes\"\nnein = \"no\"";
    let notes = b"Feld\tTeil\tTag\tZeit\tRest %\tcrust\nN\xFCrnberg\t1\t08.05.2025\t07:30\t30\tja\nweg\t\t\t\t\t\nTotal\t\t\t\t3\t\n";
    put("foreign_text", "words", &joined(&[("evenstand.toml", words.as_bytes()), ("notes.txt", notes)]));

    let rows = "[[source]]\nfile = \"*\"\nkind = \"stand_count\"\nheader_row = [2, 3]\n[source.columns]\nfield_id = \"Field\"\nstrip_id = [\"Block\", \"Plot\"]\n\
        row_length = { from = \"Sample / Row length\", unit = \"ft\" }\nemerged = \"Sample / Up\"\n[source.constants]\nseason = 2025";
    let table = b"Counts of May,,,,\n,,,Sample,\nField,Block,Plot,Row length,Up\nN,1,2,17.4,30\nN,1,3,17.4,31\n";
    put("header_rows", "two", &joined(&[("evenstand.toml", rows.as_bytes()), ("counts.csv", table)]));
    let none = "[[source]]\nfile = \"*\"\nkind = \"weather\"\ndelimiter = \"blanks\"\nheader_row = 0\ncolumns = { date = \"A\", tmin_c = \"B\" }\nconstants = { season = 2025 }";
    put(
        "header_rows",
        "none",
        &joined(&[("evenstand.toml", none.as_bytes()), ("w.txt", b"2025-05-01   4.5\n2025-05-02 5.5\n")]),
    );

    let widths = "[[source]]\nfile = \"*\"\nkind = \"weather\"\nwidths = [10, 6, 6, 5]\nheader_row = 1\ndecimal = \",\"\n[source.columns]\ndate = \"Datum\"\ntmin = { from = \"Tmin\", unit = \"c\" }\ntmax = { from = \"Tmax\", unit = \"f\" }";
    let columns = "Datum      Tmin  Tmax  mm\n2025-05-01   4,5  61,2  0\n2025-05-02  -5,5  60,0 12\n";
    put("widths", "weather", &joined(&[("evenstand.toml", widths.as_bytes()), ("w.txt", columns.as_bytes())]));
}

fn words() {
    let headers: [&[u8]; 5] = [
        b"\x05field_id,season,strip_id,row_length_ft,emerged,counted_at\nA,2025,1,17.5,30,2025-05-08T06:00Z\n",
        b"\x02field_id,season,strip_id,set_pressure_psi,actual_force_lbf,speed_km_h,time\nA,2025,1,30,62,8,2025-04-28T06:00:00+02:00\n",
        b"\x00field_id,season,planted_at,row_spacing_in,seed_rate_per_ac,timezone,germination_pct\nA,2025,2025-04-28,30,33200,America/Chicago,95\n",
        b"\x03field_id,season,taken_at,depth_in,sand_pct,clay_pct,soil_temp_f,residue_cover_pct\nA,2025,2025-04-28,2,20,30,55,40\n",
        b"\x04field_id,season,strip_id,trench_shut,light_at_seed,dig_effort,seed_depth_cm\nA,2025,1,partly,no,3,4.5\n",
    ];
    for (number, header) in headers.into_iter().enumerate() {
        put("header", &number.to_string(), header);
    }
    put(
        "quantity",
        "lengths",
        b"400 m\n1320ft\n30in\n 28 psi\n200 kPa\n2 %\n82000/ha\n8.2 per m2\n33200/ac\n-4 m\n+.5\n20psi\n",
    );
    let times = "timezone = \"America/Chicago\"\ntime_formats = [\"%d.%m.%Y %H:%M\", \"%m/%d/%Y\", \"%s\", \"%A %d %B %Y %I:%M %p\"]";
    let lines = "2025-05-08T07:30:00Z\n2025-05-08 07:30\n08.05.2025 07:30\n05/08/2025\n2025-W19-4\n1746689400\nThursday 08 May 2025 7:30 am\n9999-12-31T23:59:59\n0000-01-01\n2025-03-09 02:30\n2025-05-08T07:30+99:00\n20250508T0730";
    put("time", "many", &joined(&[("evenstand.toml", times.as_bytes()), ("times", lines.as_bytes())]));
    let settings = "name = \"North\"\ntimezone = \"America/Chicago\"\ntime_formats = [\"%d.%m.%Y\"]\non_time_window_h = 36\ndefault_force_lbf = 40\nseed = 7\n\
        [units]\nforce = \"lbf\"\n[condition]\nby = [\"moisture\", \"residue\"]\n[tolerance]\non_time_share = 0.03\n[display]\nunits = \"us\"\n\
        [hardware]\npool_closers = true\n[place]\nbuffer_m = 0.5\n[[planter]]\nid = \"north-12\"\ncloser = \"discs\"\n[planter.closing]\nkind = \"pressure\"\n\
        min_psi = 0\nmax_psi = 60\nstep_psi = 1\ndefault_psi = 30\nforce_n = [[0, 0], [200, 205], [400, 425]]\n";
    put("settings", "pressure", settings.as_bytes());
    let weighed = "[[planter]]\nid = \"a\"\n[planter.closing]\nkind = \"pressure\"\nmin_psi = 0\nmax_psi = 75\n\
        weighed = [{ pressure_psi = 15, force_lbf = [29, 31, 30] }, { pressure_psi = 30, force_lbf = [60, 61] }, { pressure_psi = 60, force_lbf = 118 }]\n\
        [[planter]]\nid = \"b\"\n[planter.closing]\nkind = \"position\"\ndefault = \"2\"\n[[planter.closing.position]]\nlabel = \"1\"\nweighed_lbf = [28, 30, 29]\n\
        [[planter.closing.position]]\nlabel = \"2\"\nforce_n = 200\n";
    put("settings", "weighed", weighed.as_bytes());
    let source = "[[source]]\nfile = \"Counts/*.xlsx\"\nkind = \"stand_count\"\nsheet = \"May*\"\nrange = \"B3:H60\"\nheader_row = [3, 4]\ndecimal = \",\"\n\
        time_formats = \"%d.%m.%Y\"\nmissing = [\"x\", \"-9999\"]\nconstants = { season = 2025 }\n[source.columns]\nfield_id = \"Field\"\n\
        strip_id = [\"Block\", \"Plot\"]\nrow_length = { from = \"Sample / Row length\", unit = \"ft\" }\n[source.synonyms.tillage]\ntill = \"full\"\n\
        [source.wide]\ncolumns = \"Stand *\"\nname_to = \"counted_at\"\nvalue_to = \"emerged\"\nnames = { \"Stand 1\" = \"2025-05-08\" }\n\
        [[source]]\nfile = [\"**/task*\", \"logs/?.zip\"]\nkind = \"setting_log\"\n[[source.channel]]\ncolumn = \"set_pressure_kpa\"\nddi = \"E010\"\nelement = \"Row 1\"\n";
    put("source", "both", source.as_bytes());
}

fn workbooks() {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    for (column, name) in ["field_id", "season", "strip_id", "counted_at", "emerged"].into_iter().enumerate() {
        sheet.write_string(0, column as u16, name).unwrap();
    }
    let day = Format::new().set_num_format("yyyy-mm-dd hh:mm");
    for strip in 1..4 {
        sheet.write_string(strip, 0, "North").unwrap();
        sheet.write_number(strip, 1, 2025).unwrap();
        sheet.write_string(strip, 2, format!("s{strip}")).unwrap();
        let at = ExcelDateTime::from_ymd(2025, 5, 8).unwrap().and_hms(7, 30, 0).unwrap();
        sheet.write_datetime_with_format(strip, 3, &at, &day).unwrap();
        sheet.write_number(strip, 4, 70 - strip).unwrap();
    }
    sheet.merge_range(5, 0, 6, 1, "merged", &Format::new()).unwrap();
    sheet.write_formula(7, 0, "=1+1").unwrap();
    let bytes = book.save_to_buffer().unwrap();
    put("xlsx", "counts", &unzipped(&bytes, &["docProps", "theme"]));

    let content = "<?xml version=\"1.0\"?><office:document-content xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\" xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\" xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\"><office:body><office:spreadsheet><table:table table:name=\"stand_count\"><table:table-row><table:table-cell office:value-type=\"string\"><text:p>field_id</text:p></table:table-cell><table:table-cell office:value-type=\"string\"><text:p>season</text:p></table:table-cell><table:table-cell office:value-type=\"string\"><text:p>strip_id</text:p></table:table-cell><table:table-cell office:value-type=\"string\"><text:p>counted_at</text:p></table:table-cell><table:table-cell office:value-type=\"string\"><text:p>emerged</text:p></table:table-cell></table:table-row><table:table-row table:number-rows-repeated=\"3\"><table:table-cell office:value-type=\"string\"><text:p>North<text:s text:c=\"2\"/>4</text:p></table:table-cell><table:table-cell office:value-type=\"float\" office:value=\"2025\"><text:p>2025</text:p></table:table-cell><table:table-cell table:number-columns-spanned=\"1\" office:value-type=\"string\"><text:p>1</text:p></table:table-cell><table:table-cell office:value-type=\"date\" office:date-value=\"2025-05-09T07:30:00\"/><table:table-cell office:value-type=\"float\" office:value=\"61\"/></table:table-row></table:table></office:spreadsheet></office:body></office:document-content>";
    put(
        "ods",
        "counts",
        &joined(&[
            ("mimetype", b"application/vnd.oasis.opendocument.spreadsheet"),
            ("content.xml", content.as_bytes()),
        ]),
    );
    let flat = content.replace("office:document-content", "office:document");
    put("xls", "flat_ods", flat.as_bytes());
    put("xls", "compound", &compound(&stream()));
    put("xls", "bare", &stream());
    put("xls", "zip", &bytes);
}

/// Unpacked parts of an archive but those whose names hold one of these.
fn unzipped(archive: &[u8], without: &[&str]) -> Vec<u8> {
    let mut bundle = Bundle::of_bytes(archive.to_vec(), Limits::default()).unwrap();
    let names: Vec<String> =
        bundle.names().iter().filter(|name| !without.iter().any(|part| name.contains(part))).cloned().collect();
    let files: Vec<(String, Vec<u8>)> = names
        .into_iter()
        .map(|name| {
            let bytes = bundle.read(&name).unwrap();
            (name, bytes)
        })
        .collect();
    let files: Vec<(&str, &[u8])> = files.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect();
    joined(&files)
}

fn record(number: u16, bytes: &[u8]) -> Vec<u8> {
    [&number.to_le_bytes()[..], &(bytes.len() as u16).to_le_bytes(), bytes].concat()
}

/// A workbook stream of one sheet (BIFF8): shared texts, a number, a text and a packed number.
fn stream() -> Vec<u8> {
    let begin = record(0x0809, &[0, 6, 5, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]);
    let texts = ["field_id", "season", "strip_id", "emerged", "North"];
    let mut shared = vec![9, 0, 0, 0, 5, 0, 0, 0];
    for text in texts {
        shared.extend((text.len() as u16).to_le_bytes());
        shared.push(0);
        shared.extend(text.as_bytes());
    }
    let shared = record(0x00FC, &shared);
    let end = record(0x000A, &[]);
    let name = b"stand_count";
    let place = begin.len() + shared.len() + end.len() + 4 + 8 + name.len();
    let sheet = record(0x0085, &[&(place as u32).to_le_bytes()[..], &[0, 0, name.len() as u8, 0], name].concat());
    let label = |row: u16, column: u16, text: u32| {
        record(0x00FD, &[&row.to_le_bytes()[..], &column.to_le_bytes(), &[0, 0], &text.to_le_bytes()].concat())
    };
    let number = |row: u16, column: u16, value: f64| {
        record(0x0203, &[&row.to_le_bytes()[..], &column.to_le_bytes(), &[0, 0], &value.to_le_bytes()].concat())
    };
    let mut cells = vec![record(0x0809, &[0, 6, 0x10, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0])];
    cells.extend((0..4).map(|column| label(0, column, u32::from(column))));
    for row in 1..4 {
        cells.extend([label(row, 0, 4), number(row, 1, 2025.0), number(row, 2, f64::from(row)), number(row, 3, 61.0)]);
    }
    cells.push(record(0x00BD, &[4, 0, 0, 0, 0, 0, 0, 0, 0x40, 0x40, 0, 0, 0, 0, 0x40, 0x40, 1, 0]));
    cells.push(record(0x000A, &[]));
    [begin, sheet, shared, end, cells.concat()].concat()
}

/// A compound file of one stream with sectors of 512 bytes ([MS-CFB]).
fn compound(stream: &[u8]) -> Vec<u8> {
    // A stream shorter than 4096 bytes would live in small sectors.
    let mut stream = stream.to_vec();
    stream.resize(stream.len().max(4096).next_multiple_of(512), 0);
    let sectors = stream.len() / 512;
    let mut header = b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1".to_vec();
    header.extend([0; 16]);
    for half in [0x3E_u16, 3, 0xFFFE, 9, 6, 0, 0, 0] {
        header.extend(half.to_le_bytes());
    }
    for word in [0, 1, 1, 0, 4096, 0xFFFF_FFFE, 0, 0xFFFF_FFFE, 0, 0] {
        header.extend(u32::to_le_bytes(word));
    }
    header.resize(512, 0xFF);
    let mut table = Vec::new();
    table.extend(0xFFFF_FFFD_u32.to_le_bytes());
    table.extend(0xFFFF_FFFE_u32.to_le_bytes());
    for sector in 0..sectors {
        let next = if sector + 1 == sectors { 0xFFFF_FFFE } else { sector as u32 + 3 };
        table.extend(next.to_le_bytes());
    }
    table.resize(512, 0xFF);
    let entry = |name: &str, kind: u8, child: u32, start: u32, size: u64| {
        let mut bytes: Vec<u8> = name.encode_utf16().chain([0]).flat_map(u16::to_le_bytes).collect();
        let length = bytes.len() as u16;
        bytes.resize(64, 0);
        bytes.extend(length.to_le_bytes());
        bytes.extend([kind, 1]);
        for word in [0xFFFF_FFFF, 0xFFFF_FFFF, child] {
            bytes.extend(u32::to_le_bytes(word));
        }
        bytes.resize(116, 0);
        bytes.extend(start.to_le_bytes());
        bytes.extend(size.to_le_bytes());
        bytes
    };
    let mut folder = entry("Root Entry", 5, 1, 0xFFFF_FFFE, 0);
    folder.extend(entry("Workbook", 2, 0xFFFF_FFFF, 2, stream.len() as u64));
    folder.resize(512, 0);
    [header, table, folder, stream].concat()
}

fn tables() {
    let rows = 12;
    let strips: Vec<String> = (0..rows).map(|strip| strip.to_string()).collect();
    let times = TimestampMicrosecondArray::from(vec![1_746_689_400_000_000; rows]).with_timezone("UTC");
    let columns: Vec<(&str, ArrayRef)> = vec![
        ("field_id", Arc::new(StringArray::from(vec!["North"; rows]))),
        ("season", Arc::new(Int64Array::from(vec![2025; rows]))),
        ("strip_id", Arc::new(StringArray::from(strips))),
        ("row_length_m", Arc::new(Float64Array::from(vec![5.3; rows]))),
        ("counted_at", Arc::new(times)),
        ("emerged", Arc::new(Int64Array::from_iter_values(0..rows as i64))),
    ];
    let batch = RecordBatch::try_from_iter(columns.clone()).unwrap();
    for (name, packing) in [("plain", Compression::UNCOMPRESSED), ("snappy", Compression::SNAPPY)] {
        let mut bytes = Vec::new();
        let properties = WriterProperties::builder().set_compression(packing).build();
        let mut writer = ArrowWriter::try_new(&mut bytes, batch.schema(), Some(properties)).unwrap();
        writer.write(&batch).unwrap();
        writer.close().unwrap();
        put("parquet", name, &bytes);
    }
    // Days that no calendar has, and times of no zone.
    let odd = RecordBatch::try_from_iter([
        columns[0].clone(),
        columns[2].clone(),
        ("counted_at", Arc::new(Date32Array::from(vec![i32::MAX; rows])) as ArrayRef),
        ("season", Arc::new(Int64Array::from(vec![i64::MIN; rows]))),
        ("emerged", Arc::new(TimestampMicrosecondArray::from(vec![i64::MAX; rows]))),
    ])
    .unwrap();
    let mut bytes = Vec::new();
    let mut writer = ArrowWriter::try_new(&mut bytes, odd.schema(), None).unwrap();
    writer.write(&odd).unwrap();
    writer.close().unwrap();
    put("parquet", "days_beyond_the_calendar", &bytes);
    // A column of records within records.
    let inner = StructArray::from(vec![(Arc::new(Field::new("b", DataType::Float64, false)), columns[3].1.clone())]);
    let nested =
        RecordBatch::try_from_iter([columns[0].clone(), ("a", Arc::new(inner) as ArrayRef), columns[5].clone()])
            .unwrap();
    let mut bytes = Vec::new();
    let mut writer = ArrowWriter::try_new(&mut bytes, nested.schema(), None).unwrap();
    writer.write(&nested).unwrap();
    writer.close().unwrap();
    put("parquet", "nested", &bytes);
}

/// A strip 1e-4 degrees wide and 3e-3 degrees long, the `place`th from the west.
fn rectangle(place: u32) -> Vec<[f64; 2]> {
    let (west, east) = (-93.0 + f64::from(place) * 1e-4, -93.0 + f64::from(place + 1) * 1e-4);
    vec![[west, 42.0], [east, 42.0], [east, 42.003], [west, 42.003], [west, 42.0]]
}

fn outlines() {
    let geojson = r#"{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"EPSG:4326"}},"features":[
{"type":"Feature","properties":{"field_id":"N","strip_id":"a","season":2025,"block":1},"geometry":{"type":"Polygon","coordinates":
[[[-93.0,42.0],[-92.9,42.0],[-92.9,42.1],[-93.0,42.1],[-93.0,42.0]],[[-92.98,42.02],[-92.92,42.02],[-92.92,42.08],[-92.98,42.02]]]}},
{"type":"Feature","properties":{"field_id":"N","season":2025,"strip_id":"b"},"geometry":{"type":"MultiPolygon","coordinates":
[[[[-92.9,42.0],[-92.8,42.0],[-92.8,42.1],[-92.9,42.1],[-92.9,42.0]]],[[[-92.7,42.0],[-92.6,42.0],[-92.65,42.1],[-92.7,42.0]]]]}}]}"#;
    put("geojson", "strips", geojson.as_bytes());
    put(
        "geojson",
        "field",
        br#"{"type":"Polygon","coordinates":[[[-93.0,42.0],[-92.99,42.0],[-92.99,42.01],[-93.0,42.01],[-93.0,42.0]]]}"#,
    );

    let blob = |place| {
        let mut blob = b"GP\0\x01".to_vec();
        blob.extend(4326_u32.to_le_bytes());
        blob.push(1);
        for count in [3_u32, 1, 5] {
            blob.extend(count.to_le_bytes());
        }
        rectangle(place).iter().flatten().for_each(|number| blob.extend(number.to_le_bytes()));
        blob.iter().map(|byte| format!("{byte:02x}")).collect::<String>()
    };
    let database = rusqlite::Connection::open_in_memory().unwrap();
    let sql = format!(
        "PRAGMA page_size = 512;
         CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT, srs_id INTEGER PRIMARY KEY, organization TEXT, organization_coordsys_id INTEGER, definition TEXT);
         CREATE TABLE gpkg_contents (table_name TEXT PRIMARY KEY, data_type TEXT, srs_id INTEGER);
         CREATE TABLE gpkg_geometry_columns (table_name TEXT, column_name TEXT, srs_id INTEGER);
         CREATE TABLE strips (fid INTEGER PRIMARY KEY, \"Strip ID\" REAL, season INTEGER, note TEXT, geom BLOB);
         INSERT INTO gpkg_spatial_ref_sys VALUES ('WGS 84', 4326, 'EPSG', 4326, 'undefined');
         INSERT INTO gpkg_contents VALUES ('strips', 'features', 4326), ('map', 'tiles', 4326);
         INSERT INTO gpkg_geometry_columns VALUES ('strips', 'geom', 4326);
         INSERT INTO strips VALUES (1, 1, 2025, 'wet', x'{}'), (2, 2, 2025, NULL, x'{}'), (3, 3, 2025, 'lost', NULL);",
        blob(0),
        blob(1)
    );
    database.execute_batch(&sql).unwrap();
    put("geopackage", "strips", &database.serialize(rusqlite::MAIN_DB).unwrap());

    let (mut shp, mut dbf) = (Cursor::new(Vec::new()), Cursor::new(Vec::new()));
    let table = TableWriterBuilder::new()
        .add_character_field("strip_id".try_into().unwrap(), 12)
        .add_character_field("Treatment".try_into().unwrap(), 12)
        .build_with_dest(&mut dbf);
    let mut writer = shapefile::Writer::new(shapefile::ShapeWriter::new(&mut shp), table);
    for place in 0..2 {
        let ring: Vec<Point> = rectangle(place).iter().map(|[x, y]| Point::new(*x, *y)).collect();
        let mut row = Record::default();
        row.insert("strip_id".into(), FieldValue::Character(Some(place.to_string())));
        row.insert("Treatment".into(), FieldValue::Character(Some("30 psi".into())));
        writer.write_shape_and_record(&Polygon::with_rings(vec![PolygonRing::Outer(ring)]), &row).unwrap();
    }
    drop(writer);
    let system = r#"GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]]"#;
    let (shp, dbf) = (shp.into_inner(), dbf.into_inner());
    let files: [(&str, &[u8]); 4] =
        [("a.shp", &shp), ("a.dbf", &dbf), ("a.prj", system.as_bytes()), ("a.cpg", b"UTF-8")];
    put("shapefile", "strips", &joined(&files));
    put("archive", "shapefile", &zipped(&files));
}

fn zipped(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        writer.start_file(*name, zip::write::SimpleFileOptions::default()).unwrap();
        writer.write_all(bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn task_data() {
    let block = "[[source]]\nfile = \"hostile\"\nkind = \"setting_log\"\n[[source.channel]]\ncolumn = \"row_downforce_n\"\nddi = \"01AB\"\n[[source.channel]]\ncolumn = \"actual_pressure_kpa\"\nddi = \"E010\"";
    let set = r#"<?xml version="1.0" encoding="UTF-8"?>
<ISO11783_TaskData VersionMajor="4" VersionMinor="3">
 <DVC A="DVC-1" B="Invented planter">
  <DET A="DET-1" B="1" C="1" D="Planter" E="0" F="0"><DOR A="10"/></DET>
  <DET A="DET-2" B="2" C="6" D="Row 1" E="1" F="1"><DOR A="11"/></DET>
  <DPD A="10" B="E010" C="1" D="8" E="Closing air" F="20"/>
  <DPD A="11" B="01AB" C="1" D="8" E="Gauge wheel load"/>
  <DVP A="20" B="0" C="0.5" D="1" E="kPa"/>
 </DVC>
 <PFD A="PFD1" C="North" D="100000"/>
 <TSK A="TSK1" B="Planting" E="PFD1" G="4"><TIM A="2025-04-28T10:00:00" B="2025-04-28T11:00:00" D="4"/><TLG A="TLG00001" C="1"/></TSK>
</ISO11783_TaskData>"#;
    let header =
        r#"<TIM A="" D="4"><PTN A="" B="" D=""/><DLV A="E010" B="" C="DET-1"/><DLV A="01AB" B="" C="DET-2"/></TIM>"#;
    let mut log = Vec::new();
    for (milliseconds, values) in
        [(36_000_000_u32, vec![(0_u8, 400_i32), (1, 500)]), (36_001_000, vec![(1, 510)]), (36_002_000, vec![(0, 420)])]
    {
        log.extend(milliseconds.to_le_bytes());
        log.extend((45 * 365_u16 + 12 + 117).to_le_bytes());
        log.extend(420_005_000_i32.to_le_bytes());
        log.extend((-929_999_500_i32).to_le_bytes());
        log.push(4);
        log.push(values.len() as u8);
        for (channel, raw) in values {
            log.push(channel);
            log.extend(raw.to_le_bytes());
        }
    }
    let files: [(&str, &[u8]); 3] =
        [("TASKDATA.XML", set.as_bytes()), ("TLG00001.XML", header.as_bytes()), ("TLG00001.BIN", &log)];
    put("archive", "task_data", &zipped(&files));
    let mut with_block = vec![("evenstand.toml", block.as_bytes())];
    with_block.extend(files);
    put("task_data", "planter", &joined(&with_block));
}

/// Choices for tables: a trial of twelve strips in sensible numbers, and bytes without a pattern.
fn choices() {
    let mut state = 0x2545_F491_4F6C_DD1D_u64;
    let mut byte = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 24) as u8
    };
    for (name, bytes) in [("short", 90), ("middle", 600), ("long", 2400)] {
        let choices: Vec<u8> = (0..bytes).map(|_| byte()).collect();
        for target in ["strip_tables", "model", "link"] {
            put(target, name, &choices);
        }
    }
    // High bytes choose plain numbers, never missing or odd ones.
    let plain: Vec<u8> = (0..1500).map(|_| 32 + byte() % 200).collect();
    for target in ["strip_tables", "model", "link"] {
        put(target, "plain", &plain);
    }
    let eight_strips: Vec<u8> = (0..360).map(|_| byte()).collect();
    put("small_model", "few", &eight_strips);
    put("small_model", "plain", &plain[..360]);
}
