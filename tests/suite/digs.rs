//! Dig checks in made-up reviews: the window, what it bounds, and what it answers alone.

use std::collections::BTreeMap;

use crate::support::TestReview;

type Cells = BTreeMap<String, String>;

/// What is dug in a review: settings in four blocks of each field, four places a strip.
struct Digging<'a> {
    fields: usize,
    forces: &'a [u32],
    /// Places of four with an open trench, and with a row that is hard to open, by force.
    open: fn(u32) -> usize,
    firm: fn(u32) -> usize,
    /// Plants of 200 seeds by force; `None` where nobody counted.
    emerged: Option<fn(u32) -> u32>,
    /// More lines of the settings.
    settings: &'a str,
}

const PLAIN: Digging = Digging {
    fields: 3,
    forces: &[60, 120, 180, 240, 300],
    open: |force| [4, 2, 0, 0, 0][place_of(force)],
    firm: |force| [0, 0, 0, 2, 4][place_of(force)],
    emerged: None,
    settings: "",
};

fn place_of(force: u32) -> usize {
    ((force - 60) / 60) as usize
}

impl Digging<'_> {
    fn review(&self) -> TestReview {
        let mut log = String::from("field_id,season,strip_id,block,set_force_n\n");
        let mut dig = String::from("field_id,season,strip_id,row_unit,trench_shut,dig_effort,soil_thrown\n");
        let mut count = String::from("field_id,season,strip_id,seeds_sown,emerged\n");
        let mut soil = String::from("field_id,season,moisture_feel,residue_cover_pct\n");
        for field in 0..self.fields {
            soil += &format!("F{field},2025,wet,60\n");
            for block in 0..4 {
                for force in self.forces {
                    let strip = format!("{block}-{force}");
                    log += &format!("F{field},2025,{strip},{block},{force}\n");
                    for place in 0..4 {
                        // Each block finds its open and its hard places at other row units.
                        let number = (place + block) % 4;
                        let open = number < (self.open)(*force);
                        let hard = 3 - number < (self.firm)(*force);
                        let (shut, effort) = (if open { "no" } else { "yes" }, if hard && !open { 4 } else { 2 });
                        dig += &format!("F{field},2025,{strip},{place},{shut},{effort},no\n");
                    }
                    if let Some(emerged) = self.emerged {
                        let scatter = (field as u32 * 7 + block as u32 * 5 + force / 10 * 3) % 4;
                        count += &format!("F{field},2025,{strip},200,{}\n", emerged(*force) + scatter);
                    }
                }
            }
        }
        let settings = format!("timezone = \"UTC\"\ndefault_force_n = 120\n{}", self.settings);
        let review = TestReview::new(&[
            ("setting_log.csv", &log),
            ("dig_check.csv", &dig),
            ("soil_note.csv", &soil),
            ("evenstand.toml", &settings),
        ]);
        if self.emerged.is_some() {
            review.put("stand_count.csv", &count);
        }
        review
    }

    fn run(&self) -> TestReview {
        let review = self.review();
        let said = review.run("run", &[]);
        assert!(said.status < 2, "{}", said.stderr);
        review
    }
}

fn number(row: &Cells, name: &str) -> f64 {
    row[name].parse().unwrap_or_else(|_| panic!("{name} is \"{}\" in {row:?}", row[name]))
}

fn only(review: &TestReview, table: &str) -> Cells {
    let mut rows = review.result(table);
    assert_eq!(rows.len(), 1, "{rows:?}");
    rows.remove(0)
}

fn primary(review: &TestReview) -> Cells {
    review.result("starting_points").into_iter().find(|row| row["primary"] == "true").unwrap()
}

fn codes(review: &TestReview) -> Vec<String> {
    review.result("findings").into_iter().map(|row| row["code"].clone()).collect()
}

