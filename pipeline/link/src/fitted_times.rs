//! Times of emergence from a curve fitted to what was seen: plants that came up between two inspections, seeds that never did.
//!
//! A log-normal curve with an upper limit that starts after a lag, by maximum likelihood on the intervals between inspections. The lag is one
//! number a field-season (`course_lag`); the rest is each strip's own. Unlike interpolation the curve has standard errors, does not
//! lean on single counts, and tells how many seeds would ever have come up, as far as it describes the counts: where it does not, the note
//! says so (`course_misfit`). Standard errors are of the counted plants alone, as if the lag and the shape were known: in
//! simulations of twelve strips with a lag and a Weibull or log-normal wait, 95 % intervals held the truth in 90 to 95 % (`course_simulation`);
//! with one strip alone and a Weibull wait, intervals of T90 did in 84 %.

use evenstand_stats::{
    EventAt, EventEstimate, EventQuantity, EventTimes, EventTimesFit, IntervalData, Limit, LinearFit, Shape, Share,
};

use crate::course_counts::CourseCounts;
use crate::course_lag::Lag;
use crate::course_misfit::fits;

/// One shape for all strips, so that they compare: the steadiest on published courses of germination (DEVELOPERS.md).
const SHAPE: Shape = Shape::LogNormal;

/// Words of `fit_note` that findings count.
pub(crate) const DOES_NOT_FIT: &str = "does not fit";
/// As the note `still-going-on` of the fit reads.
pub(crate) const STILL_GOING_ON: &str = "still going on";

/// A fitted time or share with its standard error.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Estimate {
    pub value: Option<f64>,
    pub std_error: Option<f64>,
}

impl Estimate {
    fn of(estimate: Option<EventEstimate>) -> Self {
        let finite = |value: f64| Some(value).filter(|value| value.is_finite());
        estimate.map_or(Self::default(), |estimate| Self {
            value: finite(estimate.estimate),
            std_error: finite(estimate.std_error),
        })
    }

    fn plus(self, hours: f64) -> Self {
        Self { value: self.value.map(|value| value + hours), ..self }
    }
}

/// What the curve of one strip tells; times in hours from planting, of the plants that ever come up.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct FittedTimes {
    /// Share of the seeds that ever comes up.
    pub limit_share: Estimate,
    pub t10_h: Estimate,
    pub t50_h: Estimate,
    pub t90_h: Estimate,
    pub spread_h: Estimate,
    /// Hours from planting at which the curve starts, one number a field-season.
    pub lag_h: Option<f64>,
    /// Why there is no curve, or what is to be said about it.
    pub note: Option<String>,
}

impl FittedTimes {
    /// No times, and the reason.
    pub fn without(why: &str) -> Self {
        Self { note: Some(format!("no curve: {why}")), ..Self::default() }
    }
}

/// The curve of a strip on a clock that starts `lag` hours after planting. `start` are parameters to begin the search at, on that
/// clock. The error is in words.
pub(crate) fn curve(counts: &CourseCounts, lag: f64, start: Option<&[f64]>) -> Result<EventTimesFit, String> {
    let model = EventTimes::new(SHAPE);
    let model = if counts.seeds_known { model.with_limit() } else { model.without_limit() };
    let (left, right, plants) = counts.after(lag).ok_or("plants came up before the lag ended")?;
    let data = IntervalData::new(left, right, plants);
    let fit = data.and_then(|data| start.map_or_else(|| model.fit(&data), |start| model.fit_near(&data, start)));
    fit.map_err(|error| {
        let reason = error.to_string();
        let reason = reason.lines().next().unwrap_or_default();
        reason.strip_prefix("event times: ").unwrap_or(reason).to_owned()
    })
}

/// Fits the curve to all places of a strip together.
pub(crate) fn fitted_times(counts: &CourseCounts, lag: Lag) -> FittedTimes {
    match curve(counts, lag.hours, None) {
        Ok(fit) => told(&fit, lag, counts),
        Err(_) => FittedTimes::without(why_none(counts)),
    }
}

/// Why no curve can be drawn, as people who counted would put it.
fn why_none(counts: &CourseCounts) -> &'static str {
    let mut held = counts.pooled.iter().filter(|came| came.count > 0 && came.right.is_finite());
    match (held.next(), held.next()) {
        (None, _) => "no plant came up",
        (Some(only), None) if only.left == 0.0 => "all plants were up at the first inspection",
        (Some(_), None) => "all plants came up between two inspections",
        _ => "the counts do not tell a curve",
    }
}

