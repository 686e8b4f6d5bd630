//! Blocks against rows: whatever a file looks like, reading it in blocks of any size gives what reading it row by row gives.

use std::io::{Cursor, Read};
use std::sync::Arc;

use arrow::array::{
    ArrayRef, BooleanArray, DictionaryArray, Float32Array, Float64Array, Int64Array, RecordBatch, StringArray,
    TimestampMicrosecondArray, TimestampMillisecondArray,
};
use arrow::datatypes::Int32Type;
use evenstand_settings::Settings;
use evenstand_tables::{SetAside, Sink, TablesError};
use parquet::arrow::ArrowWriter;

use crate::columnar::open_parquet;
use crate::delimited::{Delimited, decoded};
use crate::file_report::{FileReport, Source, Surroundings};
use crate::mapping::Mapping;
use crate::table_file::read_table_in_blocks;
use crate::time::Zones;
use crate::whereabouts::{StripTime, Whereabouts};

/// Keeps all that it receives.
#[derive(Default)]
struct Kept {
    rows: Vec<(i64, RecordBatch)>,
    set_aside: Vec<SetAside>,
}

impl Sink for Kept {
    fn rows(&mut self, _: &str, season: i64, batch: RecordBatch) -> Result<(), TablesError> {
        self.rows.push((season, batch));
        Ok(())
    }
    fn set_aside(&mut self, row: SetAside) -> Result<(), TablesError> {
        self.set_aside.push(row);
        Ok(())
    }
}

/// A reader that fails after its bytes.
struct Breaking<'a>(Cursor<&'a [u8]>, bool);

impl Read for Breaking<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        match self.0.read(buffer)? {
            0 if self.1 => Err(std::io::Error::other("the disk is gone")),
            read => Ok(read),
        }
    }
}

/// A file and what it is read with.
struct Case<'a> {
    kind: &'static str,
    settings: &'a str,
    bytes: &'a [u8],
    times: Vec<StripTime>,
    breaks: bool,
}

impl<'a> Case<'a> {
    fn new(kind: &'static str, settings: &'a str, bytes: &'a [u8]) -> Self {
        Case { kind, settings, bytes, times: Vec::new(), breaks: false }
    }

    /// Reads it in blocks of so many bytes, or row by row.
    fn read(&self, block_bytes: usize) -> (FileReport, Kept) {
        self.read_with(&mut |source, around| {
            let bytes = Breaking(Cursor::new(self.bytes), self.breaks);
            let mapping = around.mapping;
            let text = decoded(bytes, mapping.and_then(|mapping| mapping.encoding)).unwrap();
            let delimiter = mapping.and_then(|mapping| mapping.delimiter);
            let mut table = Delimited::new(&source.file, text, delimiter);
            read_table_in_blocks(source, &mut table, around, block_bytes).unwrap()
        })
    }

    fn read_with(&self, read: &mut dyn FnMut(&Source, Surroundings) -> FileReport) -> (FileReport, Kept) {
        let settings = Settings::parse(self.settings).unwrap();
        let mapping = settings.sources.first().map(|rule| Mapping::new(rule).unwrap());
        let whereabouts = Whereabouts::new(Vec::new(), self.times.clone(), 0.0).unwrap();
        let mut zones = Zones::new(settings.timezone.as_deref(), settings.time_formats.clone()).unwrap();
        zones.set("B", 2025, crate::time::zone("America/Chicago").unwrap());
        let source = Source { file: "log.csv".into(), sha256: "abc".into(), kind: self.kind };
        let mut kept = Kept::default();
        let around = Surroundings {
            mapping: mapping.as_ref(),
            settings: &settings,
            whereabouts: &whereabouts,
            zones: &mut zones,
            sink: &mut kept,
        };
        let report = read(&source, around);
        // Seasons go to files of their own; which one's batch is full first is nobody's business.
        kept.rows.sort_by_key(|(season, _)| *season);
        (report, kept)
    }

