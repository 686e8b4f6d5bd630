//! The lag of a field-season: hours from planting before which nothing can come up.

use evenstand_stats::{EventTimesFit, LinearFit};

use crate::course_counts::CourseCounts;
use crate::fitted_times::curve;

/// Log-likelihood a lag must gain over none: what one parameter costs by Akaike's criterion.
const LEAST_GAIN: f64 = 1.0;

/// Steps of the coarse grid from zero to the first plants, and of the golden section after it.
const GRID: usize = 8;
const SECTIONS: usize = 7;

/// Largest lag looked at, as a share of the time at which the first plants were seen: at that time itself they would have no chance.
const LATEST: f64 = 0.995;

/// The lag of a field-season.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Lag {
    /// Hours from planting; zero where no lag is better than none.
    pub hours: f64,
    /// Whether the counts tell it: false where the likelihood is so flat that half the time to the first plants does as well as none.
    pub told: bool,
}

/// The one lag under which the curves of all strips together are likeliest, each strip with a curve of its own.
///
/// The summed log-likelihood is looked at on a coarse grid from zero to the first plants seen in any strip, then by golden section around the
/// best: 15 evaluations. Strips without a curve at lag zero do not take part. None where no strip has one.
pub(crate) fn lag(strips: &[&CourseCounts]) -> Option<Lag> {
    let strips: Vec<(&CourseCounts, EventTimesFit)> =
        strips.iter().filter_map(|counts| Some((*counts, curve(counts, 0.0, None).ok()?))).collect();
    let first = strips.iter().filter_map(|(counts, _)| counts.first_seen_h()).min_by(f64::total_cmp)?;
    // Gains over no lag, which stay small numbers and so keep their digits.
    let gain = |hours: f64| -> f64 {
        let gains = strips.iter().map(|(counts, without)| {
            let start = on_later_clock(without.coefficients(), hours);
            curve(counts, hours, start.as_deref()).map(|with| with.log_likelihood() - without.log_likelihood())
        });
        gains.sum::<Result<f64, String>>().unwrap_or(f64::NEG_INFINITY)
    };
    let step = LATEST * first / GRID as f64;
    let grid: Vec<f64> = (0..=GRID).map(|k| if k == 0 { 0.0 } else { gain(k as f64 * step) }).collect();
    let best = (0..=GRID).fold(0, |best, k| if grid[k] > grid[best] { k } else { best });
    let (mut low, mut high) = (best.saturating_sub(1) as f64 * step, (best + 1).min(GRID) as f64 * step);
    let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
    let mut found = (best as f64 * step, grid[best]);
    let mut inner = [high - golden * (high - low), low + golden * (high - low)].map(|hours| (hours, gain(hours)));
    for _ in 2..SECTIONS {
        inner = if inner[0].1 >= inner[1].1 {
            high = inner[1].0;
            let hours = high - golden * (high - low);
            [(hours, gain(hours)), inner[0]]
        } else {
            low = inner[0].0;
            let hours = low + golden * (high - low);
            [inner[1], (hours, gain(hours))]
        };
    }
    for point in inner {
        if point.1 > found.1 {
            found = point;
        }
    }
    if found.1 >= LEAST_GAIN {
        return Some(Lag { hours: found.0, told: true });
    }
    Some(Lag { hours: 0.0, told: grid[GRID / 2] < -LEAST_GAIN })
}

/// Parameters of about the same curve on a clock that starts `hours` later: the median keeps its place and the course there its steepness.
fn on_later_clock(parameters: &[f64], hours: f64) -> Option<Vec<f64>> {
    let median = parameters.first()?.exp();
    let left = median - hours;
    let mut later = parameters.to_vec();
    later[0] = left.ln();
    *later.get_mut(1)? += (median / left).ln();
    (left > 0.0).then_some(later)
}

#[cfg(test)]
mod tests {
    use evenstand_stats::distribution::normal_cdf;

    use super::*;
    use crate::course_counts::Place;

    /// A strip of 300 seeds, nine tenths of which come up log-normally after `start` hours, half of them within 40 h.
    fn strip(start: f64, sigma: f64, visits: &[f64]) -> CourseCounts {
        let share = |hours: f64| if hours <= start { 0.0 } else { normal_cdf(((hours - start) / 40.0).ln() / sigma) };
        let plants = visits.iter().map(|hours| (270.0 * share(*hours)).round() as i64).collect();
        CourseCounts::new(&[Place { hours: visits.to_vec(), plants, seeds: Some(300.0) }]).unwrap()
    }

    const VISITS: [f64; 10] = [90.0, 100.0, 110.0, 120.0, 130.0, 142.0, 154.0, 178.0, 226.0, 300.0];

    #[test]
    fn the_lag_is_where_the_summed_likelihood_of_the_strips_is_highest() {
        let strips = [strip(90.0, 0.5, &VISITS), strip(90.0, 0.7, &VISITS), strip(92.0, 0.6, &VISITS)];
        let refs: Vec<&CourseCounts> = strips.iter().collect();
        let found = lag(&refs).unwrap();
        assert!(found.told && (found.hours - 90.0).abs() < 4.0, "{found:?}");
        // By a plain scan in steps of 0.1 h, each fit from its own start.
        let total = |hours: f64| -> f64 {
            strips
                .iter()
                .map(|counts| curve(counts, hours, None).map_or(f64::NEG_INFINITY, |fit| fit.log_likelihood()))
                .sum()
        };
        let best = (0..998).map(|k| total(0.1 * f64::from(k))).fold(f64::NEG_INFINITY, f64::max);
        assert!(best - total(found.hours) < 0.05, "{best} against {} at {found:?}", total(found.hours));
    }

    #[test]
    fn the_order_of_the_strips_and_a_strip_without_a_course_change_nothing() {
        let strips = [strip(90.0, 0.5, &VISITS), strip(91.0, 0.7, &VISITS)];
        let none = strip(1000.0, 0.5, &VISITS);
        let (one, other) = (lag(&[&strips[0], &strips[1]]).unwrap(), lag(&[&strips[1], &none, &strips[0]]).unwrap());
        assert!((one.hours - other.hours).abs() < 1e-9, "{one:?} {other:?}");
        assert_eq!(lag(&[&none]), None);
    }

    #[test]
    fn too_few_inspections_cannot_tell_a_lag_and_none_is_used() {
        let few = strip(90.0, 0.5, &[100.0, 130.0, 226.0]);
        assert_eq!(lag(&[&few]), Some(Lag { hours: 0.0, told: false }));
    }
}