#[test]
fn logs_and_digs_alone_give_a_start_in_the_window_nearest_the_default() {
    let review = PLAIN.run();
    let window = only(&review, "dig_window");
    assert_eq!(window["evidence"], "settled", "{window:?}");
    let (open, firm) = (number(&window, "open_limit_n"), number(&window, "firm_limit_n"));
    assert!((120.0..180.0).contains(&open) && (180.0..240.0).contains(&firm), "{window:?}");
    assert!(number(&window, "open_limit_low_n") < open && open < number(&window, "open_limit_high_n"));
    assert!(number(&window, "window_probability") > 0.9);
    assert_eq!((window["n_digs"].as_str(), window["n_field_seasons"].as_str()), ("240", "3"));
    let start = primary(&review);
    assert_eq!(
        (start["response"].as_str(), start["basis"].as_str(), start["evidence"].as_str()),
        ("dig_check", "digs", "settled")
    );
    // The default of 120 N leaves too many trenches open; the nearest force of the window is its light end.
    assert_eq!(number(&start, "start_n"), open);
    assert!(
        start["reason"].contains("No stand was counted") && start["reason"].contains("edge of the window"),
        "{}",
        start["reason"]
    );
    let page = std::fs::read_to_string(review.path().join("report/index.html")).unwrap();
    assert!(page.contains("From digging alone"));
}

#[test]
fn a_default_inside_the_window_stays() {
    let review = Digging { settings: "", ..PLAIN }.review();
    review.put("evenstand.toml", "timezone = \"UTC\"\ndefault_force_n = 180\n");
    assert!(review.run("run", &[]).status < 2);
    let start = primary(&review);
    assert_eq!((number(&start, "start_n"), start["evidence"].as_str()), (180.0, "settled"));
}

#[test]
fn one_field_season_of_digs_leans_and_says_what_would_make_it_firmer() {
    let window = only(&Digging { fields: 1, ..PLAIN }.run(), "dig_window");
    assert_eq!(window["evidence"], "leaning", "{window:?}");
    assert!(window["reason"].contains("2 field-seasons more"), "{}", window["reason"]);
}

#[test]
fn a_window_without_a_force_is_a_finding_with_what_the_trade_does_next() {
    let empty = Digging {
        open: |force| [4, 4, 2, 1, 0][place_of(force)],
        firm: |force| [0, 2, 3, 4, 4][place_of(force)],
        ..PLAIN
    };
    let review = empty.run();
    let window = only(&review, "dig_window");
    assert_eq!(window["evidence"], "open", "{window:?}");
    let finding = review.result("findings").into_iter().find(|row| row["code"] == "dig_window_empty").unwrap();
    for part in ["press wheel", "depth stop", "moisture", "another closer"] {
        assert!(finding["remedy"].contains(part), "{}", finding["remedy"]);
    }
    let start = primary(&review);
    assert_eq!((start["start_n"].as_str(), start["evidence"].as_str()), ("", "open"));
    assert!(!codes(&PLAIN.run()).contains(&"dig_window_empty".to_owned()));
}

#[test]
fn forces_that_all_leave_the_trench_open_ask_for_heavier_ones_first() {
    let light = Digging { open: |_| 4, firm: |_| 0, ..PLAIN };
    let review = light.run();
    let window = only(&review, "dig_window");
    assert_eq!((window["open_limit_lies"].as_str(), window["evidence"].as_str()), ("heavier", "open"), "{window:?}");
    let findings = review.result("findings");
    assert!(findings.iter().all(|row| row["code"] != "dig_window_empty"));
    let finding = findings.iter().find(|row| row["code"] == "dig_limit_beyond").unwrap();
    assert!(finding["remedy"].starts_with("dig behind heavier settings"), "{}", finding["remedy"]);
    assert!(!codes(&PLAIN.run()).contains(&"dig_limit_beyond".to_owned()));
}

