//! The likelihood of a mixed model for a walk over its spreads, in two stages of which the second costs next to nothing.
//!
//! With `M = ΛZ'WZΛ + I` the criterion of `profile.rs` is a Cholesky factor of the cross-products of `[ZΛ, Q, residual]`, Q the orthonormal fixed
//! columns. Here each component of outer effects (`parting.rs`) is eliminated apart, with the few other columns that are not nought in its rows. With
//! the fixed columns eliminated after them, what is left is a small dense matrix C over the inner effects, in which only the spreads Λ₂ of inner terms are
//! still to be put:
//!
//! `log |M| + log |R_X|² = (components) + (fixed columns) + log |Λ₂CΛ₂ + I|`.
//!
//! A walk may therefore move the spreads of inner terms at a fraction of what the others cost.

use super::batch::{Batch, BatchFactor};
use super::parting::{Component, Effect, Parting};
use crate::dense::{cholesky_in_place, dot, solve_lower_transpose};
use crate::design::Design;
use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// Cross-products of a design, parted.
#[derive(Debug)]
pub(super) struct Elimination {
    rank: usize,
    n_effects: usize,
    /// Terms whose spreads need both stages, and those that need the second alone.
    pub(super) outer_terms: Vec<usize>,
    pub(super) inner_terms: Vec<usize>,
    inner: Vec<Effect>,
    /// Places of outer effects, component by component: the order in which they are drawn.
    outer: Vec<usize>,
    batches: Vec<Batch>,
    /// Of fixed columns, inner effects and residual, lower triangle.
    rest: Vec<f64>,
}

/// The first stage at some spreads of outer terms.
#[derive(Debug, Clone)]
pub(super) struct Eliminated {
    batches: Vec<BatchFactor>,
    /// Rows of the factor for the fixed columns; below and right of them what is left over inner effects and residual.
    rest: Vec<f64>,
    log_determinant: f64,
}

/// The second stage.
#[derive(Debug, Clone)]
pub(super) struct Finished {
    /// Lower factor over inner effects and residual.
    factor: Vec<f64>,
    log_determinant: f64,
    /// Penalised weighted residual sum of squares.
    pub(super) sum_of_squares: f64,
}

impl Elimination {
    /// Parts the terms of `design` and forms all cross-products. `weighted_residuals` are those of least squares.
    pub(super) fn new(design: &Design, weighted_residuals: &[f64]) -> Self {
        Self::of(design, weighted_residuals, Parting::cheapest(design))
    }

    fn of(design: &Design, weighted_residuals: &[f64], mut parting: Parting) -> Self {
        let rank = design.rank();
        let size = rank + parting.inner.len() + 1;
        let components = std::mem::take(&mut parting.components);
        let outer =
            components.iter().flat_map(|component| component.effects.iter().map(|effect| effect.place)).collect();
        let (mut batches, lanes) = side_by_side(&components);
        let mut rest = vec![0.0; size * size];
        for (row, residual) in weighted_residuals.iter().enumerate() {
            let left: Vec<(usize, f64)> =
                parting.left_in(design, row).chain(std::iter::once((size - 1, *residual))).collect();
            for (number, (i, value)) in left.iter().enumerate() {
                left[..=number].iter().for_each(|(j, other)| rest[i * size + j] += value * other);
            }
            let Some((batch, lane)) = parting.component_of[row].map(|number| lanes[number]) else { continue };
            let acting: Vec<(usize, f64)> = parting
                .outer_in(design, row)
                .filter_map(|(effect, z)| Some((parting.place_in_component[effect]?, z)))
                .collect();
            batches[batch].add(lane, &acting, &left);
        }
        let n_effects = parting.n_effects();
        let Parting { outer_terms, inner_terms, inner, .. } = parting;
        Self { rank, n_effects, outer_terms, inner_terms, inner, outer, batches, rest }
    }

    fn size(&self) -> usize {
        self.rank + self.inner.len() + 1
    }

