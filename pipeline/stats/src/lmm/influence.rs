//! What the fit would be without one group of rows, without fitting again.

use super::profile::Profile;
use super::result::LmmFit;
use crate::checks::check_length;
use crate::dense::{dot, solve_lower, solve_lower_transpose, solve_upper};
use crate::design::Design;
use crate::error::{Result, StatsError};
use crate::inference::LinearFit;
use crate::least_squares::LeastSquares;

/// Fixed coefficients without one group of rows.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftOut {
    /// Number of rows left out.
    pub rows: usize,
    /// Coefficients (p) without them; `None` where the other rows cannot tell all coefficients.
    pub coefficients: Option<Vec<f64>>,
    /// Each coefficient (p) without them; `None` for one that the other rows cannot tell.
    pub told: Vec<Option<f64>>,
    /// Cook's distance: the squared change of the coefficients in the metric of their plain covariance, over p.
    pub cooks_distance: Option<f64>,
}

/// Leaves out each of the groups in turn: `groups[i]` is the group of row i, numbered below `n_groups`.
///
/// Exact for the coefficients given the variances of the whole fit (relative covariance factors and sigma), by subtracting the group's share of
/// the normal equations (Christensen, Pearson & Johnson 1992, Technometrics 34:38-45, in the form for whole groups). Variances are not
/// estimated anew, so a group that drives a variance is not shown as such here.
///
/// # Errors
/// Lengths or codes that do not fit, or groups that share a random effect (leave out a coarser group then).
pub fn leave_one_group_out(design: &Design, fit: &LmmFit, groups: &[usize], n_groups: usize) -> Result<Vec<LeftOut>> {
    check_length("the groups to leave out", groups.len(), design.n_observations())?;
    if let Some(position) = groups.iter().position(|&code| code >= n_groups) {
        return Err(StatsError::GroupCode {
            term: "groups to leave out".into(),
            position,
            code: groups[position],
            groups: n_groups,
        });
    }
    let start = LeastSquares.fit(design)?;
    let residuals = design.weighted(start.residuals());
    let profile = Profile::new(design, &residuals)?;
    let mut work = profile.workspace();
    if !profile.factor(fit.theta(), &mut work) {
        return Err(StatsError::Numerical { step: "the factorisation at the optimum" });
    }
    let (rank, width) = (design.rank(), design.rank() + 1);
    let owner = owners(design, &profile, groups)?;
    // Each group's share of [Q y]'V⁻¹[Q y], without sigma².
    let mut share = vec![vec![0.0; width * width]; n_groups];
    let mut rows = vec![0; n_groups];
    let mut add = |group: usize, row: &[f64], sign: f64| {
        for i in 0..width {
            for j in 0..width {
                share[group][i * width + j] += sign * row[i] * row[j];
            }
        }
    };
    let columns: Vec<&[f64]> = (0..rank).map(|j| design.qr.q_column(j)).chain([residuals.as_slice()]).collect();
    for (i, &group) in groups.iter().enumerate() {
        let row: Vec<f64> = columns.iter().map(|column| column[i]).collect();
        add(group, &row, 1.0);
        rows[group] += 1;
    }
    for (at, group) in owner.iter().enumerate() {
        if let Some(group) = group {
            add(*group, &work.block[at * width..(at + 1) * width], -1.0);
        }
    }
    let mut total = vec![0.0; width * width];
    for part in &share {
        total.iter_mut().zip(part).for_each(|(t, value)| *t += value);
    }
    let whole = profile.shift_on_q(&work);
    let information: Vec<f64> = (0..rank * rank).map(|at| total[at / rank * width + at % rank]).collect();
    let variance = fit.sigma() * fit.sigma();
    let without = |group: usize| -> LeftOut {
        let rest = |i: usize, j: usize| total[i * width + j] - share[group][i * width + j];
        let mut factor: Vec<f64> = (0..rank * rank).map(|at| rest(at / rank, at % rank)).collect();
        // The whole information is at most the identity on these columns, so a pivot this small means an absent direction.
        let absent = factor_without(&mut factor, rank, |k| 1e-9 * information[k * rank + k]);
        let solve = |mut shift: Vec<f64>| {
            absent.iter().for_each(|&k| shift[k] = 0.0);
            solve_lower(&factor, rank, &mut shift);
            solve_lower_transpose(&factor, rank, &mut shift);
            shift
        };
        let mut shift = solve((0..rank).map(|i| rest(i, rank)).collect());
        let change: Vec<f64> = shift.iter().zip(&whole).map(|(a, b)| a - b).collect();
        let image: Vec<f64> = (0..rank).map(|i| dot(&information[i * rank..(i + 1) * rank], &change)).collect();
        solve_upper(&design.qr.r, &mut shift);
        let coefficients: Vec<f64> = start.coefficients().iter().zip(&shift).map(|(a, b)| a + b).collect();
        if absent.is_empty() {
            return LeftOut {
                rows: rows[group],
                told: coefficients.iter().copied().map(Some).collect(),
                coefficients: Some(coefficients),
                cooks_distance: Some(dot(&image, &change) / (rank as f64 * variance)),
            };
        }
        // Along an absent direction the coefficients may move freely: those that it moves are not told.
        let mut free = vec![false; rank];
        for &k in &absent {
            let mut direction: Vec<f64> = solve((0..rank).map(|i| -rest(i, k)).collect());
            direction[k] = 1.0;
            solve_upper(&design.qr.r, &mut direction);
            let moved: Vec<f64> = (0..rank).map(|j| direction[j].abs() * column_size(&design.qr.r, rank, j)).collect();
            let most = moved.iter().copied().fold(0.0, f64::max);
            (0..rank).for_each(|j| free[j] |= moved[j] > 1e-6 * most);
        }
        let told = coefficients.into_iter().zip(free).map(|(value, free)| (!free).then_some(value)).collect();
        LeftOut { rows: rows[group], coefficients: None, told, cooks_distance: None }
    };
    Ok((0..n_groups).map(without).collect())
}

