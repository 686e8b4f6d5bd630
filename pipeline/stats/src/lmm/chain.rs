//! The walk over the spreads of a mixed model, with coefficients and effects integrated out.

use super::elimination::{Eliminated, Elimination, Finished};
use super::posterior::{PosteriorOptions, SpreadPrior};
use super::profile::{Criterion, Profile};
use super::proposal::Proposal;
use crate::error::{Result, StatsError};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution};

/// Rounds over all places in search of the top, at most; four to six were enough for reviews of up to 1,000 field-seasons.
const ROUNDS: usize = 20;

/// What a move changes, and so what has to be worked out again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reach {
    /// Nothing but sigma: no factor.
    Sigma,
    /// The spread of an inner term: the second stage.
    Inner,
    /// Spreads of outer terms: both stages.
    Outer,
}

/// State of the walk. Position: log sigma, then the logarithm of each theta in units of its term.
pub(super) struct Chain<'a> {
    profile: &'a Profile,
    elimination: &'a Elimination,
    priors: &'a [SpreadPrior],
    position: Vec<f64>,
    density: f64,
    /// Factors at the position, and spares for the next.
    eliminated: Eliminated,
    finished: Finished,
    spare_eliminated: Eliminated,
    spare_finished: Finished,
    proposal: Proposal,
    /// Of sums of squares over sigma squared; `None` where sigma is known.
    chi_squared: Option<ChiSquared<f64>>,
    steps: usize,
    accepted: usize,
    proposed: usize,
    random: ChaCha8Rng,
}

impl<'a> Chain<'a> {
    /// Starts at the top of the density along each place.
    ///
    /// # Errors
    /// A factorisation that overflows at the moderate spreads where the search for the top begins.
    pub(super) fn new(
        profile: &'a Profile,
        elimination: &'a Elimination,
        options: &'a PosteriorOptions,
    ) -> Result<Self> {
        let mut position = vec![0.0];
        position.extend(profile.moment_start().iter().zip(profile.unit()).map(|(t, u)| (t / u).max(0.1).ln()));
        let mut chain = Self {
            profile,
            elimination,
            priors: &options.priors,
            density: f64::NEG_INFINITY,
            eliminated: elimination.eliminated(),
            finished: elimination.finished(),
            spare_eliminated: elimination.eliminated(),
            spare_finished: elimination.finished(),
            // Until the top is found.
            proposal: Proposal::new(&[], &[], Vec::new()),
            position: position.clone(),
            chi_squared: ChiSquared::new(profile.sigma_df(Criterion::Reml)).ok().filter(|_| !profile.sigma_known()),
            steps: 0,
            accepted: 0,
            proposed: 0,
            random: ChaCha8Rng::seed_from_u64(options.seed),
        };
        let density = chain.evaluate(&position, Reach::Outer);
        let density =
            density.ok_or(StatsError::Numerical { step: "the factorisation at the start of the random walk" })?;
        chain.take(position, density, Reach::Outer);
        if chain.chi_squared.is_some() {
            let variance = chain.finished.sum_of_squares / profile.sigma_df(Criterion::Reml);
            chain.position[0] = 0.5 * variance.ln();
            chain.density = chain.log_density(&chain.position, &chain.eliminated, &chain.finished);
        }
        let spreads = chain.climb();
        let sigma = chain.chi_squared.iter().map(|_| 0);
        let joined = sigma.chain(elimination.outer_terms.iter().map(|term| term + 1)).collect();
        chain.proposal = Proposal::new(&chain.position, &spreads, joined);
        Ok(chain)
    }

    /// A step during burn-in, from which proposals learn.
    pub(super) fn warm_up(&mut self) {
        self.step();
        self.proposal.learn(&self.position);
        (self.accepted, self.proposed) = (0, 0);
    }

    /// One outer term afresh, or after the last of them all together with sigma; one inner term; sigma.
    pub(super) fn step(&mut self) {
        let Elimination { outer_terms, inner_terms, .. } = self.elimination;
        if !outer_terms.is_empty() {
            let (trial, log_ratio) = match outer_terms.get(self.steps % (outer_terms.len() + 1)) {
                Some(term) => self.proposal.alone(term + 1, &self.position, &mut self.random),
                None => self.proposal.together(&self.position, &mut self.random),
            };
            self.consider(trial, log_ratio, Reach::Outer);
        }
        if !inner_terms.is_empty() {
            let term = inner_terms[self.steps % inner_terms.len()];
            let (trial, log_ratio) = self.proposal.alone(term + 1, &self.position, &mut self.random);
            self.consider(trial, log_ratio, Reach::Inner);
        }
        if let Some(chi_squared) = self.chi_squared {
            // What the likelihood alone says of sigma, exactly; the priors of the spreads, which are multiples of it, decide.
            let sum_of_squares = self.finished.sum_of_squares;
            let mut trial = self.position.clone();
            trial[0] = 0.5 * (sum_of_squares / chi_squared.sample(&mut self.random)).ln();
            let df = self.profile.sigma_df(Criterion::Reml);
            let proposed = |log_sigma: f64| -df * log_sigma - 0.5 * sum_of_squares * (-2.0 * log_sigma).exp();
            let log_ratio = proposed(self.position[0]) - proposed(trial[0]);
            self.consider(trial, log_ratio, Reach::Sigma);
        }
        self.steps += 1;
    }

    pub(super) fn sigma(&self) -> f64 {
        self.position[0].exp()
    }

