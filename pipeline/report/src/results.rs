//! What a report is made from: the result tables of a review, and nothing else.

use evenstand_tables::rows::{
    AdjustedRow, CalibrationRow, ComparisonRow, ConditionRow, CourseMeanRow, CourseRow, CurveRow, DigChecklistRow,
    DigCurveRow, DigLevelRow, DigStandRow, DigStripRow, DigWindowRow, FactorRow, FieldCurveRow, FieldEffectRow,
    FieldSeasonRow, FindingRow, FollowedRow, KnobRow, ModelRow, NextTrialRow, OutlineRow, PlanterRow, RecordedRow,
    SensitivityRow, SetActualRow, SetAsideRow, ShapeRow, SinceLastRow, SourceRow, StartingPointRow, StripMeasureRow,
    StripRow, TelemetryRow, TraceRow,
};
use evenstand_tables::{Row, Table, TablesError};

use crate::words::gauge::{Gauge, Unit};

/// The result tables of one review, as rows. Any of them may be empty.
#[derive(Debug, Clone, Default)]
pub struct Results {
    /// Table `strips`.
    pub strips: Vec<StripRow>,
    /// Table `strip_measures`.
    pub strip_measures: Vec<StripMeasureRow>,
    /// Table `field_seasons`.
    pub field_seasons: Vec<FieldSeasonRow>,
    /// Table `planters`.
    pub planters: Vec<PlanterRow>,
    /// Table `curves`.
    pub curves: Vec<CurveRow>,
    /// Table `field_curves`.
    pub field_curves: Vec<FieldCurveRow>,
    /// Table `field_effects`.
    pub field_effects: Vec<FieldEffectRow>,
    /// Table `adjusted`.
    pub adjusted: Vec<AdjustedRow>,
    /// Table `courses`.
    pub courses: Vec<CourseRow>,
    /// Table `course_means`.
    pub course_means: Vec<CourseMeanRow>,
    /// Table `starting_points`.
    pub starting_points: Vec<StartingPointRow>,
    /// Table `settings`: the starting points in each planter's own knob.
    pub settings: Vec<KnobRow>,
    /// Table `shapes`: the candidate shapes of each response.
    pub shapes: Vec<ShapeRow>,
    /// Table `next_trials`.
    pub next_trials: Vec<NextTrialRow>,
    /// Table `comparisons`.
    pub comparisons: Vec<ComparisonRow>,
    /// Table `factors`: tests of factors beside the setting.
    pub factors: Vec<FactorRow>,
    /// Table `dig_window`.
    pub dig_window: Vec<DigWindowRow>,
    /// Table `digs`.
    pub digs: Vec<DigStripRow>,
    /// Table `dig_curves`.
    pub dig_curves: Vec<DigCurveRow>,
    /// Table `dig_levels`.
    pub dig_levels: Vec<DigLevelRow>,
    /// Table `dig_checklist`.
    pub dig_checklist: Vec<DigChecklistRow>,
    /// Table `dig_stand`.
    pub dig_stand: Vec<DigStandRow>,
    /// Table `calibrations`.
    pub calibrations: Vec<CalibrationRow>,
    /// Table `conditions`.
    pub conditions: Vec<ConditionRow>,
    /// Table `set_actual`.
    pub set_actual: Vec<SetActualRow>,
    /// Table `telemetry`.
    pub telemetry: Vec<TelemetryRow>,
    /// Table `sensitivity`.
    pub sensitivity: Vec<SensitivityRow>,
    /// Table `since_last`.
    pub since_last: Vec<SinceLastRow>,
    /// Table `followed`.
    pub followed: Vec<FollowedRow>,
    /// Table `traces`.
    pub traces: Vec<TraceRow>,
    /// Table `outlines`.
    pub outlines: Vec<OutlineRow>,
    /// Table `recorded`.
    pub recorded: Vec<RecordedRow>,
    /// Table `sources`.
    pub sources: Vec<SourceRow>,
    /// Table `findings`.
    pub findings: Vec<FindingRow>,
    /// Table `set_aside`.
    pub set_aside: Vec<SetAsideRow>,
    /// Table `model`; its rows with item `run` are the facts of the run.
    pub model: Vec<ModelRow>,
}

