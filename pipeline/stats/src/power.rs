//! How likely a planned trial is to show a difference that exists: randomised blocks, complete or balanced incomplete, alone or in a series.

use crate::checks::check_finite;
use crate::distribution::{
    f_quantile, noncentral_f_sf, noncentral_t_cdf, noncentral_t_sf, solve_bracketed, t_quantile,
};
use crate::error::{Result, StatsError};

/// Most blocks or trials tried when looking for a number that is enough.
const MOST: usize = 100_000;

/// Treatments randomised in blocks, each treatment at most once per block.
///
/// The model is `mean + block + treatment + error`, blocks may be fixed or random, and what is recovered from differences between blocks of an
/// incomplete plan is left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BlockPlan {
    treatments: usize,
    blocks: usize,
    plots_per_block: usize,
}

/// A power with the quantities it rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Power {
    /// Probability that the test rejects.
    pub power: f64,
    /// Noncentrality: of t (effect over its standard error), or of F (a sum of squares over the error variance).
    pub noncentrality: f64,
    /// Standard error of the contrast when the variances are as stated; `None` for an F test.
    pub std_error: Option<f64>,
    /// Numerator degrees of freedom; 1 for a contrast.
    pub numerator_df: f64,
    /// Error degrees of freedom.
    pub denominator_df: f64,
    /// Value that F, or the absolute t, must exceed.
    pub critical: f64,
}

impl BlockPlan {
    /// Every treatment once in every block.
    ///
    /// # Errors
    /// Fewer than two treatments or blocks.
    pub fn complete(treatments: usize, blocks: usize) -> Result<Self> {
        check_count("the number of treatments", treatments)?;
        check_count("the number of blocks", blocks)?;
        Ok(Self { treatments, blocks, plots_per_block: treatments })
    }

    /// Blocks too small for all treatments, any two treatments together in equally many blocks.
    ///
    /// # Errors
    /// Numbers for which no balanced incomplete plan exists: treatments not equally often, pairs not equally often together, or
    /// fewer blocks than treatments (Fisher 1940). The conditions are necessary; for a few numbers that meet them no plan is known.
    pub fn balanced_incomplete(treatments: usize, blocks: usize, plots_per_block: usize) -> Result<Self> {
        check_count("the number of treatments", treatments)?;
        check_count("the number of blocks", blocks)?;
        check_count("the number of plots per block", plots_per_block)?;
        let (t, b, k) = (treatments, blocks, plots_per_block);
        let refuse = |reason: String| {
            Err(StatsError::NotPossible {
                what: format!("a balanced incomplete plan of {t} treatments in {b} blocks of {k}"),
                reason,
                next: "change the number of blocks",
            })
        };
        if k > t {
            return refuse("a block has more plots than there are treatments".into());
        }
        if b * k % t != 0 {
            return refuse(format!("{} plots cannot be shared equally by {t} treatments", b * k));
        }
        let replicates = b * k / t;
        if replicates * (k - 1) % (t - 1) != 0 {
            return refuse(format!(
                "a treatment meets {} others, which cannot be shared equally by {}",
                replicates * (k - 1),
                t - 1
            ));
        }
        if k < t && b < t {
            return refuse(format!("at least {t} blocks are needed"));
        }
        Ok(Self { treatments, blocks, plots_per_block })
    }

    /// Number of treatments.
    pub fn treatments(&self) -> usize {
        self.treatments
    }

    /// Number of blocks.
    pub fn blocks(&self) -> usize {
        self.blocks
    }

    /// Plots of each treatment, `r = b k / t`.
    pub fn replicates(&self) -> usize {
        self.blocks * self.plots_per_block / self.treatments
    }

    /// Efficiency factor `t (k - 1) / (k (t - 1))`: share of the information of complete blocks with the same number of plots and the same error variance; 1 when complete.
    pub fn efficiency(&self) -> f64 {
        let (t, k) = (self.treatments as f64, self.plots_per_block as f64);
        t * (k - 1.0) / (k * (t - 1.0))
    }

    /// Error degrees of freedom within blocks, `b k - b - t + 1`.
    pub fn error_df(&self) -> f64 {
        (self.blocks * (self.plots_per_block - 1) + 1 - self.treatments) as f64
    }

