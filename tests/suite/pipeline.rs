//! What comes out of made-up reviews whose answer is known by hand.

use crate::cli::small_review;
use crate::support::{TestReview, files_below};

/// A trial of `fields` field-seasons with 4 blocks; `emerged` gives plants of 100 seeds by field, block and setting.
fn trial(fields: usize, forces: &[u32], emerged: impl Fn(usize, usize, u32) -> u32) -> TestReview {
    let mut field = String::from("field_id,season,planted_at,row_spacing_m,seed_rate_per_m2\n");
    let mut log = String::from("field_id,season,strip_id,block,set_force_n\n");
    let mut count = String::from("field_id,season,strip_id,seeds_sown,emerged\n");
    let mut soil = String::from("field_id,season,moisture_feel,residue_cover_pct\n");
    for number in 0..fields {
        field += &format!("F{number},2025,2025-05-01,0.75,8\n");
        soil += &format!("F{number},2025,moist,60\n");
        for block in 0..4 {
            for force in forces {
                let strip = format!("{block}-{force}");
                log += &format!("F{number},2025,{strip},{block},{force}\n");
                count += &format!("F{number},2025,{strip},200,{}\n", 2 * emerged(number, block, *force));
            }
        }
    }
    TestReview::new(&[
        ("field.csv", &field),
        ("setting_log.csv", &log),
        ("stand_count.csv", &count),
        ("soil_note.csv", &soil),
        ("evenstand.toml", "timezone = \"UTC\"\ndefault_force_n = 100\n"),
    ])
}

/// Numbers that scatter a little and are the same on every run.
fn scatter(field: usize, block: usize, force: u32) -> u32 {
    (field as u32 * 7 + block as u32 * 5 + force / 10 * 3) % 4
}

fn primary(review: &TestReview) -> std::collections::BTreeMap<String, String> {
    let said = review.run("run", &[]);
    assert!(said.status < 2, "{}", said.stderr);
    review.result("starting_points").into_iter().find(|row| row["primary"] == "true").unwrap()
}

fn number(row: &std::collections::BTreeMap<String, String>, name: &str) -> f64 {
    row[name].parse().unwrap_or_else(|_| panic!("{name} is \"{}\"", row[name]))
}

#[test]
fn an_optimum_inside_the_tested_range_is_found_and_settled() {
    let review = trial(5, &[60, 120, 180, 240, 300], |field, block, force| {
        let distance = (f64::from(force) - 200.0) / 100.0;
        (88.0 - 9.0 * distance * distance) as u32 + scatter(field, block, force)
    });
    let row = primary(&review);
    assert_eq!(
        (row["evidence"].as_str(), row["shape"].as_str(), row["basis"].as_str()),
        ("settled", "inside", "trial"),
        "{row:?}"
    );
    assert_eq!(row["response"], "emerged_share");
    assert!((number(&row, "best_n") - 200.0).abs() < 20.0, "{row:?}");
    assert!(number(&row, "window_low_n") > 120.0 && number(&row, "window_high_n") < 280.0);
    // The default of 100 N is outside the window and clearly worse, so the start moves to the best.
    assert_eq!(row["start_n"], row["best_n"]);
    assert!(number(&row, "gain_low") > 0.0 && number(&row, "prob_gain") > 0.9);
}

#[test]
fn a_flat_response_says_so_and_stays_at_the_default() {
    let review = trial(6, &[90, 150, 210, 270], |field, block, force| 85 + scatter(field, block, force));
    let row = primary(&review);
    assert!(["flat", "untold"].contains(&row["shape"].as_str()), "{row:?}");
    assert!(number(&row, "levels_p_value") > 0.1);
    assert_eq!(row["start_n"], row["default_n"]);
    assert!(row["reason"].contains("no setting could be told from another"), "{}", row["reason"]);
    assert!(number(&row, "largest_difference") < 0.06);
}

