//! A trial from plan to comparison: planned, planted in a simulation, filled in, read back without a hand on any file.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::cli::small_review;
use crate::foreign::balance;
use crate::support::{TestReview, evenstand, files_below, read_csv, root};

const SETTINGS: &str = r#"
name = "Round trip (invented data)"
timezone = "America/Chicago"

[condition]
by = ["logged"]

[[planter]]
id = "air-12"
closer = "discs_and_press_wheel"
[planter.closing]
kind = "pressure"
min_kpa = 0
max_kpa = 400
step_kpa = 10
default_kpa = 200
force_n = [[0, 0], [400, 420]]

[[planter]]
id = "spring-8"
closer = "discs_and_press_wheel"
[planter.closing]
kind = "positions"
default = "2"
positions = [{ label = "1", force_n = 100 }, { label = "2", force_n = 200 }, { label = "3", force_n = 300 }]
"#;

/// A review that knows its planters and nothing else.
fn empty_review() -> TestReview {
    TestReview::new(&[("evenstand.toml", SETTINGS)])
}

const FIELD: [&str; 14] = [
    "--field",
    "north 40",
    "--season",
    "2027",
    "--condition",
    "moist",
    "--row-spacing",
    "0.75",
    "--length",
    "400m",
    "--seed-rate",
    "82000/ha",
    "--planting-date",
    "2027-05-05",
];

fn planned(review: &TestReview, more: &[&str]) -> BTreeMap<String, Vec<u8>> {
    let arguments: Vec<&str> = FIELD.iter().chain(more).copied().collect();
    let said = review.run("trial", &arguments);
    assert_eq!(said.status, 0, "{}", said.stderr);
    files_below(&review.path().join("plan"))
}

/// Fills in what the field tells, as a person would with a pencil: the day of planting, and at every visit the plants that are up.
/// A strip's share up is `up(setting)`, the first plants come after 8.5 days, the last after 11.5.
fn filled(review: &TestReview, folder: &Path, up: impl Fn(&str, &str) -> f64) -> usize {
    let mut random = ChaCha8Rng::seed_from_u64(5);
    let visits: serde_json::Value = serde_json::from_slice(&fs::read(folder.join("trial.json")).unwrap()).unwrap();
    let days: Vec<i64> =
        visits["visits"]["visits"].as_array().unwrap().iter().map(|visit| visit["day"].as_i64().unwrap()).collect();
    let mut strips = BTreeMap::new();
    let mut counts = 0;
    for (name, bytes) in files_below(folder) {
        if !(name.ends_with(".csv") || name.ends_with(".geojson")) {
            continue;
        }
        fs::write(review.path().join("raw").join(&name), &bytes).unwrap();
        if name.starts_with("strip-") && name.ends_with(".csv") {
            for row in read_csv(&folder.join(&name)) {
                strips.insert(row["strip_id"].clone(), (row["treatment"].clone(), row["block"].clone()));
            }
        }
    }
    for (name, _) in files_below(folder) {
        let path = review.path().join("raw").join(&name);
        let fill = |change: &mut dyn FnMut(&mut BTreeMap<String, String>)| {
            let mut reader = csv::Reader::from_path(&path).unwrap();
            let header = reader.headers().unwrap().clone();
            let rows = read_csv(&path);
            let mut writer = csv::Writer::from_path(&path).unwrap();
            writer.write_record(&header).unwrap();
            for mut row in rows {
                change(&mut row);
                writer.write_record(header.iter().map(|column| row[column].as_str())).unwrap();
            }
            writer.flush().unwrap();
        };
        if name.starts_with("field-") {
            fill(&mut |row| *row.get_mut("planted_at").unwrap() = "2027-05-05 08:00".into());
        }
        if name.starts_with("stand_count-") {
            // One course a place: the same plants are up at every later visit.
            let mut places: BTreeMap<(String, String), Vec<f64>> = BTreeMap::new();
            fill(&mut |row| {
                let (treatment, block) = &strips[&row["strip_id"]];
                let day = days[row["visit_number"].parse::<usize>().unwrap() - 1];
                let share = up(treatment, block);
                let times = places.entry((row["strip_id"].clone(), row["sample_id"].clone())).or_insert_with(|| {
                    (0..33)
                        .map(|_| {
                            if random.random::<f64>() < share { random.random_range(8.5..11.5) } else { f64::INFINITY }
                        })
                        .collect()
                });
                let emerged = times.iter().filter(|time| **time <= day as f64 + 0.4).count();
                *row.get_mut("emerged").unwrap() = emerged.to_string();
                *row.get_mut("counted_at").unwrap() = format!("2027-05-{:02} 18:00", 5 + day);
                counts += 1;
            });
        }
    }
    counts
}

