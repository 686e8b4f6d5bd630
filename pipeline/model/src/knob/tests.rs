//! The row of one planter, on curves simple enough to work out by hand. A newton is a kilopascal on the pressures here.

use super::*;
use crate::by_hand::{TESTED, TOLERANCE, draws, peak_at, planter, told_apart, tried};
use crate::decision::picture;
use crate::groups::GroupKey;

const AIR: &str =
    "kind = \"pressure\"\nmax_kpa = 400\nstep_kpa = 40\ndefault_kpa = 100\nforce_n = [[0, 0], [400, 400]]";
const SPRINGS: &str = "kind = \"positions\"\ndefault = \"1\"\npositions = [{ label = \"1\", force_n = 100 }, \
     { label = \"2\", force_n = 160 }, { label = \"3\", force_n = 220 }, { label = \"4\", force_n = 300 }]";

/// A group whose curve has its best at 250 N, or as told.
struct Case {
    coverage: Coverage,
    tolerance: f64,
    peak_n: f64,
    planter_id: &'static str,
}

impl Case {
    fn plain() -> Self {
        Self { coverage: tried(), tolerance: TOLERANCE, peak_n: 250.0, planter_id: "" }
    }

    /// Digging allows forces from `low` to `high`.
    fn dug(low: Option<f64>, high: Option<f64>, settled: bool) -> Self {
        let allowed = Allowed { low, high, settled, none: false };
        Self { coverage: Coverage { allowed, ..tried() }, ..Self::plain() }
    }

    fn row(self, closing: &str, default: Reference) -> KnobRow {
        let draws = draws(&[(10, peak_at(self.peak_n))]);
        let picture = picture(&draws, &self.coverage, Some(&told_apart()), self.tolerance);
        let told = Told {
            draws,
            picture,
            levels: Some(told_apart()),
            own: None,
            left_out: None,
            borrowed_share: 0.0,
            strip_variance: 1.0,
        };
        let group = GroupAnswer {
            key: GroupKey { condition: "wet".into(), closer: "other".into(), planter_id: self.planter_id.into() },
            response: "emerged_share".into(),
            primary: true,
            tolerance: self.tolerance,
            coverage: self.coverage,
            finding: Outlook::Told(Box::new(told)),
        };
        knob_row(&planter(closing), &group, default)
    }
}

fn given(force_n: f64) -> Reference {
    Reference { force_n: Some(force_n), given: true }
}

fn close(found: Option<f64>, expected: f64) {
    assert!(found.is_some_and(|found| (found - expected).abs() < 1e-9), "{found:?}, expected {expected}");
}

#[test]
fn a_pressure_goes_to_the_step_nearest_the_start_and_tells_what_that_costs() {
    let row = Case::plain().row(AIR, given(100.0));
    assert_eq!((row.planter_id.as_str(), row.condition.as_str(), row.closer.as_str()), ("p", "wet", "other"));
    assert_eq!(
        (row.knob.as_deref(), row.evidence.as_str(), row.advice.as_deref()),
        (Some("pressure"), "settled", Some("heavier"))
    );
    assert_eq!((row.basis.as_deref(), row.shape.as_deref(), row.primary), (Some("trial"), Some("inside"), Some(true)));
    // Steps of 40: 240 is nearer 250 than 280.
    assert_eq!((row.start_pressure_kpa, row.start_force_n, row.at_limit), (Some(240.0), Some(240.0), Some(false)));
    assert_eq!((row.default_pressure_kpa, row.default_force_n), (Some(100.0), Some(100.0)));
    close(row.rounding_loss, 0.01);
    close(row.gain_vs_default, 2.25 - 0.01);
    close(row.gain_low, 2.25 - 0.01);
    close(row.gain_high, 2.25 - 0.01);
    assert_eq!((row.prob_gain, row.prob_near_best), (Some(1.0), Some(1.0)));
    close(row.window_low_n, 240.0);
    close(row.window_high_n, 260.0);
    assert_eq!((row.window_low_pressure_kpa, row.window_high_pressure_kpa), (Some(240.0), Some(240.0)));
    assert_eq!((row.bound_by, row.dig_low_n, row.dig_high_n), (None, None, None));
    assert_eq!((row.dig_low_pressure_kpa, row.dig_high_pressure_kpa), (None, None));
    let lighter = Case { peak_n: 150.0, ..Case::plain() }.row(AIR, given(300.0));
    assert_eq!((lighter.advice.as_deref(), lighter.start_pressure_kpa), (Some("lighter"), Some(160.0)));
}

