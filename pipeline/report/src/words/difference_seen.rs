//! Can any difference between settings be seen at all? Asked without a curve, and a difference that was not seen is
//! never called none: what is excluded stands beside it.

use evenstand_tables::rows::StartingPointRow;

use crate::words::number::{self, NO_BREAK_SPACE};
use crate::words::response::Response;

/// The tables call a difference seen up to this p value.
const SEEN: f64 = 0.05;

/// Whether a difference was seen; nothing where it could not be tested.
pub(crate) fn is_seen(point: &StartingPointRow) -> Option<bool> {
    point.levels_p_value.filter(|p| p.is_finite()).map(|p| p <= SEEN)
}

/// The answer in sentences.
pub(crate) fn says(point: &StartingPointRow, response: &Response) -> Vec<String> {
    let Some(p) = point.levels_p_value.filter(|p| p.is_finite()) else {
        return vec![not_tested(point).to_owned()];
    };
    let equals = if p < 0.001 { number::p_value(p) } else { format!("={NO_BREAK_SPACE}{}", number::p_value(p)) };
    let chance = format!(
        "If settings made no difference, differences as large as those seen would still turn up by chance {} \
         (p{NO_BREAK_SPACE}{equals}).",
        chance_of(p)
    );
    if p <= SEEN {
        return vec![format!("Yes. {chance}")];
    }
    let mut says = vec![format!("No setting could be told from another. {chance}")];
    says.push(match point.largest_difference.filter(|value| value.is_finite()) {
        Some(largest) => format!(
            "Differences above {} are excluded (90{NO_BREAK_SPACE}%); {}.",
            response.limit(largest),
            if point.tolerance.is_some_and(|tolerance| largest <= tolerance) {
                "that is within tolerance, so any setting tried will do"
            } else {
                "smaller ones are not, so settings may well differ"
            }
        ),
        None => "How large a difference could have been missed is not known.".to_owned(),
    });
    says
}

fn not_tested(point: &StartingPointRow) -> &'static str {
    match point.basis.as_str() {
        _ if point.n_levels.is_some_and(|levels| levels < 2) => {
            "Not tested: one setting has nothing to be compared with."
        }
        "logs" => "Not tested: settings differed only between fields or seasons, and these differ in other ways too.",
        "digs" => "Not tested: no plants were counted.",
        _ => "Not tested: that takes settings side by side in one field, each of them in several strips.",
    }
}

fn chance_of(p: f64) -> String {
    if p < 0.001 {
        return "less than once in 1000 such trials".to_owned();
    }
    let out_of = if p < 0.01 {
        1000.0
    } else if p < 0.095 {
        100.0
    } else {
        10.0
    };
    let times = (p * out_of).round();
    let word = if times == 1.0 { "time" } else { "times" };
    format!("about {} {word} in {} such trials", number::whole(times), number::whole(out_of))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Results, made_up};

    fn said(p: Option<f64>, largest: Option<f64>, basis: &str) -> String {
        let mut point = made_up::point("dry, covered", "on_time_share", "leaning");
        point.levels_p_value = p;
        point.largest_difference = largest;
        point.basis = basis.to_owned();
        says(&point, &Response::of("on_time_share", &Results::default())).join(" ").replace(NO_BREAK_SPACE, " ")
    }

    #[test]
    fn a_difference_that_was_seen_is_a_yes_with_how_sure() {
        let words = said(Some(0.0021), Some(0.083), "trial");
        assert!(words.starts_with("Yes. "), "{words}");
        assert!(words.contains("about 2 times in 1000 such trials (p = 0.002)"), "{words}");
        assert!(!words.contains("excluded"), "{words}");
        assert!(said(Some(0.0), None, "trial").contains("less than once in 1000 such trials (p below 0.001)"));
    }

    #[test]
    fn what_was_not_seen_is_not_called_no_difference_and_its_limit_is_rounded_up() {
        let words = said(Some(0.0501), Some(0.081), "trial");
        assert!(words.starts_with("No setting could be told from another."), "{words}");
        assert!(words.contains("Differences above 9 points are excluded (90 %)"), "8.1 points are not 8: {words}");
        for claim in ["there is no difference", "settings do not differ", "makes no difference"] {
            assert!(!words.to_lowercase().contains(claim), "{words}");
        }
        let words = said(Some(0.4), Some(f64::NAN), "trial");
        assert!(words.contains("How large a difference could have been missed is not known."), "{words}");
    }

    #[test]
    fn a_limit_within_tolerance_makes_any_setting_do() {
        assert!(said(Some(0.4), Some(0.02), "trial").contains("any setting tried will do"));
        assert!(said(Some(0.4), Some(0.0201), "trial").contains("settings may well differ"));
    }

    #[test]
    fn what_was_not_tested_says_why() {
        let one = StartingPointRow { n_levels: Some(1), ..made_up::point("mixed", "on_time_share", "open") };
        assert!(not_tested(&one).starts_with("Not tested: one setting"));
        assert!(said(None, None, "trial").starts_with("Not tested: that takes settings side by side"));
        assert!(said(Some(f64::NAN), None, "logs").starts_with("Not tested: settings differed only between fields"));
        assert!(said(None, None, "digs").starts_with("Not tested: no plants were counted"));
    }
}
