//! What a pair of settings comes to, in words: shown to differ, shown to be alike, or neither.

use evenstand_tables::rows::ComparisonRow;

use crate::words::number;
use crate::words::response::Response;

/// What is shown has a p value below this, as in the verdict of the row.
const SHOWN: f64 = 0.05;

/// What was shown of a pair. "Not shown to differ" is never "the same".
pub(crate) fn verdict(row: &ComparisonRow, response: &Response) -> String {
    let margin = row.equivalence_margin.map(|margin| response.margin(margin));
    let alike = row.p_equivalent.is_some_and(|p_value| p_value < SHOWN);
    match (row.verdict.as_deref(), margin) {
        (Some("different"), Some(margin)) if alike => format!("differ, but by less than {margin}"),
        (Some("different"), _) => "differ".to_owned(),
        (Some("equivalent"), Some(margin)) => format!("within {margin} of each other"),
        (Some("no worse"), Some(margin)) => {
            format!("{} is not worse than {} by more than {margin}", row.treatment_a, row.treatment_b)
        }
        (_, Some(margin)) => format!("not shown to differ, and not shown to be within {margin} either: open"),
        (_, None) => "not shown to differ; no tolerance is set to call them alike by: open".to_owned(),
    }
}

/// Whether the difference differs from field to field.
pub(crate) fn between_fields(row: &ComparisonRow, response: &Response) -> Option<String> {
    let (count, p_value) = (row.n_field_seasons?, row.p_between_fields?);
    let spread = response.fine_difference(row.spread_between_fields?, row.std_error);
    let of = format!("{} field-seasons", number::grouped(count));
    let p_value = number::p_value(p_value);
    Some(if row.p_between_fields? < SHOWN {
        format!("differs between {of} (p {p_value}), by about {spread}")
    } else {
        format!("not shown to differ between {of} (p {p_value}; spread {spread})")
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;

    fn said(verdict_word: &str, p_equivalent: Option<f64>, margin: Option<f64>) -> String {
        let results = made_up::review();
        let row = ComparisonRow {
            response: "on_time_share".to_owned(),
            treatment_a: "200 N".to_owned(),
            treatment_b: "100 N".to_owned(),
            verdict: Some(verdict_word.to_owned()),
            p_equivalent,
            equivalence_margin: margin,
            ..ComparisonRow::default()
        };
        verdict(&row, &Response::of("on_time_share", &results))
    }

    #[test]
    fn what_was_not_shown_is_called_open_and_never_the_same() {
        let open = said("open", Some(0.4), Some(0.02)).replace('\u{a0}', " ");
        assert_eq!(open, "not shown to differ, and not shown to be within 2 points either: open");
        assert!(said("open", None, None).ends_with("no tolerance is set to call them alike by: open"));
    }

    #[test]
    fn what_was_shown_is_told_with_its_margin() {
        let plain = |text: String| text.replace('\u{a0}', " ");
        assert_eq!(plain(said("different", Some(0.9), Some(0.02))), "differ");
        assert_eq!(plain(said("different", Some(0.01), Some(0.025))), "differ, but by less than 2.5 points");
        assert_eq!(plain(said("equivalent", Some(0.01), Some(0.02))), "within 2 points of each other");
        assert_eq!(
            plain(said("no worse", Some(0.2), Some(0.02))),
            "200 N is not worse than 100 N by more than 2 points"
        );
    }

    #[test]
    fn a_spread_between_fields_is_told_only_where_it_was_worked_out() {
        let results = made_up::review();
        let row = results.comparisons.iter().find(|row| row.n_field_seasons == Some(6)).unwrap();
        let response = Response::of(&row.response, &results);
        let said = between_fields(row, &response).unwrap().replace('\u{a0}', " ");
        assert_eq!(said, "differs between 6 field-seasons (p 0.03), by about 2.1 points");
        let unseen = ComparisonRow { p_between_fields: Some(0.4), ..row.clone() };
        assert!(between_fields(&unseen, &response).unwrap().starts_with("not shown to differ between 6"));
        assert_eq!(between_fields(&ComparisonRow { n_field_seasons: None, ..row.clone() }, &response), None);
    }
}
