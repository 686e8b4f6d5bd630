//! Candidate shapes of the response over force, weighed against each other on what the settings show.
//!
//! The settings' differences from the lightest one, d, and their covariance V come from the model with settings as a factor. A candidate f with k
//! coefficients is fitted by generalised least squares: χ² = (d − f)' V⁻¹ (d − f) is the part of −2 log likelihood that depends on it, and
//! AICc = χ² + 2 k + 2 k (k + 1) / (n − k − 1) with n strips (generalised AIC of Pinheiro, Bornkamp, Glimm & Bretz 2014, with the small-sample term of Hurvich & Tsai 1989).
//! Weights are proportional to exp(−AICc / 2) (Buckland, Burnham & Augustin 1997). The settings themselves, joined by straight lines, are the referee: χ² = 0 and a
//! coefficient a setting.

use crate::contrasts::Root;
use crate::decision::grid;
use crate::response::Better;
use crate::setting_fit::SettingFit;

/// Joints tried between the lightest and the heaviest setting.
const JOINTS: usize = 60;

/// A candidate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Candidate {
    Constant,
    Linear,
    Quadratic,
    /// A parabola over the logarithm of force: steeper when light.
    LogQuadratic,
    /// Straight up to a joint, then level.
    LinearPlateau,
    /// Level up to a joint, then straight.
    PlateauLinear,
    /// A half parabola up to its top, then level.
    QuadraticPlateau,
    /// Level up to the top of a half parabola.
    PlateauQuadratic,
    /// Every setting by itself.
    Levels,
}

impl Candidate {
    const ALL: [Self; 9] = [
        Self::Constant,
        Self::Linear,
        Self::Quadratic,
        Self::LogQuadratic,
        Self::LinearPlateau,
        Self::PlateauLinear,
        Self::QuadraticPlateau,
        Self::PlateauQuadratic,
        Self::Levels,
    ];

    /// Name in the table.
    pub fn name(self) -> &'static str {
        match self {
            Self::Constant => "constant",
            Self::Linear => "linear",
            Self::Quadratic => "quadratic",
            Self::LogQuadratic => "quadratic in log force",
            Self::LinearPlateau => "linear-plateau",
            Self::PlateauLinear => "plateau-linear",
            Self::QuadraticPlateau => "quadratic-plateau",
            Self::PlateauQuadratic => "plateau-quadratic",
            Self::Levels => "settings",
        }
    }

    /// Settings needed: one more than its coefficients with the level, so that it can be wrong.
    fn settings_needed(self) -> usize {
        match self {
            Self::Constant | Self::Levels => 2,
            Self::Linear => 3,
            Self::Quadratic | Self::LogQuadratic => 4,
            _ => 4,
        }
    }

    fn has_joint(self) -> bool {
        matches!(self, Self::LinearPlateau | Self::PlateauLinear | Self::QuadraticPlateau | Self::PlateauQuadratic)
    }

    /// Its functions of force, without the level; `joint` matters to plateaus alone.
    fn functions(self, force: f64, joint: f64, range: (f64, f64)) -> Vec<f64> {
        let scaled = |value: f64, (low, high): (f64, f64)| (2.0 * value - low - high) / (high - low);
        let s = scaled(force, range);
        let j = scaled(joint, range);
        match self {
            Self::Constant | Self::Levels => Vec::new(),
            Self::Linear => vec![s],
            Self::Quadratic => vec![s, s * s],
            Self::LogQuadratic => {
                let l = scaled(force.ln(), (range.0.ln(), range.1.ln()));
                vec![l, l * l]
            }
            Self::LinearPlateau => vec![(j - s).max(0.0)],
            Self::PlateauLinear => vec![(s - j).max(0.0)],
            Self::QuadraticPlateau => vec![(j - s).max(0.0).powi(2)],
            Self::PlateauQuadratic => vec![(s - j).max(0.0).powi(2)],
        }
    }
}

/// A candidate fitted to the settings of one group.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FittedCandidate {
    pub candidate: Candidate,
    /// Coefficients with the level, and a joint where it has one.
    pub parameters: usize,
    pub chi_square: f64,
    pub aicc: f64,
    pub weight: f64,
    pub joint_n: Option<f64>,
    /// Its best force inside the tested range; missing where it has none.
    pub best_n: Option<f64>,
    /// Its curve over the grid of forces, less its value at the lightest setting, on the model's scale.
    curve: Vec<f64>,
}

/// All candidates that the settings can tell, with their weights.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Shapes {
    pub fitted: Vec<FittedCandidate>,
    /// Best force of the average over them.
    pub averaged_best_n: f64,
}

