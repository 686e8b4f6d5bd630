//! Bad input gets a message that names file, row, column and what to do; nothing is lost and nothing half written.

use std::fs;

use crate::cli::small_review;
use crate::foreign::balance;
use crate::support::{TestReview, files_below};

/// Runs ingest on the small review with one file replaced.
fn ingest_with(name: &str, text: &str) -> (i32, String, TestReview) {
    let review = small_review();
    review.put(name, text);
    let said = review.run("ingest", &[]);
    (said.status, said.stderr, review)
}

fn says(stderr: &str, parts: &[&str]) {
    for part in parts {
        assert!(stderr.contains(part), "\"{part}\" is not said in: {stderr}");
    }
}

#[test]
fn a_missing_column_is_named_with_its_file_and_a_near_name() {
    let (status, stderr, _) = ingest_with("stand_count.csv", "field_id,season,strip,emerged\nA,2025,1,80\n");
    assert_eq!(status, 1);
    says(&stderr, &["stand_count.csv", "row 1", "strip_id", "rename column 3"]);
}

#[test]
fn an_unknown_unit_is_named_with_the_known_ones() {
    let (status, stderr, _) =
        ingest_with("stand_count.csv", "field_id,season,strip_id,row_length_yd,emerged\nA,2025,1,5,80\n");
    assert_eq!(status, 1);
    says(&stderr, &["stand_count.csv", "row 1", "column 4", "\"yd\"", "row_length_ft"]);
}

#[test]
fn letters_in_a_number_column_set_the_row_aside() {
    let (status, stderr, review) = ingest_with(
        "stand_count.csv",
        "field_id,season,strip_id,emerged\nA,2025,1,80\nA,2025,2,eighty\nA,2025,3,\"8,5\"\n",
    );
    assert_eq!(status, 1);
    says(&stderr, &["stand_count.csv", "row 3", "column emerged", "\"eighty\"", "whole number", "row 4", "8,5"]);
    let said = review.run("ingest", &["--json"]);
    says(&said.stdout, &["\"rows_kept\":6", "\"rows_read\":8", "\"rows_set_aside\":2"]);
}

#[test]
fn an_ambiguous_date_is_refused_until_its_format_is_declared() {
    let text = "field_id,season,strip_id,counted_at,emerged\nA,2025,1,03/05/2025,80\n";
    let (status, stderr, review) = ingest_with("stand_count.csv", text);
    assert_eq!(status, 1);
    says(&stderr, &["stand_count.csv", "row 2", "counted_at", "03/05/2025", "time_formats"]);
    review.put("evenstand.toml", "time_formats = [\"%d/%m/%Y\"]\n");
    assert_eq!(review.run("ingest", &[]).status, 0);
}

#[test]
fn an_empty_folder_is_status_2_and_says_how_files_are_called() {
    let said = TestReview::new(&[]).run("run", &[]);
    assert_eq!(said.status, 2);
    says(&said.stderr, &["raw is empty", "stand_count.csv"]);
}

#[test]
fn when_no_row_can_be_used_nothing_is_written() {
    let review = TestReview::new(&[("stand_count.csv", "field_id,season,strip,emerged\nA,2025,1,80\n")]);
    let said = review.run("run", &[]);
    assert_eq!(said.status, 2);
    says(&said.stderr, &["stand_count.csv", "strip_id", "nothing was written"]);
    assert_eq!(files_below(review.path()).len(), 1);
}

#[test]
fn a_new_bad_file_does_not_touch_the_old_store() {
    let review = small_review();
    review.run("ingest", &[]);
    let before = files_below(&review.path().join("store"));
    for name in ["field.csv", "setting_log.csv", "stand_count.csv"] {
        review.put(name, "nonsense\n1\n");
    }
    assert_eq!(review.run("ingest", &[]).status, 2);
    assert_eq!(files_below(&review.path().join("store")), before);
}

#[test]
fn settings_with_a_fault_are_status_2_and_name_the_key() {
    let review = small_review();
    review.put("evenstand.toml", "[[planter]]\nid = \"a\"\n[planter.closing]\nkind = \"pressure\"\nmax_kpa = 400\nforce_n = [[0, 0], [200, 300], [400, 250]]\n");
    let said = review.run("run", &[]);
    assert_eq!(said.status, 2);
    says(&said.stderr, &["planter \"a\"", "force_n", "rise"]);
    review.put("evenstand.toml", "[conditions]\nby = [\"moisture\"]\n");
    let said = review.run("run", &[]);
    assert_eq!(said.status, 2);
    says(&said.stderr, &["conditions", "condition"]);
}

