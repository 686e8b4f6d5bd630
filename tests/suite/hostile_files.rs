//! Files that mean harm, whole, through the binary: each ends soon, within a gigabyte, with rows kept, rows set aside or a refusal in words.

use std::fmt::Write as _;
use std::fs;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use arrow::array::{ArrayRef, Float64Array, Int64Array, ListArray, RecordBatch, StringArray, StructArray};
use arrow::datatypes::{Field, Float64Type};
use parquet::arrow::ArrowWriter;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;

use crate::cli::small_review;
use crate::foreign::balance;
use crate::support::TestReview;

/// Longest time of a command on a machine that does other things as well, and most memory.
const LONGEST: Duration = Duration::from_secs(60);
const MOST_MB: u64 = 1024;

/// What a run of `ingest` said, with its memory held against the limit where the system tells it.
struct Ran {
    status: i32,
    stdout: String,
    stderr: String,
}

fn ingest(review: &TestReview) -> Ran {
    let (out, err) = (review.path().join("out.txt"), review.path().join("err.txt"));
    let began = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_evenstand"))
        .arg("ingest")
        .arg(review.path())
        .arg("--json")
        .stdout(Stdio::from(fs::File::create(&out).unwrap()))
        .stderr(Stdio::from(fs::File::create(&err).unwrap()))
        .spawn()
        .unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut peak_mb = 0;
    let ended = loop {
        if let Some(ended) = child.try_wait().unwrap() {
            break ended;
        }
        assert!(began.elapsed() < LONGEST, "it does not end");
        let text = fs::read_to_string(&status).unwrap_or_default();
        let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:")?.split_whitespace().next()?.parse().ok());
        peak_mb = line.map_or(peak_mb, |kilobytes: u64| kilobytes / 1024);
        std::thread::sleep(Duration::from_millis(5));
    };
    assert!(peak_mb <= MOST_MB, "{peak_mb} MB");
    let read = |path| fs::read_to_string(path).unwrap();
    let ran = Ran { status: ended.code().unwrap_or(-1), stdout: read(out), stderr: read(err) };
    assert!((0..=2).contains(&ran.status), "status {}: {}", ran.status, ran.stderr);
    assert!(!ran.stderr.contains("panicked"), "{}", ran.stderr);
    assert!(ran.stderr.len() < 1 << 20, "{} bytes of messages", ran.stderr.len());
    ran
}

/// A review of one file beside a field.
fn with(name: &str, bytes: &[u8]) -> TestReview {
    let review = TestReview::new(&[("field.csv", "field_id,season,planted_at\nA,2025,2025-04-28\n")]);
    fs::write(review.path().join("raw").join(name), bytes).unwrap();
    review
}

fn says(ran: &Ran, parts: &[&str]) {
    for part in parts {
        assert!(ran.stderr.contains(part), "\"{part}\" is not said in: {}", ran.stderr);
    }
}

#[test]
fn a_cell_of_ten_megabytes_sets_its_row_aside_and_a_name_of_ten_megabytes_the_file() {
    let long = "x".repeat(10 << 20);
    let rows = format!("field_id,season,strip_id,emerged,note\nA,2025,1,30,{long}\nA,2025,2,31,\n{long},2025,3,32,\n");
    let ran = ingest(&with("stand_count.csv", rows.as_bytes()));
    assert_eq!(balance(&ran.stdout), [4, 2, 2], "{}", ran.stderr);
    says(&ran, &["stand_count.csv, row 2", "more than 65536 letters"]);
    let ran =
        ingest(&with("stand_count.csv", format!("field_id,season,strip_id,emerged,{long}\nA,2025,1,30,\n").as_bytes()));
    assert_eq!(balance(&ran.stdout), [2, 1, 1]);
    says(
        &ran,
        &["stand_count.csv, row 1", "column 5: the name holds more than 65536 letters", "quote that is not closed"],
    );
}

