//! Fitted courses of all strips.

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::course_counts::CourseCounts;
use crate::course_lag::lag;
use crate::fitted_times::{FittedTimes, fitted_times};
use crate::key::FieldSeason;
use crate::strips::LinkedStrip;

/// Fits a course to every strip that has counts for one, field-season by field-season: its strips share a lag. Field-seasons are independent of each other and
/// take all processors.
pub(crate) fn fit_courses(strips: &mut [LinkedStrip]) {
    let mut by_field: BTreeMap<FieldSeason, Vec<&mut LinkedStrip>> = BTreeMap::new();
    for strip in strips {
        by_field.entry(FieldSeason::new(&strip.0.field_id, strip.0.season)).or_default().push(strip);
    }
    let fields: Vec<Vec<&mut LinkedStrip>> = by_field.into_values().collect();
    fields.into_par_iter().for_each(|members| {
        let counts: Vec<&CourseCounts> =
            members.iter().filter_map(|(_, _, came_up)| came_up.counts.as_ref()?.as_ref().ok()).collect();
        let lag = lag(&counts).unwrap_or_default();
        for (row, _, came_up) in members {
            let fitted = match &came_up.counts {
                None => continue,
                Some(Err(why)) => FittedTimes::without(why),
                Some(Ok(counts)) => fitted_times(counts, lag),
            };
            (row.limit_share, row.limit_share_se) = (fitted.limit_share.value, fitted.limit_share.std_error);
            (row.t10_fit_h, row.t10_fit_se_h) = (fitted.t10_h.value, fitted.t10_h.std_error);
            (row.t50_fit_h, row.t50_fit_se_h) = (fitted.t50_h.value, fitted.t50_h.std_error);
            (row.t90_fit_h, row.t90_fit_se_h) = (fitted.t90_h.value, fitted.t90_h.std_error);
            (row.spread_fit_h, row.spread_fit_se_h) = (fitted.spread_h.value, fitted.spread_h.std_error);
            (row.fit_lag_h, row.fit_note) = (fitted.lag_h, fitted.note);
        }
    });
}
