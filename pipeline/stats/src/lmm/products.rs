//! `Λ'Z'WZΛ` from `Z'WZ`, entry by entry; both have one pattern because the columns of a group stand together.

use super::layout::Layout;
use crate::random_term::Structure;
use crate::sparse::SymmetricSparse;

/// How the entries of `Λ'Z'WZΛ` follow from those of `Z'WZ`: sums of `theta[left] theta[right] source`.
#[derive(Debug, Clone, Default)]
pub(super) struct Products {
    /// Theta of each effect where no term is correlated: every entry is then one product, and the rest stays empty.
    scales: Option<Vec<u32>>,
    /// Targets are the diagonal, then the entries above it.
    start: Vec<usize>,
    terms: Vec<(u32, u32, u32)>,
}

impl Products {
    pub(super) fn new(layout: &Layout, zz: &SymmetricSparse) -> Self {
        let mut products = Self { scales: None, start: vec![0], terms: Vec::new() };
        if layout.templates.iter().all(|template| template.structure == Structure::Common) {
            let scales = layout.owner.iter().map(|&(k, _)| layout.templates[k].first as u32).collect();
            return Self { scales: Some(scales), ..products };
        }
        let size = layout.n_effects();
        // Entry of Z'WZ at (row, column): a position on the diagonal, or `size +` its place above it.
        let entry = |a: usize, b: usize| -> Option<usize> {
            let (row, column) = (a.min(b), a.max(b));
            if row == column {
                return Some(row);
            }
            let range = zz.column_start[column]..zz.column_start[column + 1];
            zz.row[range.clone()].binary_search(&row).ok().map(|at| size + range.start + at)
        };
        let mut add = |i: usize, j: usize| {
            let ((k, c_i), (l, c_j)) = (layout.owner[i], layout.owner[j]);
            let (left, right) = (&layout.templates[k], &layout.templates[l]);
            for a in c_i..left.columns {
                let Some(theta_a) = left.theta(a, c_i) else { continue };
                for b in c_j..right.columns {
                    let Some(theta_b) = right.theta(b, c_j) else { continue };
                    if let Some(source) = entry(i + a - c_i, j + b - c_j) {
                        products.terms.push((source as u32, theta_a as u32, theta_b as u32));
                    }
                }
            }
            products.start.push(products.terms.len());
        };
        for at in 0..size {
            add(at, at);
        }
        for column in 0..size {
            for &row in &zz.row[zz.column_start[column]..zz.column_start[column + 1]] {
                add(row, column);
            }
        }
        products
    }

    pub(super) fn apply(&self, theta: &[f64], zz: &SymmetricSparse, target: &mut SymmetricSparse) {
        let size = zz.diagonal.len();
        if let Some(scales) = &self.scales {
            let scale = |at: usize| theta[scales[at] as usize];
            for column in 0..size {
                let own = scale(column);
                target.diagonal[column] = own * own * zz.diagonal[column];
                for at in zz.column_start[column]..zz.column_start[column + 1] {
                    target.value[at] = own * scale(zz.row[at]) * zz.value[at];
                }
            }
            return;
        }
        let value = |index: usize| -> f64 {
            self.terms[self.start[index]..self.start[index + 1]]
                .iter()
                .map(|&(source, left, right)| {
                    let source = source as usize;
                    let entry = if source < size { zz.diagonal[source] } else { zz.value[source - size] };
                    theta[left as usize] * theta[right as usize] * entry
                })
                .sum()
        };
        target.diagonal.iter_mut().enumerate().for_each(|(at, entry)| *entry = value(at));
        target.value.iter_mut().enumerate().for_each(|(at, entry)| *entry = value(size + at));
    }
}
