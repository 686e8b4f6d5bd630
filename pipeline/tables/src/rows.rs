//! The typed rows. Each struct names columns of one table; a test below holds every one against its schema file.

use crate::row::rows;
use crate::{Day, Moment};

mod shown;
mod totals;

pub use shown::{FieldEffectRow, FollowedRow, OutlineRow, RecordedRow, SinceLastRow, SourceRow, TraceRow};
pub use totals::StripTotalsRow;

// Kept tables, as `link` reads them.
rows! {
    /// A field-season.
    FieldRow in Kept "field" {
        field_id: String,
        season: i64,
        crop: Option<String>,
        planted_at: Option<Moment>,
        row_spacing_m: Option<f64>,
        seed_rate_per_m2: Option<f64>,
        seed_spacing_m: Option<f64>,
        seed_depth_m: Option<f64>,
        tillage: Option<String>,
        previous_crop: Option<String>,
        planter_id: Option<String>,
        timezone: Option<String>,
        lat: Option<f64>,
        lon: Option<f64>,
        client: Option<String>,
        farm: Option<String>,
        hybrid: Option<String>,
        seed_lot: Option<String>,
        germination_frac: Option<f64>,
        replanted: Option<bool>,
        source_file: String,
        source_row: i64,
        source_sha256: String,
    }
    /// A strip as the strip sheet names it.
    StripSheetRow in Kept "strip" {
        field_id: String,
        season: i64,
        strip_id: String,
        block: Option<String>,
        treatment: Option<String>,
        condition: Option<String>,
        length_m: Option<f64>,
        rows: Option<i64>,
        passes: Option<i64>,
        planted_at: Option<Moment>,
        hybrid: Option<String>,
        closer: Option<String>,
        started_at: Option<Moment>,
        ended_at: Option<Moment>,
        boundary: Option<String>,
        source_file: String,
        source_row: i64,
        source_sha256: String,
    }
    /// A row of a setting log.
    SettingRow in Kept "setting_log" {
        field_id: String,
        season: i64,
        strip_id: Option<String>,
        time: Option<Moment>,
        planter_id: Option<String>,
        row_unit: Option<String>,
        lat: Option<f64>,
        lon: Option<f64>,
        speed_m_s: Option<f64>,
        row_downforce_n: Option<f64>,
        set_pressure_kpa: Option<f64>,
        actual_pressure_kpa: Option<f64>,
        set_force_n: Option<f64>,
        actual_force_n: Option<f64>,
        closing_position: Option<String>,
        press_position: Option<String>,
        depth_stop: Option<String>,
        gauge_wheel: Option<String>,
        block: Option<String>,
        condition: Option<String>,
        source_file: String,
        source_row: i64,
        source_sha256: String,
    }
    /// A soil note.
    SoilRow in Kept "soil_note" {
        field_id: String,
        season: i64,
        strip_id: Option<String>,
        block: Option<String>,
        taken_at: Option<Moment>,
        depth_m: Option<f64>,
        texture: Option<String>,
        sand_frac: Option<f64>,
        silt_frac: Option<f64>,
        clay_frac: Option<f64>,
        water_gravimetric_frac: Option<f64>,
        water_volumetric_frac: Option<f64>,
        plastic_limit_frac: Option<f64>,
        available_water_frac: Option<f64>,
        moisture_feel: Option<String>,
        soil_temp_c: Option<f64>,
        residue_cover_frac: Option<f64>,
        penetration_kpa: Option<f64>,
        crust: Option<bool>,
        note: Option<String>,
        lat: Option<f64>,
        lon: Option<f64>,
        source_file: String,
        source_row: i64,
        source_sha256: String,
    }
    /// A dig check.
    DigRow in Kept "dig_check" {
        field_id: String,
        season: i64,
        strip_id: Option<String>,
        dug_at: Option<Moment>,
        row_unit: Option<String>,
        trench_shut: Option<String>,
        light_at_seed: Option<bool>,
        air_gap: Option<bool>,
        firm_all_round: Option<bool>,
        press_mark: Option<bool>,
        dig_effort: Option<i64>,
        soil_thrown: Option<bool>,
        seed_depth_m: Option<f64>,
        lat: Option<f64>,
        lon: Option<f64>,
        source_file: String,
        source_row: i64,
        source_sha256: String,
    }
    /// A stand count.
    CountRow in Kept "stand_count" {
        field_id: String,
        season: i64,
        strip_id: String,
        sample_id: Option<String>,
        row_unit: Option<String>,
        row_length_m: Option<f64>,
        seeds_sown: Option<f64>,
        visit_number: Option<i64>,
        distance_m: Option<f64>,
        counted_at: Option<Moment>,
        emerged: i64,
        lat: Option<f64>,
        lon: Option<f64>,
        source_file: String,
        source_row: i64,
        source_sha256: String,
    }
    /// A plant position.
    SpacingRow in Kept "spacing" {
        field_id: String,
        season: i64,
        strip_id: String,
        sample_id: Option<String>,
        plant: Option<String>,
        position_m: f64,
        lat: Option<f64>,
        lon: Option<f64>,
        source_file: String,
        source_row: i64,
        source_sha256: String,
    }
    /// A single plant.
    PlantRow in Kept "plant" {
        field_id: String,
        season: i64,
        strip_id: String,
        sample_id: Option<String>,
        plant: Option<String>,
        leaf_stage: Option<f64>,
        height_m: Option<f64>,
        lat: Option<f64>,
        lon: Option<f64>,
        source_file: String,
        source_row: i64,
        source_sha256: String,
    }
    /// Another measure.
    MeasureRow in Kept "measure" {
        field_id: String,
        season: i64,
        strip_id: String,
        sample_id: Option<String>,
        name: String,
        value: f64,
        unit: Option<String>,
        better: Option<String>,
        lat: Option<f64>,
        lon: Option<f64>,
        source_file: String,
        source_row: i64,
        source_sha256: String,
    }
    /// A day of weather.
    WeatherRow in Kept "weather" {
        field_id: Option<String>,
        season: i64,
        date: Day,
        tmin_c: Option<f64>,
        tmax_c: Option<f64>,
        rain_mm: Option<f64>,
        source_file: String,
        source_row: i64,
        source_sha256: String,
    }
}