#[test]
fn pairs_say_whether_the_default_is_in_them_and_only_what_was_shown() {
    let review = trial(6, &[100, 150, 210, 270], |field, block, force| 85 + scatter(field, block, force));
    assert!(review.run("run", &[]).status < 2);
    let pairs = review.result("comparisons");
    let over_all: Vec<_> =
        pairs.iter().filter(|row| row["response"] == "emerged_share" && row["field_id"].is_empty()).collect();
    assert_eq!(over_all.len(), 6);
    for row in &over_all {
        let with_default = row["treatment_a"] == "100 N" || row["treatment_b"] == "100 N";
        assert_eq!(row["with_default"], with_default.to_string(), "{row:?}");
        assert_eq!((row["equivalence_margin"].as_str(), row["n_field_seasons"].as_str()), ("0.02", "6"));
        // Two points are more than four times the error of these differences, which are nothing: shown to be alike.
        assert_eq!(row["verdict"], "equivalent", "{row:?}");
        assert!(number(row, "p_equivalent") < 0.05 && number(row, "p_adjusted") > 0.05);
    }
    // Of one field each verdict follows from its own p values.
    for row in pairs.iter().filter(|row| !row["field_id"].is_empty()) {
        let below = |name: &str| row[name].parse::<f64>().is_ok_and(|p_value| p_value < 0.05);
        let expected = match (below("p_adjusted"), below("p_equivalent"), below("p_no_worse")) {
            (true, ..) => "different",
            (false, true, _) => "equivalent",
            (false, false, true) => "no worse",
            (false, false, false) => "open",
        };
        assert_eq!(row["verdict"], expected, "{row:?}");
        assert_eq!(row["p_between_fields"], "");
    }
}

#[test]
fn a_monotone_response_points_to_its_end() {
    let review = trial(5, &[60, 120, 180, 240], |field, block, force| 60 + force / 10 + scatter(field, block, force));
    let row = primary(&review);
    assert_eq!(row["shape"], "heavier", "{row:?}");
    assert_eq!(number(&row, "best_n"), 240.0);
    assert!(row["reason"].contains("above the heaviest"), "{}", row["reason"]);
}

#[test]
fn one_setting_everywhere_is_open_and_says_what_to_do() {
    let review = trial(3, &[150], |field, block, force| 85 + scatter(field, block, force));
    let row = primary(&review);
    assert_eq!((row["evidence"].as_str(), row["start_n"].as_str()), ("open", ""));
    assert!(row["reason"].contains("one setting") && row["reason"].contains("vary the setting"), "{}", row["reason"]);
}

#[test]
fn settings_that_followed_the_field_are_open() {
    let mut count = String::from("field_id,season,strip_id,seeds_sown,emerged\n");
    let mut log = String::from("field_id,season,strip_id,set_force_n\n");
    for field in 0..6 {
        for strip in 0..4 {
            log += &format!("F{field},2025,{strip},{}\n", 100 + 30 * field);
            count += &format!("F{field},2025,{strip},100,{}\n", 80 + field + strip % 2);
        }
    }
    let row = primary(&TestReview::new(&[("setting_log.csv", &log), ("stand_count.csv", &count)]));
    assert_eq!((row["evidence"].as_str(), row["basis"].as_str()), ("open", "logs"));
    assert!(row["reason"].contains("followed the field"), "{}", row["reason"]);
}

#[test]
fn logs_are_at_most_leaning_and_called_a_pattern() {
    let mut count = String::from("field_id,season,strip_id,seeds_sown,emerged\n");
    let mut log = String::from("field_id,season,strip_id,set_force_n\n");
    for field in 0..5 {
        for season in 2021..2026 {
            let force = 100 + 25 * ((field + season) % 5);
            for strip in 0..3 {
                log += &format!("F{field},{season},{strip},{force}\n");
                count += &format!("F{field},{season},{strip},200,{}\n", 130 + force / 6 + (strip + field) % 3);
            }
        }
    }
    let row = primary(&TestReview::new(&[("setting_log.csv", &log), ("stand_count.csv", &count)]));
    assert_eq!(row["basis"], "logs");
    assert_ne!(row["evidence"], "settled", "{row:?}");
    assert!(row["reason"].contains("pattern"), "{}", row["reason"]);
}

