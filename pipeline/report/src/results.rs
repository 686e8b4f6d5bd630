//! What a report is made from: the result tables of a review, and nothing else.

use std::sync::Arc;

use arrow::array::Array;
use arrow::compute::{filter_record_batch, is_null};
use evenstand_tables::rows::{
    AdjustedRow, CalibrationRow, ComparisonRow, ConditionRow, CourseMeanRow, CourseRow, CurveRow, DigChecklistRow,
    DigCurveRow, DigLevelRow, DigStandRow, DigStripRow, DigWindowRow, FactorRow, FieldCurveRow, FieldEffectRow,
    FieldSeasonRow, FindingRow, FollowedRow, KnobRow, ModelRow, NextTrialRow, OutlineRow, PlanterRow, RecordedRow,
    SensitivityRow, SetActualRow, SetAsideRow, ShapeRow, SinceLastRow, SourceRow, StartingPointRow, StripMeasureRow,
    StripRow, TelemetryRow, TraceRow,
};
use evenstand_tables::{Group, Row, Table, TablesError, schema};

use crate::ordered::in_order;
use crate::packed::{Held, Packed};
use crate::words::gauge::{Gauge, Unit};
use crate::{ReportError, Source};

/// The result tables of one review, as the pages need them. Any of them may be empty.
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
    pub field_curves: Packed<FieldCurveRow>,
    /// Table `field_effects`.
    pub field_effects: Vec<FieldEffectRow>,
    /// Table `adjusted`.
    pub adjusted: Packed<AdjustedRow>,
    /// Table `courses`.
    pub courses: Packed<CourseRow>,
    /// Table `course_means`.
    pub course_means: Packed<CourseMeanRow>,
    /// Table `starting_points`.
    pub starting_points: Vec<StartingPointRow>,
    /// Table `settings`: the starting points in each planter's own knob.
    pub settings: Vec<KnobRow>,
    /// Table `shapes`: the candidate shapes of each response.
    pub shapes: Vec<ShapeRow>,
    /// Table `next_trials`.
    pub next_trials: Vec<NextTrialRow>,
    /// Table `comparisons`: its rows over all field-seasons. Those of a single one, which are many, stand in the workbook alone.
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
    pub traces: Packed<TraceRow>,
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

    /// Reads the results from their tables; `source` is asked for several at a time. Errors where it does, or where a table does not follow its schema.
    pub fn read(source: Source) -> Result<Self, ReportError> {
        // Those that are long are read side by side.
        let ((strips, field_curves), (adjusted, courses)) =
            rayon::join(|| (rows(source), packed(source)), || (packed(source), packed(source)));
        let ((traces, course_means), (sources, comparisons)) =
            rayon::join(|| (packed(source), packed(source)), || (rows(source), pooled(source)));
        Ok(Self {
            strips: strips?,
            strip_measures: rows(source)?,
            field_seasons: rows(source)?,
            planters: rows(source)?,
            curves: rows(source)?,
            field_curves: field_curves?,
            field_effects: rows(source)?,
            adjusted: adjusted?,
            courses: courses?,
            course_means: course_means?,
            starting_points: rows(source)?,
            settings: rows(source)?,
            shapes: rows(source)?,
            next_trials: rows(source)?,
            comparisons: comparisons?,
            factors: rows(source)?,
            dig_window: rows(source)?,
            digs: rows(source)?,
            dig_curves: rows(source)?,
            dig_levels: rows(source)?,
            dig_checklist: rows(source)?,
            dig_stand: rows(source)?,
            calibrations: rows(source)?,
            conditions: rows(source)?,
            set_actual: rows(source)?,
            telemetry: rows(source)?,
            sensitivity: rows(source)?,
            since_last: rows(source)?,
            followed: rows(source)?,
            traces: traces?,
            outlines: rows(source)?,
            recorded: rows(source)?,
            sources: sources?,
            findings: rows(source)?,
            set_aside: rows(source)?,
            model: rows(source)?,
        })
    }

    /// The same results in another system of units.
    pub(crate) fn shown_in(mut self, force_unit: &str) -> Self {
        for row in self.model.iter_mut().filter(|row| row.item == "run" && row.name == "force_unit") {
            row.text = Some(force_unit.to_owned());
        }
        self
    }

    /// Every table of the rows, by its name.
    #[cfg(test)]
    pub(crate) fn tables(&self) -> std::collections::BTreeMap<&'static str, Table> {
        let tables = [
            Row::to_table(&self.starting_points),
            Row::to_table(&self.settings),
            Row::to_table(&self.since_last),
            Row::to_table(&self.followed),
            Row::to_table(&self.next_trials),
            Row::to_table(&self.field_seasons),
            Row::to_table(&self.strips),
            Row::to_table(&self.strip_measures),
            Row::to_table(&self.comparisons),
            Row::to_table(&self.factors),
            Row::to_table(&self.curves),
            self.field_curves.table(),
            Row::to_table(&self.field_effects),
            self.adjusted.table(),
            Row::to_table(&self.shapes),
            Row::to_table(&self.sensitivity),
            self.courses.table(),
            self.course_means.table(),
            Row::to_table(&self.digs),
            Row::to_table(&self.dig_window),
            Row::to_table(&self.dig_curves),
            Row::to_table(&self.dig_levels),
            Row::to_table(&self.dig_checklist),
            Row::to_table(&self.dig_stand),
            Row::to_table(&self.planters),
            Row::to_table(&self.calibrations),
            Row::to_table(&self.conditions),
            Row::to_table(&self.set_actual),
            Row::to_table(&self.telemetry),
            self.traces.table(),
            Row::to_table(&self.outlines),
            Row::to_table(&self.recorded),
            Row::to_table(&self.sources),
            Row::to_table(&self.findings),
            Row::to_table(&self.set_aside),
            Row::to_table(&self.model),
        ];
        let tables = tables.into_iter().map(|table| table.expect("rows follow their schema"));
        tables.map(|table| (table.schema().name.as_str(), table)).collect()
    }

    /// The same results as they come back from their tables.
    #[cfg(test)]
    pub(crate) fn read_again(&self) -> Self {
        let tables = self.tables();
        Self::read(&|name| Ok(Box::new(std::iter::once(Ok(tables[name].clone())))))
            .expect("tables follow their schemas")
    }

    /// The tables that are kept packed, by their names; they need not be read again.
    pub(crate) fn packed(&self) -> [(&'static str, Arc<Held>); 5] {
        [
            (FieldCurveRow::TABLE, self.field_curves.held()),
            (AdjustedRow::TABLE, self.adjusted.held()),
            (CourseRow::TABLE, self.courses.held()),
            (CourseMeanRow::TABLE, self.course_means.held()),
            (TraceRow::TABLE, self.traces.held()),
        ]
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

/// The tables in the order in which a workbook shows them: answers first, then strips, then what stands behind them.
pub(crate) const TABLES: [&str; 36] = [
    "starting_points",
    "settings",
    "since_last",
    "followed",
    "next_trials",
    "field_seasons",
    "strips",
    "strip_measures",
    "comparisons",
    "factors",
    "curves",
    "field_curves",
    "field_effects",
    "adjusted",
    "shapes",
    "sensitivity",
    "courses",
    "course_means",
    "digs",
    "dig_window",
    "dig_curves",
    "dig_levels",
    "dig_checklist",
    "dig_stand",
    "planters",
    "calibrations",
    "conditions",
    "set_actual",
    "telemetry",
    "traces",
    "outlines",
    "recorded",
    "sources",
    "findings",
    "set_aside",
    "model",
];

/// A table as a source gives it, a few rows at a time.
#[cfg(test)]
pub(crate) fn in_parts(table: &Table) -> Result<crate::Parts<'_>, crate::SourceError> {
    let parts = (0..table.len()).step_by(5).map(|first| table.slice(first, 5.min(table.len() - first)));
    Ok(Box::new(parts.map(Ok)))
}

/// The whole of a table.
pub(crate) fn whole(source: Source, name: &'static str) -> Result<Table, ReportError> {
    let parts = source(name).map_err(ReportError::Read)?;
    let batches = parts.map(|part| Ok(part.map_err(ReportError::Read)?.batch().clone()));
    Ok(Table::from_batches(schema(Group::Results, name)?, &batches.collect::<Result<Vec<_>, ReportError>>()?)?)
}

fn rows<R: Row>(source: Source) -> Result<Vec<R>, ReportError> {
    Ok(R::from_table(&in_order(whole(source, R::TABLE)?)?)?)
}

fn packed<R: Row>(source: Source) -> Result<Packed<R>, ReportError> {
    let parts = source(R::TABLE).map_err(ReportError::Read)?;
    Packed::of(parts.map(|part| part.map_err(ReportError::Read)))
}

/// The rows that are about no field of their own.
fn pooled<R: Row>(source: Source) -> Result<Vec<R>, ReportError> {
    let mut rows = Vec::new();
    for part in source(R::TABLE).map_err(ReportError::Read)? {
        let part = part.map_err(ReportError::Read)?;
        let of_field = part.batch().column_by_name("field_id").filter(|column| column.null_count() < column.len());
        let Some(of_field) = of_field else {
            rows.extend(R::from_table(&part)?);
            continue;
        };
        let batch = is_null(of_field).and_then(|pooled| filter_record_batch(part.batch(), &pooled));
        rows.extend(R::from_table(&Table::from_batches(part.schema(), &[batch.map_err(TablesError::from)?])?)?);
    }
    Ok(rows)
}

/// A row about one strip.
pub(crate) trait OfStrip {
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

/// Rows of a strip in a table that is in order.
pub(crate) fn rows_of<'a, R: OfStrip>(rows: &'a [R], strip: (&str, i64, &str)) -> &'a [R] {
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
of_field_season!(StripRow, RecordedRow);

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
        let names = BTreeSet::from(TABLES);
        let read: BTreeSet<&str> = Results::default().tables().into_keys().collect();
        assert_eq!(names, read);
        let known = schemas().iter().filter(|table| table.group == Group::Results).map(|table| table.name.as_str());
        assert_eq!(names, known.collect::<BTreeSet<_>>());
    }
}
