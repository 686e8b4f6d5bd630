//! The lag of a field-season: hours from planting before which nothing can come up.

use evenstand_stats::LinearFit;

use crate::course_counts::CourseCounts;
use crate::fitted_times::curve;

/// Log-likelihood a lag must gain over none: what one parameter costs by Akaike's criterion.
const LEAST_GAIN: f64 = 1.0;

/// The coarse grid, as shares of the time at which the first plants were seen: closer towards that time, where the likelihood bends most;
/// at it they would have no chance.
const GRID: [f64; 6] = [0.0, 0.5, 0.7, 0.85, 0.95, 0.995];

/// Where the grid has half the time.
const HALF: usize = 1;

/// Evaluations of the golden section after it.
const SECTIONS: usize = 6;

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
/// best: 11 evaluations. Strips without a curve at lag zero do not take part. None where no strip has one.
pub(crate) fn lag(strips: &[&CourseCounts]) -> Option<Lag> {
    let mut strips: Vec<Followed> = strips.iter().filter_map(|counts| Followed::new(counts)).collect();
    let first = strips.iter().filter_map(|strip| strip.counts.first_seen_h()).min_by(f64::total_cmp)?;
    let mut gain = |hours: f64| strips.iter_mut().map(|strip| strip.gain(hours)).sum::<f64>();
    let grid = GRID.map(|share| (share * first, if share > 0.0 { gain(share * first) } else { 0.0 }));
    let best = (0..grid.len()).fold(0, |best, k| if grid[k].1 > grid[best].1 { k } else { best });
    let (mut low, mut high) = (grid[best.saturating_sub(1)].0, grid[(best + 1).min(grid.len() - 1)].0);
    let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
    let mut found = grid[best];
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
    Some(Lag { hours: 0.0, told: grid[HALF].1 < -LEAST_GAIN })
}

/// A strip whose curve is followed from one lag to the next, each search starting where the last one ended.
struct Followed<'a> {
    counts: &'a CourseCounts,
    without_lag: f64,
    hours: f64,
    parameters: Vec<f64>,
}

impl<'a> Followed<'a> {
    /// None where there is no curve without a lag.
    fn new(counts: &'a CourseCounts) -> Option<Self> {
        let fit = curve(counts, 0.0, None).ok()?;
        let parameters = fit.coefficients().to_vec();
        Some(Self { counts, without_lag: fit.log_likelihood(), hours: 0.0, parameters })
    }

    /// Log-likelihood gained over no lag; minus infinity where there is no curve.
    fn gain(&mut self, hours: f64) -> f64 {
        match curve(self.counts, hours, self.start(hours).as_deref()) {
            Ok(fit) => {
                (self.hours, self.parameters) = (hours, fit.coefficients().to_vec());
                fit.log_likelihood() - self.without_lag
            }
            Err(_) => f64::NEG_INFINITY,
        }
    }

    /// Parameters of about the same curve on a clock that starts at another lag: the median keeps its place and the curve there its
    /// steepness.
    fn start(&self, hours: f64) -> Option<Vec<f64>> {
        let before = self.parameters.first()?.exp();
        let after = before + self.hours - hours;
        let mut start = self.parameters.clone();
        start[0] = after.ln();
        *start.get_mut(1)? += (before / after).ln();
        (after > 0.0).then_some(start)
    }
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