#[test]
fn a_planned_trial_filled_in_comes_back_without_a_hand_on_any_file() {
    let review = empty_review();
    let files =
        planned(&review, &["--planter", "air-12", "--rows", "12", "--levels", "4", "--line", "-93.5,42.1 -93.5,42.2"]);
    assert!(files.keys().all(|name| name.starts_with("north-40-2027/")), "{:?}", files.keys());
    for name in ["cab-card.html", "count-sheets.html", "plan.html", "layout.svg", "trial.json"] {
        assert!(files.contains_key(&format!("north-40-2027/{name}")), "{name} among {:?}", files.keys());
    }
    // Lighter is better by ten points a hundred kilopascals.
    let up = |treatment: &str, _: &str| {
        let kpa: f64 = treatment.split_whitespace().next().unwrap().parse().unwrap();
        0.95 - (kpa - 100.0) / 1000.0
    };
    let counts = filled(&review, &review.path().join("plan/north-40-2027"), up);
    let said = review.run("run", &["--json"]);
    assert!(said.status < 2, "{}", said.stderr);
    let [read, kept, set_aside] = balance(&said.stdout);
    assert_eq!((read, set_aside), (kept, 0), "{}", said.stderr);
    assert!(kept as usize > counts);
    let strips = review.result("strips");
    assert_eq!(strips.len(), 16);
    let plan: serde_json::Value = serde_json::from_slice(&files["north-40-2027/trial.json"]).unwrap();
    for (strip, row) in plan["strips"].as_array().unwrap().iter().zip(&strips) {
        let level = &plan["levels"][strip["level"].as_u64().unwrap() as usize];
        assert_eq!(row["strip_id"], strip["strip_id"].as_str().unwrap());
        assert_eq!(row["block"], strip["block"].to_string());
        assert_eq!((row["condition"].as_str(), row["planter_id"].as_str()), ("moist", "air-12"));
        let (force, planned) = (row["force_n"].parse::<f64>().unwrap(), level["force_n"].as_f64().unwrap());
        assert!((force - planned).abs() < 1.0, "{force} {planned}");
        assert_eq!(row["n_samples"], "3");
        assert!(!row["on_time_share"].is_empty() && !row["t10_h"].is_empty(), "{row:?}");
    }
    // What a drawn layout must not be called.
    let findings = review.result("findings");
    for code in [
        "settings_along_field",
        "same_order_in_blocks",
        "block_of_one_setting",
        "settings_side_by_side",
        "setting_confounded",
    ] {
        assert!(!findings.iter().any(|row| row["code"] == code), "{code}: {findings:?}");
    }
    assert!(!findings.iter().any(|row| row["severity"] == "error"), "{findings:?}");
    // The method that the plan's power rests on, with its degrees of freedom.
    let pairs: Vec<_> = review
        .result("comparisons")
        .into_iter()
        .filter(|row| row["field_id"] == "north 40" && row["response"] == "on_time_share")
        .collect();
    assert_eq!(pairs.len(), 6);
    assert!(pairs.iter().all(|row| row["df"].parse::<f64>().unwrap() == 9.0), "{pairs:?}");
    let outlines = review.result("outlines");
    assert_eq!(outlines.iter().filter(|row| row["strip_id"] == "S01").count().min(1), 1, "strips lie on the map");
}

#[test]
fn springs_and_two_planters_come_back_too() {
    for (more, strips) in [
        (vec!["--planter", "spring-8", "--rows", "8", "--blocks", "3"], 9),
        (
            vec![
                "--planter",
                "air-12",
                "--planter",
                "spring-8",
                "--rows",
                "12",
                "--rows",
                "8",
                "--settings",
                "100,190,290",
                "--blocks",
                "3",
            ],
            18,
        ),
    ] {
        let review = empty_review();
        planned(&review, &more);
        filled(&review, &review.path().join("plan/north-40-2027"), |_, block| if block == "1" { 0.9 } else { 0.8 });
        let said = review.run("run", &["--json"]);
        assert!(said.status < 2, "{}", said.stderr);
        assert_eq!(balance(&said.stdout)[2], 0, "{}", said.stderr);
        let rows = review.result("strips");
        assert_eq!(rows.len(), strips);
        assert!(rows.iter().all(|row| !row["force_n"].is_empty() && !row["emerged_share"].is_empty()), "{rows:?}");
    }
}

