//! Files that nobody made for this project are read through `[[source]]` blocks alone.

use std::fs;

use crate::support::{TestReview, shared};

/// A review with files as they are and one settings file.
pub fn review_of(files: &[(&str, &[u8])], settings: &str) -> TestReview {
    let review = TestReview::new(&[]);
    fs::create_dir_all(review.path().join("raw")).unwrap();
    for (name, bytes) in files {
        fs::write(review.path().join("raw").join(name), bytes).unwrap();
    }
    fs::write(review.path().join("evenstand.toml"), settings).unwrap();
    review
}

/// Rows read, kept and set aside, as a command with --json says them.
pub fn balance(stdout: &str) -> [u64; 3] {
    let said: serde_json::Value = serde_json::from_str(stdout).unwrap();
    ["rows_read", "rows_kept", "rows_set_aside"].map(|key| said[key].as_u64().unwrap())
}

/// Stand counts of a maize hybrid experiment at five sites in 2022 (Dryad, doi 10.5061/dryad.905qftttm), as published. The
/// figures are the ones that come with the data: 2291 rows, 1139 with a stand, of mean 60.1633; the code NA stands 134 times.
#[test]
fn published_stand_counts_are_read_through_a_mapping_alone() {
    let Some(path) = shared("data/emergence/maize_hips_2022_standcount.csv") else { return };
    let review = review_of(
        &[("maize_hips_2022_standcount.csv", &fs::read(path).unwrap())],
        "[[source]]\nfile = \"maize_hips_*.csv\"\nkind = \"stand_count\"\nconstants.season = 2022\n\
         constants.seeds_sown = 80\n[source.columns]\nfield_id = \"location\"\nstrip_id = \"qrCode\"\n\
         row_length_ft = \"plotLength\"\nemerged = \"totalStandCount\"\n\
         [[source]]\nfile = \"maize_hips_*.csv\"\nkind = \"strip\"\nconstants.season = 2022\n\
         [source.columns]\nfield_id = \"location\"\nstrip_id = \"qrCode\"\nblock = \"block\"\nhybrid = \"genotype\"\n\
         treatment = \"nitrogenTreatment\"\n",
    );
    let said = review.run("ingest", &["--json"]);
    assert_eq!(said.status, 1, "{}", said.stderr);
    let [read, kept, set_aside] = balance(&said.stdout);
    assert_eq!(read, 2 * 2291);
    assert_eq!(read, kept + set_aside);
    // A row is set aside as a strip where it has no code, as a count where it has no code or no count.
    assert_eq!(set_aside, 134 + (2291 - 1139));
    review.run("model", &[]);
    let shares: Vec<f64> =
        review.result("strips").iter().filter_map(|row| row["emerged"].parse::<f64>().ok()).collect();
    assert_eq!(shares.len(), 1139);
    let mean = shares.iter().sum::<f64>() / 1139.0;
    assert!((mean - 60.1633).abs() < 5e-5, "{mean}");
}

#[test]
fn a_decimal_comma_a_foreign_encoding_and_foreign_words_are_read_as_declared() {
    let text = "Zählung im Mai\r\n\r\nSchlag;Streifen;Länge;Datum;Bestand\r\nNörd;1;5,334;08.05.2025;1.140\r\n\
                Nörd;2;5,334;08.05.2025;x\r\nSumme;;;;1.140\r\n";
    let latin: Vec<u8> = text.chars().map(|letter| letter as u32 as u8).collect();
    let block = "[[source]]\nfile = \"bestand.csv\"\nkind = \"stand_count\"\nencoding = \"latin1\"\nheader_row = 3\n\
                 decimal = \",\"\nthousands = \".\"\ntime_formats = \"%d.%m.%Y\"\ntimezone = \"Europe/Berlin\"\n\
                 missing = \"x\"\nskip_rows_with = \"Summe\"\nconstants.season = 2025\n\
                 [source.columns]\nfield_id = \"Schlag\"\nstrip_id = \"Streifen\"\n\
                 row_length = { from = \"Länge\", unit = \"m\" }\ncounted_at = \"Datum\"\nemerged = \"Bestand\"\n";
    let review = review_of(&[("bestand.csv", &latin)], block);
    let said = review.run("ingest", &["--json"]);
    assert_eq!(balance(&said.stdout), [2, 1, 1], "{}", said.stderr);
    let counts = review.kept("stand_count");
    assert_eq!(counts.len(), 1);
    let row = &counts[0];
    assert_eq!(
        (row["field_id"].as_str(), row["emerged"].as_str(), row["row_length_m"].as_str()),
        ("Nörd", "1140", "5.334")
    );
    // Midnight of Berlin summer time, and the row as a spreadsheet numbers it.
    assert_eq!((row["counted_at"].as_str(), row["source_row"].as_str()), ("2025-05-07T22:00:00Z", "4"));
    assert!(said.stderr.contains("row 5") && said.stderr.contains("emerged (\"Bestand\")"), "{}", said.stderr);
}