impl Results {
    /// The words of a fact of the run.
    pub(crate) fn fact(&self, name: &str) -> Option<&str> {
        let mut facts = self.model.iter().filter(|row| row.item == "run" && row.name == name);
        facts.find_map(|row| row.text.as_deref().filter(|text| !text.is_empty()))
    }

    /// The number of a fact of the run.
    pub(crate) fn fact_number(&self, name: &str) -> Option<f64> {
        let mut facts = self.model.iter().filter(|row| row.item == "run" && row.name == name);
        facts.find_map(|row| row.value.filter(|value| value.is_finite()))
    }

    /// The same results with the tables that grow with strips in the order of field, season and strip, as the rest of the report finds them.
    pub(crate) fn in_order(mut self) -> Self {
        self.traces.sort_by(|a, b| of_strip(a).cmp(&of_strip(b)).then(a.piece.cmp(&b.piece)));
        self.outlines.sort_by(|a, b| of_strip(a).cmp(&of_strip(b)).then((a.ring, a.corner).cmp(&(b.ring, b.corner))));
        self.sources.sort_by(|a, b| of_strip(a).cmp(&of_strip(b)).then_with(|| a.source_file.cmp(&b.source_file)));
        self.strip_measures.sort_by(|a, b| of_strip(a).cmp(&of_strip(b)));
        // Rows of one field-season keep their order.
        self.strips.sort_by(|a, b| a.field_season().cmp(&b.field_season()));
        self.courses.sort_by(|a, b| a.field_season().cmp(&b.field_season()));
        self.course_means.sort_by(|a, b| a.field_season().cmp(&b.field_season()));
        self.field_curves.sort_by(|a, b| a.field_season().cmp(&b.field_season()));
        self.recorded.sort_by(|a, b| a.field_season().cmp(&b.field_season()));
        self
    }

    /// Hands over every table, one after another, in the order in which a workbook shows them: answers first, then strips, then what stands
    /// behind them.
    pub(crate) fn each_table<E: From<TablesError>>(
        &self,
        mut take: impl FnMut(&Table) -> Result<(), E>,
    ) -> Result<(), E> {
        take(&Row::to_table(&self.starting_points)?)?;
        take(&Row::to_table(&self.settings)?)?;
        take(&Row::to_table(&self.since_last)?)?;
        take(&Row::to_table(&self.followed)?)?;
        take(&Row::to_table(&self.next_trials)?)?;
        take(&Row::to_table(&self.field_seasons)?)?;
        take(&Row::to_table(&self.strips)?)?;
        take(&Row::to_table(&self.strip_measures)?)?;
        take(&Row::to_table(&self.comparisons)?)?;
        take(&Row::to_table(&self.factors)?)?;
        take(&Row::to_table(&self.curves)?)?;
        take(&Row::to_table(&self.field_curves)?)?;
        take(&Row::to_table(&self.field_effects)?)?;
        take(&Row::to_table(&self.adjusted)?)?;
        take(&Row::to_table(&self.shapes)?)?;
        take(&Row::to_table(&self.sensitivity)?)?;
        take(&Row::to_table(&self.courses)?)?;
        take(&Row::to_table(&self.course_means)?)?;
        take(&Row::to_table(&self.digs)?)?;
        take(&Row::to_table(&self.dig_window)?)?;
        take(&Row::to_table(&self.dig_curves)?)?;
        take(&Row::to_table(&self.dig_levels)?)?;
        take(&Row::to_table(&self.dig_checklist)?)?;
        take(&Row::to_table(&self.dig_stand)?)?;
        take(&Row::to_table(&self.planters)?)?;
        take(&Row::to_table(&self.calibrations)?)?;
        take(&Row::to_table(&self.conditions)?)?;
        take(&Row::to_table(&self.set_actual)?)?;
        take(&Row::to_table(&self.telemetry)?)?;
        take(&Row::to_table(&self.traces)?)?;
        take(&Row::to_table(&self.outlines)?)?;
        take(&Row::to_table(&self.recorded)?)?;
        take(&Row::to_table(&self.sources)?)?;
        take(&Row::to_table(&self.findings)?)?;
        take(&Row::to_table(&self.set_aside)?)?;
        take(&Row::to_table(&self.model)?)?;
        Ok(())
    }