#[test]
fn a_hundred_thousand_columns_are_read_and_told_in_a_few_lines() {
    let mut text = String::from("field_id,season,strip_id,emerged");
    for column in 0..100_000 {
        let _ = write!(text, ",x{column}");
    }
    text += "\nA,2025,1,30";
    text += &",1".repeat(100_000);
    text += "\n";
    let review = with("stand_count.csv", text.as_bytes());
    let ran = ingest(&review);
    assert_eq!(balance(&ran.stdout), [2, 2, 0], "{}", ran.stderr);
    let findings = review.kept("stand_count");
    assert_eq!(findings[0]["emerged"], "30");
    // Without the needed columns the message lists some of the names, not all.
    let names = text.replacen("emerged", "up", 1);
    let ran = ingest(&with("stand_count.csv", names.as_bytes()));
    says(&ran, &["the column emerged is missing", "more"]);
    assert!(ran.stderr.len() < 10_000, "{} bytes", ran.stderr.len());
}

#[test]
fn one_line_of_two_hundred_megabytes_is_refused_at_its_limit() {
    for (name, piece) in [("text", "abcdefgh"), ("cells", "1,2,3,4,"), ("quote", "\"a,\n b "), ("blanks", "        ")] {
        let mut text = String::from("field_id,season,strip_id,emerged\nA,2025,1,30\n");
        text.reserve(200 << 20);
        if name == "quote" {
            text.push_str("A,2025,\"");
        }
        let piece = if name == "quote" { "and so on\n" } else { piece };
        while text.len() < 200 << 20 {
            text.push_str(piece);
        }
        let review = with("stand_count.csv", text.as_bytes());
        drop(text);
        let ran = ingest(&review);
        assert_eq!(ran.status, 1, "{name}: {}", ran.stderr);
        assert_eq!(review.kept("stand_count").len(), 1, "{name}: what came before is kept");
        says(
            &ran,
            &["stand_count.csv", "row 3 has more than", "perhaps its lines do not end, or a quote is not closed"],
        );
    }
}

#[test]
fn a_million_empty_lines_are_no_rows() {
    for line in ["\n", "\r\n", " , ,\n", "\"\"\n"] {
        let text = format!("field_id,season,strip_id,emerged\nA,2025,1,30\n{}A,2025,2,31\n", line.repeat(1_000_000));
        let review = with("stand_count.csv", text.as_bytes());
        let ran = ingest(&review);
        assert_eq!(balance(&ran.stdout), [3, 3, 0], "{line:?}: {}", ran.stderr);
        assert!(review.kept("stand_count").iter().any(|row| row["source_row"] == "1000003"), "{line:?}");
    }
}

#[test]
fn numbers_that_are_none_are_set_aside_in_every_column_of_numbers() {
    for table in evenstand_tables::schemas().iter().filter(|table| table.group == evenstand_tables::Group::Raw) {
        for column in &table.columns {
            if column.column_type != evenstand_tables::ColumnType::Number
                && column.column_type != evenstand_tables::ColumnType::Integer
            {
                continue;
            }
            let kind = column.unit_kind.as_deref().and_then(evenstand_agronomy::Kind::parse);
            let name = match (&column.stem, kind) {
                (Some(stem), Some(kind)) => format!("{stem}_{}", kind.kept_suffix()),
                _ => column.name.clone(),
            };
            let needed = ["field_id", "season", "strip_id", "emerged", "name", "value", "position_m", "date"];
            let filled: Vec<(&str, &str)> = needed
                .into_iter()
                .zip(["A", "2025", "1", "30", "yield", "4", "1.5", "2025-05-01"])
                .filter(|(needed, _)| *needed != name && table.columns.iter().any(|column| column.name == *needed))
                .collect();
            let mut text = filled.iter().map(|(name, _)| *name).collect::<Vec<_>>().join(",") + "," + &name + "\n";
            let odd = ["NaN", "inf", "-inf", "+Infinity", "1e999", "-1e999", "nan(0x1)", "1e308e1", "0x10", "１２"];
            for odd in odd {
                text += &(filled.iter().map(|(_, value)| *value).collect::<Vec<_>>().join(",") + "," + odd + "\n");
            }
            // A good row elsewhere: a review without any is refused as a whole.
            let good = match table.name.as_str() {
                "field" => ("weather.csv", "field_id,season,date,tmin_c\nA,2025,2025-05-01,3\n"),
                _ => ("field.csv", "field_id,season,planted_at\nA,2025,2025-04-28\n"),
            };
            let review = TestReview::new(&[(&format!("{}.csv", table.name), &text), good]);
            let ran = ingest(&review);
            let [read, kept, aside] = balance(&ran.stdout);
            assert_eq!(
                (read, kept, aside),
                (odd.len() as u64 + 1, 1, odd.len() as u64),
                "{}.{name}: {}",
                table.name,
                ran.stderr
            );
        }
    }
}

