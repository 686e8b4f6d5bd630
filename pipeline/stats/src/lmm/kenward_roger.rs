//! Kenward & Roger's adjusted covariance and degrees of freedom.
//!
//! Source: Kenward & Roger (1997), Biometrics 53:983-997, for covariances linear in their parameters, with the *expected* information.
//! With `V = Σ ψ_r V_r`, `Φ = (X'V⁻¹X)⁻¹`, `P_r = -X'V⁻¹V_rV⁻¹X`, `Q_rs = X'V⁻¹V_rV⁻¹V_sV⁻¹X` and `W` the inverse of
//! `½ [tr(V⁻¹V_rV⁻¹V_s) - 2 tr(ΦQ_rs) + tr(ΦP_rΦP_s)]`, the adjusted covariance is `Φ + 2Φ[Σ W_rs (Q_rs - P_rΦP_s)]Φ`.
//!
//! Nothing of size n × n is formed: `V_r = Z E_r Z'` acts through `M = Z'V⁻¹Z` and `N = Z'V⁻¹X`, and M has blocks for groups of
//! effects that share no row. The residual's part follows from `ψ_0 V_0 = V - Σ ψ_r V_r`.

use super::profile::{Profile, Workspace};
use crate::dense::{
    add_scaled, cholesky_in_place, dot, equilibrated_inverse, form, product, quadratic_form, solve_lower,
    trace_of_product,
};
use crate::distribution::f_sf;
use crate::error::{Result, StatsError};
use crate::inference::JointTest;
use crate::random_term::Structure;

/// Effects that hang together in one block of M; beyond this the block's dense inverse would not fit a desk computer's memory.
const LARGEST_BLOCK: usize = 4000;

/// What the adjustment needs to answer any question; on the orthonormal columns, sigma² included.
#[derive(Debug, Clone)]
pub(super) struct KenwardRoger {
    rank: usize,
    /// Φ.
    plain: Vec<f64>,
    /// Adjusted covariance.
    pub(super) adjusted: Vec<f64>,
    /// P_r, one for each variance parameter.
    p: Vec<Vec<f64>>,
    /// W.
    w: Vec<f64>,
}

/// One variance parameter: `E_r` has ones at (row, column) and (column, row) of every group of the term, for each listed pair.
struct Part {
    term: usize,
    pairs: Vec<(usize, usize)>,
    /// The parameter's estimate.
    value: f64,
}

impl KenwardRoger {
    /// `work` holds the factors at `theta`; `unscaled` is Φ without sigma².
    ///
    /// # Errors
    /// A block of more than 4000 effects; variances whose information is singular.
    pub(super) fn new(
        profile: &Profile,
        work: &Workspace,
        theta: &[f64],
        sigma: f64,
        unscaled: &[f64],
    ) -> Result<Self> {
        let rank = profile.rank();
        let parts = parts(profile, theta, sigma);
        let sums = Sums::new(profile, work, theta, sigma, &parts)?;
        let plain: Vec<f64> = unscaled.iter().map(|value| value * sigma * sigma).collect();
        let (p, q, traces) = if profile.sigma_known() {
            (sums.p, sums.q, sums.t)
        } else {
            with_residual(sums, &parts, profile, sigma, &plain)
        };
        let count = p.len();
        let phi_p: Vec<Vec<f64>> = p.iter().map(|matrix| product(&plain, matrix, rank)).collect();
        let mut information = vec![0.0; count * count];
        for r in 0..count {
            for s in 0..count {
                let at = r * count + s;
                information[at] = 0.5
                    * (traces[at] - 2.0 * trace_of_product(&plain, &q[at], rank)
                        + trace_of_product(&phi_p[r], &phi_p[s], rank));
            }
        }
        let w = equilibrated_inverse(information, count).ok_or(StatsError::DegreesOfFreedom {
            method: "Kenward-Roger",
            reason: "the information on the variances is singular",
        })?;
        let mut middle = vec![0.0; rank * rank];
        for r in 0..count {
            for s in 0..count {
                let correction = product(&p[r], &phi_p[s], rank);
                for ((target, q), c) in middle.iter_mut().zip(&q[r * count + s]).zip(&correction) {
                    *target += w[r * count + s] * (q - c);
                }
            }
        }
        let outer = product(&product(&plain, &middle, rank), &plain, rank);
        let adjusted: Vec<f64> = plain.iter().zip(&outer).map(|(phi, extra)| phi + 2.0 * extra).collect();
        // What is added is positive semi-definite; where it comes out otherwise nothing but rounding is left of it.
        if !cholesky_in_place(&mut adjusted.clone(), rank) {
            return Err(StatsError::DegreesOfFreedom {
                method: "Kenward-Roger",
                reason: "the variances differ so much in size that rounding leaves nothing of the adjustment",
            });
        }
        Ok(Self { rank, plain, adjusted, p, w })
    }