#[test]
fn one_column_a_visit_becomes_one_row_a_visit_and_new_plants_are_added_up() {
    let wide = "plot,seeds,V1,V2,V3\n1,80,10,40,70\n2,80,,35,\n3,80,,,\n4,80,10,many,70\n";
    let block = |newly: bool| {
        format!(
            "timezone = \"UTC\"\n[[source]]\nfile = \"visits.csv\"\nkind = \"stand_count\"\n\
             constants = {{ field_id = \"A\", season = 2025 }}\ncolumns = {{ strip_id = \"plot\", seeds_sown = \"seeds\" }}\n\
             [source.wide]\ncolumns = \"V*\"\nname_to = \"counted_at\"\nvalue_to = \"emerged\"\nnewly = {newly}\n\
             names = {{ V1 = \"2025-05-05\", V2 = \"2025-05-06\", V3 = \"2025-05-09\" }}\n"
        )
    };
    let counts = |newly: bool| {
        let review = review_of(&[("visits.csv", wide.as_bytes())], &block(newly));
        let said = review.run("ingest", &["--json"]);
        assert_eq!(balance(&said.stdout), [4, 2, 2], "a wide row counts once: {}", said.stderr);
        assert!(said.stderr.contains("V2") && said.stderr.contains("many"), "{}", said.stderr);
        let rows = review.kept("stand_count");
        rows.iter()
            .map(|row| format!("{} {} {}", row["strip_id"], &row["counted_at"][..10], row["emerged"]))
            .collect::<Vec<_>>()
    };
    assert_eq!(counts(false), ["1 2025-05-05 10", "1 2025-05-06 40", "1 2025-05-09 70", "2 2025-05-06 35"]);
    assert_eq!(counts(true), ["1 2025-05-05 10", "1 2025-05-06 50", "1 2025-05-09 120", "2 2025-05-06 35"]);
}

#[test]
fn a_block_that_does_not_fit_its_file_says_what_the_header_has() {
    let review = review_of(
        &[("counts.csv", b"Plot,Plants\n1,80\n")],
        "[[source]]\nfile = \"counts.csv\"\nkind = \"stand_count\"\nconstants = { field_id = \"A\", season = 2025 }\n\
         columns = { strip_id = \"Plots\", emerged = \"Plants\" }\n",
    );
    let said = review.run("ingest", &[]);
    assert_eq!(said.status, 2);
    for part in ["counts.csv", "row 1", "strip_id", "\"Plots\"", "if \"Plot\" was meant"] {
        assert!(said.stderr.contains(part), "{part}: {}", said.stderr);
    }
    assert!(!review.path().join("store").exists());
}

#[test]
fn a_block_without_a_file_and_a_file_without_a_block_are_named() {
    let review = review_of(
        &[("stand_count.csv", b"field_id,season,strip_id,emerged\nA,2025,1,80\n"), ("yields.csv", b"a,b\n1,2\n")],
        "[[source]]\nfile = \"yield.csv\"\nkind = \"measure\"\n",
    );
    let said = review.run("ingest", &[]);
    assert_eq!(said.status, 0, "{}", said.stderr);
    assert!(said.stderr.contains("\"yield.csv\", and raw/ has no such file"), "{}", said.stderr);
    assert!(said.stderr.contains("yields.csv") && said.stderr.contains("evenstand check"), "{}", said.stderr);
}

#[test]
fn columns_under_each_other_are_cut_at_blanks() {
    // Station, day, highest and lowest temperature, rain: the layout of daily climate files; numbers invented.
    let text = "54902 20240501   21.4    9.8    0.0\n54902 20240502 -9999.0   10.1    4.2\n";
    let review = review_of(
        &[("station.txt", text.as_bytes()), ("stand_count.csv", b"field_id,season,strip_id,emerged\nA,2024,1,80\n")],
        "[[source]]\nfile = \"station.txt\"\nkind = \"weather\"\ndelimiter = \"blanks\"\nheader_row = 0\n\
         time_formats = \"%Y%m%d\"\nmissing = \"-9999\"\n\
         columns = { date = \"B\", tmax_c = \"C\", tmin_c = \"D\", rain_mm = \"E\" }\n",
    );
    let said = review.run("ingest", &["--json"]);
    assert_eq!(balance(&said.stdout), [3, 3, 0], "{}", said.stderr);
    let days = review.kept("weather");
    assert_eq!(
        (days[0]["date"].as_str(), days[0]["tmax_c"].as_str(), days[0]["season"].as_str()),
        ("2024-05-01", "21.4", "2024")
    );
    assert_eq!((days[1]["tmax_c"].as_str(), days[1]["rain_mm"].as_str()), ("", "4.2"));
}