#[test]
fn days_at_the_ends_of_the_calendar_are_kept_or_set_aside_and_never_wrap() {
    let days = [
        "9999-12-31",
        "0000-01-01",
        "0001-01-01",
        "-0001-01-01",
        "10000-01-01",
        "99999-01-01T00:00:00Z",
        "9999-12-31T23:59:59-12:00",
    ];
    let mut text = String::from("field_id,season,strip_id,counted_at,emerged\n");
    for (strip, day) in days.iter().enumerate() {
        let _ = writeln!(text, "A,2025,{strip},{day},30");
    }
    let review = with("stand_count.csv", text.as_bytes());
    let ran = ingest(&review);
    let [read, kept, aside] = balance(&ran.stdout);
    assert_eq!((read, kept + aside), (1 + days.len() as u64, 1 + days.len() as u64), "{}", ran.stderr);
    for row in review.kept("stand_count") {
        let day = days[row["strip_id"].parse::<usize>().unwrap()];
        assert!(row["counted_at"].starts_with(&day[..4]), "{day} became {}", row["counted_at"]);
    }
    // A whole run on such days says something, and panics nowhere.
    assert!(review.run("run", &[]).status <= 2);
}

#[test]
fn headers_twice_are_refused_by_name() {
    let ran = ingest(&with("stand_count.csv", b"field_id,season,strip_id,emerged,Emerged\nA,2025,1,30,31\n"));
    says(&ran, &["columns 4 and 5", "both give emerged", "keep one of them"]);
}

#[test]
fn a_mark_of_byte_order_in_the_middle_mixed_line_ends_and_broken_letters_harm_their_own_row_only() {
    let text = b"field_id,season,strip_id,emerged\r\nA,2025,1,30\nA,2025,2,31\r\xEF\xBB\xBFA,2025,3,32\r\nA,2025,4,3\xFF3\nA\xC3,2025,5,34\n\n\rA,2025,6,35";
    let review = with("stand_count.csv", text);
    let ran = ingest(&review);
    assert_eq!(balance(&ran.stdout), [7, 5, 2], "{}", ran.stderr);
    says(&ran, &["UTF-8"]);
    let strips: Vec<String> = review.kept("stand_count").into_iter().map(|row| row["strip_id"].clone()).collect();
    assert_eq!(strips, ["1", "2", "3", "6"]);
}

fn parquet_of(columns: Vec<(&str, ArrayRef)>, properties: WriterProperties) -> Vec<u8> {
    let batch = RecordBatch::try_from_iter(columns).unwrap();
    let mut bytes = Vec::new();
    let mut writer = ArrowWriter::try_new(&mut bytes, batch.schema(), Some(properties)).unwrap();
    writer.write(&batch).unwrap();
    writer.close().unwrap();
    bytes
}

fn counts(rows: usize) -> Vec<(&'static str, ArrayRef)> {
    vec![
        ("field_id", Arc::new(StringArray::from(vec!["A"; rows]))),
        ("season", Arc::new(Int64Array::from(vec![2025; rows]))),
        ("strip_id", Arc::new(StringArray::from_iter_values((0..rows).map(|row| row.to_string())))),
        ("emerged", Arc::new(Int64Array::from(vec![30; rows]))),
    ]
}