#[test]
fn strips_without_any_setting_are_open_and_the_reason_is_plain() {
    let review = TestReview::new(&[(
        "stand_count.csv",
        "field_id,season,strip_id,seeds_sown,emerged\nA,2025,1,100,90\nA,2025,2,100,85\n",
    )]);
    let row = primary(&review);
    assert_eq!((row["evidence"].as_str(), row["response"].as_str()), ("open", "emerged_share"));
    assert!(row["reason"].contains("No closing downforce is known"), "{}", row["reason"]);
    assert_eq!(review.result("strips").len(), 2);
}

#[test]
fn a_planter_without_calibration_keeps_its_own_pressure_and_shows_no_force() {
    let review = small_review();
    review.put(
        "evenstand.toml",
        "[[planter]]\nid = \"p\"\n[planter.closing]\nkind = \"pressure\"\nmin_psi = 0\nmax_psi = 60\nstep_psi = 2\ndefault_psi = 30\n",
    );
    let mut log = String::from("field_id,season,strip_id,block,planter_id,set_pressure_psi\n");
    let mut count = String::from("field_id,season,strip_id,seeds_sown,emerged\n");
    for field in ["A", "B", "C", "D"] {
        for block in 0..4_u32 {
            for psi in [14_u32, 22, 30, 38, 46] {
                log += &format!("{field},2025,{block}-{psi},{block},p,{psi}\n");
                let loss = 2 * (psi.abs_diff(38) / 4).pow(2);
                count += &format!("{field},2025,{block}-{psi},200,{}\n", 180 - loss - (block + psi / 8) % 3);
            }
        }
    }
    review.put("setting_log.csv", &log);
    review.put("stand_count.csv", &count);
    let row = primary(&review);
    assert_eq!(row["planter_id"], "p");
    assert!(review.result("strips").iter().all(|strip| strip["force_source"] == "nominal"));
    let knob = review.result("settings").into_iter().find(|row| row["primary"] == "true").unwrap();
    assert_eq!((knob["start_force_n"].as_str(), knob["default_force_n"].as_str()), ("", ""));
    let psi = number(&knob, "start_pressure_kpa") / 6.894_757_293_168_361;
    assert!((psi / 2.0 - (psi / 2.0).round()).abs() < 1e-9, "{psi} psi is not on the knob's step of 2 psi");
    assert!((34.0..=42.0).contains(&psi), "{psi}");
    assert!(knob["condition"] == "unstated" && knob["knob"] == "pressure");
    assert!(review.result("findings").iter().any(|finding| finding["code"] == "no_calibration"));
}

#[test]
fn running_again_changes_no_byte_and_nothing_on_disk() {
    let review = small_review();
    review.run("run", &[]);
    let made = |name: &str| std::fs::metadata(review.path().join(name)).unwrap().modified().unwrap();
    let names = ["store/manifest.json", "results/strips.parquet", "report/index.html"];
    let (before, times) = (files_below(review.path()), names.map(made));
    review.run("run", &[]);
    assert!(files_below(review.path()) == before, "a second run changed a file");
    assert_eq!(names.map(made), times);
}

#[test]
fn a_changed_file_replaces_its_own_rows_and_a_removed_one_takes_them_along() {
    let review = small_review();
    review.run("ingest", &[]);
    let of = |review: &TestReview, start: &str| {
        files_below(&review.path().join("store"))
            .into_iter()
            .filter(|(name, _)| name.starts_with(start))
            .collect::<Vec<_>>()
    };
    let settings = of(&review, "setting_log");
    let counts = of(&review, "stand_count");
    review.put("stand_count.csv", "field_id,season,strip_id,emerged\nA,2025,1,80\n");
    review.run("ingest", &[]);
    assert_eq!(of(&review, "setting_log"), settings);
    assert_ne!(of(&review, "stand_count"), counts);
    std::fs::remove_file(review.path().join("raw/stand_count.csv")).unwrap();
    review.run("ingest", &[]);
    assert!(of(&review, "stand_count").is_empty());
}