#[test]
fn a_few_places_and_efforts_that_nobody_noted_tell_no_limit() {
    let few = TestReview::new(&[
        ("setting_log.csv", "field_id,season,strip_id,set_force_n\nA,2025,1,150\nA,2025,2,360\n"),
        ("dig_check.csv", "field_id,season,strip_id,trench_shut,dig_effort\nA,2025,1,yes,2\nA,2025,2,yes,4\n"),
    ]);
    assert!(few.run("run", &[]).status < 2);
    let window = only(&few, "dig_window");
    assert_eq!((window["evidence"].as_str(), window["firm_limit_lies"].as_str()), ("open", "unknown"), "{window:?}");
    assert!(window["reason"].contains("Too few places"), "{}", window["reason"]);
    assert!(!codes(&few).iter().any(|code| code.starts_with("dig_")));
    let silent = PLAIN.review();
    let digs = std::fs::read_to_string(silent.path().join("raw/dig_check.csv")).unwrap();
    silent.put("dig_check.csv", &digs.replace(",2,no\n", ",,no\n").replace(",4,no\n", ",,no\n"));
    assert!(silent.run("run", &[]).status < 2);
    let window = only(&silent, "dig_window");
    assert_eq!((window["n_judged_firm"].as_str(), window["firm_limit_lies"].as_str()), ("0", "unknown"), "{window:?}");
    assert_eq!(window["evidence"], "leaning");
    assert!(window["reason"].contains("Nobody noted dig effort"), "{}", window["reason"]);
}

#[test]
fn a_mistyped_strip_is_named_and_moves_no_condition() {
    let review = PLAIN.review();
    let digs = std::fs::read_to_string(review.path().join("raw/dig_check.csv")).unwrap();
    review.put("dig_check.csv", &(digs + "F0,2025,O-60,1,yes,2,no\n"));
    assert!(review.run("run", &[]).status < 2);
    let finding = review.result("findings").into_iter().find(|row| row["code"] == "digs_without_strip").unwrap();
    assert!(finding["message"].contains("O-60"), "{finding:?}");
    assert!(review.result("strips").iter().all(|row| row["strip_id"] != "O-60"));
}

#[test]
fn logs_and_digs_about_whole_fields_find_each_other() {
    let mut log = String::from("field_id,season,set_force_n\n");
    let mut dig = String::from("field_id,season,trench_shut,dig_effort\n");
    for (field, (force, open)) in [(80, 9), (120, 5), (160, 1), (200, 0), (240, 0)].into_iter().enumerate() {
        log += &format!("F{field},2025,{force}\n");
        for place in 0..10 {
            dig += &format!("F{field},2025,{},2\n", if place < open { "no" } else { "yes" });
        }
    }
    let review = TestReview::new(&[("setting_log.csv", &log), ("dig_check.csv", &dig)]);
    assert!(review.run("run", &[]).status < 2);
    let window = only(&review, "dig_window");
    assert_eq!(window["n_field_seasons"], "5");
    assert!((100.0..200.0).contains(&number(&window, "open_limit_n")), "{window:?}");
    // Forces differed between fields only.
    assert_eq!(window["evidence"], "leaning", "{window:?}");
    assert_eq!(primary(&review)["basis"], "digs");
}

#[test]
fn trenches_that_open_with_more_force_are_told_and_give_no_limit() {
    let odd = Digging { open: |force| [0, 0, 1, 2, 4][place_of(force)], firm: |_| 0, ..PLAIN };
    let review = odd.run();
    let window = only(&review, "dig_window");
    assert_eq!((window["open_limit_n"].as_str(), window["open_limit_lies"].as_str()), ("", "unknown"), "{window:?}");
    assert!(number(&window, "open_slope_probability") < 0.1);
    assert!(codes(&review).contains(&"dig_share_contradicts".to_owned()));
    assert!(!codes(&PLAIN.run()).contains(&"dig_share_contradicts".to_owned()));
}