    /// Space for the first stage.
    pub(super) fn eliminated(&self) -> Eliminated {
        let batches = self.batches.iter().map(Batch::factor).collect();
        Eliminated { batches, rest: self.rest.clone(), log_determinant: 0.0 }
    }

    /// Space for the second stage.
    pub(super) fn finished(&self) -> Finished {
        let size = self.inner.len() + 1;
        Finished { factor: vec![0.0; size * size], log_determinant: 0.0, sum_of_squares: 0.0 }
    }

    /// First stage at `theta`, one a term. False when the numbers overflow.
    #[must_use]
    pub(super) fn eliminate(&self, theta: &[f64], into: &mut Eliminated) -> bool {
        into.rest.copy_from_slice(&self.rest);
        into.log_determinant = 0.0;
        for (batch, factor) in self.batches.iter().zip(&mut into.batches) {
            match batch.eliminate(theta, factor, &mut into.rest, self.size()) {
                Some(log_determinant) => into.log_determinant += log_determinant,
                None => return false,
            }
        }
        self.eliminate_fixed(into)
    }

    /// The rows of the fixed columns become those of the factor, and what they explain is taken off the rest.
    fn eliminate_fixed(&self, into: &mut Eliminated) -> bool {
        let (size, rank) = (self.size(), self.rank);
        for i in 0..size {
            let (done, row) = into.rest.split_at_mut(i * size);
            let row = &mut row[..=i];
            for (j, other) in done.chunks_exact(size).enumerate() {
                let known = j.min(rank);
                row[j] -= dot(&row[..known], &other[..known]);
                if j < rank {
                    row[j] /= other[j];
                }
            }
            let known = i.min(rank);
            row[i] -= dot(&row[..known], &row[..known]);
            if i < rank {
                if !(row[i] > 0.0 && row[i].is_finite()) {
                    return false;
                }
                row[i] = row[i].sqrt();
                into.log_determinant += 2.0 * row[i].ln();
            }
        }
        true
    }

    /// Second stage at `theta`. False when the numbers overflow.
    #[must_use]
    pub(super) fn finish(&self, theta: &[f64], from: &Eliminated, into: &mut Finished) -> bool {
        let (size, rank, last) = (self.size(), self.rank, self.inner.len());
        let scale = |number: usize| self.inner.get(number).map_or(1.0, |effect| theta[effect.term]);
        for i in 0..=last {
            let row = &from.rest[(rank + i) * size + rank..];
            let target = &mut into.factor[i * (last + 1)..];
            for j in 0..=i {
                target[j] = scale(i) * scale(j) * row[j];
            }
            if i < last {
                target[i] += 1.0;
            }
        }
        if !cholesky_in_place(&mut into.factor, last + 1) {
            return false;
        }
        let diagonal = |i: usize| into.factor[i * (last + 2)];
        into.log_determinant = (0..last).map(|i| 2.0 * diagonal(i).ln()).sum();
        into.sum_of_squares = diagonal(last).powi(2);
        true
    }

    /// `log |M| + log |R_X|²` on the orthonormal columns.
    pub(super) fn log_determinant(&self, eliminated: &Eliminated, finished: &Finished) -> f64 {
        eliminated.log_determinant + finished.log_determinant
    }

