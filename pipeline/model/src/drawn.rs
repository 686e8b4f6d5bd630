//! Draws of the posterior of the model that the answer rests on.
//!
//! To the model of `curve.rs` it adds, each with a half-normal prior on its standard deviation (`priors.rs`):
//!
//! - field-seasons differ in slope and curvature however few they are: what few of them cannot tell comes from the prior;
//! - curves of the conditions under one closer are drawn towards a common one, slope (with it the place of the best) and curvature
//!   apart, where three conditions or more have trials; their levels are left alone;
//! - a curve departs from a parabola by Legendre polynomials (`curve_basis.rs`), so that a lopsided response, or one that levels off, is
//!   followed as far as its settings show it.

use evenstand_stats::{Design, Posterior, PosteriorOptions, RandomTerm, Result, SpreadPrior};

use crate::curve_basis::{FIRST_DEPARTURE, FUNCTIONS, Functions};
use crate::frame::{BETWEEN, Frame, Owner, column_name};
use crate::observations::Observations;
use crate::priors::PriorScales;

/// Steps that the proposals of a walk have to adapt in, at the least.
const LEAST_BURN_IN: usize = 500;

/// Seed and number of draws.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Drawing {
    pub seed: u64,
    pub draws: usize,
}

impl Drawing {
    /// How to draw under these priors.
    pub fn options(self, priors: Vec<SpreadPrior>, mean_only: Vec<usize>) -> PosteriorOptions {
        let Self { seed, draws } = self;
        PosteriorOptions { draws, burn_in: (draws / 2).max(LEAST_BURN_IN), thin: 2, seed, priors, mean_only }
    }
}

/// Random terms of the drawn model, in their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Term {
    Field,
    Block,
    Slope,
    Curvature,
    ConditionSlope,
    ConditionCurvature,
    Departure,
}

impl Term {
    const ALL: [Self; 7] = [
        Self::Field,
        Self::Block,
        Self::Slope,
        Self::Curvature,
        Self::ConditionSlope,
        Self::ConditionCurvature,
        Self::Departure,
    ];

    /// Name in the model table.
    pub fn name(self) -> &'static str {
        match self {
            Term::Field => "field-season",
            Term::Block => "block",
            Term::Slope => "slope",
            Term::Curvature => "curvature",
            Term::ConditionSlope => "slope by condition",
            Term::ConditionCurvature => "curvature by condition",
            Term::Departure => "departure from a parabola",
        }
    }

    fn spread_prior(self, priors: &PriorScales) -> SpreadPrior {
        match self {
            // Most curves are close to a parabola; one that is not must be followed.
            Term::Departure => SpreadPrior::TaperedCauchy { scale: priors.departure, slab: priors.largest_departure },
            other => SpreadPrior::HalfNormal(other.prior(priors)),
        }
    }

    fn prior(self, priors: &PriorScales) -> f64 {
        match self {
            Term::Field => priors.field,
            Term::Block => priors.block,
            Term::Slope => priors.slope,
            Term::Curvature => priors.curvature,
            Term::ConditionSlope => priors.condition_slope,
            Term::ConditionCurvature => priors.condition_curvature,
            Term::Departure => priors.departure,
        }
    }
}

/// The drawn model.
pub(crate) struct Drawn {
    pub posterior: Posterior,
    /// The random terms that these data call for.
    pub terms: Vec<Term>,
    priors: PriorScales,
    /// First effect of each term, by its number in [`Term`].
    offsets: [Option<usize>; Term::ALL.len()],
    /// Column of level, slope and curvature of each group.
    columns: Vec<[Option<usize>; FIRST_DEPARTURE]>,
    between: Option<usize>,
    /// Mean over the draws of its coefficient; 0 without one.
    mean_between: f64,
    pooled: Vec<bool>,
    /// Weighted sum of squares of scaled forces within field-seasons, group by group.
    sums_of_squares: Vec<f64>,
    /// Place of each group among those whose curve may depart from a parabola.
    departing: Vec<Option<usize>>,
}