#[test]
fn per_cent_is_read_as_per_cent_wherever_it_is_said() {
    let text = "field_id,season,residue_cover_pct,clay_frac\nA,2025,35,0.2\nB,2025,35%,20 %\nC,2025,35 mm%,\n";
    let review = review_of(&[("soil_note.csv", text.as_bytes())], "");
    let said = review.run("ingest", &["--json"]);
    assert_eq!(balance(&said.stdout), [3, 2, 1], "{}", said.stderr);
    for row in review.kept("soil_note") {
        assert_eq!(
            (row["residue_cover_frac"].as_str(), row["clay_frac"].as_str()),
            ("0.35", "0.2"),
            "{}",
            row["field_id"]
        );
    }
    // A spreadsheet keeps 35 % as 0.35 and says so by its format alone.
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    for (column, name) in ["field_id", "season", "residue_cover_pct"].iter().enumerate() {
        sheet.write_string(0, column as u16, *name).unwrap();
    }
    sheet.write_string(1, 0, "A").unwrap();
    sheet.write_number(1, 1, 2025).unwrap();
    let share = rust_xlsxwriter::Format::new().set_num_format("0%");
    sheet.write_number_with_format(1, 2, 0.35, &share).unwrap();
    let review = review_of(&[("soil_note.xlsx", &book.save_to_buffer().unwrap())], "");
    assert_eq!(balance(&review.run("ingest", &["--json"]).stdout), [1, 1, 0]);
    assert_eq!(review.kept("soil_note")[0]["residue_cover_frac"], "0.35");
}

#[test]
fn a_key_that_means_nothing_for_its_file_and_a_header_beyond_the_end_are_said() {
    let block = |keys: &str| format!("[[source]]\nfile = \"counts.csv\"\nkind = \"stand_count\"\n{keys}\n");
    let files: [(&str, &[u8]); 2] = [
        ("counts.csv", b"field_id,season,strip_id,emerged\nA,2025,1,80\n"),
        ("strip.csv", b"field_id,season,strip_id\nA,2025,1\n"),
    ];
    let said = review_of(&files, &block("range = \"A1:D9\"\nsheet = \"May\"")).run("ingest", &[]);
    assert!(said.stderr.contains("sheet, range, which means nothing"), "{}", said.stderr);
    let said = review_of(&files, &block("header_row = 40")).run("ingest", &[]);
    assert_eq!(said.status, 1, "a file that is not read at all is no success");
    assert!(said.stderr.contains("before row 40") && said.stderr.contains("header_row"), "{}", said.stderr);
}

#[test]
fn a_cell_of_endless_text_is_set_aside_and_control_letters_do_not_reach_the_terminal() {
    let mut text = b"field_id,season,strip_id,emerged\nA,2025,1,80\n\x1b[31mred,2025,2,x\n".to_vec();
    text.extend(vec![b'a'; 2_000_000]);
    text.extend(b",2025,3,80\n");
    let review = review_of(&[("stand_count.csv", &text)], "");
    let said = review.run("ingest", &["--json"]);
    assert_eq!(balance(&said.stdout), [3, 1, 2], "{}", said.stderr);
    assert!(!said.stderr.contains('\x1b') && said.stderr.contains("row 4") && said.stderr.contains("more than 65536"));
}

#[test]
fn a_day_and_a_time_in_two_cells_of_a_spreadsheet_are_one_time() {
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    for (column, name) in ["field_id", "season", "strip_id", "Day", "Clock", "emerged"].iter().enumerate() {
        sheet.write_string(0, column as u16, *name).unwrap();
    }
    sheet.write_string(1, 0, "A").unwrap();
    sheet.write_number(1, 1, 2025).unwrap();
    sheet.write_number(1, 2, 1).unwrap();
    let shown = |format: &str| rust_xlsxwriter::Format::new().set_num_format(format);
    let day = rust_xlsxwriter::ExcelDateTime::from_ymd(2025, 5, 13).unwrap();
    sheet.write_datetime_with_format(1, 3, &day, &shown("yyyy-mm-dd hh:mm")).unwrap();
    let clock = rust_xlsxwriter::ExcelDateTime::from_hms(7, 5, 0).unwrap();
    sheet.write_datetime_with_format(1, 4, &clock, &shown("h:mm")).unwrap();
    sheet.write_number(1, 5, 70).unwrap();
    let block = "timezone = \"UTC\"\n[[source]]\nfile = \"counts.xlsx\"\nkind = \"stand_count\"\ncolumns.counted_at = [\"Day\", \"Clock\"]\n";
    let review = review_of(&[("counts.xlsx", &book.save_to_buffer().unwrap())], block);
    assert_eq!(balance(&review.run("ingest", &["--json"]).stdout), [1, 1, 0]);
    assert_eq!(review.kept("stand_count")[0]["counted_at"], "2025-05-13T07:05:00Z");
}

#[test]
fn a_row_number_below_zero_is_answered_in_words() {
    let review = review_of(&[], "[[source]]\nfile = \"a.csv\"\nkind = \"field\"\nheader_row = -1\n");
    let said = review.run("check", &[]);
    assert_eq!(said.status, 2);
    assert!(said.stderr.contains("a.csv") && said.stderr.contains("rows are counted from 1"), "{}", said.stderr);
}