    /// Coefficients on Q beside those of least squares, and effects in term order, drawn from their normal distribution with this `sigma`; their modes
    /// with a sigma of zero.
    pub(super) fn draw(
        &self,
        theta: &[f64],
        sigma: f64,
        (eliminated, finished): (&Eliminated, &Finished),
        random: &mut ChaCha8Rng,
    ) -> (Vec<f64>, Vec<f64>) {
        let (size, rank, last) = (self.size(), self.rank, self.inner.len());
        let mut noise = || sigma * random.sample::<f64, _>(StandardNormal);
        let mut effects = vec![0.0; self.n_effects];
        // Of all columns left over. The residual's is −1: what the others explain is taken off it.
        let mut drawn = vec![-1.0; size];
        let modes = &finished.factor[last * (last + 1)..][..last];
        let mut inner: Vec<f64> = modes.iter().map(|mode| mode + noise()).collect();
        solve_lower_transpose(&finished.factor, last + 1, &mut inner);
        for ((effect, value), drawn) in self.inner.iter().zip(inner).zip(&mut drawn[rank..]) {
            *drawn = theta[effect.term] * value;
            effects[effect.place] = *drawn;
        }
        let explained =
            |column: usize| (rank..size).map(|row| eliminated.rest[row * size + column] * drawn[row]).sum::<f64>();
        let mut fixed: Vec<f64> = (0..rank).map(|column| noise() - explained(column)).collect();
        solve_lower_transpose(&eliminated.rest, size, &mut fixed);
        drawn[..rank].copy_from_slice(&fixed);
        self.outer.iter().for_each(|place| effects[*place] = noise());
        for (batch, factor) in self.batches.iter().zip(&eliminated.batches) {
            batch.draw(theta, factor, &drawn, &mut effects);
        }
        (fixed, effects)
    }
}

