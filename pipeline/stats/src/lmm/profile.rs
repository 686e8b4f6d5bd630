//! The profiled criterion as a function of the relative covariance factors theta.
//!
//! Model: `y = Xβ + Zb + e`, `b = Λu`, `u ~ N(0, σ²I)`, `e ~ N(0, σ²W⁻¹)`, with Λ block-diagonal: the factor of its term for every group.
//! With `LL' = ΛZ'WZΛ + I`, Bates, Mächler, Bolker & Walker (2015), J. Stat. Soft. 67(1), equations 18 to 42, give the criterion
//! by one sparse and one small dense factorisation. All cross-products are formed once, so an evaluation costs the same
//! for any number of rows.
//!
//! Two changes of basis keep digits: X is replaced by orthonormal columns Q (X = QR) and y by its least-squares
//! residuals. Then `X'WX` is the identity and `X'Wy` is zero, and near-collinear columns do not enter squared.

use super::layout::Layout;
use super::products::Products;
use crate::dense::{cholesky_in_place, dot, solve_lower_transpose};
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::least_squares::{LeastSquares, LeastSquaresFit};
use crate::random_term::Structure;
use crate::sparse::{NumericCholesky, SymbolicCholesky, SymmetricSparse};
use crate::threads::both;

/// Which likelihood is maximised.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Criterion {
    /// Restricted maximum likelihood: variance components without the bias from estimating the fixed part. The default choice.
    Reml,
    /// Maximum likelihood: needed to compare fits with different fixed columns.
    MaximumLikelihood,
}

/// Cross-products and patterns of a design.
#[derive(Debug, Clone)]
pub(crate) struct Profile {
    rows: usize,
    rank: usize,
    pub(crate) layout: Layout,
    /// Factor by which a theta of one is multiplied so that its column is as large as the residual in an average row.
    unit: Vec<f64>,
    /// `Z'WZ` in elimination order.
    pub(crate) zz: SymmetricSparse,
    products: Products,
    pub(crate) symbolic: SymbolicCholesky,
    /// `Z'W[Q, residual]`, row-major with `rank + 1` columns, in elimination order.
    pub(crate) zx: Vec<f64>,
    residual_sum_of_squares: f64,
    log_determinant_x: f64,
    sum_log_weights: f64,
    sigma_known: bool,
}

/// Factors at one theta; reused between evaluations.
#[derive(Debug, Clone)]
pub(crate) struct Workspace {
    pub(super) theta: Vec<f64>,
    scaled: SymmetricSparse,
    pub(crate) numeric: NumericCholesky,
    /// `L⁻¹Λ'Z'W[Q, residual]`.
    pub(crate) block: Vec<f64>,
    /// Space for `L⁻ᵀ` times the block, used by the gradient.
    pub(super) images: Vec<f64>,
    /// Lower factor of the (rank + 1)² system of fixed columns and residual.
    corner: Vec<f64>,
    ones: Vec<f64>,
    /// `log |L|²`.
    pub(crate) log_determinant_z: f64,
    /// `log |R_X|²` on the orthonormal columns.
    pub(crate) log_determinant_x: f64,
    /// Penalised weighted residual sum of squares r²(theta).
    pub(crate) sum_of_squares: f64,
}

impl Profile {
    /// Least squares of a design, and the profile on its residuals.
    ///
    /// # Errors
    /// As [`Profile::new`] and [`LeastSquares::fit`].
    pub(crate) fn of(design: &Design) -> Result<(LeastSquaresFit, Self)> {
        let start = LeastSquares.fit(design)?;
        let profile = Self::new(design, &design.weighted(start.residuals()))?;
        Ok((start, profile))
    }