#[test]
fn a_split_plot_comes_back_with_its_closers_and_their_tests() {
    let review = empty_review();
    let closers = "discs_and_press_wheel,angled_press_wheels";
    planned(&review, &["--planter", "air-12", "--rows", "12", "--settings", "100,200,300", "--closers", closers]);
    // One closer is better by fifteen points, and settings do nothing.
    let up = |treatment: &str, _: &str| if treatment.contains("angled") { 0.75 } else { 0.9 };
    filled(&review, &review.path().join("plan/north-40-2027"), up);
    let said = review.run("run", &["--json"]);
    assert!(said.status < 2, "{}", said.stderr);
    assert_eq!(balance(&said.stdout)[2], 0, "{}", said.stderr);
    let strips = review.result("strips");
    assert_eq!(strips.len(), 24);
    assert_eq!(strips.iter().filter(|row| row["closer"] == "angled_press_wheels").count(), 12);
    let tests: BTreeMap<String, BTreeMap<String, String>> = review
        .result("factors")
        .into_iter()
        .filter(|row| row["response"] == "emerged_share" && row["field_id"] == "north 40")
        .map(|row| (row["term"].clone(), row))
        .collect();
    let df = |term: &str| {
        let row = &tests[term];
        (row["numerator_df"].parse::<f64>().unwrap(), row["denominator_df"].parse::<f64>().unwrap())
    };
    // Four blocks, two closers on groups of three strips: closers against 3 degrees of freedom, all else against 12.
    assert_eq!(df("closer").0, 1.0);
    assert!(
        tests.contains_key("force") && tests.keys().any(|term| term.contains("closer") && term.contains("×")),
        "{tests:?}"
    );
    let p: f64 = tests["closer"]["p_value"].parse().unwrap();
    assert!(p < 0.05, "{tests:?}");
}

#[test]
fn a_field_whose_name_a_spreadsheet_would_calculate_is_one_field_in_all_sheets() {
    let review = empty_review();
    let mut arguments = FIELD.to_vec();
    arguments[1] = "=A/1";
    arguments.extend(["--planter", "air-12", "--rows", "12", "--line", "-93.5,42.1 -93.5,42.2"]);
    assert_eq!(review.run("trial", &arguments).status, 0);
    for (name, bytes) in files_below(&review.path().join("plan/A-1-2027")) {
        if name.ends_with(".csv") || name.ends_with(".geojson") {
            fs::write(review.path().join("raw").join(name), bytes).unwrap();
        }
    }
    assert_eq!(review.run("ingest", &[]).status, 0);
    for table in ["field", "strip", "setting_log"] {
        let rows = review.kept(table);
        assert!(!rows.is_empty() && rows.iter().all(|row| row["field_id"] == "=A/1"), "{table}");
    }
    // Every strip once, with its outline.
    let strips = review.kept("strip");
    assert_eq!(strips.iter().filter(|row| !row["boundary"].is_empty()).count(), 20);
}

#[test]
fn sheets_that_nobody_filled_in_are_no_fault() {
    let review = empty_review();
    planned(&review, &["--planter", "air-12", "--rows", "12"]);
    let folder = review.path().join("plan/north-40-2027");
    for (name, bytes) in files_below(&folder) {
        if name.ends_with(".csv") {
            fs::write(review.path().join("raw").join(name), bytes).unwrap();
        }
    }
    let said = review.run("ingest", &["--json"]);
    let [read, kept, set_aside] = balance(&said.stdout);
    assert_eq!(read, kept + set_aside);
    assert!(set_aside > 100, "every count is left blank");
    assert_eq!(said.status, 0, "{}", said.stderr);
    assert!(!said.stderr.contains("warning") && !said.stderr.contains("error"), "{}", said.stderr);
}

#[test]
fn the_same_request_gives_the_same_papers_and_what_was_filled_in_is_not_lost() {
    let review = empty_review();
    let more = ["--planter", "air-12", "--rows", "12"];
    let first = planned(&review, &more);
    assert_eq!(first, planned(&review, &more));
    let sheet = review.path().join("plan/north-40-2027/stand_count-north-40-2027.csv");
    fs::write(&sheet, "mine").unwrap();
    let arguments: Vec<&str> = FIELD.iter().chain(&more).copied().collect();
    let said = review.run("trial", &arguments);
    assert_eq!(said.status, 2);
    assert!(said.stderr.contains("stand_count-north-40-2027.csv") && said.stderr.contains("move"), "{}", said.stderr);
    assert_eq!(fs::read_to_string(&sheet).unwrap(), "mine");
}

