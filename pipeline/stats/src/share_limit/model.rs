//! The options, and the draws.

use super::curve::{Line, ShareCurve};
use super::data::{Group, ShareRow, groups};
use super::grid::{Node, Search};
use super::likelihood::{Likelihood, Spreads, rule};
use super::line::{FINE, Mode};
use super::points::{Points, Proposal};
use crate::checks::check_length;
use crate::error::{Result, StatsError};
use crate::note::Note;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use rayon::prelude::*;

/// What is known beforehand of a spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ShareSpread {
    /// Half-normal prior with this scale.
    HalfNormal(f64),
    /// It has this value.
    Fixed(f64),
}

impl ShareSpread {
    pub(super) fn log_density(self, value: f64) -> f64 {
        match self {
            Self::HalfNormal(scale) => -0.5 * (value / scale).powi(2),
            Self::Fixed(_) => 0.0,
        }
    }

    fn check(self, what: &'static str, most: f64, expected: &'static str) -> Result<()> {
        match self {
            Self::HalfNormal(scale) if !(scale > 0.0 && scale.is_finite()) => {
                Err(StatsError::OutOfRange { what: "a prior scale", value: scale, expected: "a number above zero" })
            }
            Self::Fixed(value) if !(value >= 0.0 && value < most) => {
                Err(StatsError::OutOfRange { what, value, expected })
            }
            _ => Ok(()),
        }
    }
}

/// Options of the draws of clustered yes/no curves: model, priors and sources stand at [`ShareCurves::draw`].
///
/// ```
/// use evenstand_stats::{ShareCurves, ShareRow, Slope, quantile};
///
/// // Open trenches of ten digs in each of two fields at three forces.
/// let counts = [(0, 200.0, 6), (0, 400.0, 2), (0, 600.0, 0), (1, 200.0, 8), (1, 400.0, 4), (1, 600.0, 1)];
/// let rows = counts.map(|(cluster, x, successes)| ShareRow { group: 0, cluster, x, successes, trials: 10 });
/// let draws = ShareCurves::new(1).draw(&rows, 1)?;
/// let curve = draws.groups[0].as_ref().expect("x varies");
/// assert!(curve.slope_probability(Slope::Falling) > 0.95);
/// let limit = quantile(&curve.monotone(Slope::Falling).crossing(0.10)?, 0.5)?;
/// assert!(limit > 400.0 && limit < 700.0);
/// # Ok::<(), evenstand_stats::StatsError>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct ShareCurves {
    /// Standard deviation between clusters, in logits. Default: half-normal with scale 1.
    pub standard_deviation: ShareSpread,
    /// Correlation of two trials of a row, in [0, 1). Default: half-normal with scale 0.3, cut at 1. Where no row has two trials
    /// nothing tells it; it is then zero, and means nothing.
    pub correlation: ShareSpread,
    /// Nodes of the quadrature over the clusters' effects, 1 to 100. Default 9.
    pub quadrature_nodes: usize,
    /// Cells of the grid along the standard deviation and along the correlation. Default 11 and 7.
    pub cells: [usize; 2],
    /// Weighed lines a group, about. Default 1000. Beyond 1000 different places of cluster and x fewer are taken, down to 300: each costs
    /// more, and their posterior is closer to normal.
    pub points: usize,
    /// Number of draws. Default 2000.
    pub draws: usize,
    /// Seed; the same seed, rows and options give the same bytes. Draws that are to be paired need different seeds: with one seed their
    /// spreads would go together.
    pub seed: u64,
}

/// Draws of all groups.
#[derive(Debug, Clone)]
pub struct ShareCurveDraws {
    /// The curve of each group, or why it has none: no rows, or an x that does not vary. Such a group tells nothing about the spreads.
    pub groups: Vec<Result<ShareCurve>>,
    /// Standard deviation between clusters of each draw, a middle of a cell of the grid; empty where no group has a curve.
    pub standard_deviations: Vec<f64>,
    /// Correlation inside rows of each draw, likewise.
    pub correlations: Vec<f64>,
    /// Searches that stopped short of a maximum.
    pub notes: Vec<Note>,
}

/// Nodes with less than this share of the posterior get no points.
const LEAST_SHARE: f64 = 1e-4;

/// Places times points beyond which fewer points are taken, and how many at least.
const MOST_WORK: usize = 1_000_000;
const FEW_POINTS: usize = 300;