    /// Power of the F test of equal treatment means; `means` are the true ones (t), `sigma` the error standard deviation.
    ///
    /// Noncentrality `r E Σ (mean_i - mean)² / sigma²` with r replicates and efficiency E.
    ///
    /// # Errors
    /// Another number of means, values that are not finite, `sigma` not above zero, `alpha` outside (0, 1).
    pub fn f_power(&self, means: &[f64], sigma: f64, alpha: f64) -> Result<Power> {
        crate::checks::check_length("the true means", means.len(), self.treatments)?;
        check_finite("the true means", means)?;
        check_scale(sigma, alpha)?;
        let centre = means.iter().sum::<f64>() / means.len() as f64;
        let spread: f64 = means.iter().map(|mean| (mean - centre).powi(2)).sum();
        let noncentrality = self.replicates() as f64 * self.efficiency() * spread / (sigma * sigma);
        let (numerator_df, denominator_df) = (self.treatments as f64 - 1.0, self.checked_df()?);
        let critical = f_quantile(1.0 - alpha, numerator_df, denominator_df);
        // So far out that the estimated variance would have to be 1e8 times too large: the test rejects for certain.
        let certain = noncentrality > 1e8 * (numerator_df * critical).max(1.0);
        let power = if certain { 1.0 } else { noncentral_f_sf(critical, numerator_df, denominator_df, noncentrality) };
        if power.is_nan() {
            return Err(StatsError::OutOfRange {
                what: "the noncentrality of the F test",
                value: noncentrality,
                expected: "at most 1e9; state smaller differences",
            });
        }
        Ok(Power { power, noncentrality, std_error: None, numerator_df, denominator_df, critical })
    }

    /// Power of the two-sided t test of a contrast whose true value is `value`; `weights` (t) sum to zero.
    ///
    /// The contrast has variance `sigma² Σ weight² / (r E)`; rejections in the wrong direction are counted, as the test does.
    ///
    /// # Errors
    /// Another number of weights, weights that do not sum to zero or are all zero, values that are not finite, `sigma` not above zero, `alpha` outside (0, 1).
    pub fn contrast_power(&self, weights: &[f64], value: f64, sigma: f64, alpha: f64) -> Result<Power> {
        let std_error = self.contrast_error(weights, sigma, alpha)?;
        t_power(value, std_error, self.checked_df()?, alpha)
    }

    /// Smallest true value of a contrast that is found with probability `power`.
    ///
    /// # Errors
    /// As [`BlockPlan::contrast_power`]; a power not between `alpha` and 1.
    pub fn detectable_contrast(&self, weights: &[f64], power: f64, sigma: f64, alpha: f64) -> Result<f64> {
        let std_error = self.contrast_error(weights, sigma, alpha)?;
        detectable(std_error, self.checked_df()?, power, alpha)
    }

    /// The complete plan with the fewest blocks whose F test has at least the given `power`, and that power.
    ///
    /// # Errors
    /// As [`BlockPlan::f_power`]; equal means; a power outside (alpha, 1); more than 100 000 blocks needed.
    pub fn enough_for_f(means: &[f64], sigma: f64, alpha: f64, power: f64) -> Result<(Self, Power)> {
        let plan = |blocks| {
            let plan = Self::complete(means.len(), blocks)?;
            Ok((plan, plan.f_power(means, sigma, alpha)?))
        };
        smallest(2, power, alpha, plan)
    }

    /// The complete plan with the fewest blocks whose t test of a contrast has at least the given `power`, and that power.
    ///
    /// # Errors
    /// As [`BlockPlan::contrast_power`]; a value of zero; a power outside (alpha, 1); more than 100 000 blocks needed.
    pub fn enough_for_contrast(
        weights: &[f64],
        value: f64,
        sigma: f64,
        alpha: f64,
        power: f64,
    ) -> Result<(Self, Power)> {
        let plan = |blocks| {
            let plan = Self::complete(weights.len(), blocks)?;
            Ok((plan, plan.contrast_power(weights, value, sigma, alpha)?))
        };
        smallest(2, power, alpha, plan)
    }

    fn contrast_error(&self, weights: &[f64], sigma: f64, alpha: f64) -> Result<f64> {
        check_scale(sigma, alpha)?;
        let squares = check_weights(weights, self.treatments)?;
        Ok(sigma * (squares / (self.replicates() as f64 * self.efficiency())).sqrt())
    }

