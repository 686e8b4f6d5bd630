//! Made-up rows for the tests of this crate: a small review with every kind of answer, and no more truth in it than
//! the tests need.

use evenstand_tables::Moment;
use evenstand_tables::rows::*;

use crate::Results;
use crate::made_up_digs;

pub(crate) fn measure(field: &str, season: i64, strip: &str, name: &str, value: f64, unit: &str) -> StripMeasureRow {
    StripMeasureRow {
        field_id: field.to_owned(),
        season,
        strip_id: strip.to_owned(),
        name: name.to_owned(),
        value: Some(value),
        unit: Some(unit.to_owned()),
        better: Some("higher".to_owned()),
        n_samples: Some(3),
    }
}

pub(crate) fn strip(field: &str, season: i64, strip: &str) -> StripRow {
    StripRow {
        field_id: field.to_owned(),
        season,
        strip_id: strip.to_owned(),
        block: None,
        treatment: None,
        condition: "dry, covered".to_owned(),
        planter_id: Some("air-12".to_owned()),
        closer: Some("discs_and_press_wheel".to_owned()),
        force_n: None,
        force_source: None,
        set_force_n: None,
        actual_force_n: None,
        force_sd_n: None,
        set_pressure_kpa: None,
        closing_position: None,
        speed_m_s: None,
        seeds_sown: None,
        emerged: None,
        emerged_share: None,
        on_time_share: None,
        t10_h: None,
        t50_h: None,
        t90_h: None,
        spread_h: None,
        mean_emergence_h: None,
        t10_cd: None,
        t50_cd: None,
        t90_cd: None,
        spread_cd: None,
        mean_emergence_cd: None,
        limit_share: None,
        limit_share_se: None,
        t10_fit_h: None,
        t10_fit_se_h: None,
        t50_fit_h: None,
        t50_fit_se_h: None,
        t90_fit_h: None,
        t90_fit_se_h: None,
        spread_fit_h: None,
        spread_fit_se_h: None,
        fit_lag_h: None,
        fit_note: None,
        synchrony: None,
        spacing_cv: None,
        spacing_precision: None,
        miss_share: None,
        multiple_share: None,
        quality_share: None,
        leaf_stage_sd: None,
        n_samples: None,
        usable: Some(true),
        ..StripRow::default()
    }
}

pub(crate) fn field_season(field: &str, season: i64) -> FieldSeasonRow {
    FieldSeasonRow {
        field_id: field.to_owned(),
        season,
        client: Some("Hollow & Sons".to_owned()),
        farm: Some("Home".to_owned()),
        crop: Some("maize".to_owned()),
        hybrid: Some("H 240".to_owned()),
        planter_id: Some("air-12".to_owned()),
        planted_at: Some(Moment(20_204 * 86_400_000_000)),
        tillage: Some("no_till".to_owned()),
        conditions: Some("dry, covered".to_owned()),
        n_strips: Some(20),
        n_blocks: Some(4),
        n_levels: Some(5),
        n_telemetry_rows: Some(48_200),
        has_course: Some(true),
        kind: Some("trial".to_owned()),
    }
}

pub(crate) fn planter(planter_id: &str) -> PlanterRow {
    PlanterRow {
        planter_id: planter_id.to_owned(),
        closer: Some("discs_and_press_wheel".to_owned()),
        gauge_wheel: None,
        knob: Some("pressure".to_owned()),
        pressure_unit: Some("kPa".to_owned()),
        calibrated: Some(true),
        min_pressure_kpa: Some(0.0),
        max_pressure_kpa: Some(500.0),
        step_pressure_kpa: Some(10.0),
        default_pressure_kpa: Some(200.0),
        default_position: None,
        default_force_n: Some(260.0),
        ..PlanterRow::default()
    }
}

