//! What stands behind an answer: strips, fields and settings, how far they can be compared.

use evenstand_tables::rows::StartingPointRow;

use crate::words::gauge::Gauge;
use crate::words::number::{self, NO_BREAK_SPACE};
use crate::words::response::capitalised;

/// The answer in sentences.
pub(crate) fn says(point: &StartingPointRow, gauge: Gauge) -> Vec<String> {
    let mut says: Vec<String> = Vec::new();
    says.extend(counts(point));
    if let Some((low, high)) = point.tested_low_n.zip(point.tested_high_n).filter(|(low, high)| low < high) {
        says.push(format!("Tested from {}; nothing is said outside.", gauge.range(low, high)));
    }
    let share = |value: Option<f64>| value.filter(|share| (0.0..=1.0).contains(share)).map(number::percent);
    if let Some(overlap) = share(point.overlap_share).filter(|_| point.basis == "trial") {
        says.push(format!(
            "{overlap} of the strips have another setting, at least 20{NO_BREAK_SPACE}% away, beside them in the same \
             field and condition."
        ));
    }
    if let Some(compliance) = share(point.compliance_share) {
        says.push(format!(
            "Where both were recorded, the measured downforce was within 10{NO_BREAK_SPACE}% of the set one in \
             {compliance} of the strips."
        ));
    }
    says
}

fn counts(point: &StartingPointRow) -> Option<String> {
    let counted = |value: Option<i64>, one: &str, many: &str| {
        value.map(|value| number::count(usize::try_from(value).unwrap_or(0), one, many))
    };
    let counts: Vec<String> = [
        counted(point.n_strips, "strip", "strips"),
        counted(point.n_field_seasons, "field-season", "field-seasons"),
        counted(point.n_levels, "setting", "settings"),
    ]
    .into_iter()
    .flatten()
    .collect();
    let basis = match point.basis.as_str() {
        "trial" => "settings varied inside fields, so strips are compared within their field",
        "logs" if point.n_levels.is_some_and(|levels| levels < 2) => "",
        "logs" => "settings differed only between fields, so anything else that differs between fields is mixed in",
        "digs" => "from digging alone",
        _ => "",
    };
    let counts = counts.join(", ");
    let joint = if counts.is_empty() || basis.is_empty() { "" } else { "; " };
    (!counts.is_empty() || !basis.is_empty()).then(|| capitalised(&format!("{counts}{joint}{basis}.")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;
    use crate::words::gauge::Unit;

    fn said(point: &StartingPointRow) -> String {
        says(point, Gauge::plain(Unit::Newton)).join(" ").replace(NO_BREAK_SPACE, " ")
    }

    #[test]
    fn strips_fields_and_settings_are_counted() {
        let mut point = made_up::point("dry, covered", "on_time_share", "settled");
        (point.overlap_share, point.compliance_share) = (Some(0.93), Some(0.975));
        let words = said(&point);
        for part in [
            "120 strips, 6 field-seasons, 5 settings; settings varied inside fields",
            "Tested from 130 to 650 N; nothing is said outside.",
            "93 % of the strips have another setting",
            "within 10 % of the set one in 98 % of the strips",
        ] {
            assert!(words.contains(part), "{part}\n{words}");
        }
    }

    #[test]
    fn shares_that_are_not_known_go_without_words() {
        let mut point = made_up::point("dry, covered", "on_time_share", "settled");
        (point.overlap_share, point.compliance_share) = (Some(f64::NAN), None);
        let words = said(&point);
        assert!(!words.contains("beside them") && !words.contains("measured downforce"), "{words}");
    }

    #[test]
    fn logs_say_that_fields_are_mixed_in_and_claim_no_neighbours() {
        let mut point = made_up::point("dry, covered", "on_time_share", "leaning");
        point.basis = "logs".to_owned();
        point.overlap_share = Some(0.5);
        let words = said(&point);
        assert!(words.contains("settings differed only between fields") && !words.contains("beside them"), "{words}");
    }
}