    fn checked_df(&self) -> Result<f64> {
        let df = self.error_df();
        if df > 0.0 {
            return Ok(df);
        }
        Err(StatsError::NotPossible {
            what: "a test in this plan".into(),
            reason: format!("{} blocks of {} leave no error degrees of freedom", self.blocks, self.plots_per_block),
            next: "add blocks",
        })
    }
}

/// The same block plan repeated in several trials (places or years) between which the effects of the treatments vary at random.
///
/// A contrast is averaged over the trials and its error is estimated from its own spread between them, on `F - 1` degrees of
/// freedom for F trials: valid whatever the variances of the treatments are. Its variance is `Σ weight² (sigma² / (r E) + tau²) / F`, where tau
/// is the standard deviation of one treatment's effect between trials. More blocks in a trial do not reduce the tau part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrialSeries {
    plan: BlockPlan,
    trials: usize,
    treatment_by_trial_sd: f64,
}

impl TrialSeries {
    /// `trials` times the `plan`, with `treatment_by_trial_sd` tau.
    ///
    /// # Errors
    /// Fewer than two trials (the variation between trials cannot be told from one), or a standard deviation that is negative or not finite.
    pub fn new(plan: BlockPlan, trials: usize, treatment_by_trial_sd: f64) -> Result<Self> {
        check_count("the number of trials", trials)?;
        if !(treatment_by_trial_sd >= 0.0 && treatment_by_trial_sd.is_finite()) {
            return Err(StatsError::OutOfRange {
                what: "the standard deviation of treatment effects between trials",
                value: treatment_by_trial_sd,
                expected: "a finite number, not below 0",
            });
        }
        Ok(Self { plan, trials, treatment_by_trial_sd })
    }

    /// Number of trials.
    pub fn trials(&self) -> usize {
        self.trials
    }

    /// Power of the two-sided t test of a contrast over all trials. Arguments and errors as in [`BlockPlan::contrast_power`].
    ///
    /// # Errors
    /// As [`BlockPlan::contrast_power`].
    pub fn contrast_power(&self, weights: &[f64], value: f64, sigma: f64, alpha: f64) -> Result<Power> {
        t_power(value, self.contrast_error(weights, sigma, alpha)?, self.trials as f64 - 1.0, alpha)
    }

    /// Smallest true value of a contrast that is found with probability `power`.
    ///
    /// # Errors
    /// As [`BlockPlan::detectable_contrast`].
    pub fn detectable_contrast(&self, weights: &[f64], power: f64, sigma: f64, alpha: f64) -> Result<f64> {
        detectable(self.contrast_error(weights, sigma, alpha)?, self.trials as f64 - 1.0, power, alpha)
    }

    /// The shortest series of this plan whose test of a contrast has at least the given `power`, and that power.
    ///
    /// # Errors
    /// As [`BlockPlan::enough_for_contrast`], and as [`TrialSeries::new`].
    pub fn enough_for_contrast(
        plan: BlockPlan,
        treatment_by_trial_sd: f64,
        weights: &[f64],
        value: f64,
        sigma: f64,
        alpha: f64,
        power: f64,
    ) -> Result<(Self, Power)> {
        let series = |trials| {
            let series = Self::new(plan, trials, treatment_by_trial_sd)?;
            Ok((series, series.contrast_power(weights, value, sigma, alpha)?))
        };
        smallest(2, power, alpha, series)
    }

    fn contrast_error(&self, weights: &[f64], sigma: f64, alpha: f64) -> Result<f64> {
        let within = self.plan.contrast_error(weights, sigma, alpha)?;
        let squares = check_weights(weights, self.plan.treatments)?;
        let variance = within * within + squares * self.treatment_by_trial_sd.powi(2);
        Ok((variance / self.trials as f64).sqrt())
    }
}

/// Power of the two-sided t test of any difference whose true value, standard error and degrees of freedom are stated.
///
/// # Errors
/// Values that are not finite, a standard error or degrees of freedom not above zero, `alpha` outside (0, 1).
pub fn difference_power(value: f64, std_error: f64, df: f64, alpha: f64) -> Result<Power> {
    check_scale(std_error, alpha)?;
    check_df(df)?;
    t_power(value, std_error, df, alpha)
}

/// Smallest true difference that a two-sided t test with this standard error and degrees of freedom finds with probability `power`.
///
/// # Errors
/// As [`difference_power`]; a power not between `alpha` and 1.
pub fn detectable_difference(std_error: f64, df: f64, power: f64, alpha: f64) -> Result<f64> {
    check_scale(std_error, alpha)?;
    check_df(df)?;
    detectable(std_error, df, power, alpha)
}

