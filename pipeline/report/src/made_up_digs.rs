//! Made-up digs, planters and conditions for the tests of this crate, with every kind of answer that digging has.

use evenstand_tables::rows::*;

use crate::Results;
use crate::made_up::{knob, planter, point};

const CLOSER: &str = "discs_and_press_wheel";
/// The condition that the made-up review dug.
const DUG: &str = "dry, covered";
const SETTINGS: [f64; 5] = [130.0, 260.0, 390.0, 520.0, 650.0];

/// A settled window in one condition, with its curves, its settings counted and two questions of the check list.
pub(crate) fn digs(results: &mut Results) {
    results.dig_window.push(window(DUG));
    add_question(results, DUG, "not_shut", 140.0);
    add_question(results, DUG, "too_firm", 490.0);
    check_list(results);
}

fn window(condition: &str) -> DigWindowRow {
    DigWindowRow {
        condition: condition.to_owned(),
        closer: CLOSER.to_owned(),
        open_limit_n: Some(182.0),
        firm_limit_n: Some(430.0),
        n_digs: Some(60),
        n_open: Some(9),
        n_firm: Some(7),
        evidence: "settled".to_owned(),
        reason: Some("Dug in four field-seasons.".to_owned()),
        open_limit_low_n: Some(160.0),
        open_limit_high_n: Some(205.0),
        open_limit_lies: Some("inside".to_owned()),
        open_field_low_n: Some(150.0),
        open_field_high_n: Some(230.0),
        firm_limit_low_n: Some(395.0),
        firm_limit_lies: Some("inside".to_owned()),
        firm_field_low_n: Some(360.0),
        window_probability: Some(0.97),
        dug_low_n: Some(130.0),
        dug_high_n: Some(650.0),
        ..DigWindowRow::default()
    }
}

/// Curve and counts of one question; the share is a half at `middle`.
fn add_question(results: &mut Results, condition: &str, question: &str, middle: f64) {
    let sign = if question == "not_shut" { -1.0 } else { 1.0 };
    let share = |force: f64| 1.0 / (1.0 + (-sign * (force - middle) / 30.0_f64).exp());
    for step in 0..=52 {
        let force_n = 130.0 + 10.0 * f64::from(step);
        results.dig_curves.push(DigCurveRow {
            condition: condition.to_owned(),
            closer: CLOSER.to_owned(),
            question: question.to_owned(),
            force_n,
            share: Some(share(force_n)),
            low: Some(0.7 * share(force_n)),
            high: Some((1.4 * share(force_n)).min(1.0)),
            ..DigCurveRow::default()
        });
    }
    for force in SETTINGS {
        let yes = (12.0 * share(force)).round();
        results.dig_levels.push(DigLevelRow {
            force_n: Some(force),
            share: Some(yes / 12.0),
            n_yes: Some(yes as i64),
            ..level(condition, question)
        });
    }
}

fn level(condition: &str, question: &str) -> DigLevelRow {
    DigLevelRow {
        condition: condition.to_owned(),
        closer: CLOSER.to_owned(),
        question: question.to_owned(),
        n_digs: Some(12),
        low: Some(0.02),
        high: Some(0.39),
        ..DigLevelRow::default()
    }
}

fn check_list(results: &mut Results) {
    let row = |step: i64, question: &str, answer: &str, wanted: bool, adjust: [Option<&str>; 2]| DigChecklistRow {
        step,
        question: question.to_owned(),
        answer: answer.to_owned(),
        wanted: Some(wanted),
        adjust_first: adjust[0].map(str::to_owned),
        adjust_next: adjust[1].map(str::to_owned),
        advice: Some("Change one thing, then dig again.".to_owned()),
        ..DigChecklistRow::default()
    };
    let general = [
        row(1, "Is the trench shut?", "yes", true, [None, None]),
        row(1, "Is the trench shut?", "partly", false, [Some("closing_force"), Some("speed")]),
        row(2, "How much effort does it take?", "2", true, [None, None]),
        row(2, "How much effort does it take?", "3", true, [None, None]),
        row(2, "How much effort does it take?", "4", false, [Some("closing_force"), Some("press_wheel")]),
    ];
    let counted = |row: &DigChecklistRow| DigChecklistRow {
        condition: Some(DUG.to_owned()),
        closer: Some(CLOSER.to_owned()),
        n_digs: Some(60),
        n_answers: Some(9),
        share: Some(0.15),
        ..row.clone()
    };
    let given: Vec<DigChecklistRow> = general.iter().map(counted).collect();
    results.dig_checklist.extend(general);
    results.dig_checklist.extend(given);
}