#[test]
fn what_a_review_does_not_know_is_named_with_the_option_that_says_it() {
    let review = empty_review();
    let refused = |arguments: &[&str], expected: &[&str]| {
        let said = review.run("trial", arguments);
        assert_eq!(said.status, 2, "{arguments:?}: {}", said.stdout);
        for words in expected {
            assert!(said.stderr.contains(words), "{arguments:?}: {}", said.stderr);
        }
        assert!(!review.path().join("plan").exists(), "nothing is written");
    };
    refused(&[], &["the field is not known", "--field"]);
    refused(&["--field", "A"], &["the season is not known", "--season"]);
    refused(&["--field", "A", "--season", "2027"], &["--planter", "air-12, spring-8"]);
    refused(&["--field", "A", "--season", "2027", "--planter", "air-9"], &["no planter \"air-9\"", "air-12"]);
    let known = [
        "--field",
        "A",
        "--season",
        "2027",
        "--planter",
        "air-12",
        "--rows",
        "12",
        "--row-spacing",
        "30in",
        "--length",
        "400m",
    ];
    let with = |more: &[&'static str]| known.iter().chain(more).copied().collect::<Vec<_>>();
    refused(&with(&["--settings", "hard,soft"]), &["\"hard\"", "air-12"]);
    refused(&with(&["--settings", "100,900"]), &["900 kPa", "from 0 kPa to 400 kPa"]);
    refused(&with(&["--blocks", "1"]), &["the number of blocks", "found 1"]);
    refused(&with(&["--planting-date", "May"]), &["--planting-date"]);
    refused(&with(&["--line", "here there"]), &["--line", "longitude,latitude"]);
    refused(&with(&["--outline", "nowhere.geojson"]), &["nowhere.geojson"]);
    refused(&["--field", "A", "--length", "12 acres"], &["12 acres", "ft"]);
    refused(&with(&["--response", "spacing_cv"]), &["--strip-sd"]);
}

#[test]
fn questions_are_asked_and_answers_that_cannot_be_read_are_asked_again() {
    use std::io::Write;
    use std::process::{Command, Stdio};
    let review = empty_review();
    let mut child = Command::new(env!("CARGO_BIN_EXE_evenstand"))
        .args(["trial", review.path().to_str().unwrap(), "--ask"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let answers = "west\nsoon\n2028\nspring-8\n8\nmoist\n30in\n1320ft\n\n3\n\n2028-05-01\n";
    child.stdin.take().unwrap().write_all(answers.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    let (said, asked) = (String::from_utf8(output.stdout).unwrap(), String::from_utf8(output.stderr).unwrap());
    assert_eq!(output.status.code(), Some(0), "{asked}");
    assert!(said.contains("Trial in west, 2028: 9 strips in 3 blocks"), "{said}");
    assert_eq!(asked.matches("In which year is it planted?").count(), 2, "{asked}");
    assert!(asked.contains("Which planter? (known: air-12, spring-8)"), "{asked}");
    assert!(review.path().join("plan/west-2028/cab-card.html").exists());
}

#[test]
fn the_demo_knows_what_a_trial_in_one_of_its_fields_needs() {
    let review = TestReview::copy_of(&root().join("sample-data/winter-review"));
    assert!(review.run("run", &["-q"]).status < 2);
    let said = review.run("trial", &["--field", "quarry-west", "--planting-date", "2026-05-08"]);
    assert_eq!(said.status, 0, "{}", said.stderr);
    let plan: serde_json::Value =
        serde_json::from_slice(&fs::read(review.path().join("plan/quarry-west-2026/trial.json")).unwrap()).unwrap();
    assert_eq!(plan["planters"][0]["id"], "north-12");
    assert_eq!((plan["planters"][0]["rows"].as_u64(), plan["season"].as_i64()), (Some(12), Some(2026)));
    assert!(plan["worth"]["strip_sd_from"].as_str().unwrap().contains("of this review"), "{plan}");
    assert!(plan["visits"]["basis"].as_str().unwrap().contains("seasons of weather"), "{plan}");
    // The default is 28 psi; settings around it lie inside what the digs of its condition allow.
    let digs = review.result("settings").into_iter().find(|row| {
        row["planter_id"] == "north-12"
            && row["primary"] == "true"
            && row["condition"] == plan["condition"].as_str().unwrap()
    });
    let digs = digs.unwrap();
    let bound = |name: &str, otherwise: f64| digs[name].parse().unwrap_or(otherwise);
    let (low, high) = (bound("dig_low_pressure_kpa", 0.0), bound("dig_high_pressure_kpa", 1e9));
    let kpa: Vec<f64> = plan["levels"]
        .as_array()
        .unwrap()
        .iter()
        .map(|level| level["knobs"][0]["pressure_kpa"].as_f64().unwrap())
        .collect();
    let default = 28.0 * 6.894_757_293;
    assert!(kpa.iter().all(|kpa| (low..=high).contains(kpa)), "{kpa:?} inside {low} to {high}");
    assert!(kpa[0] < default - 1.0 && kpa[kpa.len() - 1] > default + 1.0, "{kpa:?}");
    // A review without results still plans, by what it states.
    let small = small_review();
    small.run("ingest", &[]);
    let said = small.run("trial", &["--field", "A"]);
    assert_eq!(said.status, 2);
    assert!(said.stderr.contains("--planter"), "{}", said.stderr);
    assert_eq!(evenstand(&["trial", "nowhere"]).status, 2);
}