// Result tables.
rows! {
    /// A strip: setting, condition, emergence.
    StripRow in Results "strips" {
        field_id: String,
        season: i64,
        strip_id: String,
        block: Option<String>,
        treatment: Option<String>,
        condition: String,
        planter_id: Option<String>,
        closer: Option<String>,
        force_n: Option<f64>,
        force_source: Option<String>,
        set_force_n: Option<f64>,
        actual_force_n: Option<f64>,
        force_sd_n: Option<f64>,
        at_set_share: Option<f64>,
        set_pressure_kpa: Option<f64>,
        closing_position: Option<String>,
        press_position: Option<String>,
        depth_stop: Option<String>,
        gauge_wheel: Option<String>,
        started_at: Option<Moment>,
        lat: Option<f64>,
        lon: Option<f64>,
        moisture: Option<String>,
        residue: Option<String>,
        texture_group: Option<String>,
        tillage: Option<String>,
        logged: Option<String>,
        soil_temp: Option<String>,
        crust: Option<String>,
        rain: Option<String>,
        soil_temp_c: Option<f64>,
        rain_after_mm: Option<f64>,
        speed_m_s: Option<f64>,
        seeds_sown: Option<f64>,
        emerged: Option<f64>,
        emerged_share: Option<f64>,
        on_time_share: Option<f64>,
        t10_h: Option<f64>,
        t50_h: Option<f64>,
        t90_h: Option<f64>,
        spread_h: Option<f64>,
        mean_emergence_h: Option<f64>,
        t10_cd: Option<f64>,
        t50_cd: Option<f64>,
        t90_cd: Option<f64>,
        spread_cd: Option<f64>,
        mean_emergence_cd: Option<f64>,
        limit_share: Option<f64>,
        limit_share_se: Option<f64>,
        t10_fit_h: Option<f64>,
        t10_fit_se_h: Option<f64>,
        t50_fit_h: Option<f64>,
        t50_fit_se_h: Option<f64>,
        t90_fit_h: Option<f64>,
        t90_fit_se_h: Option<f64>,
        spread_fit_h: Option<f64>,
        spread_fit_se_h: Option<f64>,
        fit_lag_h: Option<f64>,
        fit_note: Option<String>,
        synchrony: Option<f64>,
        spacing_cv: Option<f64>,
        spacing_precision: Option<f64>,
        miss_share: Option<f64>,
        multiple_share: Option<f64>,
        quality_share: Option<f64>,
        leaf_stage_sd: Option<f64>,
        n_samples: Option<i64>,
        usable: Option<bool>,
    }
    /// A strip’s mean of another measure.
    StripMeasureRow in Results "strip_measures" {
        field_id: String,
        season: i64,
        strip_id: String,
        name: String,
        value: Option<f64>,
        unit: Option<String>,
        better: Option<String>,
        n_samples: Option<i64>,
    }
    /// A field-season of the review.
    FieldSeasonRow in Results "field_seasons" {
        field_id: String,
        season: i64,
        client: Option<String>,
        farm: Option<String>,
        crop: Option<String>,
        hybrid: Option<String>,
        planter_id: Option<String>,
        planted_at: Option<Moment>,
        tillage: Option<String>,
        conditions: Option<String>,
        n_strips: Option<i64>,
        n_blocks: Option<i64>,
        n_levels: Option<i64>,
        n_telemetry_rows: Option<i64>,
        has_course: Option<bool>,
        kind: Option<String>,
    }
    /// A planter of the review.
    PlanterRow in Results "planters" {
        planter_id: String,
        closer: Option<String>,
        gauge_wheel: Option<String>,
        knob: Option<String>,
        pressure_unit: Option<String>,
        calibrated: Option<bool>,
        min_pressure_kpa: Option<f64>,
        max_pressure_kpa: Option<f64>,
        step_pressure_kpa: Option<f64>,
        default_pressure_kpa: Option<f64>,
        default_position: Option<String>,
        default_force_n: Option<f64>,
        actuator: Option<String>,
        force_from: Option<String>,
        calibration_shape: Option<String>,
        calibration_sd_n: Option<f64>,
        calibration_p_value: Option<f64>,
    }
    /// A point of a pooled curve.
    CurveRow in Results "curves" {
        condition: String,
        closer: String,
        planter_id: Option<String>,
        response: String,
        force_n: f64,
        estimate: Option<f64>,
        low: Option<f64>,
        high: Option<f64>,
    }
    /// A point of a field-season’s curve.
    FieldCurveRow in Results "field_curves" {
        field_id: String,
        season: i64,
        condition: String,
        closer: String,
        planter_id: Option<String>,
        response: String,
        force_n: f64,
        estimate: Option<f64>,
        low: Option<f64>,
        high: Option<f64>,
    }
    /// A strip with field-season and block taken out.
    AdjustedRow in Results "adjusted" {
        condition: String,
        closer: String,
        planter_id: Option<String>,
        response: String,
        field_id: String,
        season: i64,
        strip_id: String,
        block: Option<String>,
        force_n: Option<f64>,
        adjusted: Option<f64>,
        observed: Option<f64>,
    }
    /// An inspection of a strip.
    CourseRow in Results "courses" {
        field_id: String,
        season: i64,
        strip_id: String,
        hours: Option<f64>,
        share: Option<f64>,
    }
    /// A point of a setting’s mean emergence course.
    CourseMeanRow in Results "course_means" {
        field_id: String,
        season: i64,
        force_n: f64,
        label: Option<String>,
        hours: Option<f64>,
        share: Option<f64>,
        n_strips: Option<i64>,
    }
    /// A starting point.
    StartingPointRow in Results "starting_points" {
        condition: String,
        closer: String,
        planter_id: Option<String>,
        response: String,
        primary: Option<bool>,
        evidence: String,
        reason: String,
        basis: String,
        shape: Option<String>,
        n_field_seasons: Option<i64>,
        n_strips: Option<i64>,
        n_levels: Option<i64>,
        levels_p_value: Option<f64>,
        largest_difference: Option<f64>,
        tested_low_n: Option<f64>,
        tested_high_n: Option<f64>,
        best_n: Option<f64>,
        best_low_n: Option<f64>,
        best_high_n: Option<f64>,
        own_best_n: Option<f64>,
        own_low_n: Option<f64>,
        own_high_n: Option<f64>,
        settings_low_n: Option<f64>,
        settings_high_n: Option<f64>,
        shapes_best_n: Option<f64>,
        lack_of_fit_p_value: Option<f64>,
        window_low_n: Option<f64>,
        window_high_n: Option<f64>,
        start_n: Option<f64>,
        bound_by: Option<String>,
        start_before_digs_n: Option<f64>,
        default_n: Option<f64>,
        gain_vs_default: Option<f64>,
        gain_low: Option<f64>,
        gain_high: Option<f64>,
        prob_gain: Option<f64>,
        prob_near_best: Option<f64>,
        near_best_share: Option<f64>,
        tolerance: Option<f64>,
        borrowed_share: Option<f64>,
        overlap_share: Option<f64>,
        compliance_share: Option<f64>,
        hangs_on: Option<String>,
    }
    /// A suggestion against another reading of the same strips.
    SensitivityRow in Results "sensitivity" {
        condition: String,
        closer: String,
        planter_id: Option<String>,
        response: String,
        kind: String,
        detail: String,
        field_id: Option<String>,
        season: Option<i64>,
        best_n: Option<f64>,
        start_n: Option<f64>,
        advice: Option<String>,
        evidence: Option<String>,
        loss: Option<f64>,
        tolerance: Option<f64>,
        agrees: Option<bool>,
    }
    /// A starting point in a planter’s knob.
    KnobRow in Results "settings" {
        planter_id: String,
        closer: String,
        condition: String,
        response: String,
        primary: Option<bool>,
        evidence: String,
        reason: Option<String>,
        basis: Option<String>,
        shape: Option<String>,
        knob: Option<String>,
        advice: Option<String>,
        default_force_n: Option<f64>,
        start_force_n: Option<f64>,
        start_pressure_kpa: Option<f64>,
        start_position: Option<String>,
        default_pressure_kpa: Option<f64>,
        default_position: Option<String>,
        window_low_pressure_kpa: Option<f64>,
        window_high_pressure_kpa: Option<f64>,
        window_low_position: Option<String>,
        window_high_position: Option<String>,
        window_low_n: Option<f64>,
        window_high_n: Option<f64>,
        gain_vs_default: Option<f64>,
        gain_low: Option<f64>,
        gain_high: Option<f64>,
        prob_gain: Option<f64>,
        prob_near_best: Option<f64>,
        at_limit: Option<bool>,
        rounding_loss: Option<f64>,
        bound_by: Option<String>,
        dig_low_n: Option<f64>,
        dig_high_n: Option<f64>,
        dig_low_pressure_kpa: Option<f64>,
        dig_high_pressure_kpa: Option<f64>,
        dig_low_position: Option<String>,
        dig_high_position: Option<String>,
    }
    /// A candidate shape of the response over force.
    ShapeRow in Results "shapes" {
        condition: String,
        closer: String,
        planter_id: Option<String>,
        response: String,
        shape: String,
        parameters: Option<i64>,
        chi_square: Option<f64>,
        aicc: Option<f64>,
        weight: Option<f64>,
        joint_n: Option<f64>,
        best_n: Option<f64>,
    }
    /// A strip trial considered for next season.
    NextTrialRow in Results "next_trials" {
        condition: String,
        closer: String,
        planter_id: Option<String>,
        response: String,
        n_levels: Option<i64>,
        low_n: Option<f64>,
        high_n: Option<f64>,
        n_blocks: Option<i64>,
        n_fields: Option<i64>,
        strips: Option<i64>,
        expected_loss_now: Option<f64>,
        expected_loss_after: Option<f64>,
        reduction: Option<f64>,
        prob_near_best_now: Option<f64>,
        prob_near_best_after: Option<f64>,
        prob_four_in_five_after: Option<f64>,
        monte_carlo_error: Option<f64>,
        effective_draws: Option<f64>,
        step_half_width: Option<f64>,
        advised: Option<bool>,
        reason: Option<String>,
    }
    /// A difference between two settings.
    ComparisonRow in Results "comparisons" {
        response: String,
        condition: String,
        closer: Option<String>,
        planter_id: Option<String>,
        field_id: Option<String>,
        season: Option<i64>,
        treatment_a: String,
        treatment_b: String,
        mean_a: Option<f64>,
        mean_b: Option<f64>,
        difference: Option<f64>,
        std_error: Option<f64>,
        df: Option<f64>,
        low: Option<f64>,
        high: Option<f64>,
        p_value: Option<f64>,
        p_adjusted: Option<f64>,
        low_together: Option<f64>,
        high_together: Option<f64>,
        adjustment: Option<String>,
        method: Option<String>,
        scale: Option<String>,
        equivalence_margin: Option<f64>,
        p_equivalent: Option<f64>,
        p_no_worse: Option<f64>,
        verdict: Option<String>,
        with_default: Option<bool>,
        n_field_seasons: Option<i64>,
        p_between_fields: Option<f64>,
        spread_between_fields: Option<f64>,
    }
    /// The test of a factor, an interaction or a covariate.
    FactorRow in Results "factors" {
        response: String,
        condition: String,
        planter_id: Option<String>,
        field_id: Option<String>,
        season: Option<i64>,
        term: String,
        kind: String,
        levels: Option<String>,
        numerator_df: Option<f64>,
        denominator_df: Option<f64>,
        f_value: Option<f64>,
        p_value: Option<f64>,
        size: Option<f64>,
        size_std_error: Option<f64>,
        size_low: Option<f64>,
        size_high: Option<f64>,
        size_of: Option<String>,
        scale: Option<String>,
        n_strips: Option<i64>,
        method: Option<String>,
        reason: Option<String>,
    }
    /// A dig check with the setting and condition of its strip.
    DigStripRow in Results "digs" {
        field_id: String,
        season: i64,
        strip_id: Option<String>,
        condition: String,
        planter_id: Option<String>,
        closer: Option<String>,
        force_n: Option<f64>,
        closing_position: Option<String>,
        not_shut: Option<bool>,
        too_firm: Option<bool>,
        dig_effort: Option<i64>,
        block: Option<String>,
        row_unit: Option<String>,
        dug_at: Option<Moment>,
        trench_shut: Option<String>,
        light_at_seed: Option<bool>,
        air_gap: Option<bool>,
        firm_all_round: Option<bool>,
        press_mark: Option<bool>,
        soil_thrown: Option<bool>,
        seed_depth_m: Option<f64>,
        source_file: Option<String>,
        source_row: Option<i64>,
    }
    /// Dig evidence of a condition.
    DigWindowRow in Results "dig_window" {
        condition: String,
        closer: String,
        planter_id: Option<String>,
        open_limit_n: Option<f64>,
        firm_limit_n: Option<f64>,
        open_limit_low_n: Option<f64>,
        open_limit_high_n: Option<f64>,
        open_limit_lies: Option<String>,
        open_field_low_n: Option<f64>,
        open_field_high_n: Option<f64>,
        open_slope_probability: Option<f64>,
        firm_limit_low_n: Option<f64>,
        firm_limit_high_n: Option<f64>,
        firm_limit_lies: Option<String>,
        firm_field_low_n: Option<f64>,
        firm_field_high_n: Option<f64>,
        firm_slope_probability: Option<f64>,
        window_probability: Option<f64>,
        dug_low_n: Option<f64>,
        dug_high_n: Option<f64>,
        n_field_seasons: Option<i64>,
        n_strips: Option<i64>,
        n_levels: Option<i64>,
        n_judged_open: Option<i64>,
        n_judged_firm: Option<i64>,
        method: Option<String>,
        n_digs: Option<i64>,
        n_open: Option<i64>,
        n_firm: Option<i64>,
        evidence: String,
        reason: Option<String>,
    }
    /// A finding.
    FindingRow in Results "findings" {
        severity: String,
        code: String,
        table: Option<String>,
        source_file: Option<String>,
        source_row: Option<i64>,
        field_id: Option<String>,
        season: Option<i64>,
        strip_id: Option<String>,
        message: String,
        remedy: Option<String>,
    }
    /// A row set aside.
    SetAsideRow in Results "set_aside" {
        source_file: String,
        source_row: i64,
        source_sha256: String,
        kind: String,
        code: String,
        message: String,
        raw: Option<String>,
    }
    /// A statement about a fitted model.
    ModelRow in Results "model" {
        model: String,
        response: Option<String>,
        item: String,
        name: String,
        value: Option<f64>,
        std_error: Option<f64>,
        text: Option<String>,
    }
}