    /// Telemetry along a strip.
    pub(crate) fn traces_of(&self, field_id: &str, season: i64, strip_id: &str) -> &[TraceRow] {
        rows_of(&self.traces, (field_id, season, strip_id))
    }

    /// Corners of a strip's outline.
    pub(crate) fn outline_of(&self, field_id: &str, season: i64, strip_id: &str) -> &[OutlineRow] {
        rows_of(&self.outlines, (field_id, season, strip_id))
    }

    /// Files behind a strip.
    pub(crate) fn sources_of(&self, field_id: &str, season: i64, strip_id: &str) -> &[SourceRow] {
        rows_of(&self.sources, (field_id, season, strip_id))
    }

    /// The title of the review.
    pub(crate) fn review(&self) -> &str {
        self.fact("review").unwrap_or(crate::words::labels::NO_TITLE)
    }

    /// The response that decides, where a table does not flag it.
    pub(crate) fn primary(&self) -> &str {
        self.fact("primary").unwrap_or("on_time_share")
    }

    /// The planter of this name.
    pub(crate) fn planter(&self, planter_id: &str) -> Option<&PlanterRow> {
        self.planters.iter().find(|planter| planter.planter_id == planter_id)
    }

    /// How forces are shown in this review.
    pub(crate) fn force_gauge(&self) -> Gauge {
        Gauge::plain(Unit::of_force(self.fact("force_unit").unwrap_or("N")))
    }

    /// How a `force_n` is shown that belongs to this planter. A planter without a calibration is modelled in its
    /// own pressure, one nominal newton to the kilopascal, and is shown in that pressure alone.
    pub(crate) fn axis_gauge(&self, planter_id: Option<&str>) -> Gauge {
        match planter_id.and_then(|planter_id| self.planter(planter_id)) {
            Some(planter) if planter.calibrated == Some(false) => knob_gauge(planter),
            _ => self.force_gauge(),
        }
    }

    /// How the `force_n` of a field-season's strips is shown.
    pub(crate) fn field_gauge(&self, field_id: &str, season: i64) -> Gauge {
        let strips = || of_field_season(&self.strips, field_id, season).iter();
        let planter_id = strips().find_map(|strip| strip.planter_id.as_deref()).or_else(|| {
            self.field_seasons
                .iter()
                .find(|field| field.field_id == field_id && field.season == season)
                .and_then(|field| field.planter_id.as_deref())
        });
        let nominal = strips().any(|strip| strip.force_source.as_deref() == Some("nominal"));
        let gauge = self.axis_gauge(planter_id);
        let unit = planter_id.and_then(|id| self.planter(id)).and_then(|planter| planter.pressure_unit.as_deref());
        if nominal && gauge == self.force_gauge() { Gauge::plain(Unit::of_pressure(unit)) } else { gauge }
    }