/// Cholesky's factor of a semidefinite matrix in place, lower, without the unknowns whose pivot is not above `least`: these get the row and column of
/// the identity, and are given back.
fn factor_without(a: &mut [f64], size: usize, least: impl Fn(usize) -> f64) -> Vec<usize> {
    let mut absent = Vec::new();
    for j in 0..size {
        let pivot = a[j * size + j] - a[j * size..j * size + j].iter().map(|value| value * value).sum::<f64>();
        let told = pivot > least(j) && pivot.is_finite();
        if !told {
            absent.push(j);
            a[j * size..j * size + j].fill(0.0);
        }
        let root = if told { pivot.sqrt() } else { 1.0 };
        a[j * size + j] = root;
        for i in j + 1..size {
            let done = dot(&a[i * size..i * size + j], &a[j * size..j * size + j]);
            a[i * size + j] = if told { (a[i * size + j] - done) / root } else { 0.0 };
        }
    }
    absent
}

/// Length of a column of the design, weighted, from its upper factor R.
fn column_size(r: &[f64], rank: usize, column: usize) -> f64 {
    (0..=column).map(|row| r[row * rank + column].powi(2)).sum::<f64>().sqrt()
}

/// The group whose rows an effect acts on, by elimination position; none for an effect without rows.
fn owners(design: &Design, profile: &Profile, groups: &[usize]) -> Result<Vec<Option<usize>>> {
    let mut owner = vec![None; profile.n_effects()];
    for (k, term) in design.random().iter().enumerate() {
        for (i, &group) in groups.iter().enumerate() {
            for column in 0..term.n_columns() {
                let slot = &mut owner[profile.layout.position(k, term.groups[i], column)];
                if slot.is_some_and(|other| other != group) {
                    return Err(StatsError::RandomTerm {
                        term: term.name.clone(),
                        reason: "its effects are shared by groups that are to be left out one by one".into(),
                    });
                }
                *slot = Some(group);
            }
        }
    }
    Ok(owner)
}