/// A calibration, a condition scheme, set against actual, and digs against the stand.
pub(crate) fn around_the_planter(results: &mut Results) {
    for (number, kpa) in [0.0, 200.0, 400.0].into_iter().enumerate() {
        let force = 1.3 * kpa;
        let half = [9.0, 6.0, 11.0][number];
        results.calibrations.push(CalibrationRow {
            planter_id: "air-12".to_owned(),
            pressure_kpa: Some(kpa),
            n_readings: Some(3),
            mean_n: Some(force + 2.0),
            fitted_n: Some(force),
            low_n: Some(force - half),
            high_n: Some(force + half),
            ..CalibrationRow::default()
        });
    }
    let condition = |part: &str, class: &str, rule: Option<&str>, in_label: bool| ConditionRow {
        part: part.to_owned(),
        class: class.to_owned(),
        rule: rule.map(str::to_owned),
        source: rule.map(|_| "common practice, no source".to_owned()),
        in_label: Some(in_label),
        n_strips: Some(40),
        n_field_seasons: Some(2),
    };
    results.conditions = vec![
        condition("moisture", "dry", Some("noted dry by feel, or water by mass below 0.12"), true),
        condition("residue", "covered", Some("residue cover of 0.30 or more"), true),
        condition("texture_group", "fine", Some("clay, silty clay or clay loam"), false),
        condition("condition", "dry, covered", None, true),
        condition("condition", "moist, covered", None, true),
    ];
    results.set_actual.push(SetActualRow {
        planter_id: Some("air-12".to_owned()),
        season: 2025,
        compared: Some("pressure".to_owned()),
        n_strips: Some(20),
        at_set_share: Some(0.87),
        mean_set: Some(260.0),
        mean_actual: Some(251.0),
        mean_difference: Some(-9.0),
        changes: Some(24),
        lag_s: Some(6.0),
        never_arrived: Some(2),
        sags: Some(3),
        sag_s: Some(41.0),
        n_off_strips: Some(2),
    });
    for (response, within, difference) in [("emerged_share", "block", -0.031), ("t50_h", "setting", 5.2)] {
        results.dig_stand.push(DigStandRow {
            response: response.to_owned(),
            compared_within: within.to_owned(),
            difference: Some(difference),
            low: Some(difference - 0.9 * f64::abs(difference)),
            high: Some(difference + 0.9 * f64::abs(difference)),
            n_strips: Some(84),
            n_open_strips: Some(21),
            reading: Some("Compared inside blocks, strips with an open trench came up worse.".to_owned()),
            ..DigStandRow::default()
        });
    }
}

