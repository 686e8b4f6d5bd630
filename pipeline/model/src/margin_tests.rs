//! Whether two settings are as good as each other: tests against a margin, beside the test of a difference.
//!
//! A difference that was not shown is no proof that there is none. With a margin m, what no one minds, d the difference a − b, s its
//! standard error and T(df) Student's distribution, both of
//!
//! `t_low = (d + m) / s` and `t_high = (m − d) / s`
//!
//! must be large for "within m of each other": the p value is the larger of `P(T > t_low)` and `P(T > t_high)` (two one-sided tests:
//! Schuirmann 1987, J. Pharmacokinet. Biopharm. 15, 657-680). It is below 0.05 where the 90 % interval of d lies inside ±m. "a is not worse than b by
//! more than m" needs one of them alone: `t_low` where higher is better, `t_high` where lower is.
//!
//! Each test of a margin stands for itself; it is not adjusted for the number of pairs.

use evenstand_stats::Contrast;
use evenstand_stats::distribution::t_sf;

use crate::response::Better;

/// What is shown has a p value below this.
const SHOWN: f64 = 0.05;

/// p values of one difference against a margin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct MarginTests {
    /// Of "not within the margin of each other"; small where they are.
    pub equivalent: f64,
    /// Of "a is worse than b by more than the margin"; missing where neither way is better.
    pub no_worse: Option<f64>,
}

impl MarginTests {
    /// Tests the difference against `margin` (above 0, in the unit of the difference). `None` where the error is not known or is zero: values
    /// that are all alike show no error, and nothing can be held against it.
    pub fn new(difference: &Contrast, margin: f64, better: Better) -> Option<Self> {
        if !(difference.std_error > 0.0 && difference.std_error.is_finite() && difference.df > 0.0) {
            return None;
        }
        let above_low = t_sf((difference.estimate + margin) / difference.std_error, difference.df);
        let below_high = t_sf((margin - difference.estimate) / difference.std_error, difference.df);
        let equivalent = above_low.max(below_high);
        let no_worse = match better {
            Better::Higher => Some(above_low),
            Better::Lower => Some(below_high),
            Better::Neither => None,
        };
        equivalent.is_finite().then_some(Self { equivalent, no_worse })
    }
}

/// What a pair comes to: `different`, `equivalent`, `no worse` (a than b), or `open` where none of these was shown. A difference that is shown goes
/// first, even one inside the margin.
pub(crate) fn verdict(p_adjusted: Option<f64>, tests: Option<&MarginTests>) -> &'static str {
    let shown = |p_value: Option<f64>| p_value.is_some_and(|p_value| p_value < SHOWN);
    if shown(p_adjusted) {
        "different"
    } else if shown(tests.map(|tests| tests.equivalent)) {
        "equivalent"
    } else if shown(tests.and_then(|tests| tests.no_worse)) {
        "no worse"
    } else {
        "open"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn difference(estimate: f64, std_error: f64, df: f64) -> Contrast {
        Contrast { estimate, std_error, df, method: "residual".into() }
    }

    /// Expected values from SciPy 1.17.1: `scipy.stats.t.sf((d + m) / s, df)` and `scipy.stats.t.sf((m - d) / s, df)`, which works Student's
    /// distribution out by other code than ours.
    #[test]
    fn p_values_are_those_of_two_one_sided_tests_worked_out_elsewhere() {
        let cases = [
            (0.012, 0.009, 11.3, 0.02, 0.002163982817126, 0.1962960492945),
            (-0.031, 0.011, 6.0, 0.02, 0.8220411581252, 0.001776981953252),
            (2.1, 1.7, 15.0, 6.0, 0.0001253334781963, 0.01831917224095),
            (-4.5, 3.2, 2.2, 6.0, 0.3408178880663, 0.0358909251021),
            (0.0, 0.4, 90.0, 1.0, 0.007115540869761, 0.007115540869761),
        ];
        for (estimate, std_error, df, margin, above_low, below_high) in cases {
            let of = |better| MarginTests::new(&difference(estimate, std_error, df), margin, better).unwrap();
            let near = |found: f64, expected: f64| {
                assert!((found - expected).abs() < 1e-9 * expected, "{estimate} {margin}: {found} {expected}");
            };
            near(of(Better::Higher).equivalent, f64::max(above_low, below_high));
            near(of(Better::Higher).no_worse.unwrap(), above_low);
            near(of(Better::Lower).no_worse.unwrap(), below_high);
            assert_eq!(of(Better::Neither).no_worse, None);
        }
    }

    #[test]
    fn two_settings_are_equivalent_exactly_where_the_ninety_percent_interval_lies_inside_the_margin() {
        for step in -40..=40 {
            let own = difference(f64::from(step) / 10.0, 1.0, 11.0);
            let inside = own.interval(0.90);
            let tests = MarginTests::new(&own, 3.0, Better::Higher).unwrap();
            assert_eq!(tests.equivalent < 0.05, inside.low > -3.0 && inside.high < 3.0, "{step}");
            assert_eq!(tests.no_worse.unwrap() < 0.05, inside.low > -3.0, "{step}");
        }
    }

    #[test]
    fn a_wide_interval_is_open_whatever_its_middle_and_a_small_shown_difference_is_a_difference() {
        let judged = |estimate, std_error, better| {
            let own = difference(estimate, std_error, 30.0);
            verdict(Some(own.p_value()), MarginTests::new(&own, 2.0, better).as_ref())
        };
        assert_eq!(judged(0.0, 5.0, Better::Higher), "open");
        assert_eq!(judged(0.1, 0.5, Better::Higher), "equivalent");
        assert_eq!(judged(1.0, 0.2, Better::Higher), "different");
        assert_eq!(judged(6.0, 1.0, Better::Higher), "different");
        // Better by about as much as its error: not shown to differ, too wide to be alike, and surely not much worse.
        assert_eq!(judged(1.5, 1.0, Better::Higher), "no worse");
        assert_eq!(judged(1.5, 1.0, Better::Lower), "open");
        assert_eq!(judged(-1.5, 1.0, Better::Lower), "no worse");
        assert_eq!(judged(1.5, 1.0, Better::Neither), "open");
        assert_eq!(verdict(None, None), "open");
    }

    #[test]
    fn no_error_seen_is_no_proof_of_being_alike() {
        assert_eq!(MarginTests::new(&difference(0.0, 0.0, 6.0), 2.0, Better::Higher), None);
        assert_eq!(MarginTests::new(&difference(0.0, f64::NAN, 6.0), 2.0, Better::Higher), None);
    }
}