/// Points of a group at a node that gets any.
const LEAST_POINTS: usize = 8;

impl ShareCurves {
    /// The defaults that stand at each option.
    pub fn new(seed: u64) -> Self {
        Self {
            standard_deviation: ShareSpread::HalfNormal(1.0),
            correlation: ShareSpread::HalfNormal(0.3),
            quadrature_nodes: 9,
            cells: [11, 7],
            points: 1000,
            draws: 2000,
            seed,
        }
    }

    fn check(&self) -> Result<()> {
        self.standard_deviation.check("the standard deviation", 1e3, "a number from 0 to below 1000")?;
        self.correlation.check("the correlation", 1.0, "from 0 to below 1")?;
        let counts = [
            ("the number of nodes", self.quadrature_nodes, 100, "from 1 to 100"),
            ("the number of cells", self.cells[0], 1000, "from 1 to 1000"),
            ("the number of cells", self.cells[1], 1000, "from 1 to 1000"),
            ("the number of points", self.points, usize::MAX, "at least 1"),
            ("the number of draws", self.draws, usize::MAX, "at least 1"),
        ];
        match counts.into_iter().find(|(_, count, most, _)| !(1..=*most).contains(count)) {
            Some((what, count, _, expected)) => Err(StatsError::OutOfRange { what, value: count as f64, expected }),
            None => Ok(()),
        }
    }

    /// Draws the curves of `groups` groups, numbered from 0.
    ///
    /// Group g, cluster f, a row of k successes in n trials at x: `logit m = α_g + β_g x + u_gf`, `u_gf ~ N(0, σ²)` with an effect for every
    /// cluster of every group, and k beta-binomial with mean n m and correlation ρ: `a = ρ/(1 - ρ)`,
    /// `L = Π_{j<k} (m + ja) Π_{j<n-k} (1 - m + ja) / Π_{j<n} (1 + ja)` (Williams 1982). Effects are integrated out by adaptive
    /// Gauss-Hermite quadrature (Pinheiro & Bates 1995).
    ///
    /// Priors: on (α_g, β_g) `|X'WX|^½` of the group's plain logistic regression, Jeffreys' prior and Firth's (1993) penalty, so that
    /// separated rows have an answer (Heinze & Schemper 2002); on σ and ρ half-normal. Computed on a grid of (σ, ρ), lines by importance
    /// sampling (Rue, Martino & Chopin 2009); `effective_sample_size` of each curve says how well that went.
    ///
    /// # Errors
    /// No rows; a group number that is too large; x that is not finite; no trials in a row, or more successes than trials; a row of more
    /// than 1000 trials, or of more than a million where the correlation is fixed at zero; options out of range; numbers that overflow.
    pub fn draw(&self, rows: &[ShareRow], groups_count: usize) -> Result<ShareCurveDraws> {
        self.check()?;
        let correlation = self.correlation_of(rows);
        let groups = groups(rows, groups_count, correlation != ShareSpread::Fixed(0.0))?;
        let rule = rule(self.quadrature_nodes);
        let known: Vec<&Group> = groups.iter().flatten().collect();
        let mut random = ChaCha8Rng::seed_from_u64(self.seed);
        let mut drawn =
            ShareCurveDraws { groups: Vec::new(), standard_deviations: vec![], correlations: vec![], notes: vec![] };
        let mut curves = Vec::new();
        if !known.is_empty() {
            let search = Search { groups: known.clone(), spreads: [self.standard_deviation, correlation], rule: &rule };
            let nodes = search.grid(self.cells).ok_or(StatsError::Numerical { step: "the modes of the curves" })?;
            let sampled = Sampled::new(&nodes, &known, &rule, self.points, &mut random)?;
            let picks = sampled.pick_nodes(self.draws, &mut random);
            drawn.standard_deviations = picks.iter().map(|&node| nodes[node].deviation).collect();
            drawn.correlations = picks.iter().map(|&node| nodes[node].correlation).collect();
            for (k, group) in known.iter().enumerate() {
                let mode = sampled.mode(k, group, &nodes, &rule)?;
                if !mode.converged {
                    drawn.notes.push(Note::new(
                        "stopped-early",
                        format!(
                            "the search for the most probable curve stopped short of it (curve {} of those found)",
                            k + 1
                        ),
                    ));
                }
                let lines = sampled.pick_lines(k, &picks, &mut random);
                curves.push(sampled.curve(k, group, &mode, lines, &drawn.standard_deviations, &mut random));
            }
        }
        let mut curves = curves.into_iter();
        for group in groups {
            match group {
                Ok(_) => drawn.groups.extend(curves.next().map(Ok)),
                Err(error) => drawn.groups.push(Err(error)),
            }
        }
        Ok(drawn)
    }

