//! The power of any layout, by simulating and analysing it many times.

use crate::binomial::wilson;
use crate::checks::{check_finite, check_length, check_level};
use crate::design::Design;
use crate::distribution::t_quantile;
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;
use crate::interval::Interval;
use crate::least_squares::LeastSquares;
use crate::lmm::Lmm;
use crate::note::Note;
use crate::random_effects::add_effects;
use crate::random_term::RandomTerm;
use crate::response_shape::QuadraticRows;
use ndarray::Array2;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;

/// Points of the range at which an optimum set is looked up.
const GRID: usize = 200;

/// A layout with the truth behind it.
#[derive(Debug, Clone)]
pub struct PlannedTrial {
    /// Columns of the analysis (n × number of names), as for [`Design::new`].
    pub fixed: Array2<f64>,
    /// Their names.
    pub names: Vec<String>,
    /// True mean of each row (n); it need not lie in the span of the columns.
    pub mean: Vec<f64>,
    /// Random terms that are simulated, each with its true standard deviation.
    pub random: Vec<(RandomTerm, f64)>,
    /// True residual standard deviation.
    pub sigma: f64,
}

/// How each simulated trial is analysed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Analysis {
    /// Least squares on the fixed columns; random terms that are not also columns are ignored, as a careless analysis would.
    LeastSquares,
    /// Restricted maximum likelihood with the random terms of the trial.
    Mixed,
}

/// A quadratic `b1 x + b2 x²` inside the model; what does not depend on x is left out.
#[derive(Debug, Clone)]
pub struct Quadratic {
    /// Combination of all columns that is `b1`.
    pub linear: Vec<f64>,
    /// Combination of all columns that is `b2`.
    pub square: Vec<f64>,
    /// Lowest setting.
    pub low: f64,
    /// Highest setting.
    pub high: f64,
}

/// What counts as a success.
#[derive(Debug, Clone)]
pub enum Question {
    /// The two-sided p-value of this combination of all columns is below `alpha`.
    Contrast {
        /// One number per column.
        row: Vec<f64>,
        /// Significance level.
        alpha: f64,
    },
    /// The confidence set for the setting with the largest mean spans less than `share` of the range.
    ///
    /// The set holds the settings whose slope does not differ from zero, two-sided at `alpha`, and an end whose slope does not point
    /// into the range, one-sided at `alpha` (Fieller 1954; Peterson, Cahya & del Castillo 2002, for a range with ends). Its span, from its lowest to its
    /// highest member on 201 settings, is what is compared; an empty set is no success.
    ShortOptimumSet {
        /// The curve.
        curve: Quadratic,
        /// One less the confidence level.
        alpha: f64,
        /// Share of the range.
        share: f64,
    },
    /// The setting that the fitted curve puts highest within the range lies within `tolerance` of `best`.
    NearBest {
        /// The curve.
        curve: Quadratic,
        /// The truly best setting.
        best: f64,
        /// Distance allowed, in units of the setting.
        tolerance: f64,
    },
}

/// Number of simulated trials and the seed of their random numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SimulationOptions {
    /// Simulated trials.
    pub runs: usize,
    /// Seed; equal seeds give equal answers on any number of threads.
    pub seed: u64,
}

