//! First derivatives of the profiled criterion by theta.
//!
//! With `V = ZΛΛ'Z' + W⁻¹`, `LL' = Λ'Z'WZΛ + I`, B = `L⁻¹Λ'Z'W[X, r]` and `G = L⁻ᵀB = Λ'Z'V⁻¹[X, r]`, the derivative of the criterion by an
//! entry (a, b) of the factor T of a term is `2 [H T⁻¹]_ba` with
//!
//! `H = Σ over groups of (I - S) - G_X Φ G_X' - c u u'`,
//!
//! S the group's block of `(LL')⁻¹`, `Φ = (X'V⁻¹X)⁻¹` (left out for maximum likelihood), u the standardised conditional modes and c the
//! degrees of freedom over r², or one where sigma is known. It follows from the derivatives of `log|V|`, `log|X'V⁻¹X|` and `r² = y'Py`
//! (Searle, Casella & McCulloch 1992, Variance Components, chapter 6) with `Λ'Z'V⁻¹ZΛ = I - (LL')⁻¹`.

use super::profile::{Criterion, Profile, Workspace, subtract_cross_products};
use crate::dense::{dot, inverse_from_cholesky, solve_lower_transpose};
use crate::random_term::Structure;

impl Profile {
    /// Derivatives of [`Profile::deviance`] by every theta, at the theta last factored into `work`. A theta of zero on a diagonal has
    /// derivative zero, because the criterion is even in it.
    ///
    /// `None` where a correlated term has a zero on the diagonal of its factor: H alone does not give its derivatives then.
    pub(super) fn gradient(&self, work: &mut Workspace, criterion: Criterion) -> Option<Vec<f64>> {
        let theta = work.theta.clone();
        let factors: Vec<Vec<f64>> = self.layout.templates.iter().map(|template| template.factor(&theta)).collect();
        for (template, factor) in self.layout.templates.iter().zip(&factors) {
            let q = template.columns;
            if template.structure == Structure::Correlated && (0..q).any(|c| factor[c * q + c] == 0.0) {
                return None;
            }
        }
        let sums = self.group_sums(work, criterion);
        let mut gradient = vec![0.0; theta.len()];
        for ((template, factor), sum) in self.layout.templates.iter().zip(&factors).zip(&sums) {
            let q = template.columns;
            if template.structure == Structure::Common {
                let theta = theta[template.first];
                if theta != 0.0 {
                    gradient[template.first] = 2.0 * sum[0] / theta;
                }
                continue;
            }
            for b in 0..q {
                // Row b of H T⁻¹: x' T = h', by the transpose of a lower factor.
                let mut row = sum[b * q..(b + 1) * q].to_vec();
                solve_lower_transpose(factor, q, &mut row);
                for a in b..q {
                    if let Some(index) = template.theta(a, b) {
                        gradient[index] = 2.0 * row[a];
                    }
                }
            }
        }
        gradient.iter().all(|value| value.is_finite()).then_some(gradient)
    }

