//! What can still be the best: by the settings without a curve, by this condition alone, and by the curve that
//! decides; how much of that is borrowed; and, where they differ, which one leads and why.

use evenstand_tables::rows::StartingPointRow;

use crate::words::gauge::Gauge;
use crate::words::number::{self, NO_BREAK_SPACE};

/// Borrowing below this share goes without words.
const WORTH_SAYING: f64 = 0.05;
/// Below this p value the settings do not follow a parabola.
pub(crate) const DOES_NOT_FIT: f64 = 0.1;

/// Two ends of a set, lightest first, in newtons.
pub(crate) type Ends = (f64, f64);

/// The sets of a starting point, in newtons.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Sets {
    /// Lightest and heaviest setting that can be the best without a curve.
    pub settings: Option<Ends>,
    /// What can be the best in a field not yet seen, by this condition alone.
    pub own: Option<Ends>,
    /// The same by the curve that decides.
    pub curve: Option<Ends>,
    /// Lightest and heaviest force tested.
    pub tested: Option<Ends>,
}

impl Sets {
    /// From the table; ends that are not finite make no set.
    pub fn of(point: &StartingPointRow) -> Self {
        Self {
            settings: ends(point.settings_low_n, point.settings_high_n),
            own: ends(point.own_low_n, point.own_high_n),
            curve: ends(point.best_low_n, point.best_high_n),
            tested: ends(point.tested_low_n, point.tested_high_n),
        }
    }

    /// Ends nearer to each other than this are the same.
    fn slack(&self) -> f64 {
        self.tested.map_or(0.0, |(low, high)| 1e-3 * (high - low))
    }

    /// Whether the first set leaves room of the second one out.
    fn narrower(&self, set: Ends, than: Ends) -> bool {
        set.0 > than.0 + self.slack() || set.1 < than.1 - self.slack()
    }

    fn holds(&self, set: Ends, force_n: f64) -> bool {
        force_n >= set.0 - self.slack() && force_n <= set.1 + self.slack()
    }
}

fn ends(low: Option<f64>, high: Option<f64>) -> Option<Ends> {
    low.zip(high).filter(|(low, high)| low.is_finite() && high.is_finite() && low <= high)
}

fn finite(value: Option<f64>) -> Option<f64> {
    value.filter(|value| value.is_finite())
}

/// The share of the slope that comes from other conditions, where it is worth saying.
fn borrowed(point: &StartingPointRow) -> Option<f64> {
    finite(point.borrowed_share).filter(|share| *share >= WORTH_SAYING)
}

/// The answer in sentences; none where no set could be told.
pub(crate) fn says(point: &StartingPointRow, gauge: Gauge) -> Vec<String> {
    let sets = Sets::of(point);
    let mut says: Vec<String> = Vec::new();
    says.extend(sets.settings.map(|settings| by_settings(point, &sets, settings, gauge)));
    says.extend(by_this_condition(point, &sets, gauge));
    says.extend(by_the_curve(point, &sets, gauge));
    says.extend(leads(point, &sets));
    says.extend(stays(point, gauge));
    says
}

fn by_settings(point: &StartingPointRow, sets: &Sets, settings: Ends, gauge: Gauge) -> String {
    let range = gauge.range(settings.0, settings.1);
    let confidence = format!("(90{NO_BREAK_SPACE}%)");
    if settings.1 - settings.0 <= sets.slack() {
        return format!("Without any curve, only {range} can still be the best {confidence}.");
    }
    match sets.tested {
        Some(tested) if sets.narrower(settings, tested) => format!(
            "Without any curve, the settings that can still be the best lie from {range}; those outside are worse \
             than another one {confidence}."
        ),
        // The tables weigh shapes only where all settings can be compared; else they rule no setting out.
        _ if finite(point.shapes_best_n).is_none() => format!(
            "Without any curve, no setting from {range} is ruled out: not all of them could be compared with one \
             another."
        ),
        _ => format!(
            "Without any curve, the lightest and the heaviest setting tried can both still be the best, {range} \
             {confidence}."
        ),
    }
}

fn by_this_condition(point: &StartingPointRow, sets: &Sets, gauge: Gauge) -> Option<String> {
    let best = gauge.text(finite(point.own_best_n)?);
    Some(match (sets.own, point.n_field_seasons) {
        (Some((low, high)), _) => format!(
            "By this condition alone, the best is at {best}, and anywhere from {} in a field not yet seen \
             (90{NO_BREAK_SPACE}%).",
            gauge.range(low, high)
        ),
        (None, Some(fields)) if fields < 3 => format!(
            "By this condition alone, the best is at {best}. How far that can be off in a field not yet seen takes \
             three field-seasons to tell; there {}.",
            if fields == 1 { "is 1".to_owned() } else { format!("are {fields}") }
        ),
        (None, _) => {
            format!("By this condition alone, the best is at {best}; how far that can be off cannot be told.")
        }
    })
}

