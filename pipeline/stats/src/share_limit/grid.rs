//! The grid of spreads: where on it the posterior lies, and the modes of all groups at its nodes.

use super::data::Group;
use super::likelihood::Spreads;
use super::line::{Mode, ROUGH};
use super::model::ShareSpread;
use rayon::prelude::*;

/// Spreads with the modes of all groups there.
#[derive(Debug, Clone)]
pub(super) struct Node {
    pub(super) deviation: f64,
    pub(super) correlation: f64,
    pub(super) modes: Vec<Mode>,
    pub(super) log_prior: f64,
}

impl Node {
    /// Log posterior of the spreads by Laplace's approximation.
    pub(super) fn log_weight(&self) -> f64 {
        self.log_prior + self.modes.iter().map(Mode::log_evidence).sum::<f64>()
    }
}

/// The posterior over (sigma, rho), and how to lay a grid on it.
pub(super) struct Search<'a> {
    pub(super) groups: Vec<&'a Group>,
    pub(super) spreads: [ShareSpread; 2],
    pub(super) rule: &'a [(f64, f64)],
}

/// Half-normal priors end at so many scales: what lies beyond is 6e-5 of them.
const PRIOR_REACH: f64 = 4.0;

/// Correlations end here, where rows are all or nothing.
const LARGEST_CORRELATION: f64 = 0.98;

/// Places looked at along one spread.
const LOOKS: usize = 7;

/// Log densities that far below the largest are outside the grid.
const DROP: f64 = 9.0;

const PASSES: usize = 12;

impl Search<'_> {
    /// Modes at the spreads, found from those of a node that is near.
    fn node(&self, at: [f64; 2], near: Option<&Node>) -> Option<Node> {
        let [deviation, correlation] = at;
        let spreads = Spreads::new(deviation, correlation);
        let modes = self
            .groups
            .iter()
            .enumerate()
            .map(|(k, group)| match near {
                Some(node) => Mode::find(group, spreads, self.rule, node.modes[k].line, &node.modes[k].peaks, ROUGH),
                None => Mode::find(group, spreads, self.rule, [0.0; 2], &[], ROUGH),
            })
            .collect::<Option<Vec<Mode>>>()?;
        let log_prior = self.spreads.iter().zip(at).map(|(spread, value)| spread.log_density(value)).sum();
        Some(Node { deviation, correlation, modes, log_prior })
    }

    fn nodes(&self, places: &[[f64; 2]], near: Option<&Node>) -> Option<Vec<Node>> {
        places.par_iter().map(|&at| self.node(at, near)).collect()
    }

    fn bounds(&self) -> [[f64; 2]; 2] {
        let reach = |spread: ShareSpread, most: f64| match spread {
            ShareSpread::HalfNormal(scale) => [0.0, (PRIOR_REACH * scale).min(most)],
            ShareSpread::Fixed(value) => [value, value],
        };
        [reach(self.spreads[0], f64::INFINITY), reach(self.spreads[1], LARGEST_CORRELATION)]
    }

    /// Nodes at the middle of `cells` by `cells` equal cells that cover the posterior; a spread that is known has one.
    ///
    /// The range of one spread at a time is narrowed to where the density is not lost, until it stays: a hundred clusters leave a range
    /// that is a small part of the prior's. Midpoints, because the density is even in sigma: the sum over them is then nearly exact though
    /// it ends at zero.
    pub(super) fn grid(&self, cells: [usize; 2]) -> Option<Vec<Node>> {
        let bounds = self.bounds();
        let mut ranges = bounds;
        let mut best = self.node([0, 1].map(|k| bounds[k][0] + 0.15 * (bounds[k][1] - bounds[k][0])), None)?;
        for pass in 0..PASSES {
            let mut moved = false;
            for k in (0..2).filter(|&k| bounds[k][0] < bounds[k][1]) {
                let [low, high] = ranges[k];
                let step = (high - low) / (LOOKS - 1) as f64;
                let mut at = [[best.deviation, best.correlation]; LOOKS];
                (0..LOOKS).for_each(|look| at[look][k] = low + step * look as f64);
                let looks = self.nodes(&at, Some(&best))?;
                let heights: Vec<f64> = looks.iter().map(Node::log_weight).collect();
                let top = (1..LOOKS).fold(0, |top, look| if heights[look] > heights[top] { look } else { top });
                if heights[top] >= best.log_weight() {
                    best = looks[top].clone();
                }
                // The first pass only looks for the middle: the other spread may be far off.
                if pass == 0 {
                    moved = true;
                    continue;
                }
                let kept = |look: &usize| heights[*look] > heights[top] - DROP;
                let first = (0..LOOKS).find(kept).unwrap_or(0);
                let last = (0..LOOKS).rev().find(kept).unwrap_or(LOOKS - 1);
                // One look further on either side, and beyond the range where the density has not fallen at its end.
                let narrowed = [
                    (low + step * (first as f64 - 1.0)).max(bounds[k][0]),
                    (low + step * (last as f64 + 1.0)).min(bounds[k][1]),
                ];
                moved |= narrowed[1] - narrowed[0] < 0.75 * (high - low) || narrowed[0] < low || narrowed[1] > high;
                ranges[k] = narrowed;
            }
            if !moved {
                break;
            }
        }
        let along = |k: usize| -> Vec<f64> {
            let [low, high] = ranges[k];
            let count = if low < high { cells[k].max(1) } else { 1 };
            (0..count).map(|cell| low + (high - low) * (cell as f64 + 0.5) / count as f64).collect()
        };
        let correlations = along(1);
        let places: Vec<[f64; 2]> = along(0)
            .into_iter()
            .flat_map(|deviation| correlations.iter().map(move |&correlation| [deviation, correlation]))
            .collect();
        self.nodes(&places, Some(&best))
    }
}