    /// H of every term (columns × columns); of a term with a common standard deviation its trace alone, in the first place.
    fn group_sums(&self, work: &mut Workspace, criterion: Criterion) -> Vec<Vec<f64>> {
        let (rank, width) = (self.rank(), self.rank() + 1);
        let shift = self.shift_on_q(work);
        let per_square = if self.sigma_known() { 1.0 } else { self.sigma_df(criterion) / work.sum_of_squares };
        let mut images = std::mem::take(&mut work.images);
        images.clear();
        images.extend_from_slice(&work.block);
        work.numeric.solve_lower_transpose_block(&self.symbolic, &mut images, width);
        // The last column becomes the mode, scaled so that it counts like the others.
        let scale = per_square.sqrt();
        for row in images.chunks_exact_mut(width) {
            row[rank] = scale * (row[rank] - dot(&row[..rank], &shift));
        }
        // Weights of the products of two columns: Φ, and one for the square of the mode.
        let mut weights = vec![0.0; width * width];
        weights[width * width - 1] = 1.0;
        if criterion == Criterion::Reml {
            let phi = inverse_from_cholesky(self.information_factor(work), width, rank);
            (0..rank)
                .for_each(|i| weights[i * width..i * width + rank].copy_from_slice(&phi[i * rank..(i + 1) * rank]));
        }
        let mut scratch = vec![0.0; self.n_effects()];
        let mut sums: Vec<Vec<f64>> = self.layout.templates.iter().map(|t| vec![0.0; t.columns * t.columns]).collect();
        for (term, sum) in sums.iter_mut().enumerate() {
            let template = &self.layout.templates[term];
            let count = self.layout.offset[term + 1] - self.layout.offset[term];
            let first = self.layout.place[self.layout.offset[term]];
            let mut inverse =
                |at: usize, values: &[f64]| work.numeric.inverse_form(&self.symbolic, at, values, &mut scratch);
            if template.structure == Structure::Common {
                // The effects of a term stand together, so all their products are summed at once.
                let mut products = vec![0.0; width * width];
                subtract_cross_products(&images[first * width..(first + count) * width], width, &mut products);
                (0..width).for_each(|i| (0..i).for_each(|j| products[i * width + j] *= 2.0));
                sum[0] =
                    dot(&products, &weights) + (first..first + count).map(|at| 1.0 - inverse(at, &[1.0])).sum::<f64>();
                continue;
            }
            let q = template.columns;
            let row = |at: usize| &images[at * width..(at + 1) * width];
            for group in (first..first + count).step_by(q) {
                let own: Vec<f64> = (group..group + q).map(|at| inverse(at, &[1.0])).collect();
                for a in 0..q {
                    let weighted: Vec<f64> =
                        (0..width).map(|i| dot(&weights[i * width..(i + 1) * width], row(group + a))).collect();
                    sum[a * q + a] += 1.0 - own[a] - dot(&weighted, row(group + a));
                    for b in 0..a {
                        let mut both = vec![0.0; a - b + 1];
                        (both[0], both[a - b]) = (1.0, 1.0);
                        let block = 0.5 * (inverse(group + b, &both) - own[a] - own[b]);
                        let value = -block - dot(&weighted, row(group + b));
                        sum[a * q + b] += value;
                        sum[b * q + a] += value;
                    }
                }
            }
        }
        work.images = images;
        sums
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::derivatives::{STEP, slopes};
    use crate::design::Design;
    use crate::least_squares::LeastSquares;
    use crate::random_term::RandomTerm;
    use ndarray::Array2;

    /// Correlated intercept and two slopes, a crossed term, a group without rows, weights.
    fn design(known: bool) -> Design {
        let n = 60;
        let wave = |i: usize, step: f64| (step * (i + 1) as f64).sin();
        let [x, z] = [1.3, 2.9].map(|step| (0..n).map(|i| wave(i, step)).collect::<Vec<f64>>());
        let groups: Vec<usize> = (0..n).map(|i| i % 7).collect();
        let response = (0..n).map(|i| wave(i % 7, 0.9) * (1.0 + x[i]) + wave(i / 12, 4.1) + wave(i, 7.7)).collect();
        let columns = vec![("one".into(), vec![1.0; n]), ("x".into(), x.clone()), ("z".into(), z)];
        let terms = vec![
            RandomTerm::correlated("g", groups, 8, columns),
            RandomTerm::intercept("crossed", (0..n).map(|i| i / 12).collect(), 5),
        ];
        let fixed = Array2::from_shape_fn((n, 2), |(i, j)| [1.0, x[i]][j]);
        let names = vec!["one".into(), "x".into()];
        let weights: Vec<f64> = (0..n).map(|i| 1.5 + wave(i, 3.3)).collect();
        if known {
            return Design::with_sampling_variances(response, fixed, names, terms, &weights).expect("a design");
        }
        Design::new(response, fixed, names, terms, Some(weights)).expect("a design")
    }

    #[test]
    fn the_derivatives_are_those_of_the_criterion() {
        for known in [false, true] {
            let design = design(known);
            let start = LeastSquares.fit(&design).expect("a fit");
            let profile = Profile::new(&design, &design.weighted(start.residuals())).expect("a profile");
            let mut work = profile.workspace();
            for theta in [[0.9, 0.3, -0.2, 0.6, 0.1, 0.4, 0.8], [2.0, -1.0, 0.5, 0.05, -0.3, 1.2, 0.3]] {
                for criterion in [Criterion::Reml, Criterion::MaximumLikelihood] {
                    let mut deviance =
                        |at: &[f64]| profile.factor(at, &mut work).then(|| profile.deviance(&work, criterion));
                    let expected = slopes(&mut deviance, &theta, 0.1 * STEP).expect("values");
                    deviance(&theta).expect("a value");
                    let found = profile.gradient(&mut work, criterion).expect("a gradient");
                    for (found, expected) in found.iter().zip(&expected) {
                        assert!((found - expected).abs() < 1e-8 * (1.0 + expected.abs()), "{found} {expected}");
                    }
                }
            }
        }
    }

    #[test]
    fn a_zero_has_slope_zero_and_a_singular_factor_has_no_gradient() {
        let design = design(false);
        let start = LeastSquares.fit(&design).expect("a fit");
        let profile = Profile::new(&design, &design.weighted(start.residuals())).expect("a profile");
        let mut work = profile.workspace();
        assert!(profile.factor(&[0.9, 0.3, -0.2, 0.6, 0.1, 0.4, 0.0], &mut work));
        assert_eq!(profile.gradient(&mut work, Criterion::Reml).expect("a gradient")[6], 0.0);
        assert!(profile.factor(&[0.9, 0.3, -0.2, 0.0, 0.0, 0.4, 0.5], &mut work));
        assert_eq!(profile.gradient(&mut work, Criterion::Reml), None);
    }
}