fn by_the_curve(point: &StartingPointRow, sets: &Sets, gauge: Gauge) -> Option<String> {
    let (low, high) = sets.curve?;
    let borrowed = borrowed(point);
    let lead = match (point.basis.as_str(), borrowed) {
        ("logs", _) => "If the pattern in the logs holds",
        (_, Some(_)) => "With the other conditions",
        _ => "By the curve that decides",
    };
    let best = finite(point.best_n)
        .map_or_else(|| "the best is".to_owned(), |best| format!("the best is at {}, and", gauge.text(best)));
    let mut words = format!(
        "{lead}, {best} anywhere from {} in a field not yet seen (90{NO_BREAK_SPACE}%).",
        gauge.range(low, high)
    );
    if let Some(share) = borrowed {
        let much = if share >= 0.95 { "Nearly all".to_owned() } else { format!("About {}", number::percent(share)) };
        words.push_str(&format!(
            " {much} of the slope, and with it of the place of the best, is borrowed from other conditions."
        ));
    }
    Some(words)
}

/// Which answer leads where they differ, and why.
fn leads(point: &StartingPointRow, sets: &Sets) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    if let Some((settings, curve)) = sets.settings.zip(sets.curve) {
        if sets.narrower(settings, curve) {
            words.push(
                "The settings come first: the best of the curve is looked for only among those that can be the best \
                 without one, and up to the settings beside them. A curve that finds it further out has the wrong \
                 shape."
                    .to_owned(),
            );
        } else if sets.narrower(curve, settings) {
            let doubt = finite(point.lack_of_fit_p_value).is_some_and(|p| p < DOES_NOT_FIT);
            words.push(format!(
                "The curve leads where it says more than the settings by themselves, because it takes them all \
                 together. It is as good as its shape{}.",
                if doubt { ", and its shape is in doubt here" } else { "" }
            ));
        }
    }
    if points_elsewhere(point, sets) {
        words.push(
            match (point.basis.as_str(), borrowed(point)) {
                (_, Some(_)) => {
                    "This condition alone points elsewhere. The answer with the other conditions leads, because few \
                     fields of one condition can mislead; where this condition is unlike the others, its own answer \
                     is the better guide. Try both in strips."
                }
                _ => {
                    "A plain parabola through this condition alone points elsewhere. The curve that decides leads, \
                     because it allows for a response that is no parabola."
                }
            }
            .to_owned(),
        );
    }
    words
}

/// Why the start is the default, where the best guess lies elsewhere.
fn stays(point: &StartingPointRow, gauge: Gauge) -> Option<String> {
    let (start, best) = finite(point.start_n).zip(finite(point.best_n))?;
    let shown = gauge.text(start);
    if finite(point.default_n) != Some(start) || shown == gauge.text(best) {
        return None;
    }
    let as_good =
        ends(point.window_low_n, point.window_high_n).is_some_and(|(low, high)| start >= low && start <= high);
    Some(format!(
        "The start stays at the default, {shown}: {}.",
        if as_good { "it is as good as the best within tolerance" } else { "no move away from it is shown to pay" }
    ))
}

