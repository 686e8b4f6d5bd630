//! Beta-binomial regression: counts whose success probability varies from row to row around its mean.
//!
//! With mean m = 1 / (1 + exp(-x'β)) and `α = 1/phi`, a row of k successes in n trials has the log-likelihood
//! `Σ_{j<k} log(m + jα) + Σ_{j<n-k} log(1 - m + jα) - Σ_{j<n} log(1 + jα)` plus the binomial coefficient (Williams 1982, Appl. Stat.
//! 31:144-148). In this form nothing special happens at the binomial limit α = 0, where gamma functions would cancel to nothing. The
//! search runs over a with α = a², so that the limit is a stationary point and no bound is needed.

use super::coefficients::{Coefficients, answer_linear_fit};
use super::design::BinomialDesign;
use super::kernel::{criterion_constants, probabilities, saturated};
use super::logistic::Logistic;
use super::objective::{add_row, mirror};
use crate::checks::{check_finite, check_length};
use crate::dense::{cholesky_in_place, dot, inverse_from_cholesky};
use crate::error::{Result, StatsError};
use crate::newton::{Local, minimise};
use crate::note::Note;
use crate::search_record::SearchRecord;

/// Beta-binomial regression with a logit link and one dispersion, by maximum likelihood; random terms of the design are ignored.
///
/// ```
/// use evenstand_stats::{BetaBinomial, BinomialDesign};
/// use ndarray::Array2;
///
/// let design = BinomialDesign::new(
///     vec![1.0, 9.0, 4.0, 7.0], vec![10.0; 4], Array2::ones((4, 1)), vec!["mean".into()], vec![],
/// )?;
/// let fit = BetaBinomial.fit(&design)?;
/// assert!(fit.correlation() > 0.1);
/// # Ok::<(), evenstand_stats::StatsError>(())
/// ```
#[derive(Debug, Clone, Copy, Default)]
pub struct BetaBinomial;

/// Result of [`BetaBinomial::fit`]; its contrasts are z tests.
#[derive(Debug, Clone)]
pub struct BetaBinomialFit {
    coefficients: Coefficients,
    alpha: f64,
    std_error_of_log_phi: Option<f64>,
    log_likelihood: f64,
    probabilities: Vec<f64>,
    record: SearchRecord,
    notes: Vec<Note>,
    n_observations: usize,
}

answer_linear_fit!(BetaBinomialFit);

/// The likelihood is a sum over trials; more of them take minutes.
const MOST_TRIALS: f64 = 1e8;

const STEP_LIMIT: usize = 100;

const LONGEST_STEP: f64 = 0.7;

/// Below this a, a correlation of 1e-6, the fit is compared with the binomial limit.
const NEAR_BINOMIAL: f64 = 1e-3;

impl BetaBinomial {
    /// Fits the fixed columns and the dispersion.
    ///
    /// Rows that scatter no more than binomial counts give a correlation of zero, with a note; the fit is then the binomial one.
    ///
    /// # Errors
    /// Only single trials (which show no dispersion), more than 1e8 trials, fewer rows than coefficients and one more, fixed columns
    /// that separate the data, numbers that overflow.
    pub fn fit(&self, design: &BinomialDesign) -> Result<BetaBinomialFit> {
        check_trials(design)?;
        let (rows, rank) = (design.n_observations(), design.rank());
        if rows <= rank {
            return Err(StatsError::TooFewRows { rows, coefficients: rank });
        }
        let binomial = Logistic::ordinary().fit(design)?;
        if let Some(found) = binomial.separation() {
            return Err(StatsError::NoFiniteMaximum { column: found.columns[0].clone() });
        }
        // Variance of a row: n m (1 - m) (1 + (n - 1) rho).
        let mean_trials = design.trials().iter().sum::<f64>() / rows as f64;
        let excess = binomial.pearson_chi_squared() / (rows - rank) as f64 - 1.0;
        let rho = (excess / (mean_trials - 1.0)).clamp(0.005, 0.5);
        let mut start = binomial.point.clone();
        start.push((rho / (1.0 - rho)).sqrt());
        let mut evaluations = 0;
        let objective = |point: &[f64]| {
            evaluations += 1;
            local(design, point)
        };
        let minimum = minimise(objective, &start, STEP_LIMIT, LONGEST_STEP)
            .ok_or(StatsError::Numerical { step: "the start of beta-binomial regression" })?;
        let mut notes = design.columns.aliasing.notes();
        let root = minimum.point[rank];
        let mut limit = binomial.point.clone();
        limit.push(0.0);
        let at_limit = local(design, &limit).map_or(f64::INFINITY, |local| local.value);
        let record = SearchRecord::of(&minimum, evaluations);
        if root.abs() < NEAR_BINOMIAL && at_limit <= minimum.local.value + 1e-9 {
            notes.push(Note::new(
                "boundary",
                "the dispersion was estimated as zero: the rows scatter no more than binomial counts, which does not show that \
                 there is none; the fit is the binomial one",
            ));
            return Ok(BetaBinomialFit {
                coefficients: binomial.coefficients.clone(),
                alpha: 0.0,
                std_error_of_log_phi: None,
                log_likelihood: criterion_constants(design.successes(), design.trials()) - at_limit,
                probabilities: binomial.probabilities().to_vec(),
                record: SearchRecord { evaluations, ..binomial.record().clone() },
                notes,
                n_observations: rows,
            });
        }
        notes.extend(record.note());
        let size = rank + 1;
        let mut factor = minimum.local.hessian.clone();
        // Without a maximum there is no covariance; the record says so, and NaN stands for every standard error.
        let covariance = if cholesky_in_place(&mut factor, size) {
            inverse_from_cholesky(&factor, size, size)
        } else {
            vec![f64::NAN; size * size]
        };
        let on_basis = (0..rank).flat_map(|i| covariance[i * size..i * size + rank].to_vec()).collect();
        let coefficients = Coefficients::new(&design.columns, &minimum.point[..rank], on_basis, f64::INFINITY, "z");
        // log phi = -2 log a.
        let spread = 2.0 * covariance[size * size - 1].sqrt() / root.abs();
        let fixed = |row: &[f64]| probabilities(dot(row, &minimum.point[..rank])).0;
        Ok(BetaBinomialFit {
            coefficients,
            alpha: root * root,
            std_error_of_log_phi: Some(spread).filter(|error| error.is_finite()),
            log_likelihood: criterion_constants(design.successes(), design.trials()) - minimum.local.value,
            probabilities: design.columns.basis.chunks_exact(rank).map(fixed).collect(),
            record,
            notes,
            n_observations: rows,
        })
    }