#[test]
fn parquet_with_hostile_notes_nested_columns_and_a_huge_dictionary_is_read_as_far_as_it_means_something() {
    // Notes of any size that state another schema: what is read are the columns themselves.
    let notes = vec![
        KeyValue::new("ARROW:schema".to_owned(), "not base64 \u{0}<script>".to_owned()),
        KeyValue::new("geo".to_owned(), "[".repeat(1 << 20)),
        KeyValue::new("pandas".to_owned(), "{\"columns\": [{\"name\": \"../../x\"}]}".to_owned()),
    ];
    let noted = parquet_of(counts(3), WriterProperties::builder().set_key_value_metadata(Some(notes)).build());
    let ran = ingest(&with("stand_count.parquet", &noted));
    let [read, kept, aside] = balance(&ran.stdout);
    assert_eq!(read, kept + aside);

    let mut nested = counts(3);
    let numbers: ArrayRef = Arc::new(Float64Array::from(vec![1.0; 3]));
    let mut deep: ArrayRef = numbers;
    for _ in 0..30 {
        let field = Arc::new(Field::new("in", deep.data_type().clone(), true));
        deep = Arc::new(StructArray::from(vec![(field, deep)]));
    }
    nested.push(("note", deep));
    let lists: ListArray = ListArray::from_iter_primitive::<Float64Type, _, _>(vec![Some(vec![Some(1.0), None]); 3]);
    nested.push(("sample_id", Arc::new(lists)));
    let ran = ingest(&with("stand_count.parquet", &parquet_of(nested, WriterProperties::default())));
    let [read, kept, aside] = balance(&ran.stdout);
    assert!(read == kept + aside, "{}", ran.stderr);

    // Two hundred thousand different words of two hundred letters: a dictionary page of 40 MB.
    let rows = 200_000;
    let words = StringArray::from_iter_values((0..rows).map(|row| format!("{row:0200}")));
    let mut wordy = counts(rows);
    wordy.push(("sample_id", Arc::new(words)));
    let properties = WriterProperties::builder().set_dictionary_page_size_limit(1 << 30).build();
    let ran = ingest(&with("stand_count.parquet", &parquet_of(wordy, properties)));
    assert_eq!(balance(&ran.stdout), [rows as u64 + 1, rows as u64 + 1, 0], "{}", ran.stderr);
}

#[test]
fn a_block_of_settings_reaches_no_file_outside_raw() {
    let review = small_review();
    let outside = tempfile::tempdir().unwrap();
    fs::write(outside.path().join("weather.csv"), "date,tmin_c,tmax_c\n2025-05-01,5,15\n").unwrap();
    let place = outside.path().join("weather.csv");
    for file in [
        place.to_str().unwrap(),
        "../evenstand.toml",
        "..\\evenstand.toml",
        "../../../../../../etc/passwd",
        "./../*",
        "/**/*.csv",
    ] {
        review.put("evenstand.toml", &format!("[[source]]\nfile = '{file}'\nkind = \"weather\"\n"));
        let ran = ingest(&review);
        says(&ran, &["raw/ has no such file"]);
        assert!(review.kept("weather").is_empty(), "{file}");
    }
}

#[cfg(unix)]
#[test]
fn links_in_a_review_are_named_and_not_followed_and_a_review_may_itself_be_reached_by_one() {
    use std::os::unix::fs::symlink;
    let review = small_review();
    let outside = tempfile::tempdir().unwrap();
    fs::create_dir(outside.path().join("logs")).unwrap();
    fs::write(outside.path().join("logs/weather.csv"), "date,tmin_c,tmax_c\n2025-05-01,5,15\n").unwrap();
    let raw = review.path().join("raw");
    symlink(outside.path().join("logs"), raw.join("logs")).unwrap();
    symlink("/dev/zero", raw.join("plant.csv")).unwrap();
    symlink("spacing.csv", raw.join("spacing.csv")).unwrap();
    symlink(&raw, raw.join("again")).unwrap();
    let ran = ingest(&review);
    says(&ran, &["a link, or no plain file, so it was not read", "put a copy of the file itself into raw/"]);
    assert!(review.kept("weather").is_empty());

    // The whole folder by a link: somebody keeps reviews on another disk.
    let door = tempfile::tempdir().unwrap();
    symlink(review.path(), door.path().join("review")).unwrap();
    let said = crate::support::evenstand(&["ingest", door.path().join("review").to_str().unwrap(), "--json"]);
    assert!(said.status < 2, "{}", said.stderr);
}

#[cfg(unix)]
#[test]
fn an_output_folder_that_is_a_link_leads_nothing_away() {
    use std::os::unix::fs::symlink;
    let review = small_review();
    let outside = tempfile::tempdir().unwrap();
    fs::write(outside.path().join("mine.txt"), "mine").unwrap();
    for folder in ["store", "results", "report"] {
        symlink(outside.path(), review.path().join(folder)).unwrap();
    }
    let said = review.run("run", &[]);
    assert!(said.status == 2 && said.stderr.contains("link"), "{} {}", said.status, said.stderr);
    let there: Vec<_> = fs::read_dir(outside.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(there, ["mine.txt"], "nothing was written or taken away behind the link");
    assert_eq!(fs::read_to_string(outside.path().join("mine.txt")).unwrap(), "mine");
}