fn check_df(df: f64) -> Result<()> {
    if df > 0.0 && df.is_finite() {
        return Ok(());
    }
    Err(StatsError::OutOfRange { what: "the error degrees of freedom", value: df, expected: "a number above 0" })
}

fn t_power(value: f64, std_error: f64, df: f64, alpha: f64) -> Result<Power> {
    check_finite("the true value of the contrast", &[value])?;
    let critical = t_quantile(1.0 - 0.5 * alpha, df);
    let noncentrality = value / std_error;
    Ok(Power {
        power: two_sided(critical, df, noncentrality),
        noncentrality,
        std_error: Some(std_error),
        numerator_df: 1.0,
        denominator_df: df,
        critical,
    })
}

fn two_sided(critical: f64, df: f64, noncentrality: f64) -> f64 {
    // So far out that one tail is all there is; the quadrature need not try.
    if noncentrality.abs() > 1e4 * critical.max(1.0) {
        return 1.0;
    }
    (noncentral_t_sf(critical, df, noncentrality) + noncentral_t_cdf(-critical, df, noncentrality)).min(1.0)
}

fn detectable(std_error: f64, df: f64, power: f64, alpha: f64) -> Result<f64> {
    check_power(power, alpha)?;
    let critical = t_quantile(1.0 - 0.5 * alpha, df);
    let excess = |noncentrality: f64| two_sided(critical, df, noncentrality) - power;
    let mut high = 2.0;
    while excess(high) < 0.0 && high < 1e300 {
        high *= 2.0;
    }
    Ok(solve_bracketed(excess, 0.0, high) * std_error)
}

/// Smallest number of blocks or trials whose power is enough; the power grows with the number.
fn smallest<P>(first: usize, power: f64, alpha: f64, plan: impl Fn(usize) -> Result<(P, Power)>) -> Result<(P, Power)> {
    check_power(power, alpha)?;
    let (mut low, mut high) = (first - 1, first);
    let mut enough = plan(high)?;
    while enough.1.power < power {
        if high >= MOST {
            return Err(StatsError::NotPossible {
                what: format!("a power of {power}"),
                reason: format!("{high} repetitions give {:.4}", enough.1.power),
                next: "state a larger true difference, or a smaller power",
            });
        }
        low = high;
        high = (2 * high).min(MOST);
        enough = plan(high)?;
    }
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        let tried = plan(middle)?;
        if tried.1.power < power {
            low = middle;
        } else {
            (high, enough) = (middle, tried);
        }
    }
    Ok(enough)
}

fn check_count(what: &'static str, count: usize) -> Result<()> {
    if (2..=1_000_000).contains(&count) {
        return Ok(());
    }
    Err(StatsError::OutOfRange { what, value: count as f64, expected: "a number from 2 to a million" })
}

fn check_scale(sigma: f64, alpha: f64) -> Result<()> {
    if !(sigma > 0.0 && sigma.is_finite()) {
        return Err(StatsError::OutOfRange {
            what: "the error standard deviation",
            value: sigma,
            expected: "a finite number above 0",
        });
    }
    if !(alpha > 0.0 && alpha < 1.0) {
        return Err(StatsError::OutOfRange {
            what: "the significance level",
            value: alpha,
            expected: "a number between 0 and 1",
        });
    }
    Ok(())
}

fn check_power(power: f64, alpha: f64) -> Result<()> {
    if power > alpha && power < 1.0 {
        return Ok(());
    }
    Err(StatsError::OutOfRange {
        what: "the wanted power",
        value: power,
        expected: "a number above the significance level and below 1",
    })
}

/// The sum of squares of weights that form a contrast.
fn check_weights(weights: &[f64], treatments: usize) -> Result<f64> {
    crate::checks::check_length("the weights of the contrast", weights.len(), treatments)?;
    check_finite("the weights of the contrast", weights)?;
    let size: f64 = weights.iter().map(|weight| weight.abs()).sum();
    let sum: f64 = weights.iter().sum();
    if size == 0.0 || sum.abs() > 1e-9 * size {
        return Err(StatsError::OutOfRange {
            what: "the sum of the weights of the contrast",
            value: sum,
            expected: "0, with some weights that are not zero",
        });
    }
    Ok(weights.iter().map(|weight| weight * weight).sum())
}