#[test]
fn a_default_as_good_as_the_best_stays_as_it_is_even_between_steps() {
    let closing = AIR.replace("default_kpa = 100", "default_kpa = 255");
    let row = Case::plain().row(&closing, given(255.0));
    assert_eq!((row.advice.as_deref(), row.evidence.as_str()), (Some("stay"), "settled"));
    assert_eq!((row.start_pressure_kpa, row.start_force_n, row.at_limit), (Some(255.0), Some(255.0), Some(false)));
    assert_eq!((row.rounding_loss, row.gain_vs_default, row.prob_gain), (Some(0.0), Some(0.0), None));
    let at_the_end = AIR.replace("default_kpa = 100", "default_kpa = 255").replace("max_kpa = 400", "max_kpa = 255");
    assert_eq!(Case::plain().row(&at_the_end, given(255.0)).at_limit, Some(true));
}

#[test]
fn where_nobody_named_a_default_the_setting_used_most_stands_for_it_and_is_said() {
    let closing = AIR.replace("default_kpa = 100\n", "");
    let row = Case::plain().row(&closing, Reference { force_n: Some(100.0), given: false });
    assert_eq!((row.default_pressure_kpa, row.advice.as_deref()), (Some(100.0), Some("heavier")));
    assert!(row.reason.unwrap().contains(words::NO_DEFAULT_GIVEN));
    assert!(!Case::plain().row(AIR, given(100.0)).reason.unwrap().contains(words::NO_DEFAULT_GIVEN));
    let nothing = Case::plain().row(&closing, Reference { force_n: None, given: false });
    assert_eq!((nothing.default_pressure_kpa, nothing.gain_vs_default), (None, None));
    assert_eq!((nothing.start_pressure_kpa, nothing.advice.as_deref()), (Some(240.0), Some("stay")));
}

#[test]
fn a_position_is_the_nearest_tried() {
    let row = Case::plain().row(SPRINGS, given(100.0));
    assert_eq!(
        (row.knob.as_deref(), row.start_position.as_deref(), row.start_force_n),
        (Some("positions"), Some("3"), Some(220.0))
    );
    assert_eq!((row.default_position.as_deref(), row.at_limit), (Some("1"), Some(false)));
    close(row.rounding_loss, 0.09);
    assert_eq!(row.prob_near_best, Some(0.0));
    let heaviest = Case { peak_n: 290.0, ..Case::plain() }.row(SPRINGS, given(100.0));
    assert_eq!((heaviest.start_position.as_deref(), heaviest.at_limit), (Some("4"), Some(true)));
    // Position 4 was not tried here.
    let coverage = Coverage { tested: (100.0, 290.0), ..tried() };
    let tried_lighter = Case { peak_n: 290.0, coverage, ..Case::plain() }.row(SPRINGS, given(100.0));
    assert_eq!(tried_lighter.start_position.as_deref(), Some("3"));
}

#[test]
fn where_no_step_was_tried_a_pressure_is_told_between_steps_and_a_force_without_a_position() {
    let coarse = AIR.replace("step_kpa = 40", "step_kpa = 400");
    let row = Case::plain().row(&coarse, given(100.0));
    close(row.start_pressure_kpa, 250.0);
    close(row.rounding_loss, 0.0);
    let far = "kind = \"positions\"\npositions = [{ label = \"1\", force_n = 50 }, { label = \"2\", force_n = 500 }]";
    let row = Case::plain().row(far, given(100.0));
    assert_eq!((row.start_position, row.at_limit), (None, None));
    close(row.start_force_n, 250.0);
}