    /// The value of a response in a strip: a column of `strips`, or a mean of `strip_measures` for `measure:NAME`.
    pub(crate) fn strip_value(&self, strip: &StripRow, response: &str) -> Option<f64> {
        let value = match response {
            "emerged_share" => strip.emerged_share,
            "on_time_share" => strip.on_time_share,
            "t10_h" => strip.t10_h,
            "t50_h" => strip.t50_h,
            "t90_h" => strip.t90_h,
            "spread_h" => strip.spread_h,
            "mean_emergence_h" => strip.mean_emergence_h,
            "t10_cd" => strip.t10_cd,
            "t50_cd" => strip.t50_cd,
            "t90_cd" => strip.t90_cd,
            "spread_cd" => strip.spread_cd,
            "mean_emergence_cd" => strip.mean_emergence_cd,
            "limit_share" => strip.limit_share,
            "t10_fit_h" => strip.t10_fit_h,
            "t50_fit_h" => strip.t50_fit_h,
            "t90_fit_h" => strip.t90_fit_h,
            "spread_fit_h" => strip.spread_fit_h,
            "synchrony" => strip.synchrony,
            "spacing_cv" => strip.spacing_cv,
            "spacing_precision" => strip.spacing_precision,
            "miss_share" => strip.miss_share,
            "multiple_share" => strip.multiple_share,
            "quality_share" => strip.quality_share,
            "leaf_stage_sd" => strip.leaf_stage_sd,
            _ => response.strip_prefix("measure:").and_then(|name| {
                rows_of(&self.strip_measures, (&strip.field_id, strip.season, &strip.strip_id))
                    .iter()
                    .find(|row| row.name == name)
                    .and_then(|row| row.value)
            }),
        };
        value.filter(|value| value.is_finite())
    }
}

/// A row about one strip.
trait OfStrip {
    fn strip(&self) -> (&str, i64, &str);
}

macro_rules! of_strip {
    ($($row:ty),+) => {$(
        impl OfStrip for $row {
            fn strip(&self) -> (&str, i64, &str) {
                (&self.field_id, self.season, &self.strip_id)
            }
        }
    )+};
}
of_strip!(TraceRow, OutlineRow, SourceRow, StripMeasureRow);

fn of_strip(row: &impl OfStrip) -> (&str, i64, &str) {
    row.strip()
}

/// Rows of a strip in a table that is in order.
fn rows_of<'a, R: OfStrip>(rows: &'a [R], strip: (&str, i64, &str)) -> &'a [R] {
    let first = rows.partition_point(|row| row.strip() < strip);
    let count = rows[first..].partition_point(|row| row.strip() == strip);
    &rows[first..first + count]
}

/// A row about one field-season, or a part of it.
pub(crate) trait OfFieldSeason {
    fn field_season(&self) -> (&str, i64);
}

macro_rules! of_field_season {
    ($($row:ty),+) => {$(
        impl OfFieldSeason for $row {
            fn field_season(&self) -> (&str, i64) {
                (&self.field_id, self.season)
            }
        }
    )+};
}
of_field_season!(StripRow, CourseRow, CourseMeanRow, FieldCurveRow, RecordedRow);

/// Rows of a field-season in a table that is in order.
pub(crate) fn of_field_season<'a, R: OfFieldSeason>(rows: &'a [R], field_id: &str, season: i64) -> &'a [R] {
    let first = rows.partition_point(|row| row.field_season() < (field_id, season));
    let count = rows[first..].partition_point(|row| row.field_season() == (field_id, season));
    &rows[first..first + count]
}

/// The gauge of a planter's own pressure.
pub(crate) fn knob_gauge(planter: &PlanterRow) -> Gauge {
    Gauge::stepped(Unit::of_pressure(planter.pressure_unit.as_deref()), planter.step_pressure_kpa)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use evenstand_tables::{Group, schemas};

    use super::*;

    #[test]
    fn every_result_table_is_among_the_tables() {
        let mut names: BTreeSet<&str> = BTreeSet::new();
        let listed = Results::default().each_table(|table| -> Result<(), TablesError> {
            names.insert(&table.schema().name);
            Ok(())
        });
        listed.expect("empty tables follow their schemas");
        let known = schemas().iter().filter(|table| table.group == Group::Results).map(|table| table.name.as_str());
        assert_eq!(names, known.collect::<BTreeSet<_>>());
    }
}