    /// Log-likelihood with binomial coefficients at given `coefficients` (p, on the kept columns) and correlation `rho` in [0, 1).
    ///
    /// # Errors
    /// Arguments of the wrong length, not finite or out of range; more than 1e8 trials.
    pub fn log_likelihood_at(&self, design: &BinomialDesign, coefficients: &[f64], rho: f64) -> Result<f64> {
        check_trials(design)?;
        let rank = design.rank();
        check_length("the coefficients", coefficients.len(), rank)?;
        check_finite("the coefficients", coefficients)?;
        if !(0.0..1.0).contains(&rho) {
            return Err(StatsError::OutOfRange { what: "the correlation", value: rho, expected: "from 0 to below 1" });
        }
        let mut point = design.columns.on_basis(coefficients);
        point.push((rho / (1.0 - rho)).sqrt());
        local(design, &point)
            .map(|local| criterion_constants(design.successes(), design.trials()) - local.value)
            .ok_or(StatsError::Numerical { step: "the likelihood at the given values" })
    }
}

impl BetaBinomialFit {
    /// Correlation of two trials of a row, `rho = 1 / (1 + phi)`; 0 for binomial counts.
    pub fn correlation(&self) -> f64 {
        self.alpha / (1.0 + self.alpha)
    }

    /// Precision phi of the beta distribution, the sum of its two parameters; infinite for binomial counts.
    pub fn precision(&self) -> f64 {
        1.0 / self.alpha
    }

    /// Standard error of `log phi`; `None` at the binomial limit, where there is none, and after a search that failed.
    pub fn std_error_of_log_precision(&self) -> Option<f64> {
        self.std_error_of_log_phi
    }

    /// Fitted mean probabilities (n).
    pub fn probabilities(&self) -> &[f64] {
        &self.probabilities
    }

    /// How the search ended.
    pub fn record(&self) -> &SearchRecord {
        &self.record
    }

    fn count_parameters(&self) -> usize {
        self.coefficients.values.len() + 1
    }
}

fn check_trials(design: &BinomialDesign) -> Result<()> {
    let refuse = |reason: String, next| Err(StatsError::NotPossible { what: "the beta-binomial".into(), reason, next });
    if design.trials().iter().all(|n| *n == 1.0) {
        return refuse("every row is one trial, which shows no dispersion".into(), "use logistic regression");
    }
    let total: f64 = design.trials().iter().sum();
    if total > MOST_TRIALS {
        return refuse(
            format!("there are {total} trials, and its likelihood is a sum over each of them"),
            "use a mixed model with one group per row",
        );
    }
    Ok(())
}

/// Sums over the first `count` trials with `share` m or 1 - m: what the derivatives of `Σ log(share + jα)` need.
#[derive(Default)]
struct TrialSums {
    /// `Σ share / (share + jα)` and the sum of its squares.
    ratio: f64,
    ratio_square: f64,
    /// `Σ j / (share + jα)` and the sum of its squares.
    by_alpha: f64,
    by_alpha_square: f64,
    /// `Σ share j / (share + jα)²`.
    cross: f64,
}

