//! The profiled criterion as a function of the relative standard deviations theta.
//!
//! Model: `y = Xβ + Zb + e`, `b = Λu`, `u ~ N(0, σ²I)`, `e ~ N(0, σ²W⁻¹)`, with Λ diagonal: theta_k for every group of term k.
//! With `LL' = ΛZ'WZΛ + I`, Bates, Mächler, Bolker & Walker (2015), J. Stat. Soft. 67(1), equations 18 to 42, give the criterion
//! by one sparse and one small dense factorisation. All cross-products are formed once, so an evaluation costs the same
//! for any number of rows.
//!
//! Two changes of basis keep digits: X is replaced by orthonormal columns Q (X = QR) and y by its least-squares
//! residuals. Then `X'WX` is the identity and `X'Wy` is zero, and near-collinear columns do not enter squared.

use crate::dense::{cholesky_in_place, dot, solve_lower_transpose};
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::sparse::{NumericCholesky, SymbolicCholesky, SymmetricSparse};

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
    /// Effects in elimination order; `place[i]` is the position of effect `i` counted term by term, group by group.
    place: Vec<usize>,
    /// Term of the effect at each position.
    term_at: Vec<usize>,
    /// First effect of each term, and the number of effects at the end.
    offset: Vec<usize>,
    /// Factor by which a theta of one is multiplied so that its term is as large as the residual in an average row.
    unit: Vec<f64>,
    zz: SymmetricSparse,
    symbolic: SymbolicCholesky,
    /// `Z'W[Q, residual]`, row-major with `rank + 1` columns, in elimination order.
    zx: Vec<f64>,
    residual_sum_of_squares: f64,
    log_determinant_x: f64,
    sum_log_weights: f64,
}

/// Factors at one theta; reused between evaluations.
#[derive(Debug, Clone)]
pub(crate) struct Workspace {
    scale: Vec<f64>,
    numeric: NumericCholesky,
    block: Vec<f64>,
    /// Lower factor of the (rank + 1)² system of fixed columns and residual.
    corner: Vec<f64>,
    /// `log |L|²`.
    pub(crate) log_determinant_z: f64,
    /// `log |R_X|²` on the orthonormal columns.
    pub(crate) log_determinant_x: f64,
    /// Penalised weighted residual sum of squares r²(theta).
    pub(crate) sum_of_squares: f64,
}

impl Profile {
    /// `weighted_residuals` are the least-squares residuals times the root weights.
    ///
    /// # Errors
    /// A term that lies inside the fixed columns, or residuals that are zero.
    pub(crate) fn new(design: &Design, weighted_residuals: &[f64]) -> Result<Self> {
        let rows = design.n_observations();
        let rank = design.rank();
        let residual_sum_of_squares = dot(weighted_residuals, weighted_residuals);
        let response = design.weighted(design.response());
        // Residuals at the level of rounding of the response mean that the columns explain everything.
        if !(residual_sum_of_squares > 1e-26 * dot(&response, &response)) {
            return Err(StatsError::PerfectFit);
        }
        let terms = design.random();
        let mut offset = vec![0];
        for term in terms {
            offset.push(offset[offset.len() - 1] + term.n_groups);
        }
        let size = offset[terms.len()];
        let mut by_size: Vec<usize> = (0..terms.len()).collect();
        by_size.sort_by_key(|&k| std::cmp::Reverse(terms[k].n_groups));
        let mut place = vec![0; size];
        let mut term_at = Vec::with_capacity(size);
        for &k in &by_size {
            for group in 0..terms[k].n_groups {
                place[offset[k] + group] = term_at.len();
                term_at.push(k);
            }
        }
        // Row i, term k: where it acts and how strongly, `√w z`.
        let acts = |i: usize, k: usize| -> (usize, f64) {
            let term = &terms[k];
            let z = term.covariate.as_ref().map_or(1.0, |covariate| covariate[i]);
            (place[offset[k] + term.groups[i]], design.root_weight(i) * z)
        };
        let acts = &acts;
        let contributions = (0..rows).flat_map(move |i| {
            (0..terms.len()).flat_map(move |k| {
                (0..=k).map(move |l| {
                    let (a, za) = acts(i, k);
                    let (b, zb) = acts(i, l);
                    (a.min(b), a.max(b), za * zb)
                })
            })
        });
        let zz = SymmetricSparse::from_contributions(size, contributions);
        let width = rank + 1;
        let mut columns: Vec<&[f64]> = (0..rank).map(|j| design.qr.q_column(j)).collect();
        columns.push(weighted_residuals);
        let mut zx = vec![0.0; size * width];
        for i in 0..rows {
            for k in 0..terms.len() {
                let (at, z) = acts(i, k);
                for (target, column) in zx[at * width..(at + 1) * width].iter_mut().zip(&columns) {
                    *target += z * column[i];
                }
            }
        }
        let mut whole = vec![0.0; terms.len()];
        let mut inside = vec![0.0; terms.len()];
        for (at, &k) in term_at.iter().enumerate() {
            whole[k] += zz.diagonal[at];
            let on_q = &zx[at * width..at * width + rank];
            inside[k] += dot(on_q, on_q);
        }
        for (k, term) in terms.iter().enumerate() {
            if !(whole[k] - inside[k] > 1e-10 * whole[k]) {
                return Err(StatsError::RandomTerm {
                    term: term.name.clone(),
                    reason: "its groups are already told apart by the fixed columns".into(),
                });
            }
        }
        let symbolic = SymbolicCholesky::new(&zz);
        Ok(Self {
            rows,
            rank,
            place,
            term_at,
            unit: whole.iter().map(|sum| (rows as f64 / sum).sqrt()).collect(),
            offset,
            zz,
            symbolic,
            zx,
            residual_sum_of_squares,
            log_determinant_x: design.qr.log_determinant(),
            sum_log_weights: design.sum_log_weights(),
        })
    }