/// Result of [`simulate_power`].
#[derive(Debug, Clone, PartialEq)]
pub struct SimulatedPower {
    /// Share of successes among all runs.
    pub power: f64,
    /// Monte-Carlo standard error of `power`.
    pub std_error: f64,
    /// 95 % limits for the true power, from the number of runs (Wilson).
    pub interval: Interval,
    /// Simulated trials.
    pub runs: usize,
    /// Successes among them.
    pub successes: usize,
    /// Runs whose fit failed or did not converge; they count as no success and are never dropped.
    pub failed_fits: usize,
    /// Remarks.
    pub notes: Vec<Note>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Outcome {
    Success,
    NoSuccess,
    FailedFit,
}

/// Simulates `trial` many times, analyses each and counts how often the `question` is answered.
///
/// Run i draws from stream i of the generator, so results do not depend on threads.
///
/// # Errors
/// A layout that [`Design::new`] refuses, a question about columns that cannot be estimated, standard deviations that are negative, numbers
/// out of range, no runs.
pub fn simulate_power(
    trial: &PlannedTrial,
    analysis: Analysis,
    question: &Question,
    options: SimulationOptions,
) -> Result<SimulatedPower> {
    trial.check()?;
    if options.runs == 0 {
        return Err(StatsError::TooFewValues { what: "a simulation", needed: 1, found: 0 });
    }
    let question = Prepared::new(question, &trial.design(trial.mean.clone(), analysis)?)?;
    let outcomes: Vec<Outcome> = (0..options.runs)
        .into_par_iter()
        .map(|run| {
            let mut random = ChaCha8Rng::seed_from_u64(options.seed);
            random.set_stream(run as u64);
            trial.analyse(trial.draw(&mut random), analysis, &question)
        })
        .collect();
    let count = |wanted: Outcome| outcomes.iter().filter(|outcome| **outcome == wanted).count();
    let (successes, failed_fits) = (count(Outcome::Success), count(Outcome::FailedFit));
    let runs = options.runs as f64;
    let power = successes as f64 / runs;
    let mut notes = Vec::new();
    if failed_fits > 0 {
        notes.push(Note::new(
            "failed-fits",
            format!("{failed_fits} of {} simulated trials could not be fitted and count as no success", options.runs),
        ));
    }
    Ok(SimulatedPower {
        power,
        std_error: (power * (1.0 - power) / runs).sqrt(),
        interval: wilson(successes as u64, options.runs as u64, 0.95)?,
        runs: options.runs,
        successes,
        failed_fits,
        notes,
    })
}

impl PlannedTrial {
    fn check(&self) -> Result<()> {
        check_length("the true means", self.mean.len(), self.fixed.nrows())?;
        for (term, sd) in &self.random {
            check_sd(*sd)?;
            // Here a group per row is a part of the truth, not something to be estimated.
            term.check(self.mean.len(), true)?;
        }
        check_sd(self.sigma)?;
        if self.sigma == 0.0 {
            return Err(StatsError::OutOfRange {
                what: "the residual standard deviation",
                value: 0.0,
                expected: "a number above 0",
            });
        }
        Ok(())
    }

    fn design(&self, response: Vec<f64>, analysis: Analysis) -> Result<Design> {
        let random = match analysis {
            Analysis::LeastSquares => Vec::new(),
            Analysis::Mixed => self.random.iter().map(|(term, _)| term.clone()).collect(),
        };
        Design::new(response, self.fixed.clone(), self.names.clone(), random, None)
    }

    fn draw(&self, random: &mut ChaCha8Rng) -> Vec<f64> {
        let mut response = self.mean.clone();
        for (term, sd) in &self.random {
            let size = term.n_columns();
            let independent: Vec<f64> =
                (0..size * size).map(|at| f64::from(u8::from(at / size == at % size))).collect();
            add_effects(&mut response, term, &independent, *sd, random);
        }
        response.iter_mut().for_each(|value| *value += self.sigma * normal(random));
        response
    }

    fn analyse(&self, response: Vec<f64>, analysis: Analysis, question: &Prepared) -> Outcome {
        let Ok(design) = self.design(response, analysis) else { return Outcome::FailedFit };
        let answer = match analysis {
            Analysis::LeastSquares => LeastSquares.fit(&design).and_then(|fit| question.ask(&fit)),
            Analysis::Mixed => match Lmm::reml().fit(&design) {
                Ok(fit) if fit.optimum().converged => question.ask(&fit),
                _ => return Outcome::FailedFit,
            },
        };
        match answer {
            Ok(true) => Outcome::Success,
            Ok(false) => Outcome::NoSuccess,
            Err(_) => Outcome::FailedFit,
        }
    }
}

fn normal(random: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(random)
}

fn check_sd(sd: f64) -> Result<()> {
    if sd >= 0.0 && sd.is_finite() {
        return Ok(());
    }
    Err(StatsError::OutOfRange { what: "a standard deviation", value: sd, expected: "a finite number, not below 0" })
}

/// A question over the kept columns, checked once.
enum Prepared {
    Contrast { row: Vec<f64>, alpha: f64 },
    ShortOptimumSet { curve: Quadratic, alpha: f64, share: f64 },
    NearBest { curve: Quadratic, best: f64, tolerance: f64 },
}

impl Prepared {
    fn new(question: &Question, design: &Design) -> Result<Self> {
        let kept = |curve: &Quadratic| -> Result<Quadratic> {
            check_finite("the range of the curve", &[curve.low, curve.high])?;
            if !(curve.low < curve.high) {
                return Err(StatsError::OutOfRange {
                    what: "the highest setting",
                    value: curve.high,
                    expected: "a number above the lowest setting",
                });
            }
            Ok(Quadratic {
                linear: design.estimable_row(&curve.linear)?,
                square: design.estimable_row(&curve.square)?,
                ..*curve
            })
        };
        Ok(match question {
            Question::Contrast { row, alpha } => {
                check_level("the significance level", *alpha)?;
                Self::Contrast { row: design.estimable_row(row)?, alpha: *alpha }
            }
            Question::ShortOptimumSet { curve, alpha, share } => {
                check_level("the significance level", *alpha)?;
                check_level("the share of the range", *share)?;
                Self::ShortOptimumSet { curve: kept(curve)?, alpha: *alpha, share: *share }
            }
            Question::NearBest { curve, best, tolerance } => {
                check_finite("the best setting", &[*best])?;
                if !(*tolerance > 0.0 && tolerance.is_finite()) {
                    return Err(StatsError::OutOfRange {
                        what: "the tolerance",
                        value: *tolerance,
                        expected: "a finite number above 0",
                    });
                }
                Self::NearBest { curve: kept(curve)?, best: *best, tolerance: *tolerance }
            }
        })
    }

