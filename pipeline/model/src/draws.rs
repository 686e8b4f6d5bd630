//! Draws of one group's curve: of the typical field, and of a field not yet seen.

use std::sync::LazyLock;

use evenstand_stats::distribution::normal_quantile;

use crate::curve::CurveModel;
use crate::curve_basis::{Functions, basis, dot, less};
use crate::drawn::Term;
use crate::field_draw::{CurveDraw, FieldCurve, Own};
use crate::response::{Better, Scale};

/// Draws of the response curve of one group.
#[derive(Debug, Clone)]
pub(crate) struct GroupDraws {
    draws: Vec<CurveDraw>,
    scale: Scale,
    better: Better,
    centre_n: f64,
    half_range_n: f64,
    mean: Functions,
}

/// Draws of which unseen fields are looked at, and fields of each.
const THINNED: usize = 500;
const FIELDS: usize = 40;
/// Runs of [`FIELDS`] deviates, which draws take in turn.
const RUNS: usize = 320;
/// Every so many forces of a grid are looked at first for the best of a field: curves bend more slowly than that.
const COARSE: usize = 4;

/// Standard normal deviates of the unseen fields, draw after draw: multiples of the roots of small primes modulo 1 (Richtmyer 1951; Niederreiter 1992, Random
/// Number Generation and Quasi-Monte Carlo Methods), of which all together are spread evenly and any forty that follow each other nearly so: the share of them
/// on one side of a line is off by 0.023 (root mean square), that of random ones by 0.065. With forty random fields, the same for every draw, every share was
/// off alike, by up to a tenth from seed to seed.
static DEVIATES: LazyLock<Vec<Own>> = LazyLock::new(|| {
    // Slope and curvature, which move the best, have the two that are spread most evenly together.
    (1..=RUNS * FIELDS).map(|number| [5, 2, 3].map(|prime| normal_quantile(even(number, prime)))).collect()
});

/// One of evenly spread numbers between 0 and 1; every prime has a sequence of its own.
fn even(number: usize, prime: u8) -> f64 {
    (0.5 + number as f64 * f64::from(prime).sqrt()).fract()
}

/// The best force of a field not yet seen under one draw, and its worth there.
#[derive(Debug, Clone, Copy)]
struct UnseenField {
    best_n: f64,
    top: f64,
}

/// Fields not yet seen, draw after draw.
#[derive(Debug, Clone)]
pub(crate) struct UnseenFields {
    fields: Vec<UnseenField>,
}

impl UnseenFields {
    /// The best force of each.
    pub fn best(&self) -> Vec<f64> {
        self.fields.iter().map(|field| field.best_n).collect()
    }
}

