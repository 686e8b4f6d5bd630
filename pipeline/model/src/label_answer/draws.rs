//! Draws of the positions in the typical field, and in fields not yet seen.

use evenstand_stats::{Design, Posterior, RandomTerm, SpreadPrior};
use ndarray::Array2;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use crate::drawn::Drawing;
use crate::priors::PriorScales;
use crate::response::Response;
use crate::setting_terms::{count, field_by_setting};
use crate::summary::mean;

use super::test::LabelTest;
use super::trial::Compared;

/// Draws of which unseen fields are looked at, and fields of each.
const THINNED: usize = 250;
const FIELDS: usize = 40;
/// Half-normal prior scale of what a field-season's own positions differ by: this share of the scale of levels, and this share of the spread of the
/// positions, because a field that answers differently does so in proportion.
const OF_LEVELS: f64 = 0.15;
const OF_POSITIONS: f64 = 0.5;

/// Where the spread of field-season × position comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum OwnSpread {
    /// Drawn with the model, from data and prior.
    Drawn,
    /// One strip a position and field-season: all that strips differ by may be the field's own.
    Strips,
    /// The field-seasons cannot tell it: the prior alone.
    Prior,
}

impl OwnSpread {
    pub fn name(self) -> &'static str {
        match self {
            Self::Drawn => "posterior",
            Self::Strips => "all that strips differ by, because no field-season repeats a position",
            Self::Prior => "prior alone, because these field-seasons cannot tell it",
        }
    }
}

/// Draws of the positions, turned so that more is better.
pub(super) struct LabelDraws {
    /// Worth of each position in the typical field, draw by draw.
    pub typical: Vec<Vec<f64>>,
    /// Worth of each position in fields not yet seen, [`FIELDS`] of a draw after one another.
    unseen: Vec<Vec<f64>>,
    pub own_spread: OwnSpread,
    /// Prior scale of the spread of field-season × position, and its mean over the draws.
    pub prior: f64,
    pub mean_spread: f64,
    /// Smallest effective sample size of the standard deviations.
    pub effective_sample_size: f64,
}

impl LabelDraws {
    /// Draws whose fields are all alike.
    #[cfg(test)]
    pub fn of(typical: Vec<Vec<f64>>) -> Self {
        let unseen = typical.iter().flat_map(|draw| vec![draw.clone(); FIELDS]).collect();
        let own_spread = OwnSpread::Prior;
        Self { typical, unseen, own_spread, prior: 0.0, mean_spread: 0.0, effective_sample_size: 0.0 }
    }

