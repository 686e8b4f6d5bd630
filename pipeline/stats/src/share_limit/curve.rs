//! Drawn curves of one group, and what is read off them.

use crate::binomial_model::probabilities;
use crate::checks::check_level;
use crate::error::Result;

/// Which way a curve goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Slope {
    /// The share falls as x grows.
    Falling,
    /// The share rises as x grows.
    Rising,
}

/// A line on the logit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Logit at x = 0.
    pub intercept: f64,
    /// Logits per unit of x.
    pub slope: f64,
}

/// Draws of the curve of one group; entries of the vectors belong together, and the draws of one call of
/// [`ShareCurves::draw`](crate::ShareCurves::draw) belong together between groups, by [`ShareCurve::draw_numbers`].
#[derive(Debug, Clone, PartialEq)]
pub struct ShareCurve {
    /// Lines of the typical cluster (u = 0), in the caller's x.
    pub lines: Vec<Line>,
    /// Standard deviation between clusters, in logits.
    pub standard_deviations: Vec<f64>,
    /// A standard normal deviate per draw: a cluster not yet seen lies so many standard deviations off.
    pub deviates: Vec<f64>,
    /// Which of the call's draws these are, from 0.
    pub draw_numbers: Vec<usize>,
    /// The most probable line at the most probable spreads; Firth's estimate where both spreads are zero.
    pub mode: Line,
    /// Number of independent draws that would be worth as much as the weighed lines behind these.
    pub effective_sample_size: f64,
    /// Probability that the slope is below zero, before any draw was left out.
    pub(super) falling: f64,
}

impl ShareCurve {
    /// Posterior probability that the slope has this sign, before [`ShareCurve::monotone`] leaves draws out.
    pub fn slope_probability(&self, slope: Slope) -> f64 {
        match slope {
            Slope::Falling => self.falling,
            Slope::Rising => 1.0 - self.falling,
        }
    }

    /// The draws whose slope has this sign: the posterior where it is known that the share falls, or rises. May be left with no draws.
    pub fn monotone(&self, slope: Slope) -> Self {
        let keep: Vec<usize> =
            (0..self.lines.len()).filter(|&k| (self.lines[k].slope < 0.0) == (slope == Slope::Falling)).collect();
        Self {
            lines: keep.iter().map(|&k| self.lines[k]).collect(),
            standard_deviations: keep.iter().map(|&k| self.standard_deviations[k]).collect(),
            deviates: keep.iter().map(|&k| self.deviates[k]).collect(),
            draw_numbers: keep.iter().map(|&k| self.draw_numbers[k]).collect(),
            effective_sample_size: self.effective_sample_size * self.slope_probability(slope),
            ..*self
        }
    }

    /// Share in a typical cluster at x, per draw.
    pub fn share_at(&self, x: f64) -> Vec<f64> {
        self.lines.iter().map(|line| probabilities(line.intercept + line.slope * x).0).collect()
    }

    /// Share in a cluster not yet seen at x, one per draw.
    pub fn share_of_new_cluster_at(&self, x: f64) -> Vec<f64> {
        let effects = self.effects();
        self.lines.iter().zip(effects).map(|(line, u)| probabilities(line.intercept + line.slope * x + u).0).collect()
    }

    /// The x at which the share of a typical cluster is `share`, `(logit share - intercept) / slope`, per draw. It may lie far outside
    /// the x of the rows; a flat line has it at infinity.
    ///
    /// # Errors
    /// A share that is not between 0 and 1.
    pub fn crossing(&self, share: f64) -> Result<Vec<f64>> {
        self.crossing_with(share, vec![0.0; self.lines.len()])
    }

    /// The same in a cluster not yet seen, one per draw.
    ///
    /// # Errors
    /// As [`ShareCurve::crossing`].
    pub fn crossing_of_new_cluster(&self, share: f64) -> Result<Vec<f64>> {
        self.crossing_with(share, self.effects())
    }

    fn effects(&self) -> Vec<f64> {
        self.standard_deviations.iter().zip(&self.deviates).map(|(deviation, deviate)| deviation * deviate).collect()
    }

    fn crossing_with(&self, share: f64, effects: Vec<f64>) -> Result<Vec<f64>> {
        check_level("the share", share)?;
        let logit = (share / (1.0 - share)).ln();
        let crossing = |(line, u): (&Line, f64)| {
            if line.slope == 0.0 { f64::INFINITY } else { (logit - line.intercept - u) / line.slope }
        };
        Ok(self.lines.iter().zip(effects).map(crossing).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve() -> ShareCurve {
        let line = |intercept, slope| Line { intercept, slope };
        ShareCurve {
            lines: vec![line(2.0, -0.5), line(0.0, 0.25), line(1.0, 0.0)],
            standard_deviations: vec![1.0, 2.0, 0.5],
            deviates: vec![0.5, -1.0, 0.0],
            draw_numbers: vec![0, 1, 2],
            mode: line(1.0, -0.4),
            effective_sample_size: 3.0,
            falling: 1.0 / 3.0,
        }
    }

    #[test]
    fn crossings_solve_for_the_share() {
        let curve = curve();
        assert_eq!(curve.crossing(0.5), Ok(vec![4.0, 0.0, f64::INFINITY]));
        assert_eq!(curve.crossing_of_new_cluster(0.5), Ok(vec![5.0, 8.0, f64::INFINITY]));
        assert_eq!(curve.share_at(4.0)[0], 0.5);
        assert_eq!(curve.share_of_new_cluster_at(8.0)[1], 0.5);
        assert!(curve.crossing(0.0).is_err() && curve.crossing(f64::NAN).is_err());
    }

    #[test]
    fn a_monotone_curve_keeps_its_draws_and_the_probability_from_before() {
        let falling = curve().monotone(Slope::Falling);
        assert_eq!((falling.lines.len(), falling.draw_numbers.as_slice()), (1, &[0][..]));
        assert_eq!(falling.slope_probability(Slope::Rising), 1.0 - 1.0 / 3.0);
        assert_eq!(falling.effective_sample_size, 1.0);
        assert_eq!(falling.crossing(0.5), Ok(vec![4.0]));
    }
}