    /// Standard error and degrees of freedom of the contrast with coordinates `on_q`.
    pub(super) fn contrast(&self, on_q: &[f64]) -> (f64, f64) {
        let (_, a2) = self.a1_a2(&[on_q.to_vec()]);
        (quadratic_form(&self.adjusted, on_q).sqrt(), 2.0 / a2)
    }

    /// Scaled F test that all combinations (linearly independent, as coordinates and estimated values) are zero.
    ///
    /// # Errors
    /// So little known of the variances that the statistic has no mean or variance to match.
    pub(super) fn joint_test(&self, on_q: &[Vec<f64>], estimates: &[f64], method: String) -> Result<JointTest> {
        let failed = StatsError::Numerical { step: "the covariance of the hypothesis rows" };
        let size = on_q.len();
        let mut covariance = form(&self.adjusted, on_q);
        if !cholesky_in_place(&mut covariance, size) {
            return Err(failed);
        }
        let mut solved = estimates.to_vec();
        solve_lower(&covariance, size, &mut solved);
        let f = dot(&solved, &solved) / size as f64;
        let (a1, a2) = self.a1_a2(on_q);
        let (scale, df) = scale_and_df(a1, a2, size as f64);
        if !(df > 0.0 && scale > 0.0) {
            return Err(StatsError::DegreesOfFreedom {
                method: "Kenward-Roger",
                reason: "so little is known of the variances that the statistic of several rows has no moments to match",
            });
        }
        let f = scale * f;
        Ok(JointTest { f, numerator_df: size as f64, denominator_df: df, p_value: f_sf(f, size as f64, df), method })
    }

    /// `A1 = Σ W_rs tr(ΘΦP_rΦ) tr(ΘΦP_sΦ)` and `A2 = Σ W_rs tr(ΘΦP_rΦΘΦP_sΦ)` with `Θ = L'(LΦL')⁻¹L`.
    fn a1_a2(&self, on_q: &[Vec<f64>]) -> (f64, f64) {
        let (rank, size) = (self.rank, on_q.len());
        let Some(inner) = equilibrated_inverse(form(&self.plain, on_q), size) else {
            return (f64::NAN, f64::NAN);
        };
        // (LΦL')⁻¹ LΦP_rΦL', size × size: its trace and products of traces are all that is needed.
        let images: Vec<Vec<f64>> = on_q
            .iter()
            .map(|row| (0..rank).map(|k| dot(&self.plain[k * rank..(k + 1) * rank], row)).collect())
            .collect();
        let g: Vec<Vec<f64>> = self.p.iter().map(|p| product(&inner, &form(p, &images), size)).collect();
        let count = g.len();
        let (mut a1, mut a2) = (0.0, 0.0);
        let trace: Vec<f64> = g.iter().map(|g| (0..size).map(|i| g[i * size + i]).sum()).collect();
        for r in 0..count {
            for s in 0..count {
                a1 += self.w[r * count + s] * trace[r] * trace[s];
                a2 += self.w[r * count + s] * trace_of_product(&g[r], &g[s], size);
            }
        }
        (a1, a2)
    }
}