/// Puts components that are alike into batches, and says of each in which it is, and in which lane.
fn side_by_side(components: &[Component]) -> (Vec<Batch>, Vec<(usize, usize)>) {
    let mut batches: Vec<Batch> = Vec::new();
    let mut place = |component: &Component| {
        // Of those that are alike only the last has a lane left.
        let taken =
            batches.iter_mut().enumerate().rev().find_map(|(number, batch)| Some((number, batch.take(component)?)));
        taken.unwrap_or_else(|| {
            batches.push(Batch::new(component));
            (batches.len() - 1, 0)
        })
    };
    let lanes = components.iter().map(&mut place).collect();
    (batches, lanes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lmm::batch::LANES;
    use crate::lmm::profile::{Criterion, Profile};
    use crate::random_term::RandomTerm;
    use ndarray::Array2;
    use rand::SeedableRng;

    /// Six fields of two blocks and six strips, in two conditions and three machines that cross the fields; one field has no strips.
    fn design() -> Design {
        let rows = 72;
        let field: Vec<usize> = (0..rows).map(|row| row / 12 + usize::from(row >= 36)).collect();
        let block: Vec<usize> = (0..rows).map(|row| row / 6).collect();
        let condition: Vec<usize> = field.iter().map(|field| field % 2).collect();
        let force: Vec<f64> = (0..rows).map(|row| ((row * 5) % 6) as f64 / 2.5 - 1.0).collect();
        let response =
            (0..rows).map(|row| (1.7 * row as f64).sin() + 0.3 * force[row] + field[row] as f64 / 5.0).collect();
        let fixed = Array2::from_shape_fn((rows, 4), |(row, column)| match column {
            0 | 1 => f64::from(u8::from(condition[row] == column)),
            2 => force[row],
            _ => force[row] * force[row],
        });
        let of_condition = |number: usize, power: i32| {
            (0..rows).map(|row| if condition[row] == number { force[row].powi(power) } else { 0.0 }).collect()
        };
        let random = vec![
            RandomTerm::intercept("field", field.clone(), 7),
            RandomTerm::intercept("block", block, 12),
            RandomTerm::slope("slope", field, 7, force.clone()),
            RandomTerm::intercept("machine", (0..rows).map(|row| row % 3).collect(), 3),
            RandomTerm::smooth(
                "departure",
                vec![of_condition(0, 3), of_condition(1, 3), of_condition(0, 4), of_condition(1, 4)],
            ),
        ];
        let weights = (0..rows).map(|row| 0.5 + (row % 7) as f64 / 4.0).collect();
        Design::new(response, fixed, (0..4).map(|column| format!("x{column}")).collect(), random, Some(weights))
            .unwrap()
    }

    /// Holds criterion and modes of every parting of the terms, `order` in two, to those of the profile that the fit maximises.
    fn assert_as_profile(design: &Design, order: &[usize], thetas: &[&[f64]]) {
        let (start, profile) = Profile::of(design).unwrap();
        let residuals = design.weighted(start.residuals());
        let mut work = profile.workspace();
        for theta in thetas {
            assert!(profile.factor(theta, &mut work));
            let shift = profile.shift_on_q(&work);
            let modes = profile.effects(&work, &shift);
            for count in 0..=order.len() {
                let parting = Parting::of(design, &order[..count], &order[count..]);
                let parts = Elimination::of(design, &residuals, parting);
                let (mut eliminated, mut finished) = (parts.eliminated(), parts.finished());
                // Twice, to see that nothing is left over from the first time.
                for _ in 0..2 {
                    assert!(parts.eliminate(theta, &mut eliminated) && parts.finish(theta, &eliminated, &mut finished));
                }
                let determinant = parts.log_determinant(&eliminated, &finished)
                    - profile.log_determinants(&work, Criterion::Reml)
                    + design.qr.log_determinant();
                assert!(determinant.abs() < 1e-11, "{count}: {determinant}");
                assert!((finished.sum_of_squares / work.sum_of_squares - 1.0).abs() < 1e-12);
                let mut random = ChaCha8Rng::seed_from_u64(1);
                let (fixed, effects) = parts.draw(theta, 0.0, (&eliminated, &finished), &mut random);
                for (found, expected) in fixed.iter().zip(&shift).chain(effects.iter().zip(&modes)) {
                    assert!((found - expected).abs() < 1e-10, "{count}: {found} {expected}");
                }
            }
        }
    }

    #[test]
    fn every_parting_gives_the_criterion_and_the_modes_of_the_profile() {
        let thetas: [&[f64]; 3] =
            [&[0.8, 0.3, 0.5, 0.2, 1.5], &[0.0, 2.0, 1e-6, 4.0, 0.01], &[30.0, 0.0, 0.4, 0.0, 0.3]];
        assert_as_profile(&design(), &[1, 0, 2, 3, 4], &thetas);
    }

    #[test]
    fn components_that_are_alike_fill_one_batch_after_the_other() {
        let rows = 5 * (2 * LANES + 3);
        let field: Vec<usize> = (0..rows).map(|row| row / 5).collect();
        let force: Vec<f64> = (0..rows).map(|row| (row % 5) as f64 - 2.0 + (0.7 * row as f64).sin() / 4.0).collect();
        let response = (0..rows).map(|row| (1.3 * row as f64).cos() + 0.2 * force[row]).collect();
        let fixed = Array2::from_shape_fn((rows, 2), |(row, column)| if column == 0 { 1.0 } else { force[row] });
        let random = vec![
            RandomTerm::intercept("field", field.clone(), 2 * LANES + 3),
            RandomTerm::slope("slope", field, 2 * LANES + 3, force),
        ];
        let design = Design::new(response, fixed, vec!["one".into(), "force".into()], random, None).unwrap();
        let parts = Elimination::new(&design, &vec![0.0; rows]);
        assert_eq!(parts.batches.len(), 3);
        assert_as_profile(&design, &[0, 1], &[&[0.8, 0.3], &[0.0, 2.0]]);
    }

    #[test]
    fn fields_are_eliminated_apart_and_what_few_groups_share_is_left_over() {
        let parting = Parting::cheapest(&design());
        assert_eq!((parting.outer_terms, parting.inner_terms), (vec![1, 0, 2], vec![3, 4]));
        // Blocks of a field with its level and slope; of the field without strips, level and slope alone.
        let mut sizes: Vec<usize> = parting.components.iter().map(|component| component.effects.len()).collect();
        sizes.sort_unstable();
        assert_eq!(sizes, [1, 1, 4, 4, 4, 4, 4, 4]);
    }
}