pub(crate) fn point(condition: &str, response: &str, evidence: &str) -> StartingPointRow {
    let open = evidence == "open";
    let some = |value: f64| (!open).then_some(value);
    StartingPointRow {
        condition: condition.to_owned(),
        closer: "discs_and_press_wheel".to_owned(),
        planter_id: None,
        response: response.to_owned(),
        primary: Some(response == "on_time_share"),
        evidence: evidence.to_owned(),
        reason: if open {
            "Two field-seasons were tried here; a third with settings side by side would decide.".to_owned()
        } else {
            "More plants came up on time at this setting in five of six field-seasons.".to_owned()
        },
        basis: "trial".to_owned(),
        shape: Some(if open { "untold" } else { "inside" }.to_owned()),
        n_field_seasons: Some(if open { 2 } else { 6 }),
        n_strips: Some(if open { 36 } else { 120 }),
        n_levels: Some(5),
        levels_p_value: Some(if open { 0.31 } else { 0.0021 }),
        largest_difference: Some(0.083),
        tested_low_n: Some(130.0),
        tested_high_n: Some(650.0),
        best_n: some(344.0),
        best_low_n: some(265.0),
        best_high_n: some(452.0),
        window_low_n: some(273.0),
        window_high_n: some(416.0),
        start_n: some(338.0),
        default_n: Some(260.0),
        gain_vs_default: some(0.041),
        gain_low: some(0.012),
        gain_high: some(0.069),
        prob_gain: some(0.97),
        prob_near_best: some(0.84),
        tolerance: Some(0.02),
        borrowed_share: Some(0.18),
        near_best_share: some(if evidence == "settled" { 0.83 } else { 0.6 }),
        settings_low_n: some(130.0),
        settings_high_n: some(650.0),
        own_best_n: some(352.0),
        own_low_n: some(240.0),
        own_high_n: some(520.0),
        shapes_best_n: some(349.0),
        lack_of_fit_p_value: some(0.62),
        ..StartingPointRow::default()
    }
}

pub(crate) fn knob(planter_id: &str, condition: &str, evidence: &str) -> KnobRow {
    let open = evidence == "open";
    let some = |value: f64| (!open).then_some(value);
    let point = point(condition, "on_time_share", evidence);
    KnobRow {
        planter_id: planter_id.to_owned(),
        closer: point.closer,
        condition: condition.to_owned(),
        response: "on_time_share".to_owned(),
        primary: Some(true),
        evidence: evidence.to_owned(),
        reason: Some(point.reason),
        basis: Some("trial".to_owned()),
        shape: point.shape,
        knob: Some("pressure".to_owned()),
        advice: Some(if open { "open" } else { "heavier" }.to_owned()),
        default_force_n: Some(260.0),
        start_force_n: some(338.0),
        start_pressure_kpa: some(260.0),
        start_position: None,
        default_pressure_kpa: Some(200.0),
        default_position: None,
        window_low_pressure_kpa: some(210.0),
        window_high_pressure_kpa: some(320.0),
        window_low_position: None,
        window_high_position: None,
        window_low_n: some(273.0),
        window_high_n: some(416.0),
        gain_vs_default: some(0.041),
        gain_low: some(0.012),
        gain_high: some(0.069),
        prob_gain: some(0.97),
        prob_near_best: some(0.84),
        at_limit: Some(false),
        rounding_loss: Some(0.0004),
        ..KnobRow::default()
    }
}

pub(crate) fn run_fact(name: &str, text: &str) -> ModelRow {
    ModelRow {
        model: String::new(),
        response: None,
        item: "run".to_owned(),
        name: name.to_owned(),
        value: None,
        std_error: None,
        text: Some(text.to_owned()),
    }
}

/// A wave without a generator: spread evenly enough to look like scatter, the same on every run.
fn wobble(number: usize) -> f64 {
    let turned = (number as f64 * 0.618_034).fract();
    turned * 2.0 - 1.0
}

fn hump(force: f64, condition: usize) -> f64 {
    let best = [340.0, 240.0, 420.0, 300.0][condition % 4];
    0.78 - 0.04 * condition as f64 - ((force - best) / 100.0).powi(2) * 0.012
}

const FORCES: [f64; 5] = [130.0, 260.0, 390.0, 520.0, 650.0];