    /// Number of fixed columns, p.
    pub(crate) fn rank(&self) -> usize {
        self.rank
    }

    pub(crate) fn n_terms(&self) -> usize {
        self.unit.len()
    }

    pub(crate) fn n_effects(&self) -> usize {
        self.place.len()
    }

    pub(crate) fn offsets(&self) -> &[usize] {
        &self.offset
    }

    pub(crate) fn unit(&self) -> &[f64] {
        &self.unit
    }

    pub(crate) fn workspace(&self) -> Workspace {
        let width = self.rank + 1;
        Workspace {
            scale: vec![0.0; self.n_effects()],
            numeric: NumericCholesky::new(&self.symbolic),
            block: vec![0.0; self.n_effects() * width],
            corner: vec![0.0; width * width],
            log_determinant_z: 0.0,
            log_determinant_x: 0.0,
            sum_of_squares: self.residual_sum_of_squares,
        }
    }

    /// Factors everything at `theta`. False when the numbers overflow, which only absurdly large thetas reach.
    #[must_use]
    pub(crate) fn factor(&self, theta: &[f64], work: &mut Workspace) -> bool {
        let width = self.rank + 1;
        for (scale, &term) in work.scale.iter_mut().zip(&self.term_at) {
            *scale = theta[term];
        }
        if !work.numeric.factor(&self.symbolic, &self.zz, &work.scale) {
            return false;
        }
        for ((target, source), &scale) in
            work.block.chunks_exact_mut(width).zip(self.zx.chunks_exact(width)).zip(&work.scale)
        {
            for (t, s) in target.iter_mut().zip(source) {
                *t = scale * s;
            }
        }
        work.numeric.solve_lower(&self.symbolic, &mut work.block, width);
        let corner = &mut work.corner;
        corner.fill(0.0);
        for row in work.block.chunks_exact(width) {
            for i in 0..width {
                let factor = row[i];
                for (target, value) in corner[i * width..=i * width + i].iter_mut().zip(row) {
                    *target -= factor * value;
                }
            }
        }
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
        self.log_determinants(work, criterion)
            + df * (1.0 + (2.0 * std::f64::consts::PI * work.sum_of_squares / df).ln())
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

    /// `b = Λu` in term order, for the coefficients `shift` on Q and the standardised `noise` added to `L'u` (elimination order).
    ///
    /// With no noise these are the conditional modes.
    pub(crate) fn effects(&self, work: &Workspace, shift: &[f64], noise: Option<&[f64]>) -> Vec<f64> {
        let width = self.rank + 1;
        let mut u: Vec<f64> =
            work.block.chunks_exact(width).map(|row| row[self.rank] - dot(&row[..self.rank], shift)).collect();
        if let Some(noise) = noise {
            u.iter_mut().zip(noise).for_each(|(value, z)| *value += z);
        }
        work.numeric.solve_lower_transpose(&self.symbolic, &mut u);
        self.place.iter().map(|&at| work.scale[at] * u[at]).collect()
    }

    /// Conditional standard deviations of the effects over sigma, in term order, given the coefficients.
    pub(crate) fn conditional_spread(&self, work: &Workspace) -> Vec<f64> {
        let inverse = work.numeric.inverse_diagonal(&self.symbolic);
        self.place.iter().map(|&at| work.scale[at] * inverse[at].sqrt()).collect()
    }

    /// A theta of moderate size from the least-squares residuals: the method of moments, one term at a time.
    pub(crate) fn moment_start(&self) -> Vec<f64> {
        let width = self.rank + 1;
        let variance = self.residual_sum_of_squares / (self.rows - self.rank) as f64;
        let mut excess = vec![0.0; self.n_terms()];
        let mut size = vec![0.0; self.n_terms()];
        for (at, &k) in self.term_at.iter().enumerate() {
            let sum = self.zx[at * width + self.rank];
            excess[k] += sum * sum / variance - self.zz.diagonal[at];
            size[k] += self.zz.diagonal[at].powi(2);
        }
        (0..self.n_terms())
            .map(|k| {
                let theta = (excess[k] / size[k]).max(0.0).sqrt() / self.unit[k];
                theta.clamp(0.2, 3.0) * self.unit[k]
            })
            .collect()
    }
}