#[test]
fn text_that_is_not_utf_8_and_cells_too_many_set_the_row_aside() {
    let review = small_review();
    std::fs::write(
        review.path().join("raw/soil_note.csv"),
        b"field_id,season,note\nA,2025,caf\xe9\nA,2025,\"ok\"\nA,2025,one,two\n",
    )
    .unwrap();
    let said = review.run("ingest", &[]);
    assert_eq!(said.status, 1);
    says(&said.stderr, &["soil_note.csv, row 2", "UTF-8", "row 4", "4 cells"]);
}

#[test]
fn a_file_of_an_unknown_kind_is_not_passed_over_in_silence() {
    let review = small_review();
    review.put("observations.csv", "a,b\n1,2\n");
    review.put("stand_count.xlsx", "not really");
    let said = review.run("ingest", &[]);
    says(&said.stderr, &["observations.csv", "stand_count.xlsx", "give it the ending .csv"]);
}

#[test]
fn names_with_markup_come_out_as_text() {
    let review = small_review();
    review.put(
        "strip.csv",
        "field_id,season,strip_id,treatment\nA,2025,1,<script>alert(1)</script>\nA,2025,2,\"\"\"quoted\"\" & more\"\nA,2025,3,<script>alert(1)</script>\nA,2025,4,\"\"\"quoted\"\" & more\"\n",
    );
    review.put("evenstand.toml", "name = \"<b>bold</b> & co\"\n");
    assert!(review.run("run", &[]).status < 2);
    let page = std::fs::read_to_string(review.path().join("report/index.html")).unwrap();
    assert!(!page.contains("<script>alert") && !page.contains("<b>bold</b>"));
    assert!(page.contains("&lt;b&gt;bold"));
}

#[test]
fn a_quote_that_is_never_closed_is_an_error_and_swallows_nothing_in_silence() {
    let review = small_review();
    let mut log = String::from("field_id,season,strip_id,block,set_force_n\nA,2025,1,I,100\nA,2025,\"2,I,200\n");
    for strip in 3..40 {
        log += &format!("A,2025,{strip},II,100\n");
    }
    review.put("setting_log.csv", &log);
    let said = review.run("ingest", &[]);
    assert_eq!(said.status, 1);
    says(&said.stderr, &["error: setting_log.csv, row 3", "quote is opened and not closed", "close it"]);
    let review = small_review();
    review.put("soil_note.csv", "field_id,season,note\nA,2025,\"three lines, with\nsome, commas\nin them\"\n");
    assert_eq!(review.run("ingest", &[]).status, 0, "a line break in a closed quote is no fault");
}

#[test]
fn a_number_out_of_range_is_told_in_the_unit_of_the_file() {
    let review = small_review();
    review.put("soil_note.csv", "field_id,season,residue_cover_pct\nA,2025,180\n");
    says(&review.run("ingest", &[]).stderr, &["column residue_cover_pct", "0 to 100 %"]);
}

#[test]
fn a_file_with_a_header_and_no_rows_is_named() {
    let review = small_review();
    review.put("dig_check.csv", "field_id,season,dig_effort\n");
    says(&review.run("ingest", &[]).stderr, &["dig_check.csv", "no rows"]);
}

#[test]
fn a_name_that_a_spreadsheet_would_run_reaches_results_as_text() {
    let review = small_review();
    review.put(
        "stand_count.csv",
        "field_id,season,strip_id,seeds_sown,emerged\n\"=HYPERLINK(\"\"x\"\")\",2025,1,80,70\n",
    );
    assert!(review.run("run", &[]).status < 2);
    let strips = review.result("strips");
    let names: Vec<&str> =
        strips.iter().map(|row| row["field_id"].as_str()).filter(|name| name.contains("HYPER")).collect();
    assert_eq!(names, ["'=HYPERLINK(\"x\")"]);
}