fn add_field(results: &mut Results, field: &str, season: i64, condition: &str, shift: usize) {
    let mut row = field_season(field, season);
    row.conditions = Some(condition.to_owned());
    results.field_seasons.push(row);
    let (mut adjusted, mut field_curves, mut course_means) = (Vec::new(), Vec::new(), Vec::new());
    for number in 0..20 {
        let force = FORCES[(number * 2 + number / 5) % 5];
        let block = (number / 5 + 1).to_string();
        let mut row = strip(field, season, &format!("S{:02}", number + 1));
        row.block = Some(block.clone());
        row.condition = condition.to_owned();
        row.force_n = Some(force);
        row.set_pressure_kpa = Some(force / 1.3);
        row.force_source = Some("set_pressure".to_owned());
        let scatter = 0.035 * wobble(number + 7 * shift);
        let share = (hump(force, shift) + scatter + 0.01 * (number / 5) as f64).clamp(0.0, 1.0);
        row.on_time_share = Some(share);
        row.emerged_share = Some((share + 0.12).min(0.99));
        row.t50_h = Some(150.0 + 20.0 * (0.8 - share) * 10.0);
        row.spread_h = Some(46.0 + 90.0 * (0.8 - share));
        row.seeds_sown = Some(180.0);
        row.emerged = Some((180.0 * (share + 0.12)).round().min(178.0));
        adjusted.push(AdjustedRow {
            condition: condition.to_owned(),
            closer: "discs_and_press_wheel".to_owned(),
            planter_id: None,
            response: "on_time_share".to_owned(),
            field_id: field.to_owned(),
            season,
            strip_id: row.strip_id.clone(),
            block: Some(block),
            force_n: Some(force),
            adjusted: Some(hump(force, shift) + scatter),
            observed: Some(share),
        });
        results.strips.push(row);
    }
    for step in 0..=20 {
        let force = 130.0 + 26.0 * f64::from(step);
        let estimate = hump(force, shift) + 0.01;
        field_curves.push(FieldCurveRow {
            field_id: field.to_owned(),
            season,
            condition: condition.to_owned(),
            closer: "discs_and_press_wheel".to_owned(),
            planter_id: None,
            response: "on_time_share".to_owned(),
            force_n: force,
            estimate: Some(estimate),
            low: Some(estimate - 0.03),
            high: Some(estimate + 0.03),
        });
    }
    for force in FORCES {
        for visit in 0..8 {
            let hours = 108.0 + 12.0 * f64::from(visit);
            let late = 4.0 * (hump(340.0, shift) - hump(force, shift)) * 100.0;
            let share = (hump(force, shift) + 0.1) / (1.0 + (-(hours - 146.0 - late) / 9.0).exp());
            course_means.push(CourseMeanRow {
                field_id: field.to_owned(),
                season,
                force_n: force,
                label: Some(format!("{:.0} kPa", force / 1.3)),
                hours: Some(hours),
                share: Some(share),
                n_strips: Some(4),
            });
        }
    }
    results.adjusted.edit(|rows| rows.extend(adjusted));
    results.field_curves.edit(|rows| rows.extend(field_curves));
    results.course_means.edit(|rows| rows.extend(course_means));
}

fn add_curve(results: &mut Results, condition: &str, shift: usize) {
    for step in 0..=40 {
        let force = 130.0 + 13.0 * f64::from(step);
        let estimate = hump(force, shift);
        let half = 0.025 + ((force - 390.0) / 1000.0).powi(2) * 0.4;
        results.curves.push(CurveRow {
            condition: condition.to_owned(),
            closer: "discs_and_press_wheel".to_owned(),
            planter_id: None,
            response: "on_time_share".to_owned(),
            force_n: force,
            estimate: Some(estimate),
            low: Some(estimate - half),
            high: Some(estimate + half),
        });
    }
}