#[test]
fn digs_at_one_setting_are_counted_with_exact_limits_and_no_limit_is_told() {
    let review = Digging { forces: &[180], ..PLAIN }.run();
    let window = only(&review, "dig_window");
    assert_eq!((window["evidence"].as_str(), window["open_limit_lies"].as_str()), ("open", "unknown"), "{window:?}");
    assert!(window["reason"].contains("One setting only"), "{}", window["reason"]);
    let level = review.result("dig_levels").into_iter().find(|row| row["question"] == "not_shut").unwrap();
    // None of 48: the exact upper limit is 1 − 0.05^(1/48).
    assert_eq!((level["n_digs"].as_str(), level["n_yes"].as_str()), ("48", "0"));
    assert!((number(&level, "high") - (1.0 - 0.05_f64.powf(1.0 / 48.0))).abs() < 1e-9, "{level:?}");
}

#[test]
fn forces_that_all_shut_and_never_press_too_hard_leave_the_whole_range() {
    let review = Digging { open: |_| 0, firm: |_| 0, ..PLAIN }.run();
    let window = only(&review, "dig_window");
    assert_eq!(
        (window["open_limit_lies"].as_str(), window["firm_limit_lies"].as_str(), window["open_limit_n"].as_str()),
        ("lighter", "heavier", ""),
        "{window:?}"
    );
    assert!(window["reason"].contains("Every force dug is heavy enough"), "{}", window["reason"]);
    assert_eq!(number(&primary(&review), "start_n"), 120.0);
}

#[test]
fn the_window_bounds_a_start_that_the_stand_would_put_outside_it() {
    // The stand is a little better where it is lighter, and much the same throughout.
    let stand: fn(u32) -> u32 = |force| 184 - force / 60;
    let counted = Digging { fields: 4, emerged: Some(stand), ..PLAIN };
    let review = counted.run();
    let (window, start) = (only(&review, "dig_window"), primary(&review));
    assert_eq!((start["basis"].as_str(), start["bound_by"].as_str()), ("trial", "open_limit"), "{start:?}");
    assert_eq!(number(&start, "start_n"), number(&window, "open_limit_n"));
    assert!(number(&start, "start_before_digs_n") < number(&start, "start_n"));
    assert!(start["reason"].contains("digging found the trench not shut often enough"), "{}", start["reason"]);
    assert!(codes(&review).contains(&"start_bound_by_digs".to_owned()));
    assert!(!codes(&review).contains(&"digs_against_stand".to_owned()));
    let unbound = Digging { open: |_| 0, firm: |_| 0, ..counted }.run();
    assert_eq!(primary(&unbound)["bound_by"], "");
    assert!(!codes(&unbound).contains(&"start_bound_by_digs".to_owned()));
}

#[test]
fn a_stand_that_is_best_where_digging_finds_it_wrong_gives_no_start() {
    let stand: fn(u32) -> u32 = |force| [190, 150, 110, 80, 60][place_of(force)];
    let review = Digging { fields: 4, emerged: Some(stand), ..PLAIN }.run();
    let start = primary(&review);
    assert_eq!((start["evidence"].as_str(), start["start_n"].as_str()), ("open", ""), "{start:?}");
    assert!(start["reason"].contains("disagree"), "{}", start["reason"]);
    let findings = codes(&review);
    assert!(findings.contains(&"digs_against_stand".to_owned()), "{findings:?}");
}

