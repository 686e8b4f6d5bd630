//! How closing systems followed what was set, by planter and season.

use evenstand_tables::rows::SetActualRow;
use serde::Serialize;

use crate::results::{Results, knob_gauge};
use crate::words::gauge::{Gauge, Unit};
use crate::words::number;
use crate::words::response::capitalised;
use crate::words::why::WordTable;

/// The section.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct SetActual {
    pub says: String,
    pub table: WordTable,
}

/// How measured values followed set ones; `None` where nothing measured both.
pub(crate) fn set_actual(results: &Results) -> Option<SetActual> {
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
    let table = WordTable {
        caption: "Measured against set, by planter and season".to_owned(),
        head: head.map(str::to_owned).to_vec(),
        rows: results.set_actual.iter().map(|row| set_actual_row(results, row)).collect(),
        rest: Some(
            "From telemetry at working speed. Strips, one by one, are in results/strips.csv and results/telemetry.csv."
                .to_owned(),
        ),
    };
    Some(SetActual { says: says(&results.set_actual), table })
}

/// How many strips were off, and what that means for the answers.
fn says(rows: &[SetActualRow]) -> String {
    let sum = |count: fn(&SetActualRow) -> Option<i64>| -> usize {
        rows.iter().filter_map(count).filter_map(|count| usize::try_from(count).ok()).sum()
    };
    let (strips, off) = (sum(|row| row.n_strips), sum(|row| row.n_off_strips));
    format!(
        "In {off} of {} with both, the measured mean was off the set one by more than half the gap between neighbouring settings. \
         Such strips did not get the setting that they stand for.",
        number::count(strips, "strip", "strips"),
    )
}

fn set_actual_row(results: &Results, row: &SetActualRow) -> Vec<String> {
    let pressure = || {
        let planter = row.planter_id.as_deref().and_then(|id| results.planter(id));
        mean_gauge(planter.map_or(Unit::Kilopascal, |planter| knob_gauge(planter).unit))
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

/// A gauge for means of pressures: about a kilopascal, so that a difference smaller than a step of the knob is not lost.
fn mean_gauge(unit: Unit) -> Gauge {
    let step = match unit {
        Unit::Bar => 0.01,
        Unit::PoundPerSquareInch => 0.1,
        _ => 1.0,
    };
    Gauge::stepped(unit, Some(step * unit.size()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;
    use crate::words::number::NO_BREAK_SPACE;

    #[test]
    fn what_was_set_and_measured_stands_in_the_unit_that_was_compared() {
        let mut results = made_up::review();
        results.set_actual = vec![SetActualRow {
            planter_id: Some(results.planters[0].planter_id.clone()),
            season: 2025,
            compared: Some("force".into()),
            n_strips: Some(8),
            n_off_strips: Some(1),
            at_set_share: Some(0.91),
            mean_set: Some(200.0),
            mean_actual: Some(188.0),
            mean_difference: Some(-12.0),
            changes: Some(6),
            never_arrived: Some(1),
            lag_s: Some(4.0),
            sags: Some(2),
            sag_s: Some(31.0),
        }];
        // A planter that nobody described still has its row.
        results.planters.clear();
        let section = set_actual(&results).unwrap();
        let row = section.table.rows[0].join("|").replace(NO_BREAK_SPACE, " ");
        assert!(row.ends_with("|2025|8|91 %|200 N|188 N|−12 N|4 s|1 of 6|2 times (31 s)"), "{row}");
        assert!(section.says.starts_with("In 1 of 8 strips with both, the measured mean was off"), "{}", section.says);
    }

    #[test]
    fn a_difference_below_a_step_of_the_knob_is_not_lost() {
        let psi = 6.894_757_293_168;
        assert_eq!(mean_gauge(Unit::PoundPerSquareInch).text(-0.4 * psi), "−0.4\u{a0}psi");
        assert_eq!(mean_gauge(Unit::Bar).text(-3.0), "−0.03\u{a0}bar");
        assert_eq!(mean_gauge(Unit::Kilopascal).text(-3.0), "−3\u{a0}kPa");
    }

    #[test]
    fn without_rows_there_is_no_section() {
        assert!(set_actual(&Results::default()).is_none());
    }
}