    /// Holds blocks of many sizes against single rows; gives what the rows gave.
    fn check(&self, name: &str) -> (FileReport, Kept) {
        let (expected, rows) = self.read(0);
        for block_bytes in [1, 7, 40, 64, 100, 333, 1000, 1 << 14, 1 << 18, 1 << 24] {
            let (found, blocks) = self.read(block_bytes);
            assert_eq!(format!("{found:?}"), format!("{expected:?}"), "{name}, blocks of {block_bytes}");
            assert_eq!(blocks.set_aside, rows.set_aside, "{name}, blocks of {block_bytes}");
            assert_eq!(blocks.rows, rows.rows, "{name}, blocks of {block_bytes}");
        }
        assert_eq!(expected.rows_read, expected.rows_kept + expected.rows_set_aside, "{name}");
        (expected, rows)
    }
}

const HEADER: &str = "field_id,season,strip_id,time,speed_m_s,set_pressure_psi,actual_force_lbf,row_unit\n";

/// Rows in several ways, most of them well written.
fn rows(count: usize) -> String {
    let mut text = String::from(HEADER);
    for row in 0..count {
        let field = if row / 50 % 3 == 0 { "A" } else { "B" };
        text += &match row % 37 {
            5 => format!("{field},2025,{},,2.1,30,,\n", row % 4),
            9 => format!("{field},2025,{},2025-04-28 07:30:{:02},1.5e0,+30,60 ,x\n", row % 4, row % 60),
            11 => format!(" {field} ,2024,{},2024-04-28T07:30-05:00,NA,-,na,7\n", row % 4),
            12 => format!("{field},2025.0,{},2025-04-28,.5,30.,1e1,7\n", row % 4),
            13 => "\n".to_owned(),
            14 => " , ,\t,,,,,\n".to_owned(),
            _ => format!(
                "{field},2025,{},2025-04-28T07:{:02}:{:02}.{}Z,{}.{:02},30,{}.5,{}\n",
                row / 20 % 4,
                row / 60 % 60,
                row % 60,
                row % 10,
                row % 5,
                row % 100,
                row % 90,
                row % 24
            ),
        };
    }
    text
}

/// Rows with all sorts of faults among good ones.
fn faulty(count: usize) -> String {
    let mut text = String::from(HEADER);
    for row in 0..count {
        text += &match row % 23 {
            1 => "A,2025,1,2025-04-28T07:30:00Z,99,30,60,1\n".to_owned(),
            2 => "A,2025,1,28/04/2025,2,30,60,1\n".to_owned(),
            3 => "A,2025,1,2025-02-30T07:30:00Z,2,30,60,1\n".to_owned(),
            4 => "A,2025,1\n".to_owned(),
            5 => "A,2025,1,,2,30,60,1,more,and more\n".to_owned(),
            6 => "A,2025,1,,2,30,60,1,,,\n".to_owned(),
            7 => "A,2025,1,,two,30,60,1\n".to_owned(),
            8 => ",2025,1,,2,30,60,1\n".to_owned(),
            9 => "A,25,1,,2,30,60,1\n".to_owned(),
            10 => "A,,1,2024-05-01T07:30:00Z,2,30,60,1\n".to_owned(),
            11 => "A,,1,,2,30,60,1\n".to_owned(),
            12 => "(Example),2025,1,,2,30,60,1\n".to_owned(),
            13 => ",(example),1,,2,30,60,1\n".to_owned(),
            14 => "A,2025,1,,2,30%,60,1\n".to_owned(),
            15 => "A,2025,'=1,2025-12-31T23:59:59.999999Z,2,30,60,\u{e4}\n".to_owned(),
            _ => format!("A,2025,1,2025-04-28T07:30:{:02}Z,2.{row},30,{},1\n", row % 60, row % 60),
        };
    }
    text
}

/// Quoted cells: delimiters, quotes and line breaks in them.
fn quoted(count: usize, every: usize) -> String {
    let mut text = String::from(HEADER);
    for row in 0..count {
        text += &match row % every {
            1 => "\"A, north\",2025,\"1\"\"a\",,2,30,60,\"unit\none\"\n".to_owned(),
            2 => "\"A\",\"2025\",\"1\",\"2025-04-28T07:30:00Z\",\"2\",\"30\",\"60\",\"1\"\n".to_owned(),
            3 => "A\"b\",2025,1,,2,30,60,1\n".to_owned(),
            _ => format!("A,2025,1,2025-04-28T07:30:{:02}Z,2.{row},30,60,1\n", row % 60),
        };
    }
    text
}