#[test]
fn a_killed_ingest_leaves_the_old_store_or_the_new_one() {
    let review = small_review();
    review.run("ingest", &[]);
    let old = files_below(&review.path().join("store"));
    let mut text = String::from("field_id,season,strip_id,sample_id,emerged\n");
    for row in 0..60_000 {
        text += &format!("A,2025,{},{row},80\n", row % 4);
    }
    review.put("stand_count.csv", &text);
    let fresh = TestReview::copy_of(review.path());
    fresh.run("ingest", &[]);
    let new = files_below(&fresh.path().join("store"));
    let mut died = 0;
    for moment in 0..12 {
        let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_evenstand"))
            .args(["ingest", review.path().to_str().unwrap(), "--quiet"])
            .spawn()
            .unwrap();
        std::thread::sleep(std::time::Duration::from_millis(4 * moment));
        died += u32::from(child.kill().is_ok());
        child.wait().unwrap();
        let now = files_below(&review.path().join("store"));
        assert!(now == old || now == new, "after {} ms the store is neither the old nor the new one", 4 * moment);
    }
    assert!(died > 0, "no run was killed, so this test showed nothing");
    review.run("ingest", &[]);
    assert!(files_below(&review.path().join("store")) == new);
}

#[test]
fn rows_kept_and_rows_set_aside_add_up_in_every_file() {
    let review = small_review();
    review.put("soil_note.csv", "field_id,season,moisture_feel\nA,2025,moist\nA,2025,soggy\n,2025,dry\n\nA,x,dry\n");
    review.run("ingest", &[]);
    let manifest: serde_json::Value =
        serde_json::from_slice(&std::fs::read(review.path().join("store/manifest.json")).unwrap()).unwrap();
    for source in manifest["sources"].as_array().unwrap() {
        let count = |name: &str| source[name].as_u64().unwrap();
        assert_eq!(count("rows_kept") + count("rows_set_aside"), count("rows_read"), "{source}");
        if source["kind"] == "soil_note" {
            assert_eq!((count("rows_read"), count("rows_kept")), (4, 1));
        }
    }
}

#[test]
fn wrong_counts_are_findings() {
    let review = small_review();
    review.put(
        "stand_count.csv",
        "field_id,season,strip_id,sample_id,seeds_sown,counted_at,emerged\n\
         A,2025,1,a,100,2025-05-08,0\nA,2025,1,a,100,2025-05-10,82\nA,2025,1,a,100,2025-05-12,80\n\
         A,2025,2,a,100,2025-05-08,0\nA,2025,2,a,100,2025-05-12,104\n\
         A,2025,9,a,100,2025-05-08,0\nA,2025,9,a,100,2025-05-12,86\n",
    );
    review.put("strip.csv", "field_id,season,strip_id,block\nA,2025,1,I\nA,2025,1,II\n");
    review.run("run", &[]);
    let codes: Vec<String> = review.result("findings").into_iter().map(|finding| finding["code"].clone()).collect();
    for code in
        ["falling_count", "more_plants_than_seeds", "counts_without_strip", "strip_without_counts", "repeated_strip"]
    {
        assert!(codes.iter().any(|found| found == code), "{code} is not among {codes:?}");
    }
}

/// Two fields of three blocks, pressures by field; more emerges the nearer to 30 psi.
fn pressure_trial(planter: &str, pressures: [&[u32]; 2]) -> (String, String) {
    let mut log = format!(
        "field_id,season,strip_id,block,{}set_pressure_psi\n",
        if planter.is_empty() { "" } else { "planter_id," }
    );
    let mut count = String::from("field_id,season,strip_id,seeds_sown,emerged\n");
    for (field, pressures) in pressures.into_iter().enumerate() {
        for block in 0..3_u32 {
            for psi in pressures {
                let named = if planter.is_empty() { String::new() } else { format!("{planter},") };
                log += &format!("F{field},2025,{block}-{psi},{block},{named}{psi}\n");
                count +=
                    &format!("F{field},2025,{block}-{psi},200,{}\n", 180 - psi.abs_diff(30) - (block * 3 + psi) % 4);
            }
        }
    }
    (log, count)
}