    /// Draws the model of `label_answer`: flat priors on field-seasons, half-normal ones on the spreads of positions, blocks and field-season × position
    /// (scales as in `priors`). Positions are compared inside field-seasons alone, because these are fixed. They are drawn towards each
    /// other as far as their differences are not shown: with a flat prior the position that came out best was said to be near the best too often
    /// (69 times in 100 for 60, five very unlike field-seasons). Differences become those of the response at the mean level of the field-seasons.
    ///
    /// # Errors
    /// Why the model cannot be drawn, in words.
    pub fn new(compared: &Compared, test: &LabelTest, response: &Response, drawing: Drawing) -> Result<Self, String> {
        let labels = compared.labels.len();
        let scales = PriorScales::of(response.scale, &compared.modelled, 0.0, 0.0);
        let prior = OF_LEVELS * scales.field + OF_POSITIONS * test.spread;
        let fields = count(&compared.fields);
        let mut random = Vec::new();
        let mut priors = Vec::new();
        let blocks = count(&compared.blocks);
        if blocks > fields && blocks < compared.blocks.len() {
            random.push(RandomTerm::intercept("block in field-season", compared.blocks.clone(), blocks));
            priors.push(SpreadPrior::HalfNormal(scales.block));
        }
        let own = field_by_setting(&compared.fields, &compared.settings);
        let own_spread = match &own {
            Some(_) => OwnSpread::Drawn,
            None if repeats_a_cell(compared) => OwnSpread::Prior,
            None => OwnSpread::Strips,
        };
        let own_term = random.len();
        if let Some(term) = own {
            random.push(term);
            priors.push(SpreadPrior::HalfNormal(prior));
        }
        let position_term = random.len();
        random.push(RandomTerm::intercept("position", compared.settings.clone(), labels));
        priors.push(SpreadPrior::HalfNormal(scales.field));
        let names: Vec<String> = (0..fields).map(|field| format!("field-season {field}")).collect();
        let matrix = Array2::from_shape_fn((compared.modelled.len(), fields), |(row, column)| {
            f64::from(u8::from(compared.fields[row] == column))
        });
        let words = |error: evenstand_stats::StatsError| error.to_string();
        let design = Design::new(compared.modelled.clone(), matrix, names, random, None).map_err(words)?;
        let posterior =
            Posterior::sample(&design, &drawing.options(priors, (0..position_term).collect())).map_err(words)?;
        let first_position = posterior.effect_offset(position_term).unwrap_or(0);
        let share_of = |field: usize| {
            compared.fields.iter().filter(|other| **other == field).count() as f64 / compared.fields.len() as f64
        };
        let shares: Vec<f64> = (0..fields).map(share_of).collect();
        let mut random = ChaCha8Rng::seed_from_u64(drawing.seed ^ 1);
        let mut spreads = Vec::with_capacity(posterior.draws());
        let mut modelled: Vec<Vec<f64>> = Vec::with_capacity(posterior.draws());
        for draw in 0..posterior.draws() {
            let spread = match own_spread {
                OwnSpread::Drawn => posterior.standard_deviations[[draw, own_term]],
                OwnSpread::Strips => posterior.sigma[draw],
                OwnSpread::Prior => random.sample::<f64, _>(StandardNormal).abs() * prior,
            };
            let of_field = |(field, share): (usize, &f64)| share * posterior.coefficients[[draw, field]];
            let level: f64 = shares.iter().enumerate().map(of_field).sum();
            let effect = |label: usize| f64::from(posterior.effects[[draw, first_position + label]]);
            let mut positions: Vec<f64> = (0..labels).map(|label| level + effect(label)).collect();
            if own_spread == OwnSpread::Prior {
                // What these field-seasons showed may be their own.
                let error = spread / (fields as f64).sqrt();
                positions.iter_mut().for_each(|value| *value += error * random.sample::<f64, _>(StandardNormal));
            }
            spreads.push(spread);
            modelled.push(positions);
        }
        let worth = |value: f64| response.better.sign() * response.scale.back(value);
        let deviates: Vec<Vec<f64>> =
            (0..FIELDS).map(|_| (0..labels).map(|_| random.sample(StandardNormal)).collect()).collect();
        let thinned = THINNED.min(modelled.len());
        let mut unseen = Vec::with_capacity(thinned * FIELDS);
        for number in 0..thinned {
            let draw = number * modelled.len() / thinned;
            for own in &deviates {
                let field = modelled[draw].iter().zip(own).map(|(value, own)| worth(value + spreads[draw] * own));
                unseen.push(field.collect());
            }
        }
        Ok(Self {
            typical: modelled.iter().map(|draw| draw.iter().map(|value| worth(*value)).collect()).collect(),
            unseen,
            own_spread,
            prior,
            mean_spread: mean(&spreads),
            effective_sample_size: posterior.effective_sample_size.iter().copied().fold(f64::INFINITY, f64::min),
        })
    }

    /// Share of a draw's unseen fields in which a position is within tolerance of the field's best, draw by draw.
    pub fn shares_near_best(&self, label: usize, tolerance: f64) -> Vec<f64> {
        let near = |field: &&Vec<f64>| {
            let top = field.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            top - field[label] <= tolerance
        };
        self.unseen
            .chunks(FIELDS)
            .map(|fields| fields.iter().filter(near).count() as f64 / fields.len() as f64)
            .collect()
    }
}

/// Whether two strips of one field-season stand at one position.
fn repeats_a_cell(compared: &Compared) -> bool {
    let cells: std::collections::BTreeSet<(usize, usize)> =
        compared.fields.iter().copied().zip(compared.settings.iter().copied()).collect();
    cells.len() < compared.fields.len()
}