    /// Log-likelihood with binomial coefficients at given lines (one a group), spread between clusters and correlation inside rows, by the
    /// quadrature of these options. Priors have no part in it.
    ///
    /// # Errors
    /// As [`ShareCurves::draw`]; a group that has no curve; the wrong number of lines; spreads out of range.
    pub fn log_likelihood_at(
        &self,
        rows: &[ShareRow],
        lines: &[Line],
        standard_deviation: f64,
        correlation: f64,
    ) -> Result<f64> {
        let spreads = [ShareSpread::Fixed(standard_deviation), ShareSpread::Fixed(correlation)];
        Self { standard_deviation: spreads[0], correlation: spreads[1], ..self.clone() }.check()?;
        let groups: Vec<Group> =
            groups(rows, lines.len(), correlation > 0.0)?.into_iter().collect::<Result<Vec<Group>>>()?;
        check_length("the lines", lines.len(), groups.len())?;
        let rule = rule(self.quadrature_nodes);
        let spreads = Spreads::new(standard_deviation, correlation);
        let mut total = 0.0;
        for (group, line) in groups.iter().zip(lines) {
            let value =
                Likelihood { group, spreads, rule: &rule }.exact_value(group.scaled(line.intercept, line.slope));
            total += group.log_coefficients
                + value.ok_or(StatsError::Numerical { step: "the likelihood at the given values" })?;
        }
        Ok(total)
    }

    /// Single trials say nothing about a correlation inside rows, and their likelihood does not hold it.
    fn correlation_of(&self, rows: &[ShareRow]) -> ShareSpread {
        match self.correlation {
            ShareSpread::HalfNormal(_) if rows.iter().all(|row| row.trials < 2) => ShareSpread::Fixed(0.0),
            given => given,
        }
    }
}

/// Nodes with their posterior shares and the points of every group there.
struct Sampled {
    shares: Vec<f64>,
    /// `points[node][group]`.
    points: Vec<Vec<Points>>,
    best: usize,
}

impl Sampled {
    fn new(
        nodes: &[Node],
        groups: &[&Group],
        rule: &[(f64, f64)],
        wanted: usize,
        random: &mut ChaCha8Rng,
    ) -> Result<Self> {
        let planned = normalised(&nodes.iter().map(Node::log_weight).collect::<Vec<f64>>())?;
        let best = largest(&planned);
        let spreads = |node: &Node| Spreads::new(node.deviation, node.correlation);
        let proposals: Vec<Proposal> = groups
            .iter()
            .enumerate()
            .map(|(k, group)| Proposal::learn(&nodes[best].modes[k], group, spreads(&nodes[best]), rule, random))
            .collect();
        let points_of = |group: &Group, share: f64| {
            let places: usize = group.clusters.iter().map(|cluster| cluster.cells.len()).sum();
            let wanted = wanted.min((MOST_WORK / places).max(FEW_POINTS));
            ((wanted as f64 * share).ceil() as usize).max(LEAST_POINTS)
        };
        // Every node has a stream of its own, so that the order of the work changes nothing.
        let streams: Vec<u64> = nodes.iter().map(|_| random.random()).collect();
        let points: Vec<Vec<Points>> = (0..nodes.len())
            .into_par_iter()
            .map(|at| {
                let node = &nodes[at];
                if planned[at] < LEAST_SHARE {
                    return Vec::new();
                }
                let mut random = ChaCha8Rng::seed_from_u64(streams[at]);
                (0..groups.len())
                    .map(|k| {
                        let likelihood = Likelihood { group: groups[k], spreads: spreads(node), rule };
                        Points::around(
                            &node.modes[k],
                            &likelihood,
                            &proposals[k],
                            points_of(groups[k], planned[at]),
                            &mut random,
                        )
                    })
                    .collect()
            })
            .collect();
        let logs: Vec<f64> = nodes
            .iter()
            .zip(&points)
            .map(|(node, points)| match points.is_empty() {
                true => f64::NEG_INFINITY,
                false => node.log_prior + points.iter().map(Points::log_evidence).sum::<f64>(),
            })
            .collect();
        let shares = normalised(&logs)?;
        Ok(Self { best: largest(&shares), shares, points })
    }

