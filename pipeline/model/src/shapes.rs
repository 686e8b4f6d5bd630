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

/// What the settings of a group show.
struct Shown<'a> {
    forces: &'a [f64],
    /// Settings compared: each with the lightest of those it can be compared with.
    pairs: Vec<(usize, usize)>,
    /// Differences of the pairs, whitened.
    target: Vec<f64>,
    /// Differences of the pairs as they are.
    differences: Vec<f64>,
    root: Root,
    range: (f64, f64),
    grid: Vec<f64>,
    strips: usize,
    better: Better,
}

/// Fits and weighs the candidates. `forces` are those of the settings, lightest first; `strips` their number. Settings of field-seasons that share none are
/// compared inside their part only. `None` where nothing can be compared.
pub(crate) fn shapes(fit: &SettingFit, forces: &[f64], strips: usize, better: Better) -> Option<Shapes> {
    let pairs = fit.against_lightest();
    let rows: Vec<Vec<f64>> = pairs.iter().map(|(a, b)| fit.pair(*a, *b)).collect::<Option<_>>()?;
    let differences: Vec<f64> =
        pairs.iter().map(|(a, b)| Some(fit.contrast(*a, *b)?.estimate)).collect::<Option<_>>()?;
    let covariance = fit.covariance_of(&rows.iter().map(Vec::as_slice).collect::<Vec<_>>());
    let root = Root::of(&covariance.iter().copied().collect::<Vec<_>>(), pairs.len())?;
    let range = (*forces.first()?, *forces.last()?);
    let mut target = differences.clone();
    root.whiten(&mut target);
    let shown = Shown { forces, pairs, target, differences, root, range, grid: grid(range), strips, better };
    let mut fitted: Vec<FittedCandidate> = Candidate::ALL
        .into_iter()
        .filter(|candidate| shown.pairs.len() + 1 >= candidate.settings_needed())
        .filter(|candidate| *candidate != Candidate::LogQuadratic || range.0 > 0.0)
        .filter_map(|candidate| shown.fit(candidate))
        .collect();
    let lowest = fitted.iter().map(|one| one.aicc).fold(f64::INFINITY, f64::min);
    let total: f64 = fitted.iter().map(|one| (-0.5 * (one.aicc - lowest)).exp()).sum();
    fitted.iter_mut().for_each(|one| one.weight = (-0.5 * (one.aicc - lowest)).exp() / total);
    let averaged: Vec<f64> =
        (0..shown.grid.len()).map(|point| fitted.iter().map(|one| one.weight * one.curve[point]).sum()).collect();
    let averaged_best_n = shown.grid[best_of(&averaged, better)?];
    Some(Shapes { fitted, averaged_best_n })
}

impl Shown<'_> {
    fn fit(&self, candidate: Candidate) -> Option<FittedCandidate> {
        // Settings of several parts have no common line to join them.
        let parts = self.forces.len() - self.pairs.len();
        if candidate == Candidate::Levels {
            let curve = || self.grid.iter().map(|force| self.between_settings(*force)).collect();
            return (parts == 1).then(|| self.weighed(candidate, self.forces.len(), 0.0, None, curve())).flatten();
        }
        let mut found: Option<(f64, f64, Vec<f64>)> = None;
        let steps = if candidate.has_joint() { JOINTS - 1 } else { 1 };
        for step in 1..=steps {
            let joint = self.range.0 + (self.range.1 - self.range.0) * step as f64 / JOINTS as f64;
            let functions: Vec<Vec<f64>> =
                self.forces.iter().map(|force| candidate.functions(*force, joint, self.range)).collect();
            let column = |function: usize| {
                let mut column: Vec<f64> =
                    self.pairs.iter().map(|(a, b)| functions[*a][function] - functions[*b][function]).collect();
                self.root.whiten(&mut column);
                column
            };
            let columns: Vec<Vec<f64>> = (0..functions[0].len()).map(column).collect();
            let Some((coefficients, chi_square)) = least_squares(&columns, &self.target) else { continue };
            if found.as_ref().is_none_or(|(least, ..)| chi_square < *least) {
                found = Some((chi_square, joint, coefficients));
            }
        }
        let (chi_square, joint, coefficients) = found?;
        let at_lightest = candidate.functions(self.range.0, joint, self.range);
        let value = |force: &f64| -> f64 {
            let functions = candidate.functions(*force, joint, self.range);
            let moved = functions.iter().zip(&at_lightest).map(|(function, lightest)| function - lightest);
            moved.zip(&coefficients).map(|(moved, coefficient)| moved * coefficient).sum()
        };
        let parameters = parts + coefficients.len() + usize::from(candidate.has_joint());
        let joint = candidate.has_joint().then_some(joint);
        self.weighed(candidate, parameters, chi_square, joint, self.grid.iter().map(value).collect())
    }

    fn weighed(
        &self,
        candidate: Candidate,
        parameters: usize,
        chi_square: f64,
        joint_n: Option<f64>,
        curve: Vec<f64>,
    ) -> Option<FittedCandidate> {
        let (k, n) = (parameters as f64, self.strips as f64);
        let aicc = chi_square + 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0);
        let best = best_of(&curve, self.better).map(|point| self.grid[point]);
        (n > k + 1.0 && aicc.is_finite()).then(|| FittedCandidate {
            candidate,
            parameters,
            chi_square,
            aicc,
            weight: f64::NAN,
            joint_n,
            best_n: best.filter(|_| candidate != Candidate::Constant),
            curve,
        })
    }

    /// The settings' differences from the lightest joined by straight lines.
    fn between_settings(&self, force: f64) -> f64 {
        let value = |setting: usize| if setting == 0 { 0.0 } else { self.differences[setting - 1] };
        let above = self.forces.partition_point(|other| *other < force).clamp(1, self.forces.len() - 1);
        let share = (force - self.forces[above - 1]) / (self.forces[above] - self.forces[above - 1]);
        value(above - 1) + share * (value(above) - value(above - 1))
    }
}

