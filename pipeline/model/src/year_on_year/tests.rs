use super::*;

fn point() -> StartingPointRow {
    StartingPointRow {
        condition: "moist".into(),
        closer: "discs_and_press_wheel".into(),
        response: "on_time_share".into(),
        primary: Some(true),
        evidence: "settled".into(),
        start_n: Some(250.0),
        default_n: Some(200.0),
        tested_low_n: Some(100.0),
        tested_high_n: Some(300.0),
        window_low_n: Some(220.0),
        window_high_n: Some(280.0),
        n_field_seasons: Some(5),
        n_strips: Some(80),
        ..StartingPointRow::default()
    }
}

fn last() -> LastStart {
    LastStart {
        condition: "moist".into(),
        closer: "discs_and_press_wheel".into(),
        response: "on_time_share".into(),
        primary: Some(true),
        evidence: "leaning".into(),
        start_n: Some(200.0),
        default_n: Some(200.0),
        n_field_seasons: Some(3),
        n_strips: Some(48),
        ..LastStart::default()
    }
}

fn told(point: &StartingPointRow, last: LastStart) -> SinceLastRow {
    year_on_year(std::slice::from_ref(point), &[last], &[], &[]).since_last.remove(0)
}

#[test]
fn a_start_that_moved_says_which_way_by_how_much_and_what_came_to_it() {
    let row = told(&point(), last());
    assert_eq!((row.change.as_str(), row.moved_n, row.last_inside_window), ("heavier", Some(50.0), Some(false)));
    let why = row.why.unwrap();
    assert!(why.starts_with("2 field-seasons more and 32 strips more than then."), "{why}");
    assert!(why.contains("no longer among the settings"), "{why}");
    let row = told(&point(), LastStart { start_n: Some(230.0), ..last() });
    assert!(row.last_inside_window == Some(true) && row.why.unwrap().contains("still as good as the best"));
}

#[test]
fn every_change_has_its_name() {
    let open = StartingPointRow { evidence: "open".into(), start_n: None, reason: "Too few.".into(), ..point() };
    for (now, then, change) in [
        (point(), LastStart { start_n: Some(252.0), evidence: "settled".into(), ..last() }, "same"),
        (point(), LastStart { start_n: Some(252.0), ..last() }, "surer"),
        (
            StartingPointRow { evidence: "leaning".into(), ..point() },
            LastStart { start_n: Some(250.0), evidence: "settled".into(), ..last() },
            "less_sure",
        ),
        (point(), LastStart { start_n: Some(290.0), ..last() }, "lighter"),
        (point(), LastStart { evidence: "open".into(), start_n: None, ..last() }, "first_start"),
        (open.clone(), last(), "start_withdrawn"),
        (open.clone(), LastStart { evidence: "open".into(), start_n: None, ..last() }, "same"),
    ] {
        assert_eq!(told(&now, then).change, change);
    }
    assert!(told(&open, last()).why.unwrap().ends_with("There is no start now: Too few."));
}

#[test]
fn what_stands_on_one_side_only_is_new_or_gone() {
    let rows = year_on_year(&[point()], &[LastStart { condition: "wet".into(), ..last() }], &[], &[]).since_last;
    let changes: Vec<(&str, &str)> = rows.iter().map(|row| (row.condition.as_str(), row.change.as_str())).collect();
    assert_eq!(changes, [("moist", "new"), ("wet", "gone")]);
    assert_eq!(year_on_year(&[point()], &[], &[], &[]), YearOnYear::default(), "nothing to compare with");
}

fn strip(field: &str, season: i64, number: usize, force_n: f64, share: f64) -> StripRow {
    StripRow {
        field_id: field.into(),
        season,
        strip_id: number.to_string(),
        condition: "moist".into(),
        closer: Some("discs_and_press_wheel".into()),
        force_n: Some(force_n),
        on_time_share: Some(share),
        seeds_sown: Some(500.0),
        usable: Some(true),
        ..StripRow::default()
    }
}

