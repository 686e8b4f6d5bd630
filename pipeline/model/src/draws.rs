//! Draws of one group's curve: of the typical field, and of a field not yet seen.

use crate::summary::mean;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use crate::curve::CurveModel;
use crate::curve_basis::{Functions, basis, dot, less};
use crate::drawn::Term;
use crate::response::{Better, Scale};

/// One draw of a curve, on the model's scale: coefficients of the typical field, and how a field not yet seen differs from it in level,
/// slope and curvature.
#[derive(Debug, Clone, Copy)]
struct Draw {
    typical: Functions,
    unseen: [f64; 3],
}

impl Draw {
    /// The curve where its functions have these values.
    fn at(&self, functions: &Functions, field: Field) -> f64 {
        let own: f64 = match field {
            Field::Typical => 0.0,
            Field::Unseen => self.unseen.iter().zip(functions).map(|(own, function)| own * function).sum(),
        };
        dot(&self.typical, functions) + own
    }
}

/// Draws of the response curve of one group.
#[derive(Debug, Clone)]
pub(crate) struct GroupDraws {
    draws: Vec<Draw>,
    scale: Scale,
    better: Better,
    centre_n: f64,
    half_range_n: f64,
    mean: Functions,
}

/// Which field a curve is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Field {
    /// The typical field: what is expected over fields.
    Typical,
    /// A field not yet seen, with its own level, slope and curvature.
    Unseen,
}

impl GroupDraws {
    /// Takes the draws of group `group` out of a model. Where the model has no term for a difference between fields, its spread is
    /// drawn from the stated prior. `None` where settings cannot tell a curve.
    pub fn new(model: &CurveModel, group: usize, seed: u64) -> Option<Self> {
        let drawn = &model.drawn;
        if !drawn.tells(group) {
            return None;
        }
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let draws = (0..drawn.len())
            .map(|draw| {
                let mut spread = |term: Term| {
                    let from_prior: f64 = random.sample::<f64, _>(StandardNormal).abs() * drawn.prior(term);
                    drawn.deviation(draw, term).unwrap_or(from_prior) * random.sample::<f64, _>(StandardNormal)
                };
                let unseen = [Term::Field, Term::Slope, Term::Curvature].map(&mut spread);
                Draw { typical: drawn.curve(draw, group), unseen }
            })
            .collect();
        Some(Self {
            draws,
            scale: model.response.scale,
            better: model.response.better,
            centre_n: model.frame.centre_n,
            half_range_n: model.frame.half_range_n,
            mean: model.frame.groups[group].mean,
        })
    }

    /// Number of draws.
    pub fn len(&self) -> usize {
        self.draws.len()
    }

    /// The curve on the model's scale at a force in one draw.
    pub fn model_scale(&self, draw: usize, force_n: f64, field: Field) -> f64 {
        self.draws[draw].at(&self.functions(force_n), field)
    }

    /// The response at a force in one draw, in its own unit.
    pub fn response(&self, draw: usize, force_n: f64, field: Field) -> f64 {
        self.scale.back(self.model_scale(draw, force_n, field))
    }

    /// The response turned so that more is better.
    pub fn worth(&self, draw: usize, force_n: f64, field: Field) -> f64 {
        self.better.sign() * self.response(draw, force_n, field)
    }

    /// Worth over a grid of forces, draw by draw.
    pub fn surface(&self, grid: &[f64], field: Field) -> Vec<Vec<f64>> {
        let functions: Vec<Functions> = grid.iter().map(|force| self.functions(*force)).collect();
        let worth = |draw: &Draw| {
            functions.iter().map(|at| self.better.sign() * self.scale.back(draw.at(at, field))).collect()
        };
        self.draws.iter().map(worth).collect()
    }

    fn functions(&self, force_n: f64) -> Functions {
        less(&basis((force_n - self.centre_n) / self.half_range_n), &self.mean)
    }

    /// All draws of the response of the typical field at a force.
    pub fn typical(&self, force_n: f64) -> Vec<f64> {
        (0..self.len()).map(|draw| self.response(draw, force_n, Field::Typical)).collect()
    }

    /// Expected worth of the typical field at a force.
    pub fn expected_worth(&self, force_n: f64) -> f64 {
        self.better.sign() * mean(&self.typical(force_n))
    }
}
