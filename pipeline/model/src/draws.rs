//! Draws of one group's curve: of the typical field, and of a field not yet seen.

use crate::summary::mean;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use crate::curve::CurveModel;
use crate::response::{Better, Scale};

/// One draw of a curve, on the model's scale: intercept, slope and curvature of the typical field, and how a field not
/// yet seen differs from it.
#[derive(Debug, Clone, Copy)]
struct Draw {
    typical: [f64; 3],
    unseen: [f64; 3],
}

/// Draws of the response curve of one group.
#[derive(Debug, Clone)]
pub(crate) struct GroupDraws {
    draws: Vec<Draw>,
    scale: Scale,
    better: Better,
    centre_n: f64,
    half_range_n: f64,
    mean_s: f64,
    mean_s2: f64,
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
    /// Takes the draws of group `group` out of a model. Where the model has no term for a difference between fields
    /// (fewer than three trial field-seasons), its spread is drawn from the stated prior. `None` where settings cannot
    /// tell a curve.
    pub fn new(model: &CurveModel, group: usize, seed: u64) -> Option<Self> {
        let terms = &model.groups[group];
        let (intercept, linear) = (terms.intercept?, terms.linear?);
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let posterior = &model.posterior;
        let draws = (0..posterior.draws())
            .map(|draw| {
                let coefficient =
                    |column: Option<usize>| column.map_or(0.0, |column| posterior.coefficients[[draw, column]]);
                let mut spread = |term: Option<usize>, prior: f64| {
                    let from_prior: f64 = random.sample::<f64, _>(StandardNormal).abs() * prior;
                    let deviation = term.map_or(from_prior, |term| posterior.standard_deviations[[draw, term]]);
                    deviation * random.sample::<f64, _>(StandardNormal)
                };
                let field = spread(model.terms.field, model.priors.field);
                let slope = spread(model.terms.slope, model.priors.slope);
                // Curvature is let differ only where six field-seasons or more can tell.
                let curvature = spread(model.terms.curvature, 0.0);
                Draw {
                    typical: [coefficient(Some(intercept)), coefficient(Some(linear)), coefficient(terms.quadratic)],
                    unseen: [field, slope, curvature],
                }
            })
            .collect();
        Some(Self {
            draws,
            scale: model.response.scale,
            better: model.response.better,
            centre_n: model.centre_n,
            half_range_n: model.half_range_n,
            mean_s: terms.mean_s,
            mean_s2: terms.mean_s2,
        })
    }

    /// Number of draws.
    pub fn len(&self) -> usize {
        self.draws.len()
    }

    /// The curve of one draw at a force, on the model's scale.
    pub fn model_scale(&self, draw: usize, force_n: f64, field: Field) -> f64 {
        let Draw { typical, unseen } = &self.draws[draw];
        let s = (force_n - self.centre_n) / self.half_range_n;
        let basis = [1.0, s - self.mean_s, s * s - self.mean_s2];
        let coefficient = |index: usize| match field {
            Field::Typical => typical[index],
            Field::Unseen => typical[index] + unseen[index],
        };
        (0..3).map(|index| coefficient(index) * basis[index]).sum()
    }

    /// The response at a force in one draw, in its own unit.
    pub fn response(&self, draw: usize, force_n: f64, field: Field) -> f64 {
        self.scale.back(self.model_scale(draw, force_n, field))
    }

    /// A value on the model's scale as the response in its own unit, turned so that more is better.
    pub fn worth_of(&self, modelled: f64) -> f64 {
        self.better.sign() * self.scale.back(modelled)
    }

    /// The response turned so that more is better.
    pub fn worth(&self, draw: usize, force_n: f64, field: Field) -> f64 {
        self.better.sign() * self.response(draw, force_n, field)
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