#[test]
fn pressures_of_a_planter_that_nobody_described_are_never_called_newtons() {
    for planter in ["", "p"] {
        let (log, count) = pressure_trial(planter, [&[10, 20, 30, 40], &[10, 20, 30, 40]]);
        let review = TestReview::new(&[("setting_log.csv", &log), ("stand_count.csv", &count)]);
        let row = primary(&review);
        assert_eq!(row["planter_id"], if planter.is_empty() { "unnamed planter" } else { "p" });
        let knobs = review.result("settings");
        let knob = knobs.iter().find(|row| row["primary"] == "true").unwrap();
        assert_eq!((knob["knob"].as_str(), knob["start_force_n"].as_str()), ("pressure", ""));
        assert_eq!(knob["evidence"], row["evidence"]);
        assert!(row["reason"].contains("No default is given"), "{}", row["reason"]);
        let page = std::fs::read_to_string(review.path().join("report/index.html")).unwrap();
        let card = &page[page.find("id=\"start\"").unwrap()..page.find("id=\"why\"").unwrap()];
        assert!(!card.contains("\u{a0}N "), "a force is shown on the card");
    }
}

#[test]
fn two_fields_with_different_settings_get_an_answer() {
    let (log, count) = pressure_trial("p", [&[10, 20, 30, 40], &[15, 25, 35, 45]]);
    let row = primary(&TestReview::new(&[("setting_log.csv", &log), ("stand_count.csv", &count)]));
    assert!(!row["best_n"].is_empty(), "{}", row["reason"]);
}

#[test]
fn another_response_never_takes_the_place_of_the_one_that_decides() {
    let (log, count) = pressure_trial("p", [&[10, 20, 30, 40], &[10, 20, 30, 40]]);
    let review = TestReview::new(&[("setting_log.csv", &log), ("stand_count.csv", &count)]);
    review.put("evenstand.toml", "primary = \"nonsense\"\n");
    let said = review.run("run", &[]);
    assert_eq!(said.status, 2);
    assert!(said.stderr.contains("primary") && said.stderr.contains("emerged_share"), "{}", said.stderr);
    review.put("evenstand.toml", "primary = \"measure:yield\"\n");
    assert_eq!(review.run("run", &[]).status, 1);
    let row = primary(&review);
    assert_eq!((row["response"].as_str(), row["evidence"].as_str()), ("measure:yield", "open"));
    assert!(row["reason"].contains("no values"), "{}", row["reason"]);
}

#[test]
fn counts_before_planting_and_a_planting_in_another_year_are_found_and_not_used() {
    let review = small_review();
    let counts = std::fs::read_to_string(review.path().join("raw/stand_count.csv")).unwrap();
    review.put("stand_count.csv", &format!("{counts}A,2025,1,a,100,1925-05-10,50\n"));
    review.run("run", &[]);
    let found = |code: &str| review.result("findings").iter().any(|row| row["code"] == code);
    assert!(found("count_outside_season"));
    assert_eq!(review.result("strips")[0]["emerged"], "80.0");
    review.put("field.csv", "field_id,season,planted_at,row_spacing_cm,seed_rate_per_ha\nA,2025,2024-05-01,75,80000\n");
    review.run("run", &[]);
    assert!(review.result("findings").iter().any(|row| row["code"] == "planted_in_another_year"));
    assert!(review.result("strips").iter().all(|row| row["t10_h"].is_empty() && !row["spread_h"].is_empty()));
}

#[test]
fn strips_that_all_came_up_alike_say_so_in_plain_words() {
    let row = primary(&trial(3, &[90, 150, 210], |_, _, _| 80));
    assert!(row["reason"].contains("same value") && !row["reason"].contains("random term"), "{}", row["reason"]);
    assert_eq!(row["start_n"], "");
}

/// Three field-seasons of 4 blocks and 4 positions; plants of 200 seeds by position, the labels as `positions` writes them.
fn trial_of_positions(positions: &str, emerged: [u32; 4]) -> TestReview {
    let mut field = String::from("field_id,season,planted_at,row_spacing_m,seed_rate_per_m2,planter_id\n");
    let mut log = String::from("field_id,season,strip_id,block,planter_id,closing_position\n");
    let mut count = String::from("field_id,season,strip_id,seeds_sown,emerged\n");
    let mut soil = String::from("field_id,season,moisture_feel,residue_cover_pct\n");
    for number in 0..3 {
        field += &format!("F{number},2025,2025-05-01,0.75,8,spring-8\n");
        soil += &format!("F{number},2025,moist,60\n");
        for block in 0..4 {
            for (position, emerged) in emerged.iter().enumerate() {
                let strip = format!("{block}-{position}");
                log += &format!("F{number},2025,{strip},{block},spring-8,{}\n", position + 1);
                let emerged = emerged + 2 * scatter(number, block, 10 * position as u32);
                count += &format!("F{number},2025,{strip},200,{emerged}\n");
            }
        }
    }
    let planter = format!(
        "timezone = \"UTC\"\ndefault_force_n = 100\n[[planter]]\nid = \"spring-8\"\ncloser = \"single_wheel\"\n\
         [planter.closing]\nkind = \"positions\"\npositions = [{positions}]\ndefault = \"2\"\n"
    );
    TestReview::new(&[
        ("field.csv", &field),
        ("setting_log.csv", &log),
        ("stand_count.csv", &count),
        ("soil_note.csv", &soil),
        ("evenstand.toml", &planter),
    ])
}