/// A made-up review: four conditions, a planter with a pressure knob, one with positions, one without a calibration.
pub(crate) fn review() -> Results {
    let mut results = Results::default();
    for (name, text) in [
        ("review", "Spring strips (invented data)"),
        ("version", "0.1.0"),
        ("seed", "1"),
        ("data_hash", "5f2c9a"),
        ("force_unit", "N"),
        ("speed_unit", "km/h"),
        ("primary", "on_time_share"),
        ("axis", "set"),
    ] {
        results.model.push(run_fact(name, text));
    }
    let mut on_time = run_fact("on_time_window_h", "");
    on_time.value = Some(48.0);
    results.model.push(on_time);
    for (name, value) in [("interval_level", 0.9), ("open_share", 0.1), ("firm_share", 0.1)] {
        results.model.push(ModelRow { value: Some(value), text: None, ..run_fact(name, "") });
    }
    let mut check = run_fact("residuals against force", "passed");
    check.item = "check".to_owned();
    check.model = "force".to_owned();
    check.response = Some("on_time_share".to_owned());
    results.model.push(check.clone());
    check.name = "spread between blocks".to_owned();
    check.text = Some("failed: two blocks of East, 2024 lie far from the rest".to_owned());
    results.model.push(check);

    results.planters.push(planter("air-12"));
    let mut springs = planter("spring-8");
    springs.knob = Some("positions".to_owned());
    springs.pressure_unit = None;
    springs.default_position = Some("2".to_owned());
    springs.default_force_n = Some(210.0);
    results.planters.push(springs);
    let mut unweighed = planter("unweighed-6");
    unweighed.calibrated = Some(false);
    unweighed.pressure_unit = Some("psi".to_owned());
    unweighed.step_pressure_kpa = Some(5.0 * 6.894_757_293_168);
    unweighed.max_pressure_kpa = Some(100.0 * 6.894_757_293_168);
    unweighed.default_pressure_kpa = Some(30.0 * 6.894_757_293_168);
    unweighed.default_force_n = None;
    results.planters.push(unweighed);

    let conditions = [
        ("dry, covered", "settled"),
        ("moist, covered", "settled"),
        ("dry, bare", "leaning"),
        ("wet, covered", "open"),
    ];
    for (shift, (condition, evidence)) in conditions.into_iter().enumerate() {
        add_field(&mut results, ["North", "South", "East", "Long <Bottom>"][shift], 2024, condition, shift);
        if shift < 2 {
            add_field(&mut results, ["North", "South"][shift], 2025, condition, shift);
        }
        add_curve(&mut results, condition, shift);
        results.starting_points.push(point(condition, "on_time_share", evidence));
        let mut other = point(condition, "emerged_share", "open");
        other.primary = Some(false);
        other.shape = Some("flat".to_owned());
        other.levels_p_value = Some(0.44);
        results.starting_points.push(other);
        let mut other = point(condition, "spread_h", "leaning");
        other.primary = Some(false);
        other.gain_vs_default = Some(6.4);
        other.gain_low = Some(-1.1);
        other.gain_high = Some(14.0);
        other.largest_difference = Some(15.0);
        other.tolerance = Some(6.0);
        results.starting_points.push(other);

        results.shapes.extend(crate::made_up_decision::shapes(condition, "on_time_share"));
        let deciding = point(condition, "on_time_share", evidence);
        results.next_trials.extend(crate::made_up_decision::next_trials(&deciding));
        results.settings.push(knob("air-12", condition, evidence));
        let mut row = knob("spring-8", condition, evidence);
        row.knob = Some("positions".to_owned());
        row.start_pressure_kpa = None;
        row.default_pressure_kpa = None;
        row.window_low_pressure_kpa = None;
        row.window_high_pressure_kpa = None;
        row.default_position = Some("2".to_owned());
        if evidence != "open" {
            row.start_position = Some("3".to_owned());
            row.window_low_position = Some("3".to_owned());
            row.window_high_position = Some("4".to_owned());
            row.at_limit = Some(shift == 1);
        }
        results.settings.push(row);
    }
    let moist = results.settings.iter_mut().find(|row| row.condition == "moist, covered").expect("it was just added");
    moist.advice = Some("stay".to_owned());
    moist.start_pressure_kpa = Some(200.0);
    moist.start_force_n = Some(260.0);
    moist.gain_vs_default = Some(0.0);

    let mut row = knob("unweighed-6", "dry, covered", "leaning");
    row.basis = Some("logs".to_owned());
    row.start_force_n = None;
    row.default_force_n = None;
    row.start_pressure_kpa = Some(40.0 * 6.894_757_293_168);
    row.default_pressure_kpa = Some(30.0 * 6.894_757_293_168);
    row.window_low_pressure_kpa = Some(35.0 * 6.894_757_293_168);
    row.window_high_pressure_kpa = Some(50.0 * 6.894_757_293_168);
    row.reason = Some("Fields that were set heavier came up more evenly.".to_owned());
    row.prob_near_best = Some(0.58);
    results.settings.push(row);
    let mut point = point("dry, covered", "on_time_share", "leaning");
    point.planter_id = Some("unweighed-6".to_owned());
    point.basis = "logs".to_owned();
    point.start_n = Some(40.0 * 6.894_757_293_168);
    point.default_n = Some(30.0 * 6.894_757_293_168);
    results.starting_points.push(point);

    made_up_digs::digs(&mut results);
    made_up_digs::around_the_planter(&mut results);
    results.comparisons.push(ComparisonRow {
        response: "on_time_share".to_owned(),
        condition: "dry, covered".to_owned(),
        closer: Some("discs_and_press_wheel".to_owned()),
        planter_id: None,
        field_id: None,
        season: None,
        treatment_a: "300 kPa".to_owned(),
        treatment_b: "100 kPa".to_owned(),
        mean_a: Some(0.842),
        mean_b: Some(0.78),
        difference: Some(0.062),
        std_error: Some(0.014),
        df: Some(90.0),
        low: Some(0.034),
        high: Some(0.09),
        p_value: Some(0.0001),
        p_adjusted: Some(0.0012),
        low_together: Some(0.0),
        high_together: Some(0.0),
        adjustment: Some("holm".into()),
        method: Some("mixed model".to_owned()),
        scale: Some("difference in shares".to_owned()),
        equivalence_margin: Some(0.02),
        p_equivalent: Some(0.998),
        p_no_worse: Some(0.0001),
        verdict: Some("different".to_owned()),
        with_default: Some(false),
        n_field_seasons: Some(6),
        p_between_fields: Some(0.03),
        spread_between_fields: Some(0.021),
    });
    results.factors.push(FactorRow {
        response: "on_time_share".to_owned(),
        condition: "dry, covered".to_owned(),
        field_id: Some("North".to_owned()),
        season: Some(2025),
        term: "closer".to_owned(),
        kind: "factor".to_owned(),
        levels: Some("discs_and_press_wheel, single_wheel".to_owned()),
        numerator_df: Some(1.0),
        denominator_df: Some(2.0),
        f_value: Some(6.214),
        p_value: Some(0.13),
        size: Some(0.041),
        size_std_error: Some(0.0165),
        size_low: Some(-0.03),
        size_high: Some(0.112),
        size_of: Some("single_wheel − discs_and_press_wheel".to_owned()),
        method: Some("mixed model: force + closer + block, random block × closer; kenward-roger".to_owned()),
        ..FactorRow::default()
    });
    let mut finding = FindingRow {
        severity: "warning".to_owned(),
        code: "actual_off_set".to_owned(),
        table: Some("setting_log".to_owned()),
        source_file: Some("setting_log-north.csv".to_owned()),
        source_row: Some(1204),
        field_id: Some("North".to_owned()),
        season: Some(2025),
        strip_id: Some("S04".to_owned()),
        message: "The measured downforce is 92 N below the one that was set, on average over the strip.".to_owned(),
        remedy: Some("Check the pressure line before the next field.".to_owned()),
    };
    results.findings.push(finding.clone());
    finding.severity = "note".to_owned();
    finding.code = "uncalibrated".to_owned();
    finding.field_id = None;
    finding.season = None;
    finding.strip_id = None;
    finding.source_file = None;
    finding.source_row = None;
    finding.message = "Planter unweighed-6 has no calibration; it is modelled in its own pressure.".to_owned();
    finding.remedy = Some("Weigh the closing wheels at three pressures and enter force_n.".to_owned());
    results.findings.push(finding);
    for row in 0..3 {
        results.set_aside.push(SetAsideRow {
            source_file: "stand_count.csv".to_owned(),
            source_row: 14 + row,
            source_sha256: "ab".repeat(32),
            kind: "stand_count".to_owned(),
            code: "ambiguous_date".to_owned(),
            message: "counted_at 03/04/2025 can be read two ways; give a format.".to_owned(),
            raw: Some("North,2025,S01,03/04/2025,41".to_owned()),
        });
    }
    results
}