fn utf16(text: &str, mark: bool) -> Vec<u8> {
    let units = mark.then_some(0xfeff).into_iter().chain(text.encode_utf16());
    units.flat_map(u16::to_le_bytes).collect()
}

#[test]
fn well_written_rows_are_the_same_in_blocks() {
    let text = rows(700);
    let (report, kept) = Case::new("setting_log", "", text.as_bytes()).check("rows");
    assert!(report.rows_kept > 600 && kept.rows.len() == 2, "{}", report.rows_kept);
    Case::new("setting_log", "timezone = \"America/Chicago\"", text.as_bytes()).check("rows with a zone");
    Case::new("setting_log", "", text.trim_end().as_bytes()).check("no line end at the end");
    Case::new("setting_log", "", &text.as_bytes()[..text.len() - 20]).check("cut off");
    Case::new("setting_log", "", HEADER.as_bytes()).check("no rows");
    Case::new("setting_log", "", HEADER.trim_end().as_bytes()).check("a header without a line end");
    Case::new("setting_log", "", format!("{HEADER}\n\n\n").as_bytes()).check("blank lines alone");
    Case::new("setting_log", "", format!("{HEADER}\n\nA,2025,1,,2,30,60,1\n\n\nA,2025,1,,2,30,60,2").as_bytes())
        .check("blank lines before the last row");
}

#[test]
fn faults_are_told_of_the_same_rows_in_the_same_words() {
    let text = faulty(600);
    let (report, kept) = Case::new("setting_log", "", text.as_bytes()).check("faults");
    assert!(report.rows_set_aside > 200 && kept.set_aside.len() as u64 == report.rows_set_aside);
    let codes: std::collections::BTreeSet<&str> = kept.set_aside.iter().map(|row| row.code.as_str()).collect();
    assert!(codes.len() >= 5, "{codes:?}");
    // More than a hundred rows of one fault share a finding.
    let (report, _) = Case::new("setting_log", "", faulty(4000).as_bytes()).check("many faults");
    assert!(report.findings.iter().any(|finding| finding.code == "more_rows_set_aside"));
}

#[test]
fn line_ends_of_every_kind_are_the_same_in_blocks() {
    for (name, text) in
        [("rows", rows(300)), ("faults", faulty(300)), ("quotes", quoted(300, 7)), ("a few", quoted(300, 120))]
    {
        Case::new("setting_log", "", text.replace('\n', "\r\n").as_bytes()).check(&format!("{name}, both"));
        Case::new("setting_log", "", text.replace('\n', "\r").as_bytes()).check(&format!("{name}, returns"));
        let mixed: String = text
            .split_inclusive('\n')
            .enumerate()
            .map(|(line, text)| match line % 50 {
                20 => text.replace('\n', "\r\n"),
                30 | 31 => text.replace('\n', "\r"),
                _ => text.to_owned(),
            })
            .collect();
        Case::new("setting_log", "", mixed.as_bytes()).check(&format!("{name}, mixed"));
        let mixed = text.replace('\n', "\r\n").replacen("1\r\nA", "1\nA", 9).replacen("1\r\n\r\n", "1\r\r\n", 2);
        Case::new("setting_log", "", mixed.as_bytes()).check(&format!("{name}, mixed otherwise"));
    }
}

#[test]
fn quotes_are_the_same_in_blocks() {
    for every in [4, 7, 60, 250] {
        let (report, _) = Case::new("setting_log", "", quoted(500, every).as_bytes()).check("quotes");
        assert!(report.rows_kept >= 490);
    }
    // A quote that is never closed swallows the rest; one that is closed later swallows some.
    let open = rows(200).replacen("A,2025", "\"A,2025", 3);
    Case::new("setting_log", "", open.as_bytes()).check("an open quote");
    let last = format!("{}\"A,2025,1", rows(100));
    Case::new("setting_log", "", last.as_bytes()).check("an open quote in the last row");
    let long = format!("{}{}", rows(50), "A,2025,\"".to_owned() + &"x".repeat(70_000) + "\",,1,30,60,1\n");
    let (report, _) = Case::new("setting_log", "", (long + &rows(50)[HEADER.len()..]).as_bytes()).check("a long cell");
    assert!(report.findings.iter().any(|finding| finding.code == "cell_too_long"));
}

