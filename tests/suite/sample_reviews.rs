//! The sample reviews: made by their generator, small where they are made for a notebook, and answered near their truth.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;

use crate::support::{TestReview, files_below, read_csv, root};

#[path = "../../sample-data/generator/mod.rs"]
mod generator;

/// Most that a small review may weigh, bytes.
const SMALL: usize = 60_000;

#[test]
fn the_generator_writes_the_committed_bytes() {
    let mut made: BTreeMap<String, Vec<u8>> = BTreeMap::new();
    for review in generator::reviews().unwrap() {
        let bytes: usize = review.files.iter().map(|file| file.text.len()).sum();
        assert!(review.folder == "winter-review" || bytes < SMALL, "{}: {bytes} bytes", review.folder);
        for file in review.files {
            made.insert(format!("{}/{}", review.folder, file.path), file.text.into_bytes());
        }
    }
    let mut committed = files_below(&root().join("sample-data"));
    committed.retain(|name, _| {
        let in_review = name.contains('/') && !name.starts_with("generator/");
        in_review
            && !["/store/", "/results/", "/report/", "/plan/", "/last-season/"]
                .iter()
                .any(|output| name.contains(output))
    });
    let only_in = |one: &BTreeMap<String, Vec<u8>>, other: &BTreeMap<String, Vec<u8>>| -> Vec<String> {
        one.keys().filter(|name| !other.contains_key(*name)).cloned().collect()
    };
    let again = "write them again: cargo run --release --example make_demo";
    assert_eq!(only_in(&made, &committed), [""; 0], "not committed; {again}");
    assert_eq!(only_in(&committed, &made), [""; 0], "not written by the generator");
    for (name, bytes) in &made {
        assert!(*bytes == committed[name], "{name} is not what the generator writes; {again}");
    }
}

/// A small review, run.
fn answered(folder: &str) -> TestReview {
    let review = TestReview::copy_of(&root().join("sample-data").join(folder));
    let said = review.run("run", &[]);
    assert!(said.status < 2, "{}", said.stderr);
    review
}

/// Numbers of the truth of a review: by condition, then by column; empty cells are left out.
fn truth(folder: &str) -> BTreeMap<String, BTreeMap<String, f64>> {
    let rows = read_csv(&root().join("sample-data").join(folder).join("truth.csv"));
    let numbers = |row: &BTreeMap<String, String>| {
        row.iter().filter_map(|(name, cell)| Some((name.clone(), cell.parse().ok()?))).collect()
    };
    rows.iter().map(|row| (row["condition"].clone(), numbers(row))).collect()
}

/// Whether the start of an answer is within two points of the best in truth.
fn is_near_best(row: &BTreeMap<String, String>, truth: &BTreeMap<String, f64>) -> bool {
    let start: f64 = row["start_n"].parse().unwrap();
    (truth["near_best_low_n"] - 0.1..=truth["near_best_high_n"] + 0.1).contains(&start)
}

/// Holds every answer of the response that decides against the truth; says how many starts are near the best.
fn holds_the_truth(review: &TestReview, folder: &str) -> usize {
    let truth = truth(folder);
    let number = |row: &BTreeMap<String, String>, name: &str| row[name].parse::<f64>().unwrap();
    let mut starts = 0;
    for row in review.result("starting_points").iter().filter(|row| row["primary"] == "true") {
        let truth = &truth[&row["condition"]];
        if row["evidence"] == "open" {
            continue;
        }
        // The best inside the tested range: where the truth lies beyond its end, that end. Truth is rounded to a tenth of a newton.
        let best = truth["best_force_n"].clamp(truth["tested_low_n"], truth["tested_high_n"]);
        let (low, high) = (number(row, "best_low_n"), number(row, "best_high_n"));
        assert!(
            (low - 0.1..=high + 0.1).contains(&best),
            "{folder}, {}: best {best} N outside {low} to {high} N",
            row["condition"]
        );
        starts += usize::from(is_near_best(row, truth));
    }
    for row in review.result("dig_window") {
        for side in ["open", "firm"] {
            // An end that is empty lies beyond the forces dug.
            let end = |name: &str, beyond: f64| row[&format!("{side}_limit_{name}_n")].parse().unwrap_or(beyond);
            let (low, high): (f64, f64) = (end("low", f64::NEG_INFINITY), end("high", f64::INFINITY));
            let limit = truth[&row["condition"]][&format!("{side}_limit_n")];
            assert!((low..=high).contains(&limit), "{folder}, {} {side}: {limit} N", row["condition"]);
        }
    }
    starts
}

#[test]
fn next_years_default_is_near_the_best_of_its_truth() {
    let review = answered("next-years-default");
    assert_eq!(holds_the_truth(&review, "next-years-default"), 2);
    let moist = &review.result("settings").into_iter().find(|row| row["condition"] == "moist, covered").unwrap();
    assert_eq!(moist["advice"], "lighter");
}

