//! The demo review, answered near its truth.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::sync::OnceLock;

use crate::support::{TestReview, files_below, read_csv, root};

fn folder() -> std::path::PathBuf {
    root().join("sample-data/winter-review")
}

/// The demo, run once for all tests.
fn demo() -> &'static TestReview {
    static DEMO: OnceLock<TestReview> = OnceLock::new();
    DEMO.get_or_init(|| {
        let review = TestReview::copy_of(&folder());
        let said = review.run("run", &[]);
        assert!(said.status < 2, "{}", said.stderr);
        review
    })
}

#[test]
fn the_demo_holds_what_it_promises() {
    let fields = demo().result("field_seasons");
    assert!(fields.len() >= 16);
    let distinct = |name: &str| fields.iter().map(|row| row[name].clone()).collect::<BTreeSet<_>>();
    assert_eq!(distinct("season").len(), 4);
    assert_eq!(distinct("client").len(), 2);
    assert!(distinct("farm").len() >= 4);
    assert_eq!(distinct("planter_id").len(), 2);
    assert!(distinct("kind").contains("trial") && distinct("kind").contains("log"));
    assert!(
        fields.iter().any(|row| row["n_telemetry_rows"] != "0")
            && fields.iter().any(|row| row["n_telemetry_rows"] == "0")
    );
    let points = demo().result("starting_points");
    let evidence: BTreeSet<&str> =
        points.iter().filter(|row| row["primary"] == "true").map(|row| row["evidence"].as_str()).collect();
    assert_eq!(evidence, BTreeSet::from(["leaning", "open", "settled"]));
}

/// Two columns of the truth by condition.
fn truth(low: &str, high: &str) -> BTreeMap<String, (f64, f64)> {
    read_csv(&folder().join("truth.csv"))
        .into_iter()
        .map(|row| {
            let number = |name: &str| row[name].parse().unwrap();
            (row["condition"].clone(), (number(low), number(high)))
        })
        .collect()
}

#[test]
fn every_start_lies_in_the_near_best_range_of_the_truth() {
    let truth = truth("near_best_low_n", "near_best_high_n");
    let mut checked = 0;
    for row in demo().result("settings").iter().filter(|row| row["primary"] == "true" && row["evidence"] != "open") {
        let start: f64 = row["start_force_n"].parse().unwrap();
        let (low, high) = truth[&row["condition"]];
        assert!(
            (low..=high).contains(&start),
            "{} in {}: {start} N is outside {low} to {high} N",
            row["planter_id"],
            row["condition"]
        );
        checked += 1;
    }
    assert!(checked >= 6, "only {checked} starts");
}

/// The limits of the truth are those of a typical field, as the table's are.
#[test]
fn every_dig_limit_of_the_truth_lies_in_its_interval() {
    let truth = truth("open_limit_n", "firm_limit_n");
    let windows = demo().result("dig_window");
    assert_eq!(windows.len(), 4);
    for row in &windows {
        let (open, firm) = truth[&row["condition"]];
        for (side, truth) in [("open", open), ("firm", firm)] {
            // An end that is empty lies beyond the forces dug.
            let end = |name: &str, beyond: f64| row[&format!("{side}_limit_{name}_n")].parse().unwrap_or(beyond);
            let (low, high): (f64, f64) = (end("low", f64::NEG_INFINITY), end("high", f64::INFINITY));
            assert!((low..=high).contains(&truth), "{} {side}: {truth} outside {low} to {high}", row["condition"]);
        }
    }
    let evidence: BTreeSet<&str> = windows.iter().map(|row| row["evidence"].as_str()).collect();
    assert!(evidence.contains("settled") && evidence.contains("leaning"));
    for start in demo().result("starting_points").iter().filter(|row| !row["start_n"].is_empty()) {
        let start_n: f64 = start["start_n"].parse().unwrap();
        let window = windows.iter().find(|row| row["condition"] == start["condition"]).unwrap();
        assert!(window["open_limit_n"].parse().map_or(true, |limit: f64| start_n >= limit - 1e-9), "{start:?}");
        assert!(window["firm_limit_n"].parse().map_or(true, |limit: f64| start_n <= limit + 1e-9), "{start:?}");
    }
}