fn told(fit: &EventTimesFit, lag: Lag, counts: &CourseCounts) -> FittedTimes {
    let at = EventAt::intercepts();
    let ask = |quantity: EventQuantity| Estimate::of(fit.quantity(&quantity, &at).ok().flatten());
    let time = |p: f64| ask(EventQuantity::Quantile { p, of: Share::Happening }).plus(lag.hours);
    let limit_share = match fit.limit_status() {
        Limit::Estimated => ask(EventQuantity::Limit),
        Limit::AtOne => Estimate { value: Some(1.0), std_error: None },
        Limit::FixedAtOne => Estimate::default(),
    };
    let mut notes: Vec<String> = fit.notes().iter().map(|note| note.code.replace('-', " ")).collect();
    if !fits(fit, counts, lag.hours) {
        notes.push(DOES_NOT_FIT.into());
    }
    if !lag.told {
        notes.push("lag not told".into());
    }
    if fit.limit_status() == Limit::FixedAtOne {
        notes.push("seeds not known".into());
    }
    FittedTimes {
        limit_share,
        t10_h: time(0.1),
        t50_h: time(0.5),
        t90_h: time(0.9),
        spread_h: ask(EventQuantity::Spread { low: 0.1, high: 0.9 }),
        lag_h: Some(lag.hours),
        note: (!notes.is_empty()).then(|| notes.join("; ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_stats::distribution::normal_cdf;

    use crate::course_counts::Place;
    use crate::course_lag::lag;

    fn of(places: &[Place]) -> FittedTimes {
        let counts = CourseCounts::new(places).unwrap();
        fitted_times(&counts, lag(&[&counts]).unwrap_or_default())
    }

    fn place(hours: &[f64], plants: &[i64], seeds: Option<f64>) -> Place {
        Place { hours: hours.to_vec(), plants: plants.to_vec(), seeds }
    }

    /// Plants of `seeds` that a log-normal course with limit 0.9, median 130 h and sigma 0.4 shows that starts at 90 h.
    fn course(seeds: f64) -> Place {
        let hours = [90.0, 102.0, 114.0, 126.0, 138.0, 162.0, 186.0, 234.0, 330.0];
        let share = |hours: f64| 0.9 * normal_cdf(((hours - 90.0) / 40.0).ln() / 0.4);
        place(&hours, &hours.map(|hours| (seeds * share(hours)).round() as i64), Some(seeds))
    }

    #[test]
    fn a_known_course_is_given_back_within_its_standard_errors() {
        let fitted = of(&[course(400.0), course(300.0)]);
        let lag = fitted.lag_h.unwrap();
        assert!((lag - 90.0).abs() < 5.0, "{fitted:?}");
        assert!((fitted.limit_share.value.unwrap() - 0.9).abs() < 0.01, "{fitted:?}");
        let time = |z: f64| 90.0 + 40.0 * (0.4 * z).exp();
        let spread = time(1.281_551_565_5) - time(-1.281_551_565_5);
        for (found, truth) in [
            (fitted.t10_h, time(-1.281_551_565_5)),
            (fitted.t50_h, time(0.0)),
            (fitted.t90_h, time(1.281_551_565_5)),
            (fitted.spread_h, spread),
        ] {
            assert!((found.value.unwrap() - truth).abs() < 0.5 * found.std_error.unwrap(), "{found:?} of {truth}");
        }
        assert_eq!(fitted.note, None);
    }

    #[test]
    fn a_lag_moves_the_times_and_not_the_spread() {
        let early = CourseCounts::new(&[course(400.0)]).unwrap();
        let mut late = course(400.0);
        late.hours.iter_mut().for_each(|hours| *hours += 50.0);
        let late = CourseCounts::new(&[late]).unwrap();
        let early = fitted_times(&early, Lag { hours: 88.0, told: true });
        let late = fitted_times(&late, Lag { hours: 138.0, told: true });
        let close = |a: Option<f64>, b: Option<f64>, apart: f64| (b.unwrap() - a.unwrap() - apart).abs() < 1e-6;
        assert!(close(early.t10_h.value, late.t10_h.value, 50.0) && close(early.t90_h.value, late.t90_h.value, 50.0));
        assert!(close(early.spread_h.value, late.spread_h.value, 0.0));
        assert!(close(early.t50_h.std_error, late.t50_h.std_error, 0.0));
    }

    #[test]
    fn without_seeds_the_times_stay_and_the_share_is_not_told() {
        let mut unknown = course(400.0);
        unknown.seeds = None;
        let fitted = of(&[unknown]);
        assert_eq!(fitted.limit_share, Estimate::default());
        assert!((fitted.t50_h.value.unwrap() - 130.0).abs() < 2.0);
        assert!(fitted.note.unwrap().contains("seeds not known"));
    }

    #[test]
    fn what_no_curve_can_be_drawn_through_says_why() {
        let nothing = of(&[place(&[100.0, 150.0], &[0, 0], Some(50.0))]);
        assert_eq!(nothing.note.unwrap(), "no curve: no plant came up");
        let falling = CourseCounts::new(&[place(&[100.0, 150.0], &[20, 10], Some(50.0))]);
        assert!(falling.unwrap_err().contains("falls"));
        let at_once = of(&[place(&[100.0], &[40], Some(50.0))]);
        assert_eq!(at_once.t50_h, Estimate::default());
        assert_eq!(at_once.note.unwrap(), "no curve: all plants were up at the first inspection");
        let jump = of(&[place(&[90.0, 110.0, 150.0], &[0, 40, 40], Some(50.0))]);
        assert_eq!(jump.note.unwrap(), "no curve: all plants came up between two inspections");
        assert_eq!(FittedTimes::without("a count is negative").note.unwrap(), "no curve: a count is negative");
    }
}
