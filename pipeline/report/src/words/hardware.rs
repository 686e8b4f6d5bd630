//! Planters: their parts, where their forces come from, and how well these are known.

use evenstand_tables::rows::{CalibrationRow, PlanterRow};
use serde::Serialize;

use crate::results::{Results, knob_gauge};
use crate::words::answer::plain_words;
use crate::words::gauge::Gauge;
use crate::words::number::{self, NO_BREAK_SPACE};
use crate::words::why::WordTable;

/// The section.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Hardware {
    pub planters: WordTable,
    pub calibrations: Vec<WordTable>,
}

/// Planters and calibrations; `None` where no planter is known.
pub(crate) fn hardware(results: &Results) -> Option<Hardware> {
    (!results.planters.is_empty()).then(|| Hardware {
        planters: planters(results),
        calibrations: results.planters.iter().filter_map(|planter| calibration(results, planter)).collect(),
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
    let pressure = weighed_gauge(knob_gauge(planter), &rows);
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
    Some(WordTable {
        caption: format!("Force of one row’s closing system, {}", planter.planter_id),
        head,
        rows: rows.iter().map(cells).collect(),
        rest: how_good(planter, &rows, force),
    })
}

/// The planter's own unit, with the decimals that the pressures weighed at need: these need not be steps of the knob.
fn weighed_gauge(knob: Gauge, rows: &[&CalibrationRow]) -> Gauge {
    let off_whole = |shown: f64| (shown - shown.round()).abs() > 0.05;
    let halves = rows.iter().filter_map(|row| row.pressure_kpa).any(|kpa| off_whole(knob.value(kpa)));
    if halves { Gauge::stepped(knob.unit, Some(0.1 * knob.unit.size())) } else { Gauge::plain(knob.unit) }
}

/// How well the force is known, in a sentence or two; `None` where nothing was weighed often enough to tell.
fn how_good(planter: &PlanterRow, rows: &[&CalibrationRow], force: Gauge) -> Option<String> {
    let mut halves: Vec<f64> = rows
        .iter()
        .filter_map(|row| Some((row.high_n? - row.low_n?) / 2.0))
        .filter(|half| half.is_finite() && *half >= 0.0)
        .collect();
    halves.sort_by(f64::total_cmp);
    let mut says: Vec<String> = Vec::new();
    if let (Some(best), Some(worst)) = (halves.first(), halves.last()) {
        let within = if force.number(*best) == force.number(*worst) {
            force.text(*worst)
        } else {
            format!("{} at best and {} at worst", force.number(*best), force.text(*worst))
        };
        says.push(format!("The force used is known to within {within} either way (95{NO_BREAK_SPACE}% interval)."));
    }
    if let Some(scatter) = planter.calibration_sd_n.filter(|sd| sd.is_finite()) {
        says.push(format!(
            "Single readings scatter by {} about what is used (standard deviation).",
            force.text(scatter)
        ));
    }
    (!says.is_empty()).then(|| says.join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;

    #[test]
    fn a_pressure_between_whole_units_keeps_its_decimal() {
        let psi = 6.894_757_293_168;
        let row = |pressure: f64| CalibrationRow { pressure_kpa: Some(pressure * psi), ..CalibrationRow::default() };
        let knob = Gauge::plain(crate::words::gauge::Unit::PoundPerSquareInch);
        let (half, whole) = (row(22.5), row(20.0));
        assert_eq!(weighed_gauge(knob, &[&whole, &half]).text(22.5 * psi), "22.5\u{a0}psi");
        assert_eq!(weighed_gauge(knob, &[&whole]).text(20.0 * psi), "20\u{a0}psi");
    }

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
        let rest = table.rest.as_ref().unwrap().replace(NO_BREAK_SPACE, " ");
        assert!(rest.starts_with("The force used is known to within 5 N either way (95 % interval)."), "{rest}");
        assert!(rest.contains("scatter by 6 N"), "{rest}");
        assert!(hardware.planters.rows[0].contains(&"weighed, a straight line through the readings".to_owned()));
    }
}