#[test]
fn the_rows_that_are_wrong_on_purpose_are_set_aside() {
    let rows: Vec<(String, String, String)> = demo()
        .result("set_aside")
        .into_iter()
        .map(|row| (row["source_file"].clone(), row["source_row"].clone(), row["code"].clone()))
        .collect();
    let expected = [
        ("stand_count-hollis-2024.csv", "262", "ambiguous_date"),
        ("stand_count-tamarack-2023.csv", "278", "missing_value"),
        ("stand_count-tamarack-2023.csv", "873", "not_a_number"),
    ];
    assert_eq!(rows, expected.map(|(file, row, code)| (file.to_owned(), row.to_owned(), code.to_owned())));
}

#[test]
fn what_is_odd_on_purpose_is_found() {
    let findings = demo().result("findings");
    let found = |code: &str, field: &str, season: &str, strip: &str| {
        findings.iter().any(|row| {
            row["code"] == code
                && row["field_id"] == field
                && row["season"] == season
                && (strip.is_empty() || row["strip_id"] == strip)
        })
    };
    for (code, field, season, strip) in [
        ("replanted", "reach-house", "2025", ""),
        ("strip_without_counts", "quarry-west", "2023", "S06"),
        ("condition_mixed", "home-north", "2024", ""),
        ("condition_unstated", "home-south", "2025", ""),
        ("actual_force_off", "lindqvist-40", "2024", "S08"),
        ("t10_before_first_inspection", "quarry-east", "2022", "S17"),
    ] {
        assert!(found(code, field, season, strip), "{code} of {field} {season} {strip}");
    }
    for code in ["falling_count", "more_plants_than_seeds", "counts_without_strip", "repeated_strip"] {
        assert!(findings.iter().any(|row| row["code"] == code), "{code}");
    }
    let strips = demo().result("strips");
    let strip = |field: &str, season: &str, strip: &str| {
        strips
            .iter()
            .find(|row| row["field_id"] == field && row["season"] == season && row["strip_id"] == strip)
            .unwrap()
    };
    assert_eq!(strip("home-north", "2024", "S07")["condition"], "mixed");
    assert!(strips.iter().filter(|row| row["field_id"] == "reach-house").all(|row| row["emerged"].is_empty()));
    assert_eq!(strip("quarry-east", "2024", "S01")["condition"], "moist, covered");
}

#[test]
fn the_results_open_as_a_data_package() {
    let folder = demo().path().join("results");
    let package: serde_json::Value =
        serde_json::from_slice(&fs::read(folder.join("datapackage.json")).unwrap()).unwrap();
    let resources = package["resources"].as_array().unwrap();
    assert_eq!(resources.len(), 36);
    for resource in resources {
        let rows = read_csv(&folder.join(resource["path"].as_str().unwrap()));
        let fields: BTreeSet<&str> = resource["schema"]["fields"]
            .as_array()
            .unwrap()
            .iter()
            .map(|field| field["name"].as_str().unwrap())
            .collect();
        if let Some(row) = rows.first() {
            assert_eq!(row.keys().map(String::as_str).collect::<BTreeSet<_>>(), fields);
        }
    }
}

#[test]
fn the_report_has_a_chart_a_field_season_and_a_condition_and_asks_nothing_of_the_network() {
    let report = files_below(&demo().path().join("report"));
    let charts =
        |start: &str, end: &str| report.keys().filter(|name| name.starts_with(start) && name.ends_with(end)).count();
    let counted: BTreeSet<(String, String)> = demo()
        .result("strips")
        .into_iter()
        .filter(|row| !row["emerged_share"].is_empty())
        .map(|row| (row["field_id"].clone(), row["season"].clone()))
        .collect();
    // All but the replanted one, which has no counts to draw.
    assert_eq!(counted.len(), demo().result("field_seasons").len() - 1);
    assert_eq!(charts("charts/field-", ".svg"), counted.len());
    assert_eq!(charts("charts/field-", ".svg"), charts("charts/field-", ".png"));
    assert!(charts("charts/condition-", ".svg") >= 3);
    let page = String::from_utf8(report["index.html"].clone()).unwrap();
    for reference in ["src=\"http", "href=\"http", "url(http", "@import"] {
        assert!(!page.contains(reference), "{reference}");
    }
}
