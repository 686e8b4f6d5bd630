//! Several comparisons at once, with the error rate of the whole family kept.

use crate::adjust::holm;
use crate::checks::check_level;
use crate::distribution::{MaximumT, Probability, Sides, StudentizedRange, t_quantile};
use crate::error::{Result, StatsError};
use crate::inference::Contrast;
use crate::interval::Interval;
use crate::note::Note;
use ndarray::Array2;

/// How p-values and limits allow for the number of comparisons.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Adjustment {
    /// Each comparison for itself.
    None,
    /// p-values times their number; holds for any dependence.
    Bonferroni,
    /// Holm's step-down p-values, never larger than Bonferroni's; the limits stay Bonferroni's, because Holm's procedure has no simple ones.
    Holm,
    /// The studentized range, for all pairs of means. Exact when all standard errors are equal, Tukey-Kramer otherwise.
    Tukey,
    /// The multivariate t of comparisons with one control.
    Dunnett,
    /// The multivariate t with the correlation of the comparisons, whatever they are.
    SingleStep,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Shape {
    AllPairs { means: usize },
    Control,
    Free,
}

/// Comparisons that are judged together, with their correlation.
#[derive(Debug, Clone)]
pub struct ComparisonFamily {
    names: Vec<String>,
    contrasts: Vec<Contrast>,
    correlation: Array2<f64>,
    shape: Shape,
    notes: Vec<Note>,
}

/// One comparison, judged within its family.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// What is compared.
    pub name: String,
    /// Estimate of the difference.
    pub estimate: f64,
    /// Its standard error.
    pub std_error: f64,
    /// Its own degrees of freedom.
    pub df: f64,
    /// Estimate over standard error.
    pub t: f64,
    /// Two-sided p-value of this comparison alone.
    pub p_value: f64,
    /// Two-sided p-value allowing for the family.
    pub adjusted_p: f64,
    /// Numerical error of `adjusted_p`: three standard errors where it was sampled, 0 where it was computed.
    pub adjusted_p_error: f64,
    /// Two-sided limits that hold for all comparisons together (for [`Adjustment::None`]: for this one alone).
    pub interval: Interval,
}

/// Result of [`ComparisonFamily::adjust`].
#[derive(Debug, Clone)]
pub struct Comparisons {
    /// One entry per comparison, in the order of the family.
    pub rows: Vec<Comparison>,
    /// Confidence level of the limits.
    pub level: f64,
    /// What was done, in words: adjustment, degrees of freedom, kind of limits.
    pub method: String,
    /// Remarks.
    pub notes: Vec<Note>,
}

impl ComparisonFamily {
    /// Comparisons of any kind, with their covariance or correlation matrix (m × m; it is scaled to correlations here).
    ///
    /// # Errors
    /// No comparison, lengths that differ, values that are not finite, degrees of freedom not above zero.
    pub fn new(names: Vec<String>, contrasts: Vec<Contrast>, covariance: &Array2<f64>) -> Result<Self> {
        Self::of_shape(names, contrasts, covariance, Shape::Free)
    }

    /// Comparisons that share a control, so that Dunnett's adjustment applies. Arguments and errors as in [`ComparisonFamily::new`].
    ///
    /// # Errors
    /// As in [`ComparisonFamily::new`].
    pub fn with_control(names: Vec<String>, contrasts: Vec<Contrast>, covariance: &Array2<f64>) -> Result<Self> {
        Self::of_shape(names, contrasts, covariance, Shape::Control)
    }

    /// All pairs of `means` means, `means (means - 1) / 2` comparisons, so that Tukey's adjustment applies.
    ///
    /// # Errors
    /// As in [`ComparisonFamily::new`], and a number of comparisons that is not that of all pairs.
    pub fn all_pairs(
        names: Vec<String>,
        contrasts: Vec<Contrast>,
        covariance: &Array2<f64>,
        means: usize,
    ) -> Result<Self> {
        let pairs = means * means.saturating_sub(1) / 2;
        if contrasts.len() != pairs {
            return Err(StatsError::Length {
                what: format!("the list of all pairs of {means} means"),
                found: contrasts.len(),
                expected: pairs,
            });
        }
        Self::of_shape(names, contrasts, covariance, Shape::AllPairs { means })
    }

