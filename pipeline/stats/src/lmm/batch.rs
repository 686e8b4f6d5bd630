//! Components of outer effects that are alike, side by side: what is done to a number of one is done to `LANES` of them at once, as processors do it.

use super::parting::{Component, Effect};

/// Components of a batch: four or more double-length numbers are what processors add in one or two instructions.
pub(super) const LANES: usize = 8;

/// The same number of each component.
pub(super) type Lanes = [f64; LANES];

/// Components whose effects are of the same terms and that have the same columns. Lanes without a component are nought, and add nothing.
#[derive(Debug)]
pub(super) struct Batch {
    /// Of each effect.
    terms: Vec<usize>,
    columns: Vec<usize>,
    /// Place of each effect among all effects, lane by lane.
    places: Vec<[Option<usize>; LANES]>,
    taken: usize,
    /// Cross-products effects × effects, lower triangle.
    own: Vec<Lanes>,
    /// Effects × columns.
    across: Vec<Lanes>,
}

/// A batch at some spreads.
#[derive(Debug, Clone)]
pub(super) struct BatchFactor {
    /// Lower factors L; on the diagonal the inverse of what stands there.
    own: Vec<Lanes>,
    /// `L⁻¹` times the scaled cross-products with other columns.
    across: Vec<Lanes>,
}

impl Batch {
    /// Of `component`, in the first lane, and of others that are like it.
    pub(super) fn new(component: &Component) -> Self {
        let (effects, columns) = (component.effects.len(), component.columns.len());
        let mut batch = Self {
            terms: component.effects.iter().map(|effect| effect.term).collect(),
            columns: component.columns.clone(),
            places: vec![[None; LANES]; effects],
            taken: 0,
            own: vec![[0.0; LANES]; effects * effects],
            across: vec![[0.0; LANES]; effects * columns],
        };
        batch.take(component);
        batch
    }

    /// The lane that `component` is given; `None` where it is not alike, or all are taken.
    pub(super) fn take(&mut self, component: &Component) -> Option<usize> {
        let alike = || component.effects.iter().map(|effect| &effect.term).eq(&self.terms);
        if self.taken == LANES || component.columns != self.columns || !alike() {
            return None;
        }
        let lane = self.taken;
        self.taken += 1;
        for (places, Effect { place, .. }) in self.places.iter_mut().zip(&component.effects) {
            places[lane] = Some(*place);
        }
        Some(lane)
    }

    /// Adds a row of the design to the cross-products: which effects of the component in `lane` act with what strength, and the columns left over.
    pub(super) fn add(&mut self, lane: usize, acting: &[(usize, f64)], left: &[(usize, f64)]) {
        let (effects, columns) = (self.terms.len(), self.columns.len());
        for (a, value) in acting {
            acting.iter().for_each(|(b, other)| self.own[a * effects + b][lane] += value * other);
            for (column, other) in left {
                let at = self.columns.partition_point(|known| known < column);
                self.across[a * columns + at][lane] += value * other;
            }
        }
    }

    /// Space for the factor.
    pub(super) fn factor(&self) -> BatchFactor {
        BatchFactor { own: self.own.clone(), across: self.across.clone() }
    }

    /// Factors at `theta`, one a term, takes what the effects explain off `rest` (rows of `size`), and returns the logarithm of the determinants of
    /// `M` of all lanes together. `None` when the numbers overflow.
    pub(super) fn eliminate(
        &self,
        theta: &[f64],
        into: &mut BatchFactor,
        rest: &mut [f64],
        size: usize,
    ) -> Option<f64> {
        let (effects, columns) = (self.terms.len(), self.columns.len());
        let mut log_determinant = 0.0;
        for (a, term) in self.terms.iter().enumerate() {
            let (above, row) = into.own.split_at_mut(a * effects);
            let mut pivot = scaled(&self.own[a * effects + a], theta[*term] * theta[*term]);
            pivot.iter_mut().for_each(|value| *value += 1.0);
            for (b, other) in self.terms[..a].iter().enumerate() {
                let factors = &above[b * effects..][..=b];
                let mut value = scaled(&self.own[a * effects + b], theta[*term] * theta[*other]);
                for (x, y) in row.iter().zip(&factors[..b]) {
                    subtract_product(&mut value, x, y);
                }
                row[b] = product(&value, &factors[b]);
                subtract_product(&mut pivot, &row[b], &row[b]);
            }
            // Of eight numbers that are at least one, so that one logarithm is enough.
            let determinant = pivot.iter().product::<f64>();
            if !(pivot.iter().all(|value| *value > 0.0) && determinant.is_finite()) {
                return None;
            }
            log_determinant += determinant.ln();
            row[a] = pivot.map(|value| 1.0 / value.sqrt());
            let (above, across) = into.across.split_at_mut(a * columns);
            for (column, target) in across[..columns].iter_mut().enumerate() {
                let mut value = scaled(&self.across[a * columns + column], theta[*term]);
                for (factor, other) in row[..a].iter().zip(above.iter().skip(column).step_by(columns)) {
                    subtract_product(&mut value, factor, other);
                }
                *target = product(&value, &row[a]);
            }
        }
        for (i, row) in self.columns.iter().enumerate() {
            let target = &mut rest[row * size..];
            for (j, column) in self.columns[..=i].iter().enumerate() {
                let mut explained = [0.0; LANES];
                for a in 0..effects {
                    let effect = &into.across[a * columns..];
                    subtract_product(&mut explained, &effect[i], &effect[j]);
                }
                target[*column] += sum(&explained);
            }
        }
        Some(log_determinant)
    }

    /// Puts the effects of all components in place of the noise that stands there, given what was `drawn` of the columns left over.
    pub(super) fn draw(&self, theta: &[f64], factor: &BatchFactor, drawn: &[f64], effects: &mut [f64]) {
        let (count, columns) = (self.terms.len(), self.columns.len());
        let mut standard: Vec<Lanes> = Vec::with_capacity(count);
        for (a, places) in self.places.iter().enumerate() {
            let mut value = places.map(|place| place.map_or(0.0, |place| effects[place]));
            for (explains, column) in factor.across[a * columns..].iter().zip(&self.columns) {
                subtract_product(&mut value, explains, &[drawn[*column]; LANES]);
            }
            standard.push(value);
        }
        for a in (0..count).rev() {
            let factors = &factor.own[a * count..][..=a];
            let value = product(&standard[a], &factors[a]);
            for (other, factor) in standard.iter_mut().zip(&factors[..a]) {
                subtract_product(other, factor, &value);
            }
            for (place, effect) in self.places[a].iter().zip(scaled(&value, theta[self.terms[a]])) {
                if let Some(place) = place {
                    effects[*place] = effect;
                }
            }
        }
    }
}

fn scaled(lanes: &Lanes, by: f64) -> Lanes {
    lanes.map(|value| value * by)
}

fn product(a: &Lanes, b: &Lanes) -> Lanes {
    std::array::from_fn(|lane| a[lane] * b[lane])
}

fn subtract_product(from: &mut Lanes, a: &Lanes, b: &Lanes) {
    for lane in 0..LANES {
        from[lane] -= a[lane] * b[lane];
    }
}

/// In pairs, which a processor adds at once.
fn sum(lanes: &Lanes) -> f64 {
    let [a, b, c, d, e, f, g, h] = lanes;
    ((a + e) + (c + g)) + ((b + f) + (d + h))
}