#[test]
fn positions_without_weighed_forces_are_answered_by_label_and_never_in_newtons() {
    let labels = "{ label = \"1\" }, { label = \"2\" }, { label = \"3\" }, { label = \"4\" }";
    let review = trial_of_positions(labels, [140, 156, 172, 158]);
    let row = primary(&review);
    assert_eq!((row["planter_id"].as_str(), row["basis"].as_str()), ("spring-8", "trial"));
    assert_eq!((row["evidence"].as_str(), row["shape"].as_str()), ("settled", "inside"), "{row:?}");
    for name in ["start_n", "best_n", "default_n", "window_low_n", "tested_low_n", "best_low_n"] {
        assert_eq!(row[name], "", "{name}");
    }
    assert!(row["reason"].contains("position “3”"), "{}", row["reason"]);
    assert!(row["reason"].contains("Weigh the force of each position"), "{}", row["reason"]);
    let knob = review.result("settings").into_iter().find(|row| row["primary"] == "true").unwrap();
    assert_eq!(
        [&knob["start_position"], &knob["default_position"], &knob["advice"], &knob["knob"], &knob["evidence"]],
        ["3", "2", "heavier", "positions", "settled"]
    );
    let pairs = review.result("comparisons");
    let over_all = |row: &&std::collections::BTreeMap<String, String>| {
        row["response"] == "emerged_share" && row["field_id"].is_empty() && row["treatment_a"] == "3"
    };
    let against_first = pairs.iter().filter(over_all).find(|row| row["treatment_b"] == "1").unwrap();
    assert!((number(against_first, "difference") - 0.16).abs() < 0.02, "{against_first:?}");
    assert!(number(against_first, "p_value") < 0.01);
    assert_eq!((against_first["verdict"].as_str(), against_first["with_default"].as_str()), ("different", "false"));
    let against_default = pairs.iter().filter(over_all).find(|row| row["treatment_b"] == "2").unwrap();
    assert_eq!(against_default["with_default"], "true");
    let trials = review.result("next_trials");
    assert_eq!((trials.len(), trials[0]["n_levels"].as_str(), trials[0]["low_n"].as_str()), (1, "4", ""));
    let findings = review.result("findings");
    let coded = |code: &str| findings.iter().filter(|finding| finding["code"] == code).count();
    assert_eq!((coded("positions_not_weighed"), coded("strip_without_force")), (1, 0));
    assert!(
        review
            .result("field_seasons")
            .iter()
            .all(|row| (row["kind"].as_str(), row["n_levels"].as_str()) == ("trial", "4"))
    );
    let page = std::fs::read_to_string(review.path().join("report/index.html")).unwrap();
    assert!(page.contains("position 3 − position 2"));
    let card = &page[page.find("id=\"start\"").unwrap()..page.find("id=\"why\"").unwrap()];
    assert!(card.contains("position 3") && !card.contains("\u{a0}N "), "{card}");
}

#[test]
fn weighed_positions_stay_on_the_force_axis() {
    let weighed = "{ label = \"1\", force_n = 90 }, { label = \"2\", force_n = 150 }, { label = \"3\", force_n = 210 }, { label = \"4\", force_n = 270 }";
    let row = primary(&trial_of_positions(weighed, [140, 156, 172, 158]));
    assert_eq!((row["planter_id"].as_str(), row["tested_high_n"].as_str()), ("", "270.0"));
}
