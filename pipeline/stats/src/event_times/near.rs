//! Fitting again close to an earlier fit.

use super::data::IntervalData;
use super::fit::{EventTimesFit, Limit};
use super::likelihood::Likelihood;
use super::model::{EventTimes, notes, refuse_runaway_limit};
use super::predictors::EventPredictors;
use super::search::{from_start, refuse_single_jump, rises_to_one};
use crate::error::Result;

impl EventTimes {
    /// Fits one curve to all of the data, the search starting at given parameters: mu, log sigma and, below one, logit d.
    ///
    /// For series of fits to data that change little, as along a grid of time origins: one short search instead of several. Where
    /// the search from there does not end in a maximum that holds by itself, [`EventTimes::fit`] answers, so a poor start costs time only.
    ///
    /// # Errors
    /// As [`EventTimes::fit`].
    pub fn fit_near(&self, data: &IntervalData, start: &[f64]) -> Result<EventTimesFit> {
        refuse_single_jump(data, self.limited)?;
        let predictors = EventPredictors::intercepts(data.rows());
        let from = |start: &[f64], limit: Limit| {
            let likelihood = Likelihood::new(data, &predictors, self.shape, limit == Limit::Estimated);
            let found = from_start(&likelihood, start).ok()?;
            let holds = match limit {
                Limit::Estimated => refuse_runaway_limit(&found, 1).is_ok(),
                Limit::AtOne => rises_to_one(data, &predictors, self.shape, &found.point),
                Limit::FixedAtOne => true,
            };
            holds.then_some((found, limit))
        };
        let inside = if self.limited && start.len() == 3 && data.events() < data.total() {
            from(start, Limit::Estimated)
        } else {
            None
        };
        let edge = if self.limited { Limit::AtOne } else { Limit::FixedAtOne };
        let Some((found, limit)) = inside.or_else(|| from(start.get(..2)?, edge)) else { return self.fit(data) };
        let notes = notes(data, &found, limit);
        Ok(EventTimesFit::new(self.shape, limit, data.clone(), predictors, found, notes))
    }
}

#[cfg(test)]
mod tests {
    use super::super::shape::Shape;
    use super::*;
    use crate::inference::LinearFit;

    #[test]
    fn a_fit_from_any_start_is_the_fit() {
        let looks = [5.0, 7.0, 8.0, 9.0, 11.0, 14.0];
        let not_all = IntervalData::from_cumulative(&looks, &[0, 9, 41, 60, 79, 80].map(Some), 100).unwrap();
        let all = IntervalData::from_cumulative(&looks, &[0, 9, 41, 60, 85, 98].map(Some), 98).unwrap();
        for shape in [Shape::LogLogistic, Shape::LogNormal, Shape::Weibull] {
            for model in [EventTimes::new(shape), EventTimes::new(shape).without_limit()] {
                for data in [&not_all, &all] {
                    let plain = model.fit(data).unwrap();
                    for start in [&[2.1, -1.5, 1.0][..], &[2.1, -1.5], &[3.0, 1.0, -4.0], &[], &[f64::NAN, 0.0]] {
                        let near = model.fit_near(data, start).unwrap();
                        assert_eq!(near.limit_status(), plain.limit_status(), "{shape:?} {start:?}");
                        assert!((near.log_likelihood() - plain.log_likelihood()).abs() < 1e-9, "{shape:?} {start:?}");
                        for (one, other) in near.coefficients().iter().zip(plain.coefficients()) {
                            assert!((one - other).abs() < 1e-5, "{shape:?} {start:?}: {one} against {other}");
                        }
                    }
                }
            }
        }
    }
}