/// A sum that keeps what each addition rounds off (Neumaier 1974): a hundred thousand trials add up to large numbers whose difference is
/// small, and a search that compares values must not see the rounding.
#[derive(Default)]
struct Compensated {
    sum: f64,
    lost: f64,
}

impl Compensated {
    fn add(&mut self, value: f64) {
        let sum = self.sum + value;
        self.lost += if self.sum.abs() >= value.abs() { (self.sum - sum) + value } else { (value - sum) + self.sum };
        self.sum = sum;
    }

    fn total(&self) -> f64 {
        self.sum + self.lost
    }
}

/// `log` takes up `sign Σ log(share + jα)`.
fn trial_sums(count: f64, share: f64, alpha: f64, sign: f64, log: &mut Compensated) -> TrialSums {
    let mut sums = TrialSums::default();
    for j in 0..count as u64 {
        let j = j as f64;
        let at = share + j * alpha;
        let (ratio, by_alpha) = (share / at, j / at);
        log.add(sign * at.ln());
        sums.ratio += ratio;
        sums.ratio_square += ratio * ratio;
        sums.by_alpha += by_alpha;
        sums.by_alpha_square += by_alpha * by_alpha;
        sums.cross += ratio * by_alpha;
    }
    sums
}

/// Negative log-likelihood less that of the rows' own shares under the binomial; last coordinate a.
fn local(design: &BinomialDesign, point: &[f64]) -> Option<Local> {
    let rank = design.rank();
    let size = rank + 1;
    let root = point[rank];
    let alpha = root * root;
    let mut value = Compensated::default();
    let mut gradient = vec![0.0; rank];
    let mut block = vec![0.0; rank * rank];
    let (mut by_alpha, mut by_alpha_twice) = (0.0, 0.0);
    let mut mixed = vec![0.0; rank];
    for (i, row) in design.columns.basis.chunks_exact(rank).enumerate() {
        let (k, n) = (design.successes()[i], design.trials()[i]);
        let (m, f) = probabilities(dot(row, &point[..rank]));
        let up = trial_sums(k, m, alpha, -1.0, &mut value);
        let down = trial_sums(n - k, f, alpha, -1.0, &mut value);
        let all = trial_sums(n, 1.0, alpha, 1.0, &mut value);
        value.add(saturated(k, n));
        let by_logit = f * up.ratio - m * down.ratio;
        let by_logit_twice = (f - m) * by_logit - f * f * up.ratio_square - m * m * down.ratio_square;
        // m' = m f, so ∂(share/(share + jα)) carries the factor left out here: see `by_logit`.
        add_row(&mut gradient, &mut block, row, -by_logit, -by_logit_twice);
        by_alpha -= up.by_alpha + down.by_alpha - all.by_alpha;
        by_alpha_twice += up.by_alpha_square + down.by_alpha_square - all.by_alpha_square;
        let cross = f * up.cross - m * down.cross;
        for j in 0..rank {
            mixed[j] += cross * row[j];
        }
    }
    mirror(&mut block, rank);
    gradient.push(2.0 * root * by_alpha);
    let mut hessian = vec![0.0; size * size];
    for i in 0..rank {
        hessian[i * size..i * size + rank].copy_from_slice(&block[i * rank..(i + 1) * rank]);
        hessian[i * size + rank] = 2.0 * root * mixed[i];
        hessian[rank * size + i] = 2.0 * root * mixed[i];
    }
    hessian[size * size - 1] = 2.0 * by_alpha + 4.0 * alpha * by_alpha_twice;
    let value = value.total();
    value.is_finite().then_some(Local { value, gradient, hessian })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::derivatives::{STEP, derivatives};
    use ndarray::Array2;

    #[test]
    fn the_criterion_has_the_derivatives_it_claims() {
        let fixed = Array2::from_shape_fn((6, 2), |(i, j)| if j == 0 { 1.0 } else { (i as f64).sqrt() });
        let design = BinomialDesign::new(
            vec![0.0, 4.0, 3.0, 9.0, 1.0, 12.0],
            vec![5.0, 7.0, 3.0, 20.0, 1.0, 14.0],
            fixed,
            vec!["one".into(), "x".into()],
            vec![],
        )
        .expect("valid design");
        for root in [0.3, 1.4, -0.05] {
            let point = [0.2, -0.5, root];
            let found = local(&design, &point).expect("a value");
            let numeric =
                derivatives(|p| local(&design, p).map(|l| vec![l.value]), &point, 0.25 * STEP).expect("values");
            for a in 0..3 {
                assert!((found.gradient[a] - numeric.gradient[a][0]).abs() < 1e-7, "root {root}, {a}");
                for b in 0..3 {
                    let (x, y) = (found.hessian[a * 3 + b], numeric.hessian[a * 3 + b][0]);
                    assert!((x - y).abs() < 1e-5 * (1.0 + y.abs()), "root {root}: {x} {y}");
                }
            }
        }
    }
}