/// Scale λ and denominator degrees of freedom m, so that λF has the first two moments of an F with l and m (Kenward & Roger 1997,
/// section 3). For one row λ is 1 and m is 2 / A2, whether or not the moments exist; known variances (A2 = 0) leave m endless.
fn scale_and_df(a1: f64, a2: f64, l: f64) -> (f64, f64) {
    if l == 1.0 || a2 == 0.0 {
        return (1.0, 2.0 / a2);
    }
    let b = (a1 + 6.0 * a2) / (2.0 * l);
    let g = ((l + 1.0) * a1 - (l + 4.0) * a2) / ((l + 2.0) * a2);
    let divisor = 3.0 * l + 2.0 * (1.0 - g);
    let (c1, c2, c3) = (g / divisor, (l - g) / divisor, (l + 2.0 - g) / divisor);
    let expectation = 1.0 / (1.0 - a2 / l);
    let variance = 2.0 / l * (1.0 + c1 * b) / ((1.0 - c2 * b).powi(2) * (1.0 - c3 * b));
    let rho = variance / (2.0 * expectation * expectation);
    let df = 4.0 + (l + 2.0) / (l * rho - 1.0);
    (df / (expectation * (df - 2.0)), df)
}

fn parts(profile: &Profile, theta: &[f64], sigma: f64) -> Vec<Part> {
    let mut parts = Vec::new();
    for (term, template) in profile.layout.templates.iter().enumerate() {
        let q = template.columns;
        let relative = template.covariance(theta);
        let covariance = |a: usize, b: usize| sigma * sigma * relative[a * q + b];
        match template.structure {
            Structure::Common => {
                let pairs = (0..q).map(|a| (a, a)).collect();
                parts.push(Part { term, pairs, value: covariance(0, 0) });
            }
            Structure::Correlated => {
                for a in 0..q {
                    for b in 0..=a {
                        parts.push(Part { term, pairs: vec![(a, b)], value: covariance(a, b) });
                    }
                }
            }
        }
    }
    parts
}

/// P, Q and traces of the random terms' parameters, summed over blocks.
struct Sums {
    p: Vec<Vec<f64>>,
    q: Vec<Vec<f64>>,
    t: Vec<f64>,
    /// `tr(V⁻¹V_r)`.
    first: Vec<f64>,
}

impl Sums {
    fn new(profile: &Profile, work: &Workspace, theta: &[f64], sigma: f64, parts: &[Part]) -> Result<Self> {
        let (rank, count) = (profile.rank(), parts.len());
        let mut sums = Self {
            p: vec![vec![0.0; rank * rank]; count],
            q: vec![vec![0.0; rank * rank]; count * count],
            t: vec![0.0; count * count],
            first: vec![0.0; count],
        };
        for positions in blocks(profile) {
            if positions.len() > LARGEST_BLOCK {
                return Err(StatsError::DegreesOfFreedom {
                    method: "Kenward-Roger",
                    reason: "more than 4000 random effects hang together in one block",
                });
            }
            sums.add_block(profile, work, theta, sigma, parts, &positions);
        }
        Ok(sums)
    }