/// The answers of digging that the review has not: one limit alone, no window, limits beyond the forces dug, digs without a
/// stand, positions without forces, and pressures of a planter that was not weighed.
pub(crate) fn every_answer() -> Results {
    let mut results = Results::default();
    results.model.push(crate::made_up::run_fact("review", "Digs of every kind (invented data)"));
    for name in ["open_share", "firm_share"] {
        results.model.push(ModelRow { value: Some(0.1), ..crate::made_up::run_fact(name, "") });
    }
    results.planters.push(planter("air-12"));

    add_digs_alone(&mut results, "one limit", |row| {
        (row.firm_limit_n, row.firm_limit_low_n) = (None, None);
        row.firm_limit_lies = Some("unknown".to_owned());
        row.window_probability = None;
        row.evidence = "leaning".to_owned();
    });
    add_question(&mut results, "one limit", "not_shut", 140.0);
    add_digs_alone(&mut results, "no window", |row| {
        (row.open_limit_n, row.firm_limit_n) = (Some(430.0), Some(300.0));
        row.window_probability = Some(0.06);
        row.evidence = "open".to_owned();
    });
    add_question(&mut results, "no window", "not_shut", 370.0);
    add_question(&mut results, "no window", "too_firm", 360.0);
    add_digs_alone(&mut results, "all right", |row| {
        (row.open_limit_n, row.firm_limit_n) = (None, None);
        row.open_limit_lies = Some("lighter".to_owned());
        row.firm_limit_lies = Some("heavier".to_owned());
        row.evidence = "leaning".to_owned();
    });
    add_question(&mut results, "all right", "not_shut", 20.0);
    add_question(&mut results, "all right", "too_firm", 800.0);
    add_digs_alone(&mut results, "never shut", |row| {
        row.open_limit_n = None;
        row.open_limit_lies = Some("heavier".to_owned());
        row.evidence = "open".to_owned();
    });
    add_question(&mut results, "never shut", "not_shut", 900.0);

    let psi = 6.894_757_293_168;
    let mut unweighed = planter("unweighed-6");
    unweighed.calibrated = Some(false);
    unweighed.pressure_unit = Some("psi".to_owned());
    unweighed.step_pressure_kpa = Some(psi);
    results.planters.push(unweighed);
    let mut nominal = point_of_digs("pressure alone", "leaning");
    nominal.planter_id = Some("unweighed-6".to_owned());
    (nominal.start_n, nominal.default_n) = (Some(30.0 * psi), Some(30.0 * psi));
    results.settings.push(KnobRow {
        planter_id: "unweighed-6".to_owned(),
        start_force_n: None,
        start_pressure_kpa: nominal.start_n,
        default_pressure_kpa: nominal.default_n,
        dig_low_pressure_kpa: Some(16.0 * psi),
        dig_high_pressure_kpa: Some(31.0 * psi),
        ..knob_of_digs(&nominal)
    });
    results.starting_points.push(nominal);
    results.dig_window.push(DigWindowRow {
        planter_id: Some("unweighed-6".to_owned()),
        open_limit_n: Some(16.0 * psi),
        firm_limit_n: Some(31.0 * psi),
        dug_low_n: Some(10.0 * psi),
        dug_high_n: Some(50.0 * psi),
        evidence: "leaning".to_owned(),
        ..window("pressure alone")
    });
    for (question, yes) in [("not_shut", [6, 1, 0]), ("too_firm", [0, 1, 8])] {
        for (pressure, yes) in [10.0, 20.0, 50.0].into_iter().zip(yes) {
            results.dig_levels.push(DigLevelRow {
                planter_id: Some("unweighed-6".to_owned()),
                force_n: Some(pressure * psi),
                n_yes: Some(yes),
                share: Some(yes as f64 / 12.0),
                ..level("pressure alone", question)
            });
        }
    }

    let mut positions = point_of_digs("positions", "open");
    positions.planter_id = Some("spring-8".to_owned());
    results.starting_points.push(positions);
    results.dig_window.push(DigWindowRow {
        condition: "positions".to_owned(),
        closer: CLOSER.to_owned(),
        planter_id: Some("spring-8".to_owned()),
        n_digs: Some(24),
        evidence: "open".to_owned(),
        reason: Some("The settings of the places dug have no force.".to_owned()),
        ..DigWindowRow::default()
    });
    for (position, yes) in [("2", 4), ("3", 1)] {
        results.dig_levels.push(DigLevelRow {
            planter_id: Some("spring-8".to_owned()),
            closing_position: Some(position.to_owned()),
            n_yes: Some(yes),
            share: Some(yes as f64 / 12.0),
            ..level("positions", "not_shut")
        });
    }
    results
}

/// What digging alone says of a start: nothing that takes a stand.
fn point_of_digs(condition: &str, evidence: &str) -> StartingPointRow {
    let with_stand = point(condition, "dig_check", evidence);
    StartingPointRow {
        condition: with_stand.condition,
        closer: with_stand.closer,
        response: with_stand.response,
        primary: Some(true),
        evidence: with_stand.evidence,
        reason: "No plants were counted here.".to_owned(),
        basis: "digs".to_owned(),
        shape: Some("untold".to_owned()),
        n_field_seasons: Some(3),
        n_strips: Some(15),
        n_levels: Some(5),
        tested_low_n: with_stand.tested_low_n,
        tested_high_n: with_stand.tested_high_n,
        start_n: with_stand.start_n,
        default_n: with_stand.default_n,
        ..StartingPointRow::default()
    }
}

/// The same in the knob of a planter.
fn knob_of_digs(point: &StartingPointRow) -> KnobRow {
    KnobRow {
        response: point.response.clone(),
        reason: Some(point.reason.clone()),
        basis: Some("digs".to_owned()),
        shape: point.shape.clone(),
        advice: Some(if point.evidence == "open" { "open" } else { "stay" }.to_owned()),
        gain_vs_default: None,
        gain_low: None,
        gain_high: None,
        prob_near_best: None,
        prob_gain: None,
        rounding_loss: None,
        ..knob("air-12", &point.condition, &point.evidence)
    }
}

/// A condition that was dug and not counted, its window changed.
fn add_digs_alone(results: &mut Results, condition: &str, change: impl Fn(&mut DigWindowRow)) {
    let mut row = window(condition);
    change(&mut row);
    let point = point_of_digs(condition, &row.evidence);
    results.settings.push(KnobRow {
        dig_low_pressure_kpa: row.open_limit_n.map(|force| force / 1.3),
        dig_high_pressure_kpa: row.firm_limit_n.map(|force| force / 1.3),
        ..knob_of_digs(&point)
    });
    results.starting_points.push(point);
    results.dig_window.push(row);
}