    fn of_shape(names: Vec<String>, contrasts: Vec<Contrast>, covariance: &Array2<f64>, shape: Shape) -> Result<Self> {
        let size = contrasts.len();
        if size == 0 {
            return Err(StatsError::TooFewValues { what: "a family of comparisons", needed: 1, found: 0 });
        }
        crate::checks::check_length("the list of names", names.len(), size)?;
        crate::checks::check_length("the covariance of the comparisons (rows)", covariance.nrows(), size)?;
        crate::checks::check_length("the covariance of the comparisons (columns)", covariance.ncols(), size)?;
        for (position, contrast) in contrasts.iter().enumerate() {
            for (what, value) in [("estimate", contrast.estimate), ("standard error", contrast.std_error)] {
                if !value.is_finite() {
                    return Err(StatsError::NotFinite {
                        what: format!("the {what} of `{}`", names[position]),
                        position,
                        value,
                    });
                }
            }
            if !(contrast.df > 0.0) {
                return Err(StatsError::OutOfRange {
                    what: "the degrees of freedom of a comparison",
                    value: contrast.df,
                    expected: "a number above 0, or infinity",
                });
            }
        }
        let mut notes = Vec::new();
        for (name, contrast) in names.iter().zip(&contrasts) {
            if !(contrast.std_error > 0.0) {
                notes.push(Note::new(
                    "degenerate",
                    format!(
                        "`{name}` has a standard error of {}, so it has no t value and takes no part in the adjustment",
                        contrast.std_error
                    ),
                ));
            }
        }
        let sd: Vec<f64> = covariance.diag().iter().map(|variance| variance.sqrt()).collect();
        let correlation = Array2::from_shape_fn((size, size), |(i, j)| {
            if i == j { 1.0 } else { (covariance[[i, j]] / (sd[i] * sd[j])).clamp(-1.0, 1.0) }
        });
        Ok(Self { names, contrasts, correlation, shape, notes })
    }

    /// Number of comparisons.
    pub fn len(&self) -> usize {
        self.contrasts.len()
    }

    /// Never true: a family has at least one comparison.
    pub fn is_empty(&self) -> bool {
        self.contrasts.is_empty()
    }

    /// The comparisons themselves.
    pub fn contrasts(&self) -> &[Contrast] {
        &self.contrasts
    }

    /// Correlation of the comparisons (m × m).
    pub fn correlation(&self) -> &Array2<f64> {
        &self.correlation
    }

    /// Adjusted p-values and simultaneous limits at `level` (such as 0.95).
    ///
    /// Each comparison is judged by the joint distribution with its *own* degrees of freedom, so that its p-value and its limits
    /// agree with each other and with the unadjusted ones; this is exact when all have the same, as in balanced trials, and an
    /// approximation otherwise.
    ///
    /// # Errors
    /// A level outside (0, 1); Tukey for a family that is not all pairs of 2 to 200 means; Dunnett for one without a control; a correlation that is none.
    pub fn adjust(&self, adjustment: Adjustment, level: f64) -> Result<Comparisons> {
        check_level("the confidence level", level)?;
        let usable: Vec<bool> = self.contrasts.iter().map(|contrast| contrast.std_error > 0.0).collect();
        let joint = self.joint(adjustment, &usable)?;
        let alone: Vec<f64> = self
            .contrasts
            .iter()
            .map(|contrast| if contrast.std_error > 0.0 { contrast.p_value() } else { f64::NAN })
            .collect();
        let stepped = if adjustment == Adjustment::Holm { holm(&alone) } else { Vec::new() };
        let mut critical: Vec<(f64, f64)> = Vec::new();
        let mut rows = Vec::with_capacity(self.len());
        for (i, contrast) in self.contrasts.iter().enumerate() {
            let t = if usable[i] { contrast.t() } else { f64::NAN };
            let adjusted = match &joint {
                _ if !usable[i] => Probability { value: f64::NAN, error: 0.0 },
                Joint::Stepped(_) => Probability { value: stepped[i], error: 0.0 },
                joint => joint.p_value(t.abs(), contrast.df, alone[i]),
            };
            // Degrees of freedom of a balanced fit differ in the last digits only; one critical value serves them all.
            let known = critical.iter().find(|(df, _)| *df == contrast.df || (df / contrast.df - 1.0).abs() < 1e-9);
            let factor = match known {
                Some((_, factor)) => *factor,
                None => {
                    let factor = joint.critical(level, contrast.df);
                    critical.push((contrast.df, factor));
                    factor
                }
            };
            let half = if usable[i] { factor * contrast.std_error } else { f64::NAN };
            rows.push(Comparison {
                name: self.names[i].clone(),
                estimate: contrast.estimate,
                std_error: contrast.std_error,
                df: contrast.df,
                t,
                p_value: alone[i],
                adjusted_p: adjusted.value,
                adjusted_p_error: adjusted.error,
                interval: Interval { low: contrast.estimate - half, high: contrast.estimate + half },
            });
        }
        let mut method = joint.method(self.len());
        if critical.len() > 1 {
            method.push_str("; each comparison with its own degrees of freedom");
        }
        Ok(Comparisons { rows, level, method, notes: self.notes.clone() })
    }