    fn add_block(
        &mut self,
        profile: &Profile,
        work: &Workspace,
        theta: &[f64],
        sigma: f64,
        parts: &[Part],
        positions: &[usize],
    ) {
        let (rank, size, count) = (profile.rank(), positions.len(), parts.len());
        let (m, n) = block_matrices(profile, work, theta, sigma, positions);
        // E_r as a list of (row, column) pairs, both ways for a covariance.
        let place = |at: usize| positions.binary_search(&at).ok();
        let entries: Vec<Vec<(usize, usize)>> = parts
            .iter()
            .map(|part| {
                let mut list = Vec::new();
                for (local, &at) in positions.iter().enumerate() {
                    let (term, column) = profile.layout.owner[at];
                    for &(a, b) in part.pairs.iter().filter(|&&(a, _)| term == part.term && column == a) {
                        if let Some(other) = place(at + b - a) {
                            list.push((local, other));
                            if a != b {
                                list.push((other, local));
                            }
                        }
                    }
                }
                list
            })
            .collect();
        for r in 0..count {
            if entries[r].is_empty() {
                continue;
            }
            for &(row, column) in &entries[r] {
                self.first[r] += m[row * size + column];
                for i in 0..rank {
                    let value = n[row * rank + i];
                    for j in 0..rank {
                        self.p[r][i * rank + j] -= value * n[column * rank + j];
                    }
                }
            }
            // M E_r N (size × rank).
            let mut m_e_n = vec![0.0; size * rank];
            for (row, target) in m_e_n.chunks_exact_mut(rank).enumerate() {
                for &(left, right) in &entries[r] {
                    add_scaled(target, m[row * size + left], &n[right * rank..(right + 1) * rank]);
                }
            }
            for s in 0..count {
                // Q_sr = (E_s N)' M (E_r N).
                let target = &mut self.q[s * count + r];
                for &(left, right) in &entries[s] {
                    for i in 0..rank {
                        let row = &mut target[i * rank..(i + 1) * rank];
                        add_scaled(row, n[right * rank + i], &m_e_n[left * rank..(left + 1) * rank]);
                    }
                }
                // tr(M E_r M E_s) = Σ over entries (a, b) of E_r and (c, d) of E_s of M[d, a] M[b, c].
                let mut trace = 0.0;
                for &(a, b) in &entries[r] {
                    for &(c, d) in &entries[s] {
                        trace += m[d * size + a] * m[b * size + c];
                    }
                }
                self.t[r * count + s] += trace;
            }
        }
    }
}

/// `M = Z'V⁻¹Z` (size × size) and `N = Z'V⁻¹Q` (size × rank) of one block.
fn block_matrices(
    profile: &Profile,
    work: &Workspace,
    theta: &[f64],
    sigma: f64,
    positions: &[usize],
) -> (Vec<f64>, Vec<f64>) {
    let (rank, width, size) = (profile.rank(), profile.rank() + 1, positions.len());
    let variance = sigma * sigma;
    let mut a = vec![0.0; size * size];
    for (local, &at) in positions.iter().enumerate() {
        a[local * size + local] = profile.zz.diagonal[at];
        let range = profile.zz.column_start[at]..profile.zz.column_start[at + 1];
        for (&row, &value) in profile.zz.row[range.clone()].iter().zip(&profile.zz.value[range]) {
            if let Ok(other) = positions.binary_search(&row) {
                a[local * size + other] = value;
                a[other * size + local] = value;
            }
        }
    }
    // Λ'A, then K = L⁻¹Λ'A with the dense factor of Λ'AΛ + I.
    let times_factor = |source: &[f64]| -> Vec<f64> {
        let owners = positions.iter().map(|&at| profile.layout.owner[at]);
        let mut target = vec![0.0; size * size];
        profile.layout.times_factor(owners, theta, source, size, &mut target);
        target
    };
    let k = times_factor(&a);
    let transposed: Vec<f64> = (0..size * size).map(|at| k[at % size * size + at / size]).collect();
    let mut lower = times_factor(&transposed);
    (0..size).for_each(|i| lower[i * size + i] += 1.0);
    // Λ'AΛ + I is never singular.
    let _ = cholesky_in_place(&mut lower, size);
    let mut columns: Vec<Vec<f64>> = (0..size).map(|j| (0..size).map(|i| k[i * size + j]).collect()).collect();
    columns.iter_mut().for_each(|column| solve_lower(&lower, size, column));
    let mut m = a;
    for i in 0..size {
        for j in 0..=i {
            let value = (m[i * size + j] - dot(&columns[i], &columns[j])) / variance;
            m[i * size + j] = value;
            m[j * size + i] = value;
        }
    }
    // The block rows of L⁻¹Λ'Z'WQ are at hand in `work`.
    let mut n = vec![0.0; size * rank];
    for i in 0..size {
        for j in 0..rank {
            let c = profile.zx[positions[i] * width + j];
            let image: f64 =
                positions.iter().enumerate().map(|(l, &at)| columns[i][l] * work.block[at * width + j]).sum();
            n[i * rank + j] = (c - image) / variance;
        }
    }
    (m, n)
}