#[test]
fn a_link_in_raw_is_not_followed_and_an_archive_that_leads_out_is_refused() {
    let review = small_review();
    let outside = tempfile::tempdir().unwrap();
    std::fs::write(outside.path().join("weather.csv"), "date,tmin_c,tmax_c\n2025-05-01,5,15\n").unwrap();
    #[cfg(unix)]
    std::os::unix::fs::symlink(outside.path().join("weather.csv"), review.path().join("raw/weather.csv")).unwrap();
    let mut writer = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    writer.start_file("../../strip.shp", zip::write::SimpleFileOptions::default()).unwrap();
    let bytes = writer.finish().unwrap().into_inner();
    std::fs::write(review.path().join("raw/strip.zip"), bytes).unwrap();
    let said = review.run("ingest", &[]);
    assert_eq!(said.status, 1, "{}", said.stderr);
    says(&said.stderr, &["strip.zip", "leads out of its folder", "nothing of this file was read"]);
    assert!(review.kept("weather").is_empty());
}

/// A sheet of a planned trial: two places, two visits; only the first visit was made, and there the second place was forgotten.
const PLANNED_COUNTS: &str = "field_id,season,visit_number,strip_id,sample_id,row_unit,distance_m,row_length_m,seeds_sown,counted_at,emerged\n\
    A,2027,1,S01,a,2,40.0,5.3,32,2027-05-09,21\n\
    A,2027,1,S01,b,5,80.0,5.3,32,2027-05-09,\n\
    A,2027,2,S01,a,2,40.0,5.3,32,,\n\
    A,2027,2,S01,b,5,80.0,5.3,32,,\n";

#[test]
fn rows_of_a_plan_that_nobody_filled_in_are_set_aside_with_one_note_and_are_no_fault() {
    let blank_second_visit: String = PLANNED_COUNTS
        .lines()
        .filter(|line| !line.contains(",b,5,80.0,5.3,32,2027"))
        .map(|line| format!("{line}\n"))
        .collect();
    let review = TestReview::new(&[("stand_count-A-2027.csv", &blank_second_visit)]);
    for command in ["ingest", "check"] {
        let said = review.run(command, &["--json"]);
        assert_eq!((said.status, balance(&said.stdout)), (0, [3, 1, 2]), "{command}: {}", said.stderr);
        assert!(!said.stderr.contains("stand_count"), "{command}: {}", said.stderr);
    }
    let findings = review.kept("findings");
    let notes: Vec<_> = findings.iter().filter(|finding| finding["code"] == "not_filled_in").collect();
    assert_eq!(notes.len(), 1, "{findings:?}");
    assert_eq!((notes[0]["severity"].as_str(), notes[0]["source_file"].as_str()), ("note", "stand_count-A-2027.csv"));
    says(&notes[0]["message"], &["2 rows were left blank"]);
    let codes: Vec<String> = review.kept("set_aside").into_iter().map(|row| row["code"].clone()).collect();
    assert_eq!(codes, ["not_filled_in", "not_filled_in"]);
    let manifest = fs::read_to_string(review.path().join("store/manifest.json")).unwrap();
    says(&manifest, &["\"rows_set_aside\": 2", "\"rows_left_blank\": 2"]);
}

#[test]
fn a_row_of_a_plan_with_a_date_and_no_count_and_a_row_of_ones_own_without_a_count_are_faults() {
    let review = TestReview::new(&[("stand_count-A-2027.csv", PLANNED_COUNTS)]);
    let said = review.run("ingest", &["--json"]);
    assert_eq!((said.status, balance(&said.stdout)), (1, [4, 1, 3]), "{}", said.stderr);
    says(&said.stderr, &["row 3", "column emerged: the cell is empty"]);
    assert_eq!(review.kept("findings").iter().filter(|finding| finding["code"] == "not_filled_in").count(), 1);
    let own = "field_id,season,strip_id,emerged\nA,2027,S01,20\nA,2027,S02,\n";
    let review = TestReview::new(&[("stand_count.csv", own)]);
    let said = review.run("ingest", &["--json"]);
    assert_eq!((said.status, balance(&said.stdout)), (1, [2, 1, 1]), "{}", said.stderr);
    says(&said.stderr, &["row 3", "column emerged: the cell is empty"]);
    assert!(review.kept("findings").iter().all(|finding| finding["code"] != "not_filled_in"));
}
