//! Rows of the result tables that only the report shows: where, when, since when.

use crate::Day;
use crate::row::rows;

rows! {
    /// A piece of a strip's telemetry.
    TraceRow in Results "traces" {
        field_id: String,
        season: i64,
        strip_id: String,
        planter_id: Option<String>,
        row_unit: Option<String>,
        piece: i64,
        from_s: Option<f64>,
        to_s: Option<f64>,
        along_m: Option<f64>,
        lat: Option<f64>,
        lon: Option<f64>,
        speed_m_s: Option<f64>,
        set_n: Option<f64>,
        actual_n: Option<f64>,
        actual_low_n: Option<f64>,
        actual_high_n: Option<f64>,
        rows: Option<i64>,
    }
    /// A corner of a strip's outline.
    OutlineRow in Results "outlines" {
        field_id: String,
        season: i64,
        strip_id: String,
        ring: i64,
        corner: i64,
        lat: Option<f64>,
        lon: Option<f64>,
    }
    /// What was recorded on a day.
    RecordedRow in Results "recorded" {
        field_id: String,
        season: i64,
        what: String,
        day: Day,
        rows: Option<i64>,
        strips: Option<i64>,
    }
    /// A file behind a strip.
    SourceRow in Results "sources" {
        field_id: String,
        season: i64,
        strip_id: String,
        what: String,
        source_file: String,
        first_row: Option<i64>,
        last_row: Option<i64>,
        rows: Option<i64>,
    }
    /// A difference between two settings in a field-season.
    FieldEffectRow in Results "field_effects" {
        condition: String,
        closer: String,
        planter_id: Option<String>,
        response: String,
        scope: String,
        field_id: Option<String>,
        season: Option<i64>,
        contrast: String,
        to_n: Option<f64>,
        from_n: Option<f64>,
        difference: Option<f64>,
        low: Option<f64>,
        high: Option<f64>,
        n_strips: Option<i64>,
        covers: Option<bool>,
    }
    /// A starting point beside last season's.
    SinceLastRow in Results "since_last" {
        condition: String,
        closer: String,
        planter_id: Option<String>,
        response: String,
        last_evidence: Option<String>,
        evidence: Option<String>,
        last_start_n: Option<f64>,
        start_n: Option<f64>,
        last_default_n: Option<f64>,
        default_n: Option<f64>,
        change: String,
        moved_n: Option<f64>,
        last_n_field_seasons: Option<i64>,
        n_field_seasons: Option<i64>,
        last_n_strips: Option<i64>,
        n_strips: Option<i64>,
        last_inside_window: Option<bool>,
        why: Option<String>,
    }
    /// Strips that followed last season's start against those that did not.
    FollowedRow in Results "followed" {
        condition: String,
        closer: String,
        planter_id: Option<String>,
        response: String,
        season: i64,
        last_start_n: Option<f64>,
        near_n: Option<f64>,
        n_followed: Option<i64>,
        n_other: Option<i64>,
        n_in_trials: Option<i64>,
        n_fields_followed: Option<i64>,
        n_fields_other: Option<i64>,
        n_fields_both: Option<i64>,
        compared_within: Option<String>,
        mean_followed: Option<f64>,
        mean_other: Option<f64>,
        difference: Option<f64>,
        std_error: Option<f64>,
        df: Option<f64>,
        low: Option<f64>,
        high: Option<f64>,
        reading: Option<String>,
    }
}