/// Whether this condition alone and the curve that decides leave out one another's best.
fn points_elsewhere(point: &StartingPointRow, sets: &Sets) -> bool {
    let leaves_out =
        |set: Option<Ends>, best: Option<f64>| set.zip(finite(best)).is_some_and(|(set, best)| !sets.holds(set, best));
    leaves_out(sets.own, point.best_n) || leaves_out(sets.curve, point.own_best_n)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;
    use crate::words::gauge::Unit;

    fn point() -> StartingPointRow {
        let mut point = made_up::point("dry, covered", "on_time_share", "settled");
        (point.settings_low_n, point.settings_high_n) = (Some(130.0), Some(650.000_2));
        (point.own_best_n, point.own_low_n, point.own_high_n) = (Some(352.0), Some(230.0), Some(480.0));
        point.lack_of_fit_p_value = Some(0.6);
        point
    }

    fn said(point: &StartingPointRow) -> String {
        says(point, Gauge::plain(Unit::Newton)).join(" ").replace(NO_BREAK_SPACE, " ")
    }

    #[test]
    fn the_three_sets_read_in_the_unit_of_the_review_with_what_is_borrowed() {
        let words = said(&point());
        for part in [
            "the lightest and the heaviest setting tried can both still be the best, 130 to 650 N (90 %)",
            "By this condition alone, the best is at 352 N, and anywhere from 230 to 480 N in a field not yet seen",
            "With the other conditions, the best is at 344 N, and anywhere from 265 to 452 N",
            "About 18 % of the slope",
            "The curve leads where it says more than the settings by themselves",
        ] {
            assert!(words.contains(part), "{part}\n{words}");
        }
        assert!(!words.contains("points elsewhere") && !words.contains("in doubt"), "{words}");
        let pounds = says(&point(), Gauge::plain(Unit::PoundForce)).join(" ");
        assert!(pounds.contains("79\u{a0}lbf") && !pounds.contains("\u{a0}N"), "{pounds}");
    }

    #[test]
    fn borrowing_is_said_from_five_in_a_hundred_on() {
        let mut point = point();
        point.borrowed_share = Some(0.0499);
        assert!(!said(&point).contains("borrowed") && said(&point).contains("By the curve that decides"));
        point.borrowed_share = Some(0.05);
        assert!(said(&point).contains("About 5 % of the slope"));
        point.borrowed_share = Some(0.99);
        assert!(said(&point).contains("Nearly all of the slope"));
        point.borrowed_share = Some(f64::NAN);
        assert!(!said(&point).contains("borrowed"));
    }

    #[test]
    fn settings_that_rule_others_out_come_before_the_curve() {
        let mut point = point();
        (point.settings_low_n, point.settings_high_n) = (Some(130.0), Some(260.0));
        let words = said(&point);
        assert!(words.contains("that can still be the best lie from 130 to 260 N; those outside are worse"), "{words}");
        assert!(words.contains("The settings come first") && !words.contains("The curve leads"), "{words}");
        (point.settings_low_n, point.settings_high_n) = (Some(260.0), Some(260.0));
        assert!(said(&point).contains("only 260 N can still be the best"), "{}", said(&point));
    }

    #[test]
    fn settings_that_could_not_be_compared_are_not_said_to_have_been() {
        let mut point = point();
        point.shapes_best_n = None;
        assert!(said(&point).contains("no setting from 130 to 650 N is ruled out: not all of them could be compared"));
        point.settings_high_n = Some(260.0);
        assert!(said(&point).contains("those outside are worse"), "a set that was told stays: {}", said(&point));
    }

    #[test]
    fn a_condition_that_points_elsewhere_is_named_with_what_leads() {
        let mut point = point();
        (point.own_best_n, point.own_low_n, point.own_high_n) = (Some(150.0), Some(130.0), Some(240.0));
        assert!(said(&point).contains("The answer with the other conditions leads"), "{}", said(&point));
        point.borrowed_share = Some(0.0);
        let words = said(&point);
        assert!(words.contains("A plain parabola through this condition alone points elsewhere"), "{words}");
    }

    #[test]
    fn a_doubtful_shape_is_said_where_the_curve_leads() {
        let mut point = point();
        point.lack_of_fit_p_value = Some(0.0999);
        assert!(said(&point).contains("its shape is in doubt here"));
        point.lack_of_fit_p_value = Some(0.1);
        assert!(!said(&point).contains("in doubt"));
    }

    #[test]
    fn few_field_seasons_give_no_range_and_missing_numbers_no_sentence() {
        let mut point = point();
        point.n_field_seasons = Some(2);
        (point.own_low_n, point.own_high_n) = (None, None);
        assert!(said(&point).contains("three field-seasons to tell; there are 2"), "{}", said(&point));
        let open =
            StartingPointRow { settings_low_n: Some(f64::NAN), ..made_up::point("wet", "on_time_share", "open") };
        assert_eq!(said(&open), "");
    }

    #[test]
    fn a_start_that_is_not_the_best_guess_says_why_it_stays() {
        let mut point = point();
        point.start_n = Some(260.0);
        assert!(said(&point).contains("stays at the default, 260 N: no move away from it is shown to pay"));
        point.window_low_n = Some(250.0);
        assert!(said(&point).contains("stays at the default, 260 N: it is as good as the best within tolerance"));
        point.start_n = Some(338.0);
        assert!(!said(&point).contains("stays at the default"));
    }

    #[test]
    fn logs_are_a_pattern_here_too() {
        let mut point = point();
        point.basis = "logs".to_owned();
        assert!(said(&point).contains("If the pattern in the logs holds, the best is at 344 N"), "{}", said(&point));
    }
}