impl Drawn {
    /// Draws the posterior of strips `modelled` on the model's scale.
    ///
    /// # Errors
    /// As [`Posterior::sample`].
    pub fn new(
        frame: &Frame,
        observations: &Observations,
        modelled: Vec<f64>,
        weights: Option<Vec<f64>>,
        priors: &PriorScales,
        drawing: Drawing,
    ) -> Result<Self> {
        let mut terms = Vec::new();
        let mut random = Vec::new();
        let mut add = |term: Term, built: Option<RandomTerm>| {
            if let Some(built) = built {
                terms.push(term);
                random.push(built);
            }
        };
        add(Term::Field, frame.field_seasons(observations));
        add(Term::Block, frame.blocks(observations));
        // One field's own curve cannot be told from the typical one; `draws.rs` takes it from the prior.
        let trials = frame.trial_field_seasons > 1;
        add(Term::Slope, trials.then(|| frame.by_field_season("force by field-season", 1, observations)));
        let curved = trials && frame.curved();
        add(Term::Curvature, curved.then(|| frame.by_field_season("force² by field-season", 2, observations)));
        add(Term::ConditionSlope, frame.by_condition("force by condition", 1));
        add(Term::ConditionCurvature, frame.by_condition("force² by condition", 2));
        add(Term::Departure, frame.departures("departure from a parabola"));
        let columns = frame.columns(true);
        let sums_of_squares = frame.sums_of_squares(weights.as_deref());
        let design = Design::new(modelled, columns.matrix, columns.names, random, weights)?;
        let spread_priors = terms.iter().map(|term| term.spread_prior(priors)).collect();
        let blocks = terms.iter().position(|term| *term == Term::Block);
        let options = drawing.options(spread_priors, blocks.into_iter().collect());
        let posterior = Posterior::sample(&design, &options)?;
        let position = |name: &str| design.names().iter().position(|kept| kept == name);
        let columns = frame.groups.iter().enumerate().map(|(group, columns)| {
            std::array::from_fn(|function| {
                let pooled = columns.pool.filter(|_| function > 0).map(Owner::Pool);
                position(&column_name(function, pooled.unwrap_or(Owner::Group(group))))
            })
        });
        let between = position(BETWEEN);
        let places: Vec<usize> = frame.departing().collect();
        Ok(Self {
            columns: columns.collect(),
            mean_between: between
                .map_or(0.0, |column| posterior.coefficients.column(column).sum() / posterior.draws() as f64),
            between,
            pooled: frame.groups.iter().map(|group| group.pool.is_some()).collect(),
            sums_of_squares,
            departing: (0..frame.groups.len()).map(|group| places.iter().position(|place| *place == group)).collect(),
            offsets: Term::ALL.map(|term| {
                let number = terms.iter().position(|other| *other == term)?;
                posterior.effect_offset(number)
            }),
            posterior,
            terms,
            priors: *priors,
        })
    }

    /// Number of draws.
    pub fn len(&self) -> usize {
        self.posterior.draws()
    }

    /// Whether the settings of a group tell at least a slope.
    pub fn tells(&self, group: usize) -> bool {
        self.columns[group][0].is_some() && self.columns[group][1].is_some()
    }

    /// Coefficients of a group's curve in the typical field, in one draw.
    pub fn curve(&self, draw: usize, group: usize) -> Functions {
        let mut curve = [0.0; FUNCTIONS];
        for (function, column) in self.columns[group].iter().enumerate() {
            curve[function] = column.map_or(0.0, |column| self.posterior.coefficients[[draw, column]]);
        }
        if self.pooled[group] {
            curve[1] += self.effect(draw, Term::ConditionSlope, group);
            curve[2] += self.effect(draw, Term::ConditionCurvature, group);
        }
        if let Some(place) = self.departing[group] {
            let first = place * (FUNCTIONS - FIRST_DEPARTURE);
            for (number, coefficient) in curve[FIRST_DEPARTURE..].iter_mut().enumerate() {
                *coefficient = self.effect(draw, Term::Departure, first + number);
            }
        }
        curve
    }