/// Connected groups of effects, each ascending.
fn blocks(profile: &Profile) -> Vec<Vec<usize>> {
    let size = profile.n_effects();
    let mut root: Vec<usize> = (0..size).collect();
    fn find(root: &mut [usize], mut at: usize) -> usize {
        while root[at] != at {
            root[at] = root[root[at]];
            at = root[at];
        }
        at
    }
    for column in 0..size {
        let (_, own) = profile.layout.owner[column];
        let coupled = profile.zz.row[profile.zz.column_start[column]..profile.zz.column_start[column + 1]].iter();
        // The columns of one group belong together even where the group has no rows.
        for row in coupled.copied().chain((own > 0).then(|| column - 1)) {
            let (a, b) = (find(&mut root, row), find(&mut root, column));
            root[a.max(b)] = a.min(b);
        }
    }
    let mut members = vec![Vec::new(); size];
    for at in 0..size {
        members[find(&mut root, at)].push(at);
    }
    members.into_iter().filter(|list| !list.is_empty()).collect()
}

type Matrices = (Vec<Vec<f64>>, Vec<Vec<f64>>, Vec<f64>);

/// Adds the residual variance as the last parameter, from `ψ_0 V_0 = V - Σ ψ_r V_r`.
fn with_residual(sums: Sums, parts: &[Part], profile: &Profile, sigma: f64, plain: &[f64]) -> Matrices {
    let (rank, count) = (profile.rank(), parts.len());
    let variance = sigma * sigma;
    let size = count + 1;
    let information = equilibrated_inverse(plain.to_vec(), rank).unwrap_or_else(|| vec![f64::NAN; rank * rank]);
    let mut p = sums.p;
    let mut last = information;
    for (matrix, part) in p.iter().zip(parts) {
        last.iter_mut().zip(matrix).for_each(|(target, value)| *target += part.value * value);
    }
    last.iter_mut().for_each(|value| *value /= -variance);
    p.push(last);
    let mut q = vec![vec![0.0; rank * rank]; size * size];
    let mut t = vec![0.0; size * size];
    for r in 0..count {
        for s in 0..count {
            q[r * size + s] = sums.q[r * count + s].clone();
            t[r * size + s] = sums.t[r * count + s];
        }
    }
    for s in 0..=count {
        // Q_0s = (-P_s - Σ ψ_r Q_rs) / ψ_0, and the same for traces with tr(V⁻¹V_s); s = 0 last, when Q_r0 is there.
        let mut row: Vec<f64> = p[s].iter().map(|value| -value).collect();
        let mut trace = if s < count {
            sums.first[s]
        } else {
            let random: f64 = sums.first.iter().zip(parts).map(|(first, part)| part.value * first).sum();
            (profile.rows() as f64 - random) / variance
        };
        for (r, part) in parts.iter().enumerate() {
            row.iter_mut().zip(&q[r * size + s]).for_each(|(target, value)| *target -= part.value * value);
            trace -= part.value * t[r * size + s];
        }
        row.iter_mut().for_each(|value| *value /= variance);
        trace /= variance;
        let transposed: Vec<f64> = (0..rank * rank).map(|at| row[at % rank * rank + at / rank]).collect();
        q[count * size + s] = row;
        t[count * size + s] = trace;
        if s < count {
            q[s * size + count] = transposed;
            t[s * size + count] = trace;
        }
    }
    (p, q, t)
}