#[test]
fn encodings_are_the_same_in_blocks() {
    let text = faulty(200);
    Case::new("setting_log", "", &[b"\xef\xbb\xbf", text.as_bytes()].concat()).check("a mark");
    Case::new("setting_log", "", &utf16(&text, true)).check("UTF-16 with a mark");
    Case::new("setting_log", "", &utf16(&text, false)).check("UTF-16");
    let latin: Vec<u8> = text.chars().map(|letter| letter as u32 as u8).collect();
    let (report, _) = Case::new("setting_log", "", &latin).check("Latin-1 that nobody declared");
    assert!(report.findings.iter().any(|finding| finding.code == "not_utf8"));
    let declared = "[[source]]\nfile = \"log.csv\"\nkind = \"setting_log\"\nencoding = \"latin1\"\n[source.columns]\n\
                    field_id = \"field_id\"\nseason = \"season\"\nstrip_id = \"strip_id\"\ntime = \"time\"\n";
    Case::new("setting_log", declared, &latin).check("Latin-1");
    // A letter of two bytes, taken apart by a delimiter, is no letter.
    let apart = [rows(30).as_bytes(), b"A\xc3,2025,\xa4,,1,30,60,1\n\"A\xc3\",2025,\"\xa4\",,1,30,60,1\n"].concat();
    Case::new("setting_log", "", &apart).check("half letters");
}

#[test]
fn what_a_person_declared_holds_in_blocks() {
    let block = |more: &str| {
        format!(
            "[[source]]\nfile = \"log.csv\"\nkind = \"setting_log\"\n{more}\n[source.columns]\nfield_id = \"field_id\"\n\
             season = \"season\"\nstrip_id = \"strip_id\"\ntime = \"time\"\n\
             speed = {{ from = \"speed_m_s\", unit = \"mph\" }}\n\
             set_pressure = {{ from = \"set_pressure_psi\", unit = \"psi\" }}\nrow_unit = \"row_unit\"\n"
        )
    };
    for text in [rows(300), faulty(300), quoted(300, 9)] {
        for more in [
            "skip_rows = [3, 7, 40]",
            "skip_rows_with = [\"B\"]",
            "missing = [\"30\", \"x\", \"2025-04-28\"]",
            "missing = [\"-9999\"]",
            "timezone = \"Europe/Berlin\"",
            "time_formats = \"%d/%m/%Y\"",
        ] {
            Case::new("setting_log", &block(more), text.as_bytes()).check(more);
        }
        let comma = text.replace(',', ";").replace('.', ",");
        Case::new("setting_log", &block("decimal = \",\"\ndelimiter = \";\""), comma.as_bytes())
            .check("a decimal comma");
        let joined = block("").replace("strip_id = \"strip_id\"", "strip_id = [\"strip_id\", \"row_unit\"]");
        Case::new("setting_log", &joined, text.as_bytes()).check("joined cells");
        let words = block("") + "[source.synonyms.row_unit]\n1 = \"one\"\nx = \"\"\n";
        Case::new("setting_log", &words, text.as_bytes()).check("words for others");
        let constant = block("constants = { planter_id = \"north\", block = \"2\" }");
        Case::new("setting_log", &constant, text.as_bytes()).check("constants");
        let none = block("header_row = 0").replace("\"field_id\"", "\"A\"").replace("\"season\"", "\"B\"");
        let none = none.replace("\"strip_id\"", "\"C\"").replace("\"time\"", "\"D\"").replace("\"row_unit\"", "\"H\"");
        let none = none.replace("\"speed_m_s\"", "\"E\"").replace("\"set_pressure_psi\"", "\"F\"");
        Case::new("setting_log", &none, &text.as_bytes()[HEADER.len()..]).check("no header");
    }
}