    /// What a field-season's level, slope and curvature differ from the typical ones by, in one draw. `away` is its mean force, scaled, less
    /// that of its group.
    pub fn field_season(&self, draw: usize, field_season: usize, away: f64) -> Functions {
        let between = self.between.map_or(0.0, |column| self.posterior.coefficients[[draw, column]]);
        let mut own = [0.0; FUNCTIONS];
        own[0] = between * away + self.effect(draw, Term::Field, field_season);
        own[1] = self.effect(draw, Term::Slope, field_season);
        own[2] = self.effect(draw, Term::Curvature, field_season);
        own
    }

    /// Mean over the draws of a group's curve.
    pub fn mean_curve(&self, group: usize) -> Functions {
        let mut mean = [0.0; FUNCTIONS];
        for draw in 0..self.len() {
            let curve = self.curve(draw, group);
            mean.iter_mut().zip(curve).for_each(|(mean, coefficient)| *mean += coefficient / self.len() as f64);
        }
        mean
    }

    /// Mean over the draws of what a field-season and a block differ from the typical level by; `away` as in [`Drawn::field_season`].
    pub fn mean_level(&self, field_season: usize, block: usize, away: f64) -> f64 {
        let effect = |term: Term, number: usize| {
            let term = self.terms.iter().position(|other| *other == term);
            term.and_then(|term| self.posterior.mean_effect(term, number)).unwrap_or(0.0)
        };
        self.mean_between * away + effect(Term::Field, field_season) + effect(Term::Block, block)
    }

    /// How much of a group's slope, and with it of the place of its best, comes from the other conditions of its pool: 0 without a pool.
    ///
    /// In each draw the group's own slope has the sampling variance `v = τ² / n + σ² / Σ w s²` (τ the spread of slopes between its n field-seasons, s its
    /// scaled forces within them, w the weights of its strips), conditions spread by ω, and the common slope weighs v / (v + ω²); the mean over the draws.
    pub fn borrowed(&self, group: usize, field_seasons: usize) -> f64 {
        if !self.pooled[group] {
            return 0.0;
        }
        let share = |draw: usize| {
            let deviation = |term| self.deviation(draw, term).unwrap_or(0.0);
            let own = deviation(Term::Slope).powi(2) / field_seasons.max(1) as f64
                + self.posterior.sigma[draw].powi(2) / self.sums_of_squares[group];
            own / (own + deviation(Term::ConditionSlope).powi(2))
        };
        (0..self.len()).map(share).sum::<f64>() / self.len() as f64
    }

    /// Standard deviation of a term in one draw; `None` where the model has no such term.
    pub fn deviation(&self, draw: usize, term: Term) -> Option<f64> {
        let number = self.terms.iter().position(|other| *other == term)?;
        Some(self.posterior.standard_deviations[[draw, number]])
    }

    /// Mean over the draws of a term's variance; 0 where the model has no such term.
    pub fn mean_variance(&self, term: Term) -> f64 {
        let squares = (0..self.len()).filter_map(|draw| Some(self.deviation(draw, term)?.powi(2)));
        squares.sum::<f64>() / self.len() as f64
    }

    /// Prior scale of a term's standard deviation.
    pub fn prior(&self, term: Term) -> f64 {
        term.prior(&self.priors)
    }

    /// An effect in one draw; of blocks only the means are there.
    fn effect(&self, draw: usize, term: Term, number: usize) -> f64 {
        debug_assert!(term != Term::Block, "blocks have means only");
        self.offsets[term as usize].map_or(0.0, |offset| f64::from(self.posterior.effects[[draw, offset + number]]))
    }
}
