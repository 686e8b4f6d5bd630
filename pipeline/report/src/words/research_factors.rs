//! Factors beside the setting on the page of the research farm.

use crate::results::Results;
use crate::words::number;
use crate::words::research::{dash, table};
use crate::words::response::Response;
use crate::words::why::WordTable;

/// Tests of factors, over all field-seasons and in each.
pub(crate) fn factors(results: &Results) -> Option<WordTable> {
    let rows = results
        .factors
        .iter()
        .map(|row| {
            let response = Response::of(&row.response, results);
            let shown = |value: Option<f64>| dash(value.map(|value| response.fine_number(value, row.size_std_error)));
            // A slope is in units of the response for a unit of the measure taken before: no points of a share.
            let slope = row.kind == "covariate";
            let size = |value: Option<f64>| if slope { dash(value.map(number::four_digits)) } else { shown(value) };
            let place = match (&row.field_id, row.season) {
                (Some(field_id), Some(season)) => format!("{field_id} {season}"),
                _ => "all together".to_owned(),
            };
            let df = row.numerator_df.zip(row.denominator_df);
            vec![
                row.condition.clone(),
                response.label.clone(),
                place,
                row.term.clone(),
                dash(row.levels.clone()),
                dash(row.f_value.map(|value| number::fixed(value, 2))),
                dash(df.map(|(one, other)| format!("{}; {}", number::fixed(one, 0), number::fixed(other, 1)))),
                dash(row.p_value.map(number::p_value)),
                dash(row.size_of.as_ref().map(|of| format!("{}: {of}", size(row.size)))),
                dash(
                    row.size_low
                        .zip(row.size_high)
                        .map(|(low, high)| format!("{} to {}", size(Some(low)), size(Some(high)))),
                ),
                dash(row.reason.clone().or_else(|| row.method.clone())),
            ]
        })
        .collect();
    let head = [
        "Condition",
        "Response",
        "Where",
        "What varied",
        "Levels",
        "F",
        "df",
        "p",
        "Largest difference",
        "95 % interval",
        "How, or why not",
    ];
    table("Factors beside the setting", &head, rows, "factors")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;
    use evenstand_tables::rows::FactorRow;

    #[test]
    fn a_test_stands_with_its_size_and_the_errors_behind_it() {
        let table = factors(&made_up::review()).unwrap();
        let row = &table.rows[0];
        assert_eq!(row[2..4], ["North 2025", "closer"]);
        assert_eq!(row[5..8], ["6.21", "1; 2.0", "0.1"]);
        assert_eq!(row[8], "4.1: single_wheel − discs_and_press_wheel");
        assert!(row[10].contains("random block × closer"), "{}", row[10]);
    }

    #[test]
    fn a_term_without_a_test_says_why_and_a_slope_is_no_difference_of_shares() {
        let mut results = made_up::review();
        let why = FactorRow {
            response: "on_time_share".to_owned(),
            term: "force × closer".to_owned(),
            reason: Some("no strip had 300 kPa with single_wheel".to_owned()),
            ..FactorRow::default()
        };
        let slope = FactorRow {
            response: "on_time_share".to_owned(),
            kind: "covariate".to_owned(),
            size: Some(-0.008_154_879),
            size_of: Some("a unit more".to_owned()),
            ..FactorRow::default()
        };
        results.factors = vec![why, slope];
        let table = factors(&results).unwrap();
        assert_eq!(table.rows[0][5..11], ["–", "–", "–", "–", "–", "no strip had 300 kPa with single_wheel"]);
        assert_eq!(table.rows[0][2], "all together");
        assert_eq!(table.rows[1][8], "−0.008155: a unit more");
    }
}