#[test]
fn rows_that_find_their_strip_by_time_are_the_same_in_blocks() {
    let text = rows(400).replace(",0,2025", ",,2025").replace(",1,2025", ",,2025");
    let at = |text: &str| text.parse::<jiff::Timestamp>().unwrap().as_microsecond();
    let strip = |strip_id: &str, started: &str, ended: &str| StripTime {
        field_id: "B".into(),
        season: 2025,
        strip_id: strip_id.into(),
        started: at(started),
        ended: at(ended),
    };
    let times = vec![
        strip("p", "2025-04-28T07:00:00Z", "2025-04-28T07:03:00Z"),
        strip("q", "2025-04-28T07:01:00Z", "2025-04-28T07:05:00Z"),
    ];
    let (report, _) = Case { times, ..Case::new("setting_log", "", text.as_bytes()) }.check("by time");
    assert!(report.findings.iter().any(|finding| finding.code == "in_two_strips"), "{:?}", report.findings);
}

#[test]
fn other_tables_and_broken_files_are_the_same_in_blocks() {
    let counts: String = (0..400)
        .map(|row| match row % 40 {
            7 => format!("A,2025,{},17.5,35,2025-05-0{},-1,\n", row % 4, 1 + row % 9),
            8 => format!("B,2025,{},17.5,35,2025-05-0{} 08:00,3.5,1\n", row % 4, 1 + row % 9),
            9 => "A,2025,1,17.5,35,,,3\n".to_owned(),
            _ => format!("A,2025,{},17.5,35,2025-05-0{} 8:15,{},\n", row % 4, 1 + row % 9, row % 36),
        })
        .collect();
    let counts =
        "field_id,season,strip_id,row_length_ft,seeds_sown,counted_at,emerged,visit_number\n".to_owned() + &counts;
    let (report, _) = Case::new("stand_count", "", counts.as_bytes()).check("counts");
    assert!(report.rows_kept > 300 && report.rows_set_aside >= 20 && report.rows_left_blank > 0);
    let weather: String =
        (1..200).map(|row| format!("A,2025-{:02}-{:02},{}\n", 1 + row % 13, 1 + row % 29, row)).collect();
    Case::new("weather", "", ("field_id,date,rain_mm\n".to_owned() + &weather).as_bytes()).check("weather");
    // The first bytes are looked at before reading begins, and must be there.
    let log = rows(5000);
    for end in [log.len(), log.len() - 15] {
        let case = Case { breaks: true, ..Case::new("setting_log", "", &log.as_bytes()[..end]) };
        let (report, _) = case.check("a disk that fails");
        assert!(report.findings.iter().any(|finding| finding.code == "cut_short"));
    }
    // More rows than a batch holds, of seasons that take turns.
    let many: String = (0..90_000)
        .map(|row| format!("A,{},1,2025-04-28T07:30:00.{:06}Z,1.{row},30,,\n", 2020 + row % 2 + row / 40_000, row))
        .collect();
    let case = Case::new("setting_log", "", many.as_bytes());
    let whole = HEADER.to_owned() + &many;
    let case = Case { bytes: whole.as_bytes(), ..case };
    let (expected, rows) = case.read(0);
    for block_bytes in [10_000, 1 << 18] {
        let (found, blocks) = case.read(block_bytes);
        assert_eq!(format!("{found:?}"), format!("{expected:?}"));
        assert!(blocks.rows == rows.rows, "batches differ");
    }
}