#[test]
fn inside_fields_the_difference_is_the_one_of_least_squares() {
    // Worked by hand: in A followers 0.80, 0.82 against 0.70, 0.72; in B 0.60 against 0.54, 0.54.
    // Sums of x² 1 and 2/3, of xy 0.10 and 0.04: difference 0.14 / (5/3) = 0.084.
    let strips = [
        strip("A", 2025, 1, 200.0, 0.80),
        strip("A", 2025, 2, 205.0, 0.82),
        strip("A", 2025, 3, 100.0, 0.70),
        strip("A", 2025, 4, 300.0, 0.72),
        strip("B", 2025, 1, 200.0, 0.60),
        strip("B", 2025, 2, 100.0, 0.54),
        strip("B", 2025, 3, 100.0, 0.54),
        strip("A", 2024, 9, 200.0, 0.10),
    ];
    let row = year_on_year(&[point()], &[last()], &strips, &[]).followed.remove(0);
    assert_eq!((row.season, row.n_followed, row.n_other, row.n_fields_both), (2025, Some(3), Some(4), Some(2)));
    assert_eq!((row.compared_within.as_deref(), row.df), (Some("field"), Some(4.0)));
    assert!((row.difference.unwrap() - 0.084).abs() < 1e-12, "{row:?}");
    // Squares inside fields 0.0104 and 0.0024; left 0.0128 − 0.14² / (5/3) = 0.00104; error = √(0.00104 / 4 / (5/3)).
    assert!((row.std_error.unwrap() - (0.001_04_f64 / 4.0 / (5.0 / 3.0)).sqrt()).abs() < 1e-12, "{row:?}");
    assert_eq!(row.reading.as_deref(), Some("better"));
    let elsewhere = StripRow { condition: "dry".into(), season: 2026, ..strips[0].clone() };
    let newer: Vec<StripRow> = strips.iter().cloned().chain([elsewhere]).collect();
    assert!(
        year_on_year(&[point()], &[last()], &newer, &[]).followed.is_empty(),
        "none of the newest season lies here"
    );
}

#[test]
fn strips_of_a_trial_are_told_and_left_out() {
    let in_block = |number: usize, force_n: f64, share: f64| StripRow {
        block: Some("1".into()),
        ..strip("A", 2025, number, force_n, share)
    };
    let trial = [in_block(1, 100.0, 0.5), in_block(2, 200.0, 0.8), in_block(3, 300.0, 0.5)];
    let row = year_on_year(&[point()], &[last()], &trial, &[]).followed.remove(0);
    assert_eq!((row.n_followed, row.n_other, row.n_in_trials), (Some(0), Some(0), Some(3)));
    assert_eq!((row.reading.as_deref(), row.difference), (Some("too_few"), None));
    let beside: Vec<StripRow> = trial.iter().cloned().chain([strip("B", 2025, 1, 200.0, 0.6)]).collect();
    let row = year_on_year(&[point()], &[last()], &beside, &[]).followed.remove(0);
    assert_eq!((row.n_followed, row.n_other, row.n_in_trials), (Some(1), Some(0), Some(3)));
    // Two settings in a block may be a choice: the start and what was usual.
    let row = year_on_year(&[point()], &[last()], &trial[..2], &[]).followed.remove(0);
    assert_eq!((row.n_followed, row.n_other, row.n_in_trials), (Some(1), Some(1), Some(0)));
}

#[test]
fn two_defaults_that_are_both_kept_are_no_move() {
    let stays = StartingPointRow { start_n: Some(250.0), default_n: Some(250.0), ..point() };
    let row = told(&stays, LastStart { evidence: "settled".into(), ..last() });
    assert_eq!(row.change, "same");
    assert!(row.why.unwrap().contains("changed, or of another planter"));
}

#[test]
fn fields_of_either_kind_are_compared_by_their_means_and_few_of_them_tell_nothing() {
    let mut strips = Vec::new();
    for (number, (force, share)) in [
        (200.0, 0.70),
        (200.0, 0.71),
        (200.0, 0.69),
        (200.0, 0.70),
        (100.0, 0.70),
        (100.0, 0.72),
        (300.0, 0.68),
        (300.0, 0.70),
    ]
    .into_iter()
    .enumerate()
    {
        strips.push(strip(&format!("F{number}"), 2025, 1, force, share));
    }
    let row = year_on_year(&[point()], &[last()], &strips, &[]).followed.remove(0);
    assert_eq!((row.compared_within.as_deref(), row.reading.as_deref()), (Some("none"), Some("not_told")));
    assert!(row.difference.unwrap().abs() < 1e-12 && row.low.unwrap() < 0.0 && row.high.unwrap() > 0.0);
    let row = year_on_year(&[point()], &[last()], &strips[..5], &[]).followed.remove(0);
    assert_eq!((row.reading.as_deref(), row.difference), (Some("too_few"), None), "one field that did not follow");
}