    fn joint(&self, adjustment: Adjustment, usable: &[bool]) -> Result<Joint> {
        let tests = usable.iter().filter(|usable| **usable).count();
        let refuse = |what: &str, reason: &str| {
            Err(StatsError::NotPossible {
                what: what.into(),
                reason: reason.into(),
                next: "use the single-step adjustment, which fits any family",
            })
        };
        Ok(match adjustment {
            Adjustment::None => Joint::Multiple(1.0),
            Adjustment::Bonferroni => Joint::Multiple(tests.max(1) as f64),
            Adjustment::Holm => Joint::Stepped(tests.max(1) as f64),
            Adjustment::Tukey => match (self.pairs(), self.range()) {
                (Some(_), Some(range)) => Joint::Range { range, exact: self.equal_errors() },
                (Some(_), None) => return refuse("Tukey's adjustment", "the family has more than 200 means"),
                _ => return refuse("Tukey's adjustment", "the family is not made of all pairs of means"),
            },
            Adjustment::Dunnett if self.shape != Shape::Control => {
                return refuse("Dunnett's adjustment", "the comparisons do not share a control");
            }
            Adjustment::Dunnett | Adjustment::SingleStep => {
                let exact = (adjustment == Adjustment::SingleStep && self.equal_errors()).then(|| self.range());
                if let Some(range) = exact.flatten() {
                    return Ok(Joint::Range { range, exact: true });
                }
                let kept: Vec<usize> = (0..self.len()).filter(|&i| usable[i]).collect();
                if kept.is_empty() {
                    return Ok(Joint::Multiple(1.0));
                }
                let correlation = self.correlation.select(ndarray::Axis(0), &kept).select(ndarray::Axis(1), &kept);
                let dunnett = adjustment == Adjustment::Dunnett;
                Joint::Maximum(Box::new(MaximumT::new(&correlation, Sides::Two)?), dunnett)
            }
        })
    }

    fn pairs(&self) -> Option<usize> {
        match self.shape {
            Shape::AllPairs { means } => Some(means),
            _ => None,
        }
    }

    fn range(&self) -> Option<&'static StudentizedRange> {
        self.pairs().and_then(StudentizedRange::shared)
    }

    /// Equal standard errors of all pairwise differences mean that the estimates are equidistant, hence as good as independent with
    /// one variance: the studentized range is then exact.
    fn equal_errors(&self) -> bool {
        let first = self.contrasts[0].std_error;
        first > 0.0 && self.contrasts.iter().all(|contrast| (contrast.std_error / first - 1.0).abs() < 1e-8)
    }
}

/// The joint distribution behind an adjustment.
enum Joint {
    Multiple(f64),
    /// Step-down p-values, limits of the multiple.
    Stepped(f64),
    Range {
        range: &'static StudentizedRange,
        exact: bool,
    },
    Maximum(Box<MaximumT>, bool),
}

impl Joint {
    fn p_value(&self, t: f64, df: f64, alone: f64) -> Probability {
        let exact = |value: f64| Probability { value, error: 0.0 };
        match self {
            Self::Multiple(number) | Self::Stepped(number) => exact((number * alone).min(1.0)),
            Self::Range { range, .. } => exact(range.sf(t * std::f64::consts::SQRT_2, df)),
            Self::Maximum(maximum, _) => {
                let found = maximum.sf(t, df);
                // An adjusted p-value is never below the plain one; sampling error must not say otherwise.
                Probability { value: found.value.max(alone), error: found.error }
            }
        }
    }

    /// Half width of the limits in standard errors.
    fn critical(&self, level: f64, df: f64) -> f64 {
        match self {
            Self::Multiple(number) | Self::Stepped(number) => -t_quantile(0.5 * (1.0 - level) / number, df),
            Self::Range { range, .. } => range.quantile(level, df) / std::f64::consts::SQRT_2,
            Self::Maximum(maximum, _) => maximum.quantile(level, df).value,
        }
    }

    fn method(&self, size: usize) -> String {
        match self {
            Self::Multiple(number) if *number == 1.0 => "not adjusted for the number of comparisons".into(),
            Self::Multiple(number) => format!("Bonferroni for {number} comparisons"),
            Self::Stepped(number) => format!("Holm for {number} comparisons; the limits are Bonferroni's"),
            Self::Range { range, exact: true } => {
                format!("studentized range of {} means (Tukey), exact", range.means())
            }
            Self::Range { range, exact: false } => format!(
                "Tukey-Kramer: studentized range of {} means, approximate because the standard errors differ",
                range.means()
            ),
            Self::Maximum(maximum, dunnett) => {
                let name = if *dunnett { "Dunnett" } else { "single step" };
                format!("{name} for {size} comparisons: {}", maximum.method())
            }
        }
    }
}