    /// A node for every draw, in an order that is drawn: neighbours must not be alike where draws of several calls are paired.
    fn pick_nodes(&self, draws: usize, random: &mut ChaCha8Rng) -> Vec<usize> {
        let mut picks = systematic(&self.shares, draws, random);
        shuffle(&mut picks, random);
        picks
    }

    /// A line of the group for every draw, given the nodes of the draws.
    fn pick_lines(&self, group: usize, nodes: &[usize], random: &mut ChaCha8Rng) -> Vec<[f64; 2]> {
        let mut lines = vec![[0.0; 2]; nodes.len()];
        let mut places = vec![Vec::new(); self.shares.len()];
        nodes.iter().enumerate().for_each(|(draw, &node)| places[node].push(draw));
        for (node, mut draws) in places.into_iter().enumerate().filter(|(_, draws)| !draws.is_empty()) {
            let points = &self.points[node][group];
            shuffle(&mut draws, random);
            for (pick, draw) in systematic(&points.weights, draws.len(), random).into_iter().zip(draws) {
                lines[draw] = points.lines[pick];
            }
        }
        lines
    }

    /// The mode of a group at the best node, to the last digits.
    fn mode(&self, k: usize, group: &Group, nodes: &[Node], rule: &[(f64, f64)]) -> Result<Mode> {
        let node = &nodes[self.best];
        let (rough, spreads) = (&node.modes[k], Spreads::new(node.deviation, node.correlation));
        Mode::find(group, spreads, rule, rough.line, &rough.peaks, FINE)
            .ok_or(StatsError::Numerical { step: "the most probable curve" })
    }

    fn curve(
        &self,
        k: usize,
        group: &Group,
        mode: &Mode,
        lines: Vec<[f64; 2]>,
        deviations: &[f64],
        random: &mut ChaCha8Rng,
    ) -> ShareCurve {
        let (mut falling, mut squares) = (0.0, 0.0);
        for (share, points) in self.shares.iter().zip(&self.points).filter(|(share, _)| **share > 0.0) {
            let points = &points[k];
            let scale = share / points.total();
            for (line, weight) in points.lines.iter().zip(&points.weights) {
                falling += if line[1] < 0.0 { scale * weight } else { 0.0 };
                squares += (scale * weight).powi(2);
            }
        }
        let line = |scaled| {
            let [intercept, slope] = group.unscaled(scaled);
            Line { intercept, slope }
        };
        ShareCurve {
            draw_numbers: (0..lines.len()).collect(),
            deviates: lines.iter().map(|_| random.sample(StandardNormal)).collect(),
            lines: lines.into_iter().map(line).collect(),
            standard_deviations: deviations.to_vec(),
            mode: line(mode.line),
            effective_sample_size: 1.0 / squares,
            falling: falling.min(1.0),
        }
    }
}

/// Weights that sum to one, from their logs.
fn normalised(logs: &[f64]) -> Result<Vec<f64>> {
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !top.is_finite() {
        return Err(StatsError::Numerical { step: "the weights of the grid" });
    }
    let weights: Vec<f64> = logs.iter().map(|log| if log.is_nan() { 0.0 } else { (log - top).exp() }).collect();
    let total: f64 = weights.iter().sum();
    Ok(weights.iter().map(|weight| weight / total).collect())
}

fn largest(values: &[f64]) -> usize {
    (1..values.len()).fold(0, |best, at| if values[at] > values[best] { at } else { best })
}

/// `count` positions, each as often as its weight asks for, rounded up or down by one draw in common.
fn systematic(weights: &[f64], count: usize, random: &mut ChaCha8Rng) -> Vec<usize> {
    let step = weights.iter().sum::<f64>() / count as f64;
    let start: f64 = random.random();
    let mut picks = Vec::with_capacity(count);
    let (mut at, mut passed) = (0, weights[0]);
    for draw in 0..count {
        let target = (draw as f64 + start) * step;
        while passed <= target && at + 1 < weights.len() {
            at += 1;
            passed += weights[at];
        }
        picks.push(at);
    }
    picks
}

fn shuffle(values: &mut [usize], random: &mut ChaCha8Rng) {
    for last in (1..values.len()).rev() {
        values.swap(last, random.random_range(0..=last));
    }
}
