//! Intervals of standard deviations and correlations by the likelihood's own profile.

use super::fit::Lmm;
use super::layout::Layout;
use super::optimizer::{UPPER_LIMIT, bounded_search};
use super::profile::{Criterion, Profile, Workspace};
use super::result::LmmFit;
use crate::checks::check_level;
use crate::design::Design;
use crate::distribution::chi_squared_quantile;
use crate::error::{Result, StatsError};
use crate::interval::Interval;
use crate::random_term::Structure;

/// Profile-likelihood interval of one standard deviation.
#[derive(Debug, Clone, PartialEq)]
pub struct VarianceInterval {
    /// Name of the term (with its column in brackets where it has several), or `residual`.
    pub term: String,
    /// Estimated standard deviation, in response units (per unit of the column).
    pub estimate: f64,
    /// All values whose deviance is within the chi-squared quantile of the smallest. Low is exactly 0 where zero is among them; high is
    /// infinite where no value is too large, which happens with two groups.
    pub interval: Interval,
}

/// Intervals at `level` for the standard deviation of every random column and of the residual, by the likelihood that `fit` maximised.
///
/// For each value of one standard deviation all other parameters are put at their best; the interval holds the values with
/// `-2 log L` at most the `level` quantile of chi-squared with one degree of freedom above its minimum. Unlike `estimate ± 2 SE` it respects
/// the edge at zero and the skewness (Bates and others 2015, section 5.1). At zero itself the level is at least the nominal one.
///
/// # Errors
/// A level outside (0, 1); a fit that is not at its maximum; as [`Lmm::fit`].
pub fn variance_intervals(design: &Design, fit: &LmmFit, level: f64) -> Result<Vec<VarianceInterval>> {
    check_level("the level", level)?;
    let rise = chi_squared_quantile(level, 1.0);
    let mut intervals = Vec::new();
    for (k, term) in design.random().iter().enumerate() {
        let columns = if term.structure == Structure::Correlated { term.n_columns() } else { 1 };
        for column in 0..columns {
            // Only the first column's standard deviation is one theta, so every column takes its turn in front.
            let mut random = design.random().to_vec();
            random[k].columns.rotate_left(column);
            random[k].column_names.rotate_left(column);
            let turned = design.with_random(random)?;
            let turned_fit = if column == 0 { None } else { Some(likelihood(fit.likelihood()).fit(&turned)?) };
            let turned_fit = turned_fit.as_ref().unwrap_or(fit);
            let mut curve = Curve::new(&turned, turned_fit, Held::First(k))?;
            let estimate = fit.sigma() * turned_fit.theta()[curve.held_theta()];
            intervals.push(VarianceInterval {
                term: term.label(column),
                estimate,
                interval: curve.interval(estimate, rise)?,
            });
        }
    }
    if !design.sampling_variances_known() {
        let mut curve = Curve::new(design, fit, Held::Sigma)?;
        let interval = curve.interval(fit.sigma(), rise)?;
        intervals.push(VarianceInterval { term: "residual".into(), estimate: fit.sigma(), interval });
    }
    Ok(intervals)
}

fn likelihood(criterion: Criterion) -> Lmm {
    match criterion {
        Criterion::Reml => Lmm::reml(),
        Criterion::MaximumLikelihood => Lmm::maximum_likelihood(),
    }
}

/// Which parameter is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Held {
    /// The standard deviation of the first column of a term.
    First(usize),
    Sigma,
}

/// The profiled deviance as a function of the held standard deviation.
struct Curve {
    profile: Profile,
    work: Workspace,
    criterion: Criterion,
    held: Held,
    smallest: f64,
    sigma: f64,
    /// Free parameters where the last search ended: sigma over its estimate (unless held or known), then free thetas in their units.
    free: Vec<f64>,
    lower: Vec<f64>,
}

impl Curve {
    fn new(design: &Design, fit: &LmmFit, held: Held) -> Result<Self> {
        let (_, profile) = Profile::of(design)?;
        let mut curve = Self {
            work: profile.workspace(),
            criterion: fit.likelihood(),
            held,
            smallest: fit.criterion(),
            sigma: fit.sigma(),
            free: Vec::new(),
            lower: Vec::new(),
            profile,
        };
        if held != Held::Sigma && !curve.profile.sigma_known() {
            curve.free.push(1.0);
            curve.lower.push(1e-6);
        }
        for index in curve.free_thetas() {
            curve.free.push(fit.theta()[index] / curve.profile.unit()[index]);
            curve.lower.push(if curve.layout().parameters[index].is_diagonal() { 0.0 } else { -UPPER_LIMIT });
        }
        Ok(curve)
    }

    fn layout(&self) -> &Layout {
        &self.profile.layout
    }

