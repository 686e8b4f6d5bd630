//! Planters: their parts, where their forces come from, and how they followed the set force.

use evenstand_tables::rows::{CalibrationRow, PlanterRow, SetActualRow};
use serde::Serialize;

use crate::answer::plain_words;
use crate::gauge::{Gauge, Unit};
use crate::number::{self, NO_BREAK_SPACE};
use crate::response::capitalised;
use crate::results::{Results, knob_gauge};
use crate::why::WordTable;

/// The section.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Hardware {
    pub planters: WordTable,
    pub calibrations: Vec<WordTable>,
    pub set_actual: Option<WordTable>,
}

/// Planters and calibrations; `None` where no planter is known.
pub(crate) fn hardware(results: &Results) -> Option<Hardware> {
    (!results.planters.is_empty()).then(|| Hardware {
        planters: planters(results),
        calibrations: results.planters.iter().filter_map(|planter| calibration(results, planter)).collect(),
        set_actual: set_actual(results),
    })
}

fn planters(results: &Results) -> WordTable {
    let head = ["Planter", "Closer", "Gauge wheel", "Pressed down by", "Knob", "Force of its settings"];
    let words = |word: &Option<String>| word.as_deref().map_or_else(|| "not stated".to_owned(), plain_words);
    let rows = results.planters.iter().map(|planter| {
        vec![
            planter.planter_id.clone(),
            words(&planter.closer),
            words(&planter.gauge_wheel),
            words(&planter.actuator),
            knob(planter),
            force_from(planter).to_owned(),
        ]
    });
    WordTable {
        caption: "Planters".to_owned(),
        head: head.map(str::to_owned).to_vec(),
        rows: rows.collect(),
        rest: None,
    }
}

fn knob(planter: &PlanterRow) -> String {
    match planter.knob.as_deref() {
        Some("pressure") => match planter.min_pressure_kpa.zip(planter.max_pressure_kpa) {
            Some((low, high)) => knob_gauge(planter).range(low, high),
            None => "pressure".to_owned(),
        },
        Some("positions") => "positions".to_owned(),
        _ => "not stated".to_owned(),
    }
}

fn force_from(planter: &PlanterRow) -> &'static str {
    match (planter.force_from.as_deref(), planter.calibration_shape.as_deref()) {
        (Some("weighed"), Some("line")) => "weighed, a straight line through the readings",
        (Some("weighed"), Some("pieces")) => "weighed, straight between the readings, which are bent",
        (Some("weighed"), _) => "weighed",
        (Some("given"), _) => "given in the settings",
        _ if planter.calibrated == Some(false) => "not known: its closing wheels were not weighed",
        _ => "not stated",
    }
}

/// The calibration of one planter in numbers; `None` where it has none.
fn calibration(results: &Results, planter: &PlanterRow) -> Option<WordTable> {
    let rows: Vec<&CalibrationRow> =
        results.calibrations.iter().filter(|row| row.planter_id == planter.planter_id).collect();
    if rows.is_empty() {
        return None;
    }
    let pressure = Gauge::plain(knob_gauge(planter).unit);
    let force = results.force_gauge();
    let weighed = rows.iter().any(|row| row.mean_n.is_some());
    let shown = |value: Option<f64>| value.map_or_else(|| "–".to_owned(), |value| force.number(value));
    let cells = |row: &&CalibrationRow| {
        let setting = row.pressure_kpa.map(|kpa| pressure.text(kpa)).or_else(|| row.closing_position.clone());
        let mut cells = vec![setting.unwrap_or_default()];
        if weighed {
            cells.push(row.n_readings.unwrap_or(0).to_string());
            cells.push(shown(row.mean_n));
        }
        cells.push(shown(row.fitted_n));
        if weighed {
            cells.push(match (row.low_n, row.high_n) {
                (Some(low), Some(high)) => number::range(&force.number(low), &force.number(high)),
                _ => "–".to_owned(),
            });
        }
        cells
    };
    let unit = force.unit.symbol();
    let mut head = vec!["Setting".to_owned()];
    if weighed {
        head.extend(["Readings".to_owned(), format!("Mean weighed, {unit}")]);
    }
    head.push(format!("Force used, {unit}"));
    if weighed {
        head.push(format!("95{NO_BREAK_SPACE}% interval"));
    }
    let scatter = planter.calibration_sd_n.filter(|sd| sd.is_finite());
    Some(WordTable {
        caption: format!("Force of one row’s closing system, {}", planter.planter_id),
        head,
        rows: rows.iter().map(cells).collect(),
        rest: scatter.map(|sd| {
            format!("Single readings scatter by {} about what is used (standard deviation).", force.text(sd))
        }),
    })
}