/// What a correlation between setting and season adds to a slope, in spreads of seasons over spreads of settings.
fn confounding(correlation: f64) -> f64 {
    correlation / (1.0 - correlation * correlation).sqrt()
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
    ///
    /// Under logs the setting may have followed what made a season good or bad. Nothing in logs tells by how much, so the correlation of the two is
    /// drawn from −1 to 1, each as likely: with correlation r a slope is off by r / √(1 − r²) × the spread of seasons / that of settings.
    ///
    /// What is drawn here beside the model's own draws is spread evenly, so that only these hang on the seed.
    pub fn new(model: &CurveModel, group: usize) -> Option<Self> {
        let drawn = &model.drawn;
        if !drawn.tells(group) {
            return None;
        }
        let followed = model.frame.followed(group);
        let lone = model.frame.trial_field_seasons == 1 && followed.is_none();
        let draws: Vec<CurveDraw> = (0..drawn.len())
            .map(|draw| {
                let deviate = |prime| normal_quantile(even(draw, prime));
                let spread = [(Term::Field, 7), (Term::Slope, 11), (Term::Curvature, 13)].map(|(term, prime)| {
                    let from_prior = || deviate(prime).abs() * drawn.prior(term);
                    drawn.deviation(draw, term).unwrap_or_else(from_prior)
                });
                let own = &DEVIATES[draw % DEVIATES.len()];
                let unseen = std::array::from_fn(|term| spread[term] * own[term]);
                let mut typical = drawn.curve(draw, group);
                // What one field alone showed may be its own.
                for (number, term, prime) in [(1, Term::Slope, 17), (2, Term::Curvature, 19)] {
                    if lone && drawn.deviation(draw, term).is_none() {
                        typical[number] += spread[number] * deviate(prime);
                    }
                }
                typical[1] += followed.map_or(0.0, |sd| spread[0] / sd * confounding(2.0 * even(draw, 23) - 1.0));
                CurveDraw::new(typical, spread, unseen)
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

    /// Draws of parabolas over scaled force, higher better, in the response's own unit; all fields are alike.
    #[cfg(test)]
    pub fn of_parabolas(parabolas: &[[f64; 3]], tested: (f64, f64)) -> Self {
        let [mut typical, none] = [[0.0; crate::curve_basis::FUNCTIONS]; 2];
        let draws = parabolas.iter().map(|parabola| {
            typical[..3].copy_from_slice(parabola);
            CurveDraw::new(typical, [0.0; 3], [0.0; 3])
        });
        Self {
            draws: draws.collect(),
            scale: Scale::Identity,
            better: Better::Higher,
            centre_n: (tested.0 + tested.1) / 2.0,
            half_range_n: (tested.1 - tested.0) / 2.0,
            mean: none,
        }
    }

    /// Number of draws.
    pub fn len(&self) -> usize {
        self.draws.len()
    }

    /// The curve on the model's scale at a force in one draw.
    pub fn model_scale(&self, draw: usize, force_n: f64, field: Field) -> f64 {
        let draw = &self.draws[draw];
        let own = if field == Field::Unseen { draw.unseen } else { [0.0; 3] };
        draw.field(&own, &self.mean).at(self.scaled(force_n))
    }

    /// The response at a force in one draw, in its own unit.
    pub fn response(&self, draw: usize, force_n: f64, field: Field) -> f64 {
        self.scale.back(self.model_scale(draw, force_n, field))
    }

    /// The response turned so that more is better.
    pub fn worth(&self, draw: usize, force_n: f64, field: Field) -> f64 {
        self.better.sign() * self.response(draw, force_n, field)
    }

    /// Worth of the typical field over a grid of forces, draw by draw.
    pub fn surface(&self, grid: &[f64]) -> Vec<Vec<f64>> {
        let functions: Vec<Functions> =
            grid.iter().map(|force| less(&basis(self.scaled(*force)), &self.mean)).collect();
        let worth = |draw: &CurveDraw| functions.iter().map(|at| self.worth_of(dot(&draw.typical, at))).collect();
        self.draws.iter().map(worth).collect()
    }

    /// Fields not yet seen: [`FIELDS`] of each of [`THINNED`] draws.
    pub fn unseen_fields(&self, grid: &[f64]) -> UnseenFields {
        let scaled: Vec<f64> = grid.iter().map(|force| self.scaled(*force)).collect();
        let fields = self.unseen_curves().map(|curve| {
            // The response goes with the model's scale, so the best of one is the best of the other.
            let turned = |point: usize| (point, self.better.sign() * curve.at(scaled[point]));
            let better = |best: (usize, f64), point: (usize, f64)| if point.1 > best.1 { point } else { best };
            let first = (0, f64::NEG_INFINITY);
            let (near, _) = (0..scaled.len()).step_by(COARSE).map(turned).fold(first, better);
            let around = near.saturating_sub(COARSE - 1)..(near + COARSE).min(scaled.len());
            let (best, top) = around.map(turned).fold(first, better);
            UnseenField { best_n: grid[best], top: self.worth_of(self.better.sign() * top) }
        });
        UnseenFields { fields: fields.collect() }
    }

    /// Curves of the fields of [`Self::unseen_fields`], in their order: worked out where they are needed, for they take much room.
    fn unseen_curves(&self) -> impl Iterator<Item = FieldCurve> {
        let thinned = THINNED.min(self.len());
        let draws = (0..thinned).map(move |number| &self.draws[number * self.len() / thinned]);
        draws.zip(DEVIATES.chunks(FIELDS).cycle()).flat_map(|(draw, deviates)| {
            deviates.iter().map(|deviates| {
                let own: Own = std::array::from_fn(|term| draw.spread[term] * deviates[term]);
                draw.field(&own, &self.mean)
            })
        })
    }

    /// Share of a draw's unseen fields in which a force is within tolerance of the field's best, draw by draw.
    pub fn shares_near_best(&self, unseen: &UnseenFields, force_n: f64, tolerance: f64) -> Vec<f64> {
        let s = self.scaled(force_n);
        let near = unseen.fields.iter().zip(self.unseen_curves());
        let near: Vec<bool> = near.map(|(field, curve)| field.top - self.worth_of(curve.at(s)) <= tolerance).collect();
        let share = |fields: &[bool]| fields.iter().filter(|near| **near).count() as f64 / fields.len() as f64;
        near.chunks(FIELDS).map(share).collect()
    }

    /// A value on the model's scale as the response in its own unit, turned so that more is better.
    pub fn worth_of(&self, model_scale: f64) -> f64 {
        self.better.sign() * self.scale.back(model_scale)
    }

    fn scaled(&self, force_n: f64) -> f64 {
        (force_n - self.centre_n) / self.half_range_n
    }

    /// All draws of the response of the typical field at a force.
    pub fn typical(&self, force_n: f64) -> Vec<f64> {
        (0..self.len()).map(|draw| self.response(draw, force_n, Field::Typical)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::summary::{mean, standard_deviation};

    #[test]
    fn deviates_are_standard_normal_over_all_and_spread_evenly_in_every_draw() {
        for term in 0..3 {
            let all: Vec<f64> = DEVIATES.iter().map(|own| own[term]).collect();
            let (centre, spread) = (mean(&all), standard_deviation(&all));
            assert!(centre.abs() < 0.002 && (spread - 1.0).abs() < 0.002, "{centre} {spread}");
            // Of as many random ones, 3 more or fewer would lie below zero in an ordinary run, and 10 in the worst of 320.
            for run in all.chunks(FIELDS) {
                let below = run.iter().filter(|deviate| **deviate < 0.0).count();
                assert!(below.abs_diff(FIELDS / 2) <= 2, "{below}");
            }
        }
        let product = |a: usize, b: usize| mean(&DEVIATES.iter().map(|own| own[a] * own[b]).collect::<Vec<_>>());
        assert!(product(0, 1).abs() < 0.01 && product(1, 2).abs() < 0.01 && product(0, 2).abs() < 0.01);
    }
}