/// Fits and weighs the candidates. `forces` are those of the settings, lightest first; `strips` their number. `None` where some setting cannot be compared
/// with the lightest, or nothing is left to be wrong.
pub(crate) fn shapes(fit: &SettingFit, forces: &[f64], strips: usize, better: Better) -> Option<Shapes> {
    let others: Vec<usize> = (1..forces.len()).collect();
    let rows: Vec<Vec<f64>> = others.iter().map(|setting| fit.pair(*setting, 0)).collect::<Option<_>>()?;
    let differences: Vec<f64> =
        others.iter().map(|setting| Some(fit.contrast(*setting, 0)?.estimate)).collect::<Option<_>>()?;
    let covariance = fit.covariance_of(&rows.iter().map(Vec::as_slice).collect::<Vec<_>>());
    let root = Root::of(&covariance.iter().copied().collect::<Vec<_>>(), others.len())?;
    let range = (*forces.first()?, *forces.last()?);
    let grid = grid(range);
    let mut fitted: Vec<FittedCandidate> = Candidate::ALL
        .into_iter()
        .filter(|candidate| forces.len() >= candidate.settings_needed())
        .filter(|candidate| *candidate != Candidate::LogQuadratic || range.0 > 0.0)
        .filter_map(|candidate| one(candidate, &differences, forces, &root, &grid, range, strips, better))
        .collect();
    let lowest = fitted.iter().map(|one| one.aicc).fold(f64::INFINITY, f64::min);
    let total: f64 = fitted.iter().map(|one| (-0.5 * (one.aicc - lowest)).exp()).sum();
    fitted.iter_mut().for_each(|one| one.weight = (-0.5 * (one.aicc - lowest)).exp() / total);
    let averaged: Vec<f64> =
        (0..grid.len()).map(|point| fitted.iter().map(|one| one.weight * one.curve[point]).sum()).collect();
    let averaged_best_n = grid[best_of(&averaged, better)?];
    Some(Shapes { fitted, averaged_best_n })
}

#[allow(clippy::too_many_arguments)] // a candidate is held against everything the settings show
fn one(
    candidate: Candidate,
    differences: &[f64],
    forces: &[f64],
    root: &Root,
    grid: &[f64],
    range: (f64, f64),
    strips: usize,
    better: Better,
) -> Option<FittedCandidate> {
    let whitened = |mut values: Vec<f64>| {
        root.whiten(&mut values);
        values
    };
    let target = whitened(differences.to_vec());
    let mut found: Option<(f64, f64, Vec<f64>)> = None;
    let steps = if candidate.has_joint() { JOINTS - 1 } else { 1 };
    for step in 1..=steps {
        let joint = range.0 + (range.1 - range.0) * step as f64 / JOINTS as f64;
        let at_first = candidate.functions(forces[0], joint, range);
        let columns: Vec<Vec<f64>> = (0..at_first.len())
            .map(|function| {
                let of = |force: &f64| candidate.functions(*force, joint, range)[function] - at_first[function];
                whitened(forces[1..].iter().map(of).collect())
            })
            .collect();
        let Some((coefficients, chi_square)) = least_squares(&columns, &target) else { continue };
        if found.as_ref().is_none_or(|(least, ..)| chi_square < *least) {
            found = Some((chi_square, joint, coefficients));
        }
    }
    let (chi_square, joint, coefficients) = found?;
    let referee = candidate == Candidate::Levels;
    let chi_square = if referee { 0.0 } else { chi_square };
    let curve: Vec<f64> = if referee {
        grid.iter().map(|force| between_settings(forces, differences, *force)).collect()
    } else {
        let at_first = candidate.functions(forces[0], joint, range);
        let value = |force: &f64| -> f64 {
            let functions = candidate.functions(*force, joint, range);
            let moved = functions.iter().zip(&at_first).map(|(function, first)| function - first);
            moved.zip(&coefficients).map(|(moved, coefficient)| moved * coefficient).sum()
        };
        grid.iter().map(value).collect()
    };
    let parameters = if referee { forces.len() } else { 1 + coefficients.len() + usize::from(candidate.has_joint()) };
    let (k, n) = (parameters as f64, strips as f64);
    let aicc = chi_square + 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0);
    let best = best_of(&curve, better).map(|point| grid[point]);
    (n > k + 1.0 && aicc.is_finite()).then(|| FittedCandidate {
        candidate,
        parameters,
        chi_square,
        aicc,
        weight: f64::NAN,
        joint_n: candidate.has_joint().then_some(joint),
        best_n: best.filter(|_| candidate != Candidate::Constant),
        curve,
    })
}

fn best_of(curve: &[f64], better: Better) -> Option<usize> {
    let worth = |point: &usize| better.sign() * curve[*point];
    (0..curve.len()).max_by(|a, b| worth(a).total_cmp(&worth(b)).then(b.cmp(a)))
}

/// The settings' differences joined by straight lines.
fn between_settings(forces: &[f64], differences: &[f64], force: f64) -> f64 {
    let value = |setting: usize| if setting == 0 { 0.0 } else { differences[setting - 1] };
    let above = forces.partition_point(|other| *other < force).clamp(1, forces.len() - 1);
    let share = (force - forces[above - 1]) / (forces[above] - forces[above - 1]);
    value(above - 1) + share * (value(above) - value(above - 1))
}

/// Coefficients and residual sum of squares of at most two columns; `None` where a column is zero or they are one.
fn least_squares(columns: &[Vec<f64>], target: &[f64]) -> Option<(Vec<f64>, f64)> {
    let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let coefficients = match columns {
        [] => Vec::new(),
        [a] => vec![product(a, target) / Some(product(a, a)).filter(|square| *square > 1e-12)?],
        [a, b] => {
            let (aa, ab, bb) = (product(a, a), product(a, b), product(b, b));
            let determinant = Some(aa * bb - ab * ab).filter(|value| *value > 1e-10 * aa * bb)?;
            let (at, bt) = (product(a, target), product(b, target));
            vec![(bb * at - ab * bt) / determinant, (aa * bt - ab * at) / determinant]
        }
        _ => return None,
    };
    let fitted = |row: usize| columns.iter().zip(&coefficients).map(|(column, b)| column[row] * b).sum::<f64>();
    let rest = target.iter().enumerate().map(|(row, value)| (value - fitted(row)).powi(2)).sum();
    Some((coefficients, rest))
}