    /// Index of the held theta (0 for sigma, where it is not used).
    fn held_theta(&self) -> usize {
        match self.held {
            Held::First(k) => self.layout().templates[k].first,
            Held::Sigma => 0,
        }
    }

    fn free_thetas(&self) -> Vec<usize> {
        let all = 0..self.profile.n_parameters();
        match self.held {
            Held::First(_) => all.filter(|&index| index != self.held_theta()).collect(),
            Held::Sigma => all.collect(),
        }
    }

    /// Smallest deviance with the held standard deviation at `value`, less the overall smallest.
    fn rise(&mut self, value: f64) -> Result<f64> {
        let thetas = self.free_thetas();
        let (held, held_theta, criterion, sigma_hat) = (self.held, self.held_theta(), self.criterion, self.sigma);
        let sigma_free = held != Held::Sigma && !self.profile.sigma_known();
        let (profile, work) = (&self.profile, &mut self.work);
        let mut theta = vec![0.0; profile.n_parameters()];
        let mut deviance = |free: &[f64]| -> f64 {
            let sigma = match held {
                Held::Sigma => value,
                Held::First(_) if sigma_free => sigma_hat * free[0],
                Held::First(_) => 1.0,
            };
            for (&index, value) in thetas.iter().zip(&free[usize::from(sigma_free)..]) {
                theta[index] = value * profile.unit()[index];
            }
            if held != Held::Sigma {
                theta[held_theta] = value / sigma;
            }
            if profile.factor(&theta, work) { profile.deviance_at_sigma(work, criterion, sigma) } else { f64::INFINITY }
        };
        if self.free.is_empty() {
            return Ok(deviance(&[]) - self.smallest);
        }
        let mut found = bounded_search(&mut deviance, &self.free, &self.lower, 0.2, 1e-7);
        // A second search from where the first one stopped costs little and rescues one that stopped early.
        let again = bounded_search(&mut deviance, &found.point, &self.lower, 0.05, 1e-7);
        if again.value < found.value {
            found = again;
        }
        if !found.value.is_finite() {
            return Err(StatsError::Numerical { step: "the search along the likelihood's profile" });
        }
        self.free = found.point;
        Ok(found.value - self.smallest)
    }

    /// Values whose rise is at most `limit`.
    fn interval(&mut self, estimate: f64, limit: f64) -> Result<Interval> {
        let best = self.free.clone();
        let low = if self.held == Held::Sigma {
            let mut outside = 0.8 * estimate;
            while self.rise(outside)? <= limit && outside > 1e-6 * estimate {
                outside *= 0.8;
            }
            self.free.clone_from(&best);
            self.crossing(estimate, outside, limit)?
        } else if estimate == 0.0 || self.rise(0.0)? <= limit {
            0.0
        } else {
            self.free.clone_from(&best);
            self.crossing(estimate, 0.0, limit)?
        };
        self.free.clone_from(&best);
        let mut inside = estimate;
        let mut outside = if estimate > 0.0 { 1.5 * estimate } else { 0.5 * self.sigma * self.unit_of_held() };
        for _ in 0..40 {
            if self.rise(outside)? > limit {
                let high = self.crossing(inside, outside, limit)?;
                // A fit whose search stopped early may lie outside its own limits: there is no profile around it then.
                return if low <= estimate && estimate <= high {
                    Ok(Interval { low, high })
                } else {
                    Err(StatsError::Numerical {
                        step: "the likelihood's profile, because the fit is not at its maximum",
                    })
                };
            }
            inside = outside;
            outside *= 1.6;
        }
        Ok(Interval { low, high: f64::INFINITY })
    }

    fn unit_of_held(&self) -> f64 {
        self.profile.unit().get(self.held_theta()).copied().unwrap_or(1.0)
    }

    /// The value between `inside` (rise within the limit) and `outside` (above it) where the rise is the limit: regula falsi with
    /// the Illinois modification on the root of the rise, which is nearly linear.
    fn crossing(&mut self, inside: f64, outside: f64, limit: f64) -> Result<f64> {
        let target = limit.sqrt();
        let (mut a, mut b) = (inside, outside);
        let mut f_a = self.rise(a)?.max(0.0).sqrt() - target;
        let mut f_b = self.rise(b)?.max(0.0).sqrt() - target;
        for _ in 0..60 {
            let middle = (a * f_b - b * f_a) / (f_b - f_a);
            let f = self.rise(middle)?.max(0.0).sqrt() - target;
            if f.abs() < 1e-9 || (b - a).abs() < 1e-9 * (a.abs() + b.abs()) {
                return Ok(middle);
            }
            // Illinois: an end that stays for two steps counts half, so that it moves too.
            if (f > 0.0) == (f_b > 0.0) {
                f_a *= 0.5;
            } else {
                (a, f_a) = (b, f_b);
            }
            (b, f_b) = (middle, f);
        }
        Ok(b)
    }
}
