//! What shape the response has: where its best lies, which candidate shapes carry weight, and whether a parabola fits.

use evenstand_tables::rows::{ShapeRow, StartingPointRow};

use crate::results::Results;
use crate::words::gauge::Gauge;
use crate::words::number::{self, NO_BREAK_SPACE};
use crate::words::what_can_be_best::DOES_NOT_FIT;

/// A candidate that carries more than this stands out.
const STANDS_OUT: f64 = 0.5;
/// A second candidate below this goes without words.
const WORTH_SAYING: f64 = 0.01;

/// The answer in sentences; none where no stand was counted, so that there is no response to have a shape.
pub(crate) fn says(results: &Results, point: &StartingPointRow, gauge: Gauge) -> Vec<String> {
    if point.basis == "digs" {
        return Vec::new();
    }
    let mut says: Vec<String> = Vec::new();
    says.extend(curve(point.shape.as_deref()).map(str::to_owned));
    says.extend(lack_of_fit(point));
    says.extend(candidates(results, point, gauge));
    says
}

fn curve(shape: Option<&str>) -> Option<&'static str> {
    Some(match shape? {
        "inside" => "The best setting lies inside the tested range: lighter and heavier are both worse.",
        "lighter" => {
            "Lighter was better all the way to the lightest setting tested. Whether still lighter is better was not \
             tried."
        }
        "heavier" => {
            "Heavier was better all the way to the heaviest setting tested. Whether still heavier is better was not \
             tried."
        }
        "plateau" => "One end of the tested range is worse; towards the other the curve levels off.",
        "flat" => "No rise or fall can be told over the tested range.",
        _ => "What shape the curve has cannot be told from these strips.",
    })
}

fn lack_of_fit(point: &StartingPointRow) -> Option<String> {
    let p = point.lack_of_fit_p_value.filter(|p| p.is_finite())?;
    let equals = if p < 0.001 { number::p_value(p) } else { format!("={NO_BREAK_SPACE}{}", number::p_value(p)) };
    Some(if p < DOES_NOT_FIT {
        format!(
            "The response is lopsided, or bent in another way than a parabola: settings lie further from one than \
             chance explains (p{NO_BREAK_SPACE}{equals}). Trust the settings themselves before the curve."
        )
    } else {
        format!("The settings lie no further from a parabola than chance explains (p{NO_BREAK_SPACE}{equals}).")
    })
}

/// The two heaviest candidates and what all of them together say.
fn candidates(results: &Results, point: &StartingPointRow, gauge: Gauge) -> Option<String> {
    let mut weighed: Vec<(f64, &ShapeRow)> = results
        .shapes
        .iter()
        .filter(|row| row.condition == point.condition && row.closer == point.closer)
        .filter(|row| row.planter_id == point.planter_id && row.response == point.response)
        .filter_map(|row| Some((row.weight.filter(|weight| weight.is_finite())?, row)))
        .collect();
    weighed.sort_by(|a, b| b.0.total_cmp(&a.0));
    let Some((first_weight, first)) = weighed.first() else {
        // Said only where settings were compared, so that it is the shapes that are missing and not the trial.
        return point.levels_p_value.map(|_| {
            "Other shapes could not be weighed against each other: not all settings can be compared with one another."
                .to_owned()
        });
    };
    let mut words =
        format!("Of the {} shapes weighed, {} carries {}", weighed.len(), named(first), weight(*first_weight));
    if let Some((second_weight, second)) = weighed.get(1).filter(|(weight, _)| *weight >= WORTH_SAYING) {
        words.push_str(&format!(" and {} {}", named(second), weight(*second_weight)));
    }
    words.push_str(" of the weight");
    if *first_weight < STANDS_OUT {
        words.push_str("; none stands out");
    }
    words.push('.');
    if let Some(best) = point.shapes_best_n.filter(|best| best.is_finite()) {
        words.push_str(&format!(" Averaged over all of them, the best is at {}.", gauge.text(best)));
    }
    Some(words)
}

fn weight(share: f64) -> String {
    number::percent(share)
}

fn named(row: &ShapeRow) -> String {
    match row.shape.as_str() {
        "constant" => "a level line".to_owned(),
        "linear" => "a straight line".to_owned(),
        "quadratic" => "a parabola".to_owned(),
        "quadratic in log force" => "a lopsided hump (a parabola in the logarithm of force)".to_owned(),
        "linear-plateau" => "a straight line that ends in a plateau".to_owned(),
        "plateau-linear" => "a plateau that ends in a straight line".to_owned(),
        "quadratic-plateau" => "a bend that ends in a plateau".to_owned(),
        "plateau-quadratic" => "a plateau that ends in a bend".to_owned(),
        "settings" => "no curve at all (every setting by itself)".to_owned(),
        other => other.replace('_', " "),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::gauge::Unit;
    use crate::{made_up, made_up_decision};

    fn said(results: &Results, point: &StartingPointRow) -> String {
        says(results, point, Gauge::plain(Unit::Newton)).join(" ").replace(NO_BREAK_SPACE, " ")
    }

    #[test]
    fn the_two_heaviest_shapes_are_named_whatever_their_order_in_the_table() {
        let point = StartingPointRow {
            shapes_best_n: Some(351.0),
            ..made_up::point("dry, covered", "on_time_share", "settled")
        };
        let mut results =
            Results { shapes: made_up_decision::shapes("dry, covered", "on_time_share"), ..Results::default() };
        let words = said(&results, &point);
        assert!(
            words.contains(
                "Of the 4 shapes weighed, a parabola carries 46 % and a lopsided hump (a parabola in the logarithm of \
                 force) 31 % of the weight; none stands out. Averaged over all of them, the best is at 351 N."
            ),
            "{words}"
        );
        results.shapes.reverse();
        assert_eq!(said(&results, &point), words);
        results.shapes[3].weight = Some(0.62);
        assert!(!said(&results, &point).contains("none stands out"));
    }

    #[test]
    fn shapes_of_another_condition_or_response_do_not_count() {
        let point = made_up::point("dry, covered", "spread_h", "settled");
        let shapes = made_up_decision::shapes("dry, covered", "on_time_share");
        let results = Results { shapes, ..Results::default() };
        let words = said(&results, &point);
        assert!(words.contains("could not be weighed against each other"), "{words}");
        let untested = StartingPointRow { levels_p_value: None, ..point };
        assert!(!said(&results, &untested).contains("weighed"), "no trial, no word of its shapes");
    }

    #[test]
    fn a_response_that_is_no_parabola_is_said_plainly_below_a_tenth() {
        let mut point = made_up::point("dry, covered", "on_time_share", "settled");
        point.lack_of_fit_p_value = Some(0.03);
        let results = Results::default();
        assert!(said(&results, &point).contains("The response is lopsided"), "{}", said(&results, &point));
        assert!(said(&results, &point).contains("(p = 0.03)"));
        point.lack_of_fit_p_value = Some(0.1);
        assert!(said(&results, &point).contains("no further from a parabola than chance explains"));
        point.lack_of_fit_p_value = Some(f64::NAN);
        assert!(!said(&results, &point).contains("parabola"));
    }

    #[test]
    fn a_shape_that_was_not_seen_is_not_called_level() {
        let mut point = made_up::point("dry, covered", "on_time_share", "open");
        for shape in ["flat", "untold"] {
            point.shape = Some(shape.to_owned());
            let words = said(&Results::default(), &point);
            assert!(words.contains("can be told") || words.contains("cannot be told"), "{words}");
        }
        point.shape = None;
        point.levels_p_value = None;
        assert_eq!(said(&Results::default(), &point), "");
    }
}