/// The notebook puts the second season in after it was planned.
#[test]
fn the_strip_trial_finds_its_best_and_the_layout_that_was_not_drawn() {
    let folder = "strip-trial";
    let review = answered(folder);
    assert_eq!(holds_the_truth(&review, folder), 1);
    let weighed = review.result("next_trials");
    let [first] = advised(&review).try_into().unwrap();
    let season = files_below(&root().join("sample-data").join(folder).join("season-2025"));
    for (name, bytes) in &season {
        review.put(name, std::str::from_utf8(bytes).unwrap());
    }
    assert!(review.run("run", &[]).status < 2);
    assert_eq!(holds_the_truth(&review, folder), 1);
    let layouts: Vec<_> =
        review.result("findings").into_iter().filter(|row| row["code"] == "same_order_in_blocks").collect();
    assert_eq!(layouts.iter().map(|row| row["field_id"].as_str()).collect::<Vec<_>>(), ["K4"]);
    // What was planted was weighed by the first season, as the notebook says, and no worse than what it advised beyond the error of playing trials through.
    let planted: Vec<_> = review.result("strips").into_iter().filter(|row| row["field_id"] == "K3").collect();
    let distinct = |name: &str| planted.iter().map(|row| row[name].clone()).collect::<BTreeSet<_>>().len().to_string();
    let shape = [("n_levels", distinct("treatment")), ("n_blocks", distinct("block")), ("n_fields", "1".to_owned())];
    let range = ["low_n", "high_n"].map(|name| (name, first[name].clone()));
    let taken =
        weighed.iter().find(|row| shape.iter().chain(&range).all(|(name, value)| row[*name] == *value)).unwrap();
    let of_both = |name: &str| [&first, taken].map(|row| row[name].parse::<f64>().unwrap());
    let ([advised, taken], errors) = (of_both("reduction"), of_both("monte_carlo_error"));
    assert!(advised - taken < 2.0 * errors.iter().sum::<f64>(), "{advised} {taken} {errors:?}");
    let forces: Vec<f64> = planted.iter().map(|row| row["force_n"].parse().unwrap()).collect();
    let ends = [("low_n", f64::min as fn(f64, f64) -> f64), ("high_n", f64::max)];
    for (name, end) in ends {
        let advised: f64 = first[name].parse().unwrap();
        assert!((forces.iter().copied().reduce(end).unwrap() - advised).abs() < 1.0, "{name}");
    }
}

/// Trials that a review advises.
fn advised(review: &TestReview) -> Vec<BTreeMap<String, String>> {
    review.result("next_trials").into_iter().filter(|row| row["advised"] == "true").collect()
}

/// The notebook pastes what `check` proposes, and says that the start missed.
#[test]
fn the_own_spreadsheet_is_read_by_the_blocks_of_its_notebook_and_its_set_holds_the_best() {
    let folder = "own-spreadsheet";
    let review = TestReview::copy_of(&root().join("sample-data").join(folder));
    let page = fs::read_to_string(root().join("notebooks-md/05-your-own-spreadsheet.md")).unwrap();
    let proposed = review.run("check", &[]).stdout;
    let (_, pasted) = page.split_once("```toml").unwrap();
    let (pasted, _) = pasted.split_once("```").unwrap();
    let (_, pasted) = pasted.split_once('\n').unwrap();
    let sources = pasted.find("# Einstellungen").unwrap();
    let ours: Vec<&str> = pasted[sources..].lines().filter(|line| !proposed.contains(line)).collect();
    let said = ["constants = { season = 2025, planter_id = \"Sämaschine\" }", "set_pressure_bar = \"Schließdruck\""];
    assert_eq!(ours, said, "lines that nobody proposed");
    review.put("evenstand.toml", pasted);
    let run = review.run("run", &[]);
    assert_eq!(run.status, 0, "{}", run.stderr);
    assert_eq!(holds_the_truth(&review, folder), 0);
    // The two lines that the page names in the place of the list of visits.
    let strips = review.result("strips");
    let mut shorter: Vec<String> =
        pasted.lines().filter(|line| !line.starts_with("names.")).map(str::to_owned).collect();
    let columns = shorter.iter().position(|line| line.starts_with("columns = [")).unwrap();
    shorter[columns] = "columns = \"Bestand / *\"".into();
    let header = shorter.iter().position(|line| line.starts_with("header_row")).unwrap();
    shorter.insert(header + 1, "time_formats = \"Bestand / %d.%m.%Y\"".into());
    review.put("evenstand.toml", &shorter.join("\n"));
    assert_eq!(review.run("run", &[]).status, 0);
    assert_eq!(review.result("strips"), strips);
}

#[test]
fn logs_alone_give_no_start_although_the_fields_set_heavier_came_up_worse() {
    let folder = "logs-only";
    let review = answered(folder);
    assert_eq!(holds_the_truth(&review, folder), 0);
    let [row] = review
        .result("settings")
        .into_iter()
        .filter(|row| row["primary"] == "true")
        .collect::<Vec<_>>()
        .try_into()
        .unwrap();
    assert_eq!((row["basis"].as_str(), row["evidence"].as_str(), row["advice"].as_str()), ("logs", "open", "open"));
    // The pattern that the page warns of is there: the line through the fields falls, and its interval excludes none.
    let line = review
        .result("model")
        .into_iter()
        .find(|row| row["item"] == "coefficient" && row["name"].starts_with("force between field-seasons"))
        .unwrap();
    let [value, error]: [f64; 2] = ["value", "std_error"].map(|name| line[name].parse().unwrap());
    assert!(value + 3.0 * error < 0.0, "{value} ± {error}");
    assert!(review.result("findings").iter().any(|row| row["code"] == "no_overlap"));
}

/// Times read off and times from a fitted course are two measures of the same strips.
#[test]
fn what_a_condition_borrows_does_not_hang_on_how_its_strips_are_weighed() {
    let review = answered("winter-review");
    let points = review.result("starting_points");
    let borrowed = |condition: &str, response: &str| -> f64 {
        let row = points.iter().find(|row| row["condition"] == condition && row["response"] == response).unwrap();
        row["borrowed_share"].parse().unwrap()
    };
    for condition in ["dry, bare", "moist, bare", "moist, covered", "wet, covered"] {
        let (read_off, fitted) = (borrowed(condition, "t50_h"), borrowed(condition, "t50_fit_h"));
        assert!((read_off - fitted).abs() < 0.05, "{condition}: {read_off} and {fitted}");
    }
}