rows! {
    /// What the telemetry of a strip and row unit says about itself.
    TelemetryRow in Results "telemetry" {
        source_file: String,
        field_id: String,
        season: i64,
        strip_id: Option<String>,
        planter_id: Option<String>,
        row_unit: Option<String>,
        first_row: Option<i64>,
        rows: Option<i64>,
        rows_at_speed: Option<i64>,
        started_at: Option<Moment>,
        ended_at: Option<Moment>,
        step_s: Option<f64>,
        rows_back: Option<i64>,
        rows_same_time: Option<i64>,
        rows_repeated: Option<i64>,
        gaps: Option<i64>,
        longest_gap_s: Option<f64>,
        clock_jumps: Option<i64>,
        hour_jumps: Option<i64>,
        stuck_channel: Option<String>,
        stuck_share: Option<f64>,
        longest_stuck_s: Option<f64>,
        compared: Option<String>,
        outside_share: Option<f64>,
        mean_set: Option<f64>,
        mean_difference: Option<f64>,
        changes: Option<i64>,
        lag_s: Option<f64>,
        never_arrived: Option<i64>,
        sags: Option<i64>,
        sag_s: Option<f64>,
        start_zero_rows: Option<i64>,
        start_zero_share: Option<f64>,
        turns: Option<i64>,
        turn_rows: Option<i64>,
        turn_s: Option<f64>,
    }
}