/// How measured values followed set ones; `None` where nothing measured both.
fn set_actual(results: &Results) -> Option<WordTable> {
    if results.set_actual.is_empty() {
        return None;
    }
    let head = [
        "Planter",
        "Season",
        "Strips",
        "Time at set",
        "Set",
        "Measured",
        "Difference",
        "Lag",
        "Never arrived",
        "Sagged",
    ];
    Some(WordTable {
        caption: "Set against actual".to_owned(),
        head: head.map(str::to_owned).to_vec(),
        rows: results.set_actual.iter().map(|row| set_actual_row(results, row)).collect(),
        rest: Some(
            "From telemetry at working speed. Strips, one by one, are in results/strips.csv and results/telemetry.csv."
                .to_owned(),
        ),
    })
}

fn set_actual_row(results: &Results, row: &SetActualRow) -> Vec<String> {
    let pressure = || {
        let planter = row.planter_id.as_deref().and_then(|id| results.planter(id));
        planter.map_or_else(|| Gauge::plain(Unit::Kilopascal), |planter| Gauge::plain(knob_gauge(planter).unit))
    };
    let gauge = if row.compared.as_deref() == Some("force") { results.force_gauge() } else { pressure() };
    let value = |value: Option<f64>| value.map_or_else(|| "–".to_owned(), |value| gauge.text(value));
    let of = |count: Option<i64>, all: Option<i64>| match (count, all) {
        (Some(count), Some(all)) => format!("{count} of {all}"),
        _ => "–".to_owned(),
    };
    let seconds = |seconds: Option<f64>| {
        seconds.map_or_else(|| "–".to_owned(), |seconds| number::with_unit(&number::whole(seconds), "s"))
    };
    let sagged = match row.sags {
        Some(0) => "never".to_owned(),
        Some(sags) => {
            format!("{} ({})", number::count(usize::try_from(sags).unwrap_or(0), "time", "times"), seconds(row.sag_s))
        }
        None => "–".to_owned(),
    };
    vec![
        row.planter_id.clone().unwrap_or_else(|| capitalised("not named")),
        row.season.to_string(),
        row.n_strips.unwrap_or(0).to_string(),
        row.at_set_share.map_or_else(|| "–".to_owned(), number::percent),
        value(row.mean_set),
        value(row.mean_actual),
        value(row.mean_difference),
        seconds(row.lag_s),
        of(row.never_arrived, row.changes),
        sagged,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;

    #[test]
    fn a_calibration_is_shown_in_the_units_of_its_planter() {
        let mut results = made_up::review();
        results.planters[0].pressure_unit = Some("psi".into());
        results.planters[0].force_from = Some("weighed".into());
        results.planters[0].calibration_shape = Some("line".into());
        results.planters[0].calibration_sd_n = Some(6.2);
        let planter_id = results.planters[0].planter_id.clone();
        results.calibrations = vec![CalibrationRow {
            planter_id,
            pressure_kpa: Some(241.316_505),
            n_readings: Some(3),
            mean_n: Some(312.0),
            fitted_n: Some(311.4),
            low_n: Some(306.0),
            high_n: Some(316.8),
            ..CalibrationRow::default()
        }];
        let hardware = hardware(&results).unwrap();
        let table = &hardware.calibrations[0];
        let row = table.rows[0].join("|").replace(NO_BREAK_SPACE, " ");
        assert_eq!(row, "35 psi|3|312|311|306 to 317");
        assert!(table.rest.as_ref().unwrap().contains("scatter by 6"), "{:?}", table.rest);
        assert!(hardware.planters.rows[0].contains(&"weighed, a straight line through the readings".to_owned()));
    }

    #[test]
    fn what_was_set_and_measured_stands_in_the_unit_that_was_compared() {
        let mut results = made_up::review();
        results.set_actual = vec![SetActualRow {
            planter_id: Some(results.planters[0].planter_id.clone()),
            season: 2025,
            compared: Some("force".into()),
            n_strips: Some(8),
            at_set_share: Some(0.91),
            mean_set: Some(200.0),
            mean_actual: Some(188.0),
            mean_difference: Some(-12.0),
            changes: Some(6),
            never_arrived: Some(1),
            lag_s: Some(4.0),
            sags: Some(2),
            sag_s: Some(31.0),
            ..SetActualRow::default()
        }];
        let row = hardware(&results).unwrap().set_actual.unwrap().rows[0].join("|").replace(NO_BREAK_SPACE, " ");
        assert!(row.ends_with("|2025|8|91 %|200 N|188 N|−12 N|4 s|1 of 6|2 times (31 s)"), "{row}");
    }
}
