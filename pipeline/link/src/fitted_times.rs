//! Times of emergence from a curve fitted to what was seen: plants that came up between two inspections, seeds that never did.
//!
//! The log-logistic curve with an upper limit, by maximum likelihood on the intervals between inspections. Unlike interpolation it
//! has standard errors, does not lean on single counts, and tells how many seeds would ever have come up.

use evenstand_stats::{
    EventAt, EventEstimate, EventQuantity, EventTimes, EventTimesFit, IntervalData, Limit, LinearFit, Share,
};

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
    /// Why there is no curve, or what is to be said about it.
    pub note: Option<String>,
}

/// Counts of one place: hours from planting, cumulative plants, seeds where they are known.
pub(crate) struct Place {
    pub hours: Vec<f64>,
    pub plants: Vec<i64>,
    pub seeds: Option<f64>,
}

/// Fits the curve to all places of a strip together. Where the seeds of a place are not known, only the plants that came up are
/// used, and the share that ever comes up is not told.
pub(crate) fn fitted_times(places: &[Place]) -> FittedTimes {
    let without = |why: &str| FittedTimes { note: Some(format!("no curve: {why}")), ..FittedTimes::default() };
    let seeds_known = places.iter().all(|place| place.seeds.is_some());
    let (mut left, mut right, mut counts) = (Vec::new(), Vec::new(), Vec::new());
    for place in places {
        let Some(plants) = place.plants.iter().map(|count| u64::try_from(*count).ok()).collect::<Option<Vec<_>>>()
        else {
            return without("a count is negative");
        };
        let most = plants.iter().copied().max().unwrap_or(0);
        // Seeds are rate × length, so a place may show a plant more than that.
        let seeds = place.seeds.filter(|_| seeds_known).map_or(most, |seeds| most.max(seeds.round() as u64));
        let mut before = (0.0, 0);
        for (&hours, &count) in place.hours.iter().zip(&plants) {
            if count < before.1 {
                return without("a count falls from one inspection to the next");
            }
            if hours <= before.0 {
                if count > 0 {
                    return without("plants were counted before planting");
                }
                continue;
            }
            left.push(before.0);
            right.push(hours);
            counts.push(count - before.1);
            before = (hours, count);
        }
        if before.0 > 0.0 && seeds > before.1 {
            left.push(before.0);
            right.push(f64::INFINITY);
            counts.push(seeds - before.1);
        }
    }
    let model = EventTimes::log_logistic();
    let model = if seeds_known { model.with_limit() } else { model.without_limit() };
    match IntervalData::new(left, right, counts).and_then(|data| model.fit(&data)) {
        Ok(fit) => told(&fit),
        Err(error) => {
            let reason = error.to_string();
            let reason = reason.lines().next().unwrap_or_default();
            without(reason.strip_prefix("event times: ").unwrap_or(reason))
        }
    }
}

fn told(fit: &EventTimesFit) -> FittedTimes {
    let at = EventAt::intercepts();
    let ask = |quantity: EventQuantity| Estimate::of(fit.quantity(&quantity, &at).ok().flatten());
    let time = |p: f64| ask(EventQuantity::Quantile { p, of: Share::Happening });
    let limit_share = match fit.limit_status() {
        Limit::Estimated => ask(EventQuantity::Limit),
        Limit::AtOne => Estimate { value: Some(1.0), std_error: None },
        Limit::FixedAtOne => Estimate::default(),
    };
    let mut notes: Vec<String> = fit.notes().iter().map(|note| note.code.replace('-', " ")).collect();
    if fit.limit_status() == Limit::FixedAtOne {
        notes.push("seeds not known".into());
    }
    FittedTimes {
        limit_share,
        t10_h: time(0.1),
        t50_h: time(0.5),
        t90_h: time(0.9),
        spread_h: ask(EventQuantity::Spread { low: 0.1, high: 0.9 }),
        note: (!notes.is_empty()).then(|| notes.join("; ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(hours: &[f64], plants: &[i64], seeds: Option<f64>) -> Place {
        Place { hours: hours.to_vec(), plants: plants.to_vec(), seeds }
    }

    /// Plants of `seeds` that a log-logistic course with limit 0.9, median 130 h and sigma 0.08 shows.
    fn course(seeds: f64) -> Place {
        let hours = [90.0, 110.0, 120.0, 130.0, 140.0, 160.0, 180.0, 220.0];
        let share = |hours: f64| 0.9 / (1.0 + (-((hours / 130.0_f64).ln()) / 0.08).exp());
        place(&hours, &hours.map(|hours| (seeds * share(hours)).round() as i64), Some(seeds))
    }

    #[test]
    fn a_known_course_is_given_back_within_its_standard_errors() {
        let fitted = fitted_times(&[course(400.0), course(300.0)]);
        let t50 = fitted.t50_h;
        assert!((t50.value.unwrap() - 130.0).abs() < 0.5 * t50.std_error.unwrap(), "{t50:?}");
        assert!((fitted.limit_share.value.unwrap() - 0.9).abs() < 0.01, "{fitted:?}");
        // sigma ln 9 on both sides of the median.
        let spread = 130.0 * ((0.08 * 9.0_f64.ln()).exp() - (-0.08 * 9.0_f64.ln()).exp());
        assert!((fitted.spread_h.value.unwrap() - spread).abs() < fitted.spread_h.std_error.unwrap(), "{fitted:?}");
        assert_eq!(fitted.note, None);
    }

    #[test]
    fn without_seeds_the_times_stay_and_the_share_is_not_told() {
        let mut unknown = course(400.0);
        unknown.seeds = None;
        let fitted = fitted_times(&[unknown]);
        assert_eq!(fitted.limit_share, Estimate::default());
        assert!((fitted.t50_h.value.unwrap() - 130.0).abs() < 2.0);
        assert!(fitted.note.unwrap().contains("seeds not known"));
    }

    #[test]
    fn what_no_curve_can_be_drawn_through_says_why() {
        let nothing = fitted_times(&[place(&[100.0, 150.0], &[0, 0], Some(50.0))]);
        assert!(nothing.note.as_deref().unwrap().contains("50"), "{:?}", nothing.note);
        let falling = fitted_times(&[place(&[100.0, 150.0], &[20, 10], Some(50.0))]);
        assert!(falling.note.unwrap().contains("falls"));
        let at_once = fitted_times(&[place(&[100.0], &[40], Some(50.0))]);
        assert_eq!(at_once.t50_h, Estimate::default());
        assert!(at_once.note.unwrap().starts_with("no curve"));
    }
}