rows! {
    /// A point of a dig curve.
    DigCurveRow in Results "dig_curves" {
        condition: String,
        closer: String,
        planter_id: Option<String>,
        question: String,
        force_n: f64,
        share: Option<f64>,
        low: Option<f64>,
        high: Option<f64>,
    }
    /// The places dug at one setting.
    DigLevelRow in Results "dig_levels" {
        condition: String,
        closer: String,
        planter_id: Option<String>,
        question: String,
        force_n: Option<f64>,
        closing_position: Option<String>,
        n_digs: Option<i64>,
        n_yes: Option<i64>,
        share: Option<f64>,
        low: Option<f64>,
        high: Option<f64>,
    }
    /// An answer of the dig check list.
    DigChecklistRow in Results "dig_checklist" {
        condition: Option<String>,
        closer: Option<String>,
        planter_id: Option<String>,
        step: i64,
        question: String,
        answer: String,
        wanted: Option<bool>,
        adjust_first: Option<String>,
        adjust_next: Option<String>,
        advice: Option<String>,
        n_digs: Option<i64>,
        n_answers: Option<i64>,
        share: Option<f64>,
    }
    /// Digs against the stand.
    DigStandRow in Results "dig_stand" {
        response: String,
        compared_within: String,
        difference: Option<f64>,
        std_error: Option<f64>,
        df: Option<f64>,
        low: Option<f64>,
        high: Option<f64>,
        p_value: Option<f64>,
        n_strips: Option<i64>,
        n_open_strips: Option<i64>,
        n_field_seasons: Option<i64>,
        reading: Option<String>,
        method: Option<String>,
    }
    /// A setting of a calibrated planter.
    CalibrationRow in Results "calibrations" {
        planter_id: String,
        pressure_kpa: Option<f64>,
        closing_position: Option<String>,
        n_readings: Option<i64>,
        mean_n: Option<f64>,
        sd_n: Option<f64>,
        fitted_n: Option<f64>,
        std_error_n: Option<f64>,
        low_n: Option<f64>,
        high_n: Option<f64>,
    }
    /// A class of the condition scheme.
    ConditionRow in Results "conditions" {
        part: String,
        class: String,
        rule: Option<String>,
        source: Option<String>,
        in_label: Option<bool>,
        n_strips: Option<i64>,
        n_field_seasons: Option<i64>,
    }
    /// Set against actual force of a planter and season.
    SetActualRow in Results "set_actual" {
        planter_id: Option<String>,
        season: i64,
        compared: Option<String>,
        n_strips: Option<i64>,
        at_set_share: Option<f64>,
        mean_set: Option<f64>,
        mean_actual: Option<f64>,
        mean_difference: Option<f64>,
        changes: Option<i64>,
        lag_s: Option<f64>,
        never_arrived: Option<i64>,
        sags: Option<i64>,
        sag_s: Option<f64>,
        n_off_strips: Option<i64>,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Row, schema};

    fn follows_its_schema<R: Row>() {
        let table = schema(R::GROUP, R::TABLE).expect("the table exists");
        let columns = R::columns();
        assert_eq!(columns.len(), table.columns.len(), "{} lacks or invents columns", R::TABLE);
        for ((name, column_type, nullable), column) in columns.into_iter().zip(&table.columns) {
            assert_eq!(name, column.name, "{}", R::TABLE);
            assert_eq!(column_type, column.column_type, "{}.{name}", R::TABLE);
            assert_eq!(nullable, !column.required(), "{}.{name}", R::TABLE);
        }
    }

    #[test]
    fn every_row_type_follows_its_schema() {
        follows_its_schema::<FieldRow>();
        follows_its_schema::<StripSheetRow>();
        follows_its_schema::<SettingRow>();
        follows_its_schema::<SoilRow>();
        follows_its_schema::<DigRow>();
        follows_its_schema::<CountRow>();
        follows_its_schema::<SpacingRow>();
        follows_its_schema::<PlantRow>();
        follows_its_schema::<MeasureRow>();
        follows_its_schema::<WeatherRow>();
        follows_its_schema::<StripRow>();
        follows_its_schema::<StripMeasureRow>();
        follows_its_schema::<FieldSeasonRow>();
        follows_its_schema::<PlanterRow>();
        follows_its_schema::<CurveRow>();
        follows_its_schema::<FieldCurveRow>();
        follows_its_schema::<AdjustedRow>();
        follows_its_schema::<CourseRow>();
        follows_its_schema::<CourseMeanRow>();
        follows_its_schema::<StartingPointRow>();
        follows_its_schema::<KnobRow>();
        follows_its_schema::<SensitivityRow>();
        follows_its_schema::<NextTrialRow>();
        follows_its_schema::<ShapeRow>();
        follows_its_schema::<ComparisonRow>();
        follows_its_schema::<FactorRow>();
        follows_its_schema::<DigStripRow>();
        follows_its_schema::<DigWindowRow>();
        follows_its_schema::<FindingRow>();
        follows_its_schema::<SetAsideRow>();
        follows_its_schema::<ModelRow>();
        follows_its_schema::<TelemetryRow>();
        follows_its_schema::<DigCurveRow>();
        follows_its_schema::<DigLevelRow>();
        follows_its_schema::<DigChecklistRow>();
        follows_its_schema::<DigStandRow>();
        follows_its_schema::<CalibrationRow>();
        follows_its_schema::<ConditionRow>();
        follows_its_schema::<SetActualRow>();
        follows_its_schema::<FieldEffectRow>();
        follows_its_schema::<FollowedRow>();
        follows_its_schema::<OutlineRow>();
        follows_its_schema::<RecordedRow>();
        follows_its_schema::<SinceLastRow>();
        follows_its_schema::<SourceRow>();
        follows_its_schema::<StripTotalsRow>();
        follows_its_schema::<TraceRow>();
    }

    #[test]
    fn rows_survive_the_way_to_a_table_and_back() {
        let rows = vec![
            CourseRow { field_id: "A".into(), season: 2025, strip_id: "1".into(), hours: Some(96.0), share: None },
            CourseRow { field_id: "B".into(), season: 2025, strip_id: "2".into(), hours: None, share: Some(0.5) },
        ];
        let table = CourseRow::to_table(&rows).expect("the rows fit the schema");
        assert_eq!(CourseRow::from_table(&table).expect("and come back"), rows);
    }
}