    /// `weighted_residuals` are the least-squares residuals times the root weights.
    ///
    /// # Errors
    /// A term that lies inside the fixed columns, or residuals that are zero.
    pub(crate) fn new(design: &Design, weighted_residuals: &[f64]) -> Result<Self> {
        let rows = design.n_observations();
        let rank = design.rank();
        let residual_sum_of_squares = sum_of_squares(design, design.response(), weighted_residuals)?;
        let sigma_known = design.sampling_variances_known();
        let terms = design.random();
        let layout = Layout::new(terms);
        let size = layout.n_effects();
        // Effects that act in row i, with their strength `√w z`.
        let slots: Vec<(usize, usize)> =
            terms.iter().enumerate().flat_map(|(k, term)| (0..term.n_columns()).map(move |c| (k, c))).collect();
        let acts = |i: usize, slot: usize| -> (usize, f64) {
            let (k, column) = slots[slot];
            let term = &terms[k];
            (layout.position(k, term.groups[i], column), design.root_weight(i) * term.columns[column][i])
        };
        let (acts, count) = (&acts, slots.len());
        // Columns that are nought outside some rows, as those of one group's curve are, couple nothing there. Columns of a correlated term are kept
        // together, for the pattern of `Λ'Z'WZΛ`.
        let common = |slot: usize| terms[slots[slot].0].structure == Structure::Common;
        let common: Vec<bool> = (0..count).map(common).collect();
        let common = &common;
        let contributions = (0..rows).flat_map(move |i| {
            (0..count).flat_map(move |a| {
                (0..=a).filter_map(move |b| {
                    let ((at_a, z_a), (at_b, z_b)) = (acts(i, a), acts(i, b));
                    let couples = a == b || z_a * z_b != 0.0 || !(common[a] && common[b]);
                    couples.then_some((at_a.min(at_b), at_a.max(at_b), z_a * z_b))
                })
            })
        });
        let width = rank + 1;
        let mut columns: Vec<&[f64]> = (0..rank).map(|j| design.qr.q_column(j)).collect();
        columns.push(weighted_residuals);
        let with_columns = || {
            let mut zx = vec![0.0; size * width];
            for i in 0..rows {
                for slot in 0..count {
                    let (at, z) = acts(i, slot);
                    for (target, column) in zx[at * width..(at + 1) * width].iter_mut().zip(&columns) {
                        *target += z * column[i];
                    }
                }
            }
            zx
        };
        let among_themselves = || SymmetricSparse::from_contributions(size, contributions);
        let (zz, zx) = both(rows, among_themselves, with_columns);
        let unit = units(design, &layout, &zz, &zx, rows, rank)?;
        let products = Products::new(&layout, &zz);
        let symbolic = SymbolicCholesky::new(&zz);
        Ok(Self {
            rows,
            rank,
            layout,
            unit,
            zz,
            products,
            symbolic,
            zx,
            residual_sum_of_squares,
            log_determinant_x: design.qr.log_determinant(),
            sum_log_weights: design.sum_log_weights(),
            sigma_known,
        })
    }

    /// The same cross-products for another `response` and its least-squares residuals.
    ///
    /// # Errors
    /// Residuals that are zero.
    pub(crate) fn with_residuals(&self, design: &Design, response: &[f64], weighted_residuals: &[f64]) -> Result<Self> {
        let mut profile = self.clone();
        profile.residual_sum_of_squares = sum_of_squares(design, response, weighted_residuals)?;
        let width = self.rank + 1;
        for at in 0..self.n_effects() {
            profile.zx[at * width + self.rank] = 0.0;
        }
        for (k, term) in design.random().iter().enumerate() {
            for (column, values) in term.columns.iter().enumerate() {
                for (i, residual) in weighted_residuals.iter().enumerate() {
                    let at = self.layout.position(k, term.groups[i], column);
                    profile.zx[at * width + self.rank] += design.root_weight(i) * values[i] * residual;
                }
            }
        }
        Ok(profile)
    }

    /// Number of rows, n.
    pub(crate) fn rows(&self) -> usize {
        self.rows
    }

    /// Number of fixed columns, p.
    pub(crate) fn rank(&self) -> usize {
        self.rank
    }

    /// Number of thetas.
    pub(crate) fn n_parameters(&self) -> usize {
        self.unit.len()
    }

    pub(crate) fn n_effects(&self) -> usize {
        self.layout.n_effects()
    }

    pub(crate) fn unit(&self) -> &[f64] {
        &self.unit
    }

    /// True when the residual variances are known, so that sigma is one.
    pub(crate) fn sigma_known(&self) -> bool {
        self.sigma_known
    }

    pub(crate) fn workspace(&self) -> Workspace {
        let width = self.rank + 1;
        Workspace {
            theta: vec![0.0; self.n_parameters()],
            scaled: self.zz.clone(),
            numeric: NumericCholesky::new(&self.symbolic),
            block: vec![0.0; self.n_effects() * width],
            images: Vec::new(),
            corner: vec![0.0; width * width],
            ones: vec![1.0; self.n_effects()],
            log_determinant_z: 0.0,
            log_determinant_x: 0.0,
            sum_of_squares: self.residual_sum_of_squares,
        }
    }