    fn ask(&self, fit: &impl LinearFit) -> Result<bool> {
        match self {
            Self::Contrast { row, alpha } => Ok(fit.contrast(row)?.p_value() < *alpha),
            Self::ShortOptimumSet { curve, alpha, share } => {
                let span = optimum_span(curve, fit, *alpha)?;
                Ok(span.is_some_and(|set| set.width() < share * (curve.high - curve.low)))
            }
            Self::NearBest { curve, best, tolerance } => {
                let range = Interval { low: curve.low, high: curve.high };
                let chosen = curve.rows().constrained_argmax(fit.coefficients(), 0.0, range);
                Ok((chosen - best).abs() <= *tolerance)
            }
        }
    }
}

impl Quadratic {
    fn rows(&self) -> QuadraticRows {
        QuadraticRows { slope: self.linear.clone(), curvature: self.square.clone(), centre: 0.0 }
    }
}

/// From the lowest to the highest member of the confidence set for the optimum; `None` when it is empty.
fn optimum_span(curve: &Quadratic, fit: &impl LinearFit, alpha: f64) -> Result<Option<Interval>> {
    let mut span: Option<Interval> = None;
    let rows = curve.rows();
    for i in 0..=GRID {
        let x = curve.low + (curve.high - curve.low) * i as f64 / GRID as f64;
        let slope = fit.contrast(&rows.slope_at(x))?;
        let two_sided = slope.t().abs() <= t_quantile(1.0 - 0.5 * alpha, slope.df);
        let one_sided = t_quantile(1.0 - alpha, slope.df);
        let inside =
            two_sided && i > 0 && i < GRID || i == 0 && slope.t() <= one_sided || i == GRID && slope.t() >= -one_sided;
        if inside {
            span = Some(Interval { low: span.map_or(x, |set| set.low), high: x });
        }
    }
    Ok(span)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve() -> Quadratic {
        Quadratic { linear: vec![0.0, 1.0, 0.0], square: vec![0.0, 0.0, 1.0], low: 0.0, high: 10.0 }
    }

    #[test]
    fn the_highest_setting_is_the_turning_point_only_when_the_curve_is_hollow_below() {
        let range = Interval { low: 0.0, high: 10.0 };
        let highest = |b1: f64, b2: f64| curve().rows().constrained_argmax(&[0.0, b1, b2], 0.0, range);
        assert_eq!(highest(6.0, -1.0), 3.0);
        assert_eq!(highest(-6.0, 1.0), 10.0);
        assert_eq!(highest(-12.0, 1.0), 0.0);
        assert_eq!(highest(2.0, 0.0), 10.0);
        assert_eq!(highest(40.0, -1.0), 10.0);
        assert_eq!(highest(0.0, 0.0), 0.0);
    }

    fn fit_of(response: impl Fn(f64) -> f64) -> crate::least_squares::LeastSquaresFit {
        let x: Vec<f64> = (0..22).map(|i| f64::from(i / 2)).collect();
        let fixed = Array2::from_shape_fn((22, 3), |(i, j)| x[i].powi(j as i32));
        let y = x.iter().enumerate().map(|(i, x)| response(*x) + if i % 2 == 0 { 0.1 } else { -0.1 }).collect();
        let names = ["one", "x", "x2"].map(String::from).to_vec();
        LeastSquares.fit(&Design::new(y, fixed, names, vec![], None).expect("valid")).expect("fit")
    }

    #[test]
    fn the_optimum_set_surrounds_a_clear_maximum_and_spans_everything_around_a_clear_minimum() {
        let hill = optimum_span(&curve(), &fit_of(|x| -(x - 4.0).powi(2)), 0.05).expect("span").expect("a set");
        assert!(hill.contains(4.0) && hill.width() < 0.5, "{hill:?}");
        let valley = optimum_span(&curve(), &fit_of(|x| (x - 4.0).powi(2)), 0.05).expect("span").expect("a set");
        assert_eq!((valley.low, valley.high), (0.0, 10.0));
        let ascent = optimum_span(&curve(), &fit_of(|x| 3.0 * x), 0.05).expect("span").expect("a set");
        assert_eq!((ascent.low, ascent.high), (10.0, 10.0));
    }
}