/// A batch of columns in many types, with gaps, blanks and faults.
fn columns(rows: i64) -> RecordBatch {
    let text =
        |value: &dyn Fn(i64) -> Option<String>| -> ArrayRef { Arc::new((0..rows).map(value).collect::<StringArray>()) };
    let number =
        |value: &dyn Fn(i64) -> Option<f64>| -> ArrayRef { Arc::new((0..rows).map(value).collect::<Float64Array>()) };
    let whole =
        |value: &dyn Fn(i64) -> Option<i64>| -> ArrayRef { Arc::new((0..rows).map(value).collect::<Int64Array>()) };
    let filled = |row: i64| row % 31 != 17;
    let times: TimestampMillisecondArray =
        (0..rows).map(|row| (filled(row) && row % 19 != 3).then_some(1_745_843_400_000 + 200 * row)).collect();
    let local: TimestampMicrosecondArray =
        (0..rows).map(|row| filled(row).then_some(1_745_843_400_000_000 + row)).collect();
    let small: Float32Array = (0..rows).map(|row| filled(row).then_some(row as f32 / 7.0 % 9.0)).collect();
    let words: DictionaryArray<Int32Type> = (0..rows)
        .map(|row| filled(row).then_some(["flat", "Flat", "na", "round", "reduced-inner diameter"][row as usize % 5]))
        .collect();
    RecordBatch::try_from_iter_with_nullable([
        (
            "field_id",
            text(&|row| {
                filled(row).then(|| match row % 43 {
                    7 => "(example)".to_owned(),
                    8 => " ".to_owned(),
                    9 => format!("A{}", "x".repeat(70_000)),
                    _ => format!(" {}", ["A", "B"][row as usize / 40 % 2]),
                })
            }),
            true,
        ),
        ("season", number(&|row| filled(row).then_some(if row % 29 == 4 { 2025.5 } else { 2025.0 })), true),
        (
            "strip_id",
            whole(&|row| {
                (filled(row) && row % 11 != 2).then_some(if row % 53 == 6 { (1 << 60) + 1 } else { row / 60 })
            }),
            true,
        ),
        ("time", Arc::new(times.with_timezone("UTC")) as ArrayRef, true),
        ("speed_mph", Arc::new(small), true),
        ("set_pressure_psi", whole(&|row| filled(row).then_some(if row % 61 == 5 { 1 << 55 } else { row % 60 })), true),
        (
            "actual_force_lbf",
            number(&|row| {
                filled(row).then_some(match row % 37 {
                    1 => f64::NAN,
                    2 => f64::INFINITY,
                    3 => -9999.0,
                    _ => row as f64 / 3.0 % 99.0,
                })
            }),
            true,
        ),
        ("gauge_wheel", Arc::new(words), true),
        ("row_unit", whole(&|row| filled(row).then_some(row % 24)), true),
        ("dug", Arc::new((0..rows).map(|row| filled(row).then_some(row % 2 == 0)).collect::<BooleanArray>()), true),
        ("read_at", Arc::new(local) as ArrayRef, true),
    ])
    .unwrap()
}

#[test]
fn columns_of_every_type_are_the_same_in_blocks() {
    let mut file = tempfile::tempfile().unwrap();
    let batch = columns(900);
    let mut writer = ArrowWriter::try_new(&mut file, batch.schema(), None).unwrap();
    writer.write(&batch).unwrap();
    writer.close().unwrap();
    let block = "[[source]]\nfile = \"log.csv\"\nkind = \"setting_log\"\n";
    let named = "[source.columns]\nfield_id = \"field_id\"\nseason = \"season\"\nstrip_id = \"strip_id\"\ntime = \"TIME\"\n\
                 speed = { from = \"speed_mph\", unit = \"km_h\" }\nset_pressure = { from = \"set_pressure_psi\", unit = \"bar\" }\n";
    for settings in [
        String::new(),
        format!("{block}missing = [\"-9999\", \"3\"]\nskip_rows = [5, 9]\n{named}").replace("TIME", "time"),
        format!("{block}skip_rows_with = [\"B\"]\n{named}").replace("TIME", "read_at"),
        format!("{block}{named}")
            .replace("TIME", "time")
            .replace("strip_id = \"strip_id\"", "strip_id = [\"strip_id\", \"row_unit\"]"),
        format!("{block}{named}")
            .replace("TIME", "time")
            .replace("field_id = \"field_id\"", "field_id = \"speed_mph\""),
    ] {
        let case = Case::new("setting_log", &settings, b"");
        let read = |batch_rows: usize, block_bytes: usize| {
            case.read_with(&mut |source, around| {
                let mut table = open_parquet(&source.file, file.try_clone().unwrap(), batch_rows).unwrap();
                read_table_in_blocks(source, &mut table, around, block_bytes).unwrap()
            })
        };
        let (expected, rows) = read(1000, 0);
        assert!(expected.rows_read > 400 && expected.rows_set_aside > 20, "{expected:?}");
        for batch_rows in [1, 7, 64, 333, 5000] {
            let (found, blocks) = read(batch_rows, 1);
            assert_eq!(format!("{found:?}"), format!("{expected:?}"), "{settings}, batches of {batch_rows}");
            assert_eq!(blocks.set_aside, rows.set_aside, "{settings}, batches of {batch_rows}");
            assert_eq!(blocks.rows, rows.rows, "{settings}, batches of {batch_rows}");
        }
    }
}