    /// Factors everything at `theta`. False when the numbers overflow, which only absurdly large thetas reach.
    #[must_use]
    pub(crate) fn factor(&self, theta: &[f64], work: &mut Workspace) -> bool {
        let width = self.rank + 1;
        work.theta.copy_from_slice(theta);
        self.products.apply(theta, &self.zz, &mut work.scaled);
        if !work.numeric.factor(&self.symbolic, &work.scaled, &work.ones) {
            return false;
        }
        self.layout.times_factor(self.layout.owner.iter().copied(), theta, &self.zx, width, &mut work.block);
        work.numeric.solve_lower(&self.symbolic, &mut work.block, width);
        let corner = &mut work.corner;
        corner.fill(0.0);
        subtract_cross_products(&work.block, width, corner);
        for i in 0..self.rank {
            corner[i * width + i] += 1.0;
        }
        corner[width * width - 1] += self.residual_sum_of_squares;
        if !cholesky_in_place(corner, width) {
            return false;
        }
        work.log_determinant_z = work.numeric.log_determinant();
        work.log_determinant_x = (0..self.rank).map(|i| 2.0 * corner[i * width + i].ln()).sum();
        work.sum_of_squares = corner[width * width - 1].powi(2);
        true
    }

    /// Degrees of freedom of sigma: n - p for REML, n for maximum likelihood.
    pub(crate) fn sigma_df(&self, criterion: Criterion) -> f64 {
        match criterion {
            Criterion::Reml => (self.rows - self.rank) as f64,
            Criterion::MaximumLikelihood => self.rows as f64,
        }
    }

    /// The log determinants that `criterion` counts.
    pub(crate) fn log_determinants(&self, work: &Workspace, criterion: Criterion) -> f64 {
        match criterion {
            Criterion::Reml => work.log_determinant_z + work.log_determinant_x + self.log_determinant_x,
            Criterion::MaximumLikelihood => work.log_determinant_z,
        }
    }

    /// `-2 log L` with sigma and the coefficients at their best for the theta last factored, with all constants.
    pub(crate) fn deviance(&self, work: &Workspace, criterion: Criterion) -> f64 {
        let df = self.sigma_df(criterion);
        let quadratic = if self.sigma_known {
            work.sum_of_squares + df * (2.0 * std::f64::consts::PI).ln()
        } else {
            df * (1.0 + (2.0 * std::f64::consts::PI * work.sum_of_squares / df).ln())
        };
        self.log_determinants(work, criterion) + quadratic - self.sum_log_weights
    }

    /// Best sigma for the theta last factored; one when it is known.
    pub(crate) fn sigma(&self, work: &Workspace, criterion: Criterion) -> f64 {
        if self.sigma_known { 1.0 } else { (work.sum_of_squares / self.sigma_df(criterion)).sqrt() }
    }

    /// `-2 log L` at a given sigma for the theta last factored, with all constants.
    pub(crate) fn deviance_at_sigma(&self, work: &Workspace, criterion: Criterion, sigma: f64) -> f64 {
        self.log_determinants(work, criterion)
            + self.sigma_df(criterion) * (2.0 * std::f64::consts::PI * sigma * sigma).ln()
            + work.sum_of_squares / (sigma * sigma)
            - self.sum_log_weights
    }

    /// Coefficients on Q, to be added to those of least squares.
    pub(crate) fn shift_on_q(&self, work: &Workspace) -> Vec<f64> {
        let width = self.rank + 1;
        let mut shift = work.corner[self.rank * width..self.rank * width + self.rank].to_vec();
        solve_lower_transpose(&work.corner, width, &mut shift);
        shift
    }