    pub(super) fn theta(&self) -> Vec<f64> {
        self.theta_at(&self.position)
    }

    /// Share of proposals accepted since the burn-in.
    pub(super) fn acceptance_rate(&self) -> f64 {
        self.accepted as f64 / self.proposed.max(1) as f64
    }

    /// Coefficients on Q (relative to least squares) and effects, drawn from their normal distributions given the position.
    pub(super) fn normal_part(&mut self) -> (Vec<f64>, Vec<f64>) {
        let (theta, sigma) = (self.theta(), self.sigma());
        self.elimination.draw(&theta, sigma, (&self.eliminated, &self.finished), &mut self.random)
    }

    fn theta_at(&self, position: &[f64]) -> Vec<f64> {
        position[1..].iter().zip(self.profile.unit()).map(|(log_theta, unit)| log_theta.exp() * unit).collect()
    }

    fn reach(&self, place: usize) -> Reach {
        match place.checked_sub(1) {
            None => Reach::Sigma,
            Some(term) if self.elimination.inner_terms.contains(&term) => Reach::Inner,
            Some(_) => Reach::Outer,
        }
    }

    /// Log density at a position that differs from the current one within `reach`; its factors are the spare ones. `None` where numbers overflow.
    fn evaluate(&mut self, position: &[f64], reach: Reach) -> Option<f64> {
        let theta = self.theta_at(position);
        if reach == Reach::Outer && !self.elimination.eliminate(&theta, &mut self.spare_eliminated) {
            return None;
        }
        let eliminated = if reach == Reach::Outer { &self.spare_eliminated } else { &self.eliminated };
        if reach == Reach::Sigma {
            return Some(self.log_density(position, eliminated, &self.finished));
        }
        let finished = self.elimination.finish(&theta, eliminated, &mut self.spare_finished);
        finished.then(|| self.log_density(position, eliminated, &self.spare_finished))
    }

    /// Makes the position last evaluated the current one.
    fn take(&mut self, position: Vec<f64>, density: f64, reach: Reach) {
        (self.position, self.density) = (position, density);
        if reach == Reach::Outer {
            std::mem::swap(&mut self.eliminated, &mut self.spare_eliminated);
        }
        if reach != Reach::Sigma {
            std::mem::swap(&mut self.finished, &mut self.spare_finished);
        }
    }

    /// Takes a proposal, or stays (Hastings 1970).
    fn consider(&mut self, trial: Vec<f64>, log_ratio: f64, reach: Reach) {
        let log_uniform = self.random.random::<f64>().ln();
        self.proposed += 1;
        match self.evaluate(&trial, reach) {
            Some(density) if log_uniform < density - self.density + log_ratio => {
                self.accepted += 1;
                self.take(trial, density, reach);
            }
            _ => {}
        }
    }

    /// Log density of (log sigma, log theta) with coefficients and effects integrated out.
    ///
    /// The restricted likelihood is the integral over a flat prior; 1/sigma d sigma is flat in log sigma; a density of tau is one
    /// of log theta times tau, here up to the unit of theta.
    fn log_density(&self, position: &[f64], eliminated: &Eliminated, finished: &Finished) -> f64 {
        let log_sigma = position[0];
        let variance = (2.0 * log_sigma).exp();
        let mut density = -0.5 * self.elimination.log_determinant(eliminated, finished)
            - self.profile.sigma_df(Criterion::Reml) * log_sigma
            - 0.5 * finished.sum_of_squares / variance;
        for ((log_theta, unit), prior) in position[1..].iter().zip(self.profile.unit()).zip(self.priors) {
            let log_tau = log_sigma + log_theta;
            density += log_tau + prior.log_density(log_tau.exp() * unit);
        }
        density
    }

    /// Climbs along one place after the other until none moves; returns the standard deviation of each by the curvature there.
    fn climb(&mut self) -> Vec<f64> {
        let mut spreads = vec![0.5; self.position.len()];
        let first = usize::from(self.chi_squared.is_none());
        for _ in 0..ROUNDS {
            let mut moved = false;
            for (place, spread) in spreads.iter_mut().enumerate().skip(first) {
                moved |= self.climb_along(place, spread);
            }
            if !moved {
                break;
            }
        }
        spreads
    }

    /// One step of Newton's, shortened while it does not go up. False where the top is near, or nowhere to be found.
    fn climb_along(&mut self, place: usize, spread: &mut f64) -> bool {
        let reach = self.reach(place);
        let moved = |chain: &Self, by: f64| {
            let mut position = chain.position.clone();
            position[place] += by;
            position
        };
        let step = 0.5 * *spread;
        let at = [step, -step].map(|by| self.evaluate(&moved(self, by), reach));
        let [Some(above), Some(below)] = at else { return false };
        let curvature = (2.0 * self.density - above - below) / (step * step);
        *spread = if curvature > 0.0 { (1.0 / curvature.sqrt()).clamp(1e-3, 1.0) } else { 1.0 };
        let slope = (above - below) / (2.0 * step);
        let mut by = (slope * *spread * *spread).clamp(-1.0, 1.0);
        for _ in 0..4 {
            if by.abs() < 0.2 * *spread {
                return false;
            }
            let position = moved(self, by);
            match self.evaluate(&position, reach) {
                Some(density) if density > self.density => {
                    self.take(position, density, reach);
                    return true;
                }
                _ => by *= 0.3,
            }
        }
        false
    }
}
