//! Findings about fitted courses, one a condition.

use std::collections::BTreeMap;

use evenstand_tables::Finding;
use evenstand_tables::rows::StripRow;

use crate::fitted_times::{DOES_NOT_FIT, STILL_GOING_ON};

/// Fewer strips than this are no finding.
const LEAST_STRIPS: usize = 3;

/// Tells for each condition how many courses were still going on at the last inspection (a note from a tenth of its strips on), and how many do
/// not fit (a warning above a fifth). Strips without a fitted course do not count.
pub(crate) fn check_courses(strips: &[StripRow], findings: &mut Vec<Finding>) {
    let mut by_condition: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for row in strips.iter().filter(|row| row.t50_fit_h.is_some()) {
        by_condition.entry(&row.condition).or_default().push(row.fit_note.as_deref().unwrap_or_default());
    }
    for (condition, notes) in by_condition {
        let all = notes.len();
        let saying = |words: &str| notes.iter().filter(|note| note.split("; ").any(|part| part == words)).count();
        let going_on = saying(STILL_GOING_ON);
        if going_on >= LEAST_STRIPS && 10 * going_on >= all {
            let message = format!(
                "{condition}: in {going_on} of {all} strips plants still came up at the last inspection, so fitted limits and late times are unsure"
            );
            findings.push(
                Finding::note("course_still_going_on", message)
                    .remedy("next season, inspect until no new plants come up"),
            );
        }
        let misfits = saying(DOES_NOT_FIT);
        if misfits >= LEAST_STRIPS && 5 * misfits > all {
            let message =
                format!("{condition}: the fitted course does not describe the counts of {misfits} of {all} strips");
            findings
                .push(Finding::warning("course_does_not_fit", message).remedy(
                    "read the fitted times of these strips with care; the interpolated ones stand beside them",
                ));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strips(condition: &str, note: Option<&str>, count: usize) -> Vec<StripRow> {
        let row = StripRow {
            condition: condition.into(),
            t50_fit_h: Some(200.0),
            fit_note: note.map(str::to_owned),
            ..StripRow::default()
        };
        vec![row; count]
    }

    fn of(rows: &[StripRow]) -> Vec<(String, String)> {
        let mut findings = Vec::new();
        check_courses(rows, &mut findings);
        findings.into_iter().map(|finding| (finding.code, finding.message)).collect()
    }

    #[test]
    fn each_condition_tells_how_many_of_its_strips_were_still_going_on() {
        let mut rows = strips("dry, bare", Some("still going on; seeds not known"), 3);
        rows.extend(strips("dry, bare", None, 27));
        rows.extend(strips("wet, bare", Some("still going on"), 3));
        rows.extend(strips("wet, bare", None, 28));
        rows.extend(strips("moist, bare", Some("still going on"), 2));
        let found = of(&rows);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].0, "course_still_going_on");
        assert!(found[0].1.starts_with("dry, bare: in 3 of 30 strips"), "{}", found[0].1);
    }

    #[test]
    fn courses_that_do_not_fit_are_a_warning_above_a_fifth_and_strips_without_a_course_do_not_count() {
        let mut rows = strips("dry, bare", Some("limit at one; does not fit"), 4);
        rows.extend(strips("dry, bare", None, 15));
        rows.extend(strips("wet, bare", Some("does not fit"), 3));
        rows.extend(strips("wet, bare", None, 12));
        let without = StripRow { t50_fit_h: None, fit_note: Some("no curve: does not fit".into()), ..rows[0].clone() };
        rows.extend(vec![without; 50]);
        let found = of(&rows);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].0, "course_does_not_fit");
        assert!(found[0].1.contains("4 of 19 strips"), "{}", found[0].1);
    }
}