    /// Lower factor of the information on Q (without sigma²), row stride `rank + 1`.
    pub(crate) fn information_factor<'a>(&self, work: &'a Workspace) -> &'a [f64] {
        &work.corner
    }

    /// Conditional modes `b = Λu` in term order, for the coefficients `shift` on Q.
    pub(crate) fn effects(&self, work: &Workspace, shift: &[f64]) -> Vec<f64> {
        let width = self.rank + 1;
        let mut u: Vec<f64> =
            work.block.chunks_exact(width).map(|row| row[self.rank] - dot(&row[..self.rank], shift)).collect();
        work.numeric.solve_lower_transpose(&self.symbolic, &mut u);
        let at_place: Vec<f64> = (0..u.len())
            .map(|at| {
                let (k, row) = self.layout.owner[at];
                let template = &self.layout.templates[k];
                (0..=row)
                    .filter_map(|column| Some(work.theta[template.theta(row, column)?] * u[at - row + column]))
                    .sum()
            })
            .collect();
        self.layout.place.iter().map(|&at| at_place[at]).collect()
    }

    /// Conditional standard deviations of the effects over sigma, in term order, given the coefficients: the roots of the diagonal
    /// of `Λ(LL')⁻¹Λ'`.
    pub(crate) fn conditional_spread(&self, work: &Workspace) -> Vec<f64> {
        let mut scratch = vec![0.0; self.n_effects()];
        let mut values = Vec::new();
        let mut spread = |at: usize| {
            let (k, row) = self.layout.owner[at];
            let template = &self.layout.templates[k];
            values.clear();
            let mut first = 0;
            for column in 0..=row {
                match template.theta(row, column) {
                    Some(index) => values.push(work.theta[index]),
                    None => first = column + 1,
                }
            }
            work.numeric.inverse_form(&self.symbolic, at - row + first, &values, &mut scratch).sqrt()
        };
        self.layout.place.iter().map(|&at| spread(at)).collect()
    }

    /// A theta of moderate size from the least-squares residuals: the method of moments, one column at a time, no correlation.
    pub(crate) fn moment_start(&self) -> Vec<f64> {
        let width = self.rank + 1;
        let variance =
            if self.sigma_known { 1.0 } else { self.residual_sum_of_squares / (self.rows - self.rank) as f64 };
        let mut excess = vec![0.0; self.n_parameters()];
        let mut size = vec![0.0; self.n_parameters()];
        for (at, &(k, column)) in self.layout.owner.iter().enumerate() {
            let Some(index) = self.layout.templates[k].theta(column, column) else { continue };
            let sum = self.zx[at * width + self.rank];
            excess[index] += sum * sum / variance - self.zz.diagonal[at];
            size[index] += self.zz.diagonal[at].powi(2);
        }
        (0..self.n_parameters())
            .map(|index| {
                if !self.layout.parameters[index].is_diagonal() {
                    return 0.0;
                }
                let theta = (excess[index] / size[index]).max(0.0).sqrt() / self.unit[index];
                theta.clamp(0.2, 3.0) * self.unit[index]
            })
            .collect()
    }
}

/// Sum of squares of the residuals; refuses a perfect fit unless the residual variances are known.
fn sum_of_squares(design: &Design, response: &[f64], weighted_residuals: &[f64]) -> Result<f64> {
    let sum = dot(weighted_residuals, weighted_residuals);
    if !design.sampling_variances_known() && design.is_reproduced(response, sum) {
        return Err(StatsError::PerfectFit);
    }
    Ok(sum)
}

/// Subtracts `B'B` from the lower triangle of `target` (width × width), for the row-major block B. Four rows at a time, so that every
/// entry of the target is read and written a quarter as often.
pub(super) fn subtract_cross_products(block: &[f64], width: usize, target: &mut [f64]) {
    let mut fours = block.chunks_exact(4 * width);
    for four in fours.by_ref() {
        let (first, rest) = four.split_at(width);
        let (second, rest) = rest.split_at(width);
        let (third, fourth) = rest.split_at(width);
        for i in 0..width {
            let (a, b, c, d) = (first[i], second[i], third[i], fourth[i]);
            let row = &mut target[i * width..=i * width + i];
            for ((((t, w), x), y), z) in row.iter_mut().zip(first).zip(second).zip(third).zip(fourth) {
                *t -= (a * w + b * x) + (c * y + d * z);
            }
        }
    }
    for single in fours.remainder().chunks_exact(width) {
        for i in 0..width {
            let factor = single[i];
            for (t, value) in target[i * width..=i * width + i].iter_mut().zip(single) {
                *t -= factor * value;
            }
        }
    }
}

/// Size of each theta that makes its column as large as the residual; refuses columns inside the fixed ones.
fn units(
    design: &Design,
    layout: &Layout,
    zz: &SymmetricSparse,
    zx: &[f64],
    rows: usize,
    rank: usize,
) -> Result<Vec<f64>> {
    let width = rank + 1;
    let mut whole = vec![0.0; layout.parameters.len()];
    let mut inside = vec![0.0; layout.parameters.len()];
    for (at, &(k, column)) in layout.owner.iter().enumerate() {
        if let Some(index) = layout.templates[k].theta(column, column) {
            let on_q = &zx[at * width..at * width + rank];
            whole[index] += zz.diagonal[at];
            inside[index] += dot(on_q, on_q);
        }
    }
    layout
        .parameters
        .iter()
        .map(|parameter| {
            let diagonal = layout.templates[parameter.term].theta(parameter.row, parameter.row);
            let index = diagonal.ok_or(StatsError::Numerical { step: "the layout of the random terms" })?;
            if !(whole[index] - inside[index] > 1e-10 * whole[index]) {
                return Err(StatsError::RandomTerm {
                    term: design.random()[parameter.term].label(parameter.row),
                    reason: "its groups are already told apart by the fixed columns".into(),
                });
            }
            Ok((rows as f64 / whole[index]).sqrt())
        })
        .collect()
}