#[test]
fn a_knob_too_coarse_for_a_leaning_window_takes_the_step_that_misses_it_least_and_says_so() {
    let planter = "[[planter]]\nid = \"p\"\n[planter.closing]\nkind = \"positions\"\ndefault = \"light\"\npositions = [{ label = \"light\", force_n = 60 }, { label = \"middle\", force_n = 130 }, { label = \"heavy\", force_n = 300 }]\n";
    let one_field = Digging { fields: 1, settings: planter, ..PLAIN };
    let review = one_field.review();
    let log = std::fs::read_to_string(review.path().join("raw/setting_log.csv")).unwrap();
    let named: String = log
        .lines()
        .enumerate()
        .map(|(row, line)| format!("{line},{}\n", if row == 0 { "planter_id" } else { "p" }))
        .collect();
    review.put("setting_log.csv", &named);
    assert!(review.run("run", &[]).status < 2);
    let (window, knob) = (only(&review, "dig_window"), only(&review, "settings"));
    assert_eq!(window["evidence"], "leaning");
    assert!(number(&window, "open_limit_n") > 130.0 && number(&window, "firm_limit_n") < 300.0, "{window:?}");
    assert_eq!(knob["start_position"], "middle", "{knob:?}");
    assert!(knob["reason"].contains("misses it least"), "{}", knob["reason"]);
    assert!(codes(&review).contains(&"start_beside_window".to_owned()));
    assert!(!codes(&PLAIN.run()).contains(&"start_beside_window".to_owned()));
}

#[test]
fn the_shares_allowed_are_settings_and_stricter_ones_narrow_the_window() {
    let limits = |share: &str| {
        let settings = format!("[dig]\nopen_share = {share}\nfirm_share = {share}\n");
        let window = only(&Digging { settings: &settings, ..PLAIN }.run(), "dig_window");
        (number(&window, "open_limit_n"), number(&window, "firm_limit_n"))
    };
    let (usual, lax) = (limits("0.10"), limits("0.40"));
    assert!(lax.0 < usual.0 && lax.1 > usual.1, "{usual:?} {lax:?}");
}

#[test]
fn the_check_list_stands_in_order_and_points_to_the_depth_stop_only_where_soil_is_thrown() {
    let review = PLAIN.run();
    let rows = review.result("dig_checklist");
    let general: Vec<&Cells> = rows.iter().filter(|row| row["condition"].is_empty()).collect();
    let mut questions: Vec<&str> = general.iter().map(|row| row["question"].as_str()).collect();
    questions.dedup();
    assert_eq!(questions.len(), 7);
    for row in &rows {
        assert_eq!(row["adjust_first"] == "depth_stop", row["question"].contains("throw") && row["answer"] == "yes");
    }
    assert!(!codes(&review).contains(&"soil_thrown".to_owned()));
    let thrown = PLAIN.review();
    let digs = std::fs::read_to_string(thrown.path().join("raw/dig_check.csv")).unwrap();
    thrown.put("dig_check.csv", &digs.replace(",2,no\n", ",2,yes\n"));
    assert!(thrown.run("run", &[]).status < 2);
    assert!(codes(&thrown).contains(&"soil_thrown".to_owned()));
}

#[test]
fn an_open_trench_that_shows_in_the_stand_is_told_with_its_interval() {
    let stand: fn(u32) -> u32 = |force| [140, 165, 190, 190, 190][place_of(force)];
    let review = Digging { fields: 4, emerged: Some(stand), ..PLAIN }.run();
    let row = |within: &str| {
        review
            .result("dig_stand")
            .into_iter()
            .find(|row| row["response"] == "emerged_share" && row["compared_within"] == within)
            .unwrap()
    };
    let inside = row("block");
    // From 4 of 4 places open at 140 plants of 200 to none at 190.
    assert!((number(&inside, "difference") + 0.25).abs() < 0.03, "{inside:?}");
    assert!(number(&inside, "high") < 0.0 && inside["reading"].contains("fewer plants"), "{inside:?}");
    // All strips of one setting were found alike, so nothing is left to compare at one setting.
    assert_eq!(row("setting")["difference"], "");
    let alike = Digging { fields: 4, emerged: Some(|_| 180), ..PLAIN }.run();
    let row = alike.result("dig_stand").into_iter().find(|row| row["compared_within"] == "block").unwrap();
    assert!(row["reading"].contains("no difference is shown"), "{row:?}");
}