#[test]
fn a_start_stays_inside_what_digging_allows_and_the_limits_are_told_on_the_knob() {
    let wide = Case { tolerance: 0.2, ..Case::dug(Some(255.0), None, true) };
    let row = wide.row(AIR, given(250.0));
    assert_eq!(
        (row.bound_by.as_deref(), row.start_pressure_kpa, row.evidence.as_str()),
        (Some("open_limit"), Some(280.0), "settled")
    );
    assert_eq!((row.dig_low_n, row.dig_high_n), (Some(255.0), None));
    assert_eq!((row.dig_low_pressure_kpa, row.dig_high_pressure_kpa), (Some(280.0), None));
    assert!(!row.reason.unwrap().contains(words::STEP_BESIDE));
    let row = Case { tolerance: 0.2, ..Case::dug(None, Some(235.0), true) }.row(SPRINGS, given(250.0));
    assert_eq!((row.bound_by.as_deref(), row.start_position.as_deref()), (Some("firm_limit"), Some("3")));
    assert_eq!((row.dig_low_position, row.dig_high_position.as_deref()), (None, Some("3")));
}

#[test]
fn where_the_allowed_step_is_far_from_the_best_digging_and_stand_disagree() {
    // 280 loses 0.09 against 250.
    let row = Case::dug(Some(255.0), None, true).row(AIR, given(100.0));
    assert_eq!((row.evidence.as_str(), row.start_pressure_kpa), ("open", None));
    assert!(row.reason.unwrap().contains(words::DUG_AGAINST));
}

#[test]
fn a_knob_too_coarse_for_a_settled_dig_window_has_no_step_and_for_a_leaning_one_the_nearest() {
    let settled = Case::dug(Some(255.0), Some(265.0), true).row(AIR, given(100.0));
    assert_eq!(
        (settled.evidence.as_str(), settled.start_pressure_kpa, settled.advice.as_deref()),
        ("open", None, Some("open"))
    );
    assert!(settled.reason.unwrap().contains(words::NO_STEP));
    // 240 and 280 miss the window alike; 240 is nearer the start.
    let leaning = Case::dug(Some(255.0), Some(265.0), false).row(AIR, given(100.0));
    assert_eq!((leaning.evidence.as_str(), leaning.start_pressure_kpa), ("settled", Some(240.0)));
    assert!(leaning.reason.unwrap().contains(words::STEP_BESIDE));
}

#[test]
fn what_stands_on_the_axis_of_a_pressure_is_told_without_newtons() {
    // Also where the planter is calibrated, but its group is one of pressures.
    for closing in [AIR, &AIR.replace("\nforce_n = [[0, 0], [400, 400]]", "")] {
        let row = Case { planter_id: "p", ..Case::dug(Some(200.0), Some(290.0), true) }.row(closing, given(100.0));
        assert_eq!((row.start_pressure_kpa, row.window_low_pressure_kpa), (Some(240.0), Some(240.0)));
        assert_eq!((row.dig_low_pressure_kpa, row.dig_high_pressure_kpa), (Some(200.0), Some(280.0)));
        let window = [row.window_low_n, row.window_high_n, row.dig_low_n, row.dig_high_n];
        assert_eq!((window, row.start_force_n, row.default_force_n), ([None; 4], None, None));
    }
}

#[test]
fn an_answer_that_is_open_fills_no_start() {
    let few = Coverage { spans: vec![(100.0, 200.0), (100.0, 200.0), TESTED], ..tried() };
    let row = Case { coverage: few, ..Case::plain() }.row(AIR, given(100.0));
    assert_eq!((row.evidence.as_str(), row.advice.as_deref()), ("open", Some("open")));
    assert_eq!(
        (row.start_pressure_kpa, row.start_force_n, row.gain_vs_default, row.prob_near_best),
        (None, None, None, None)
    );
}

#[test]
fn the_way_to_a_start_is_named_from_the_default() {
    let cases = [
        (true, Some(100.0), 250.0, "stay"),
        (false, Some(250.0), 250.0, "stay"),
        (false, Some(250.0), 249.0, "lighter"),
        (false, Some(250.0), 251.0, "heavier"),
        (false, None, 251.0, "stay"),
    ];
    for (stays, default_n, start_n, expected) in cases {
        assert_eq!(advice(stays, default_n, start_n), expected, "{default_n:?} to {start_n}");
    }
}