fn best_of(curve: &[f64], better: Better) -> Option<usize> {
    let worth = |point: &usize| better.sign() * curve[*point];
    (0..curve.len()).max_by(|a, b| worth(a).total_cmp(&worth(b)).then(b.cmp(a)))
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::setting_fit::SettingRows;
    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::StandardNormal;

    const FORCES: [f64; 6] = [80.0, 120.0, 160.0, 200.0, 240.0, 300.0];

    /// Six blocks of one field, a truth over force and normal noise.
    fn fit(truth: impl Fn(f64) -> f64, noise: f64, seed: u64) -> SettingFit {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let mut rows =
            SettingRows { response: vec![], std_errors: None, settings: vec![], blocks: vec![], fields: vec![] };
        for block in 0..6 {
            for (setting, force) in FORCES.iter().enumerate() {
                let own: f64 = random.sample(StandardNormal);
                rows.response.push(truth(*force) + noise * own + 0.1 * block as f64);
                rows.settings.push(setting);
                rows.blocks.push(block);
                rows.fields.push(0);
            }
        }
        SettingFit::new(rows).unwrap()
    }

    fn of(shapes: &Shapes, candidate: Candidate) -> &FittedCandidate {
        shapes.fitted.iter().find(|fitted| fitted.candidate == candidate).unwrap()
    }

    #[test]
    fn a_plateau_is_found_with_its_joint_and_outweighs_a_parabola() {
        let truth = |force: f64| -0.02 * (170.0 - force).max(0.0);
        let found = shapes(&fit(truth, 0.05, 1), &FORCES, 36, Better::Higher).unwrap();
        let plateau = of(&found, Candidate::LinearPlateau);
        assert!((plateau.joint_n.unwrap() - 170.0).abs() < 10.0, "{plateau:?}");
        assert!(plateau.weight > 10.0 * of(&found, Candidate::Quadratic).weight);
        assert!((found.fitted.iter().map(|fitted| fitted.weight).sum::<f64>() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_parabola_over_log_force_is_told_from_one_over_force_and_its_best_is_found_both_ways_up() {
        let truth = |force: f64| -6.0 * (force / 130.0_f64).ln().powi(2);
        let found = shapes(&fit(truth, 0.05, 1), &FORCES, 36, Better::Higher).unwrap();
        let log = of(&found, Candidate::LogQuadratic);
        assert!(log.weight > 10.0 * of(&found, Candidate::Quadratic).weight, "{found:?}");
        assert!((found.averaged_best_n - 130.0).abs() < 8.0, "{}", found.averaged_best_n);
        let turned = shapes(&fit(|force| -truth(force), 0.05, 2), &FORCES, 36, Better::Lower).unwrap();
        assert!((turned.averaged_best_n - 130.0).abs() < 8.0, "{}", turned.averaged_best_n);
    }

    #[test]
    fn nothing_but_noise_is_weighed_as_a_constant_and_settings_by_themselves_leave_nothing() {
        let mut weight = 0.0;
        for seed in 0..40 {
            let found = shapes(&fit(|_| 1.0, 0.3, seed), &FORCES, 36, Better::Higher).unwrap();
            let constant = of(&found, Candidate::Constant);
            assert_eq!(constant.best_n, None);
            weight += constant.weight / 40.0;
            let referee = of(&found, Candidate::Levels);
            assert_eq!((referee.chi_square, referee.parameters), (0.0, 6));
        }
        // Of eight candidates, the one with one coefficient: by AICc about 0.35 on average under noise alone.
        assert!((0.25..0.55).contains(&weight), "{weight}");
    }

    /// In one field the settings are told by least squares, where lack of fit and χ² are one: F = χ² / (settings − 3).
    #[test]
    fn what_a_parabola_leaves_is_the_sum_of_squares_of_the_lack_of_fit_test() {
        let fitted = fit(|force| (force / 100.0).sin(), 0.1, 3);
        let found = shapes(&fitted, &FORCES, 36, Better::Higher).unwrap();
        let test = fitted.lack_of_fit(&FORCES).unwrap();
        let chi_square = of(&found, Candidate::Quadratic).chi_square;
        assert!((chi_square / 3.0 / test.f - 1.0).abs() < 1e-9, "{chi_square} {test:?}");
        // And with no shape at all, the whole test between settings.
        let all = of(&found, Candidate::Constant).chi_square;
        assert!((all / 5.0 / fitted.alike().unwrap().f - 1.0).abs() < 1e-9);
    }
}
