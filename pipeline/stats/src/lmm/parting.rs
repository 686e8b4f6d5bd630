//! Which effects of a mixed model are eliminated apart, and what is left over after them.

use crate::design::Design;

/// Entries of orthonormal columns below this are rounding.
const NOUGHT: f64 = 1e-14;

/// One effect: its term, and its place among all effects, term by term, group by group, column by column.
#[derive(Debug, Clone, Copy)]
pub(super) struct Effect {
    pub(super) term: usize,
    pub(super) place: usize,
}

/// Outer effects that share rows.
#[derive(Debug, Default)]
pub(super) struct Component {
    pub(super) effects: Vec<Effect>,
    /// Columns left over that are not nought in its rows, ascending.
    pub(super) columns: Vec<usize>,
}

/// Effects in two parts. *Outer* ones, of fields and blocks, fall into many small components that share no row; *inner* ones, of a handful of conditions,
/// are left over with the fixed columns: columns are counted as orthonormal ones, inner effects, residual.
#[derive(Debug)]
pub(super) struct Parting {
    pub(super) outer_terms: Vec<usize>,
    pub(super) inner_terms: Vec<usize>,
    pub(super) inner: Vec<Effect>,
    pub(super) components: Vec<Component>,
    /// Component of each row, and its place there of each effect; `None` where nothing outer acts, or an effect is inner.
    pub(super) component_of: Vec<Option<usize>>,
    pub(super) place_in_component: Vec<Option<usize>>,
    rank: usize,
    /// First effect of each term, and the number of effects at the end.
    first: Vec<usize>,
}

impl Parting {
    /// The terms with most groups are outer: as many of them as make a round of moves cheapest.
    pub(super) fn cheapest(design: &Design) -> Self {
        let mut terms: Vec<usize> = (0..design.random().len()).collect();
        terms.sort_by_key(|term| std::cmp::Reverse(design.random()[*term].n_groups));
        let partings = (0..=terms.len()).map(|outer| Self::of(design, &terms[..outer], &terms[outer..]));
        partings.min_by_key(Self::cost).unwrap_or_else(|| Self::of(design, &[], &[]))
    }

    pub(super) fn of(design: &Design, outer_terms: &[usize], inner_terms: &[usize]) -> Self {
        let mut first = vec![0];
        for term in design.random() {
            first.push(first[first.len() - 1] + term.n_groups * term.n_columns());
        }
        let effects_of = |terms: &[usize]| -> Vec<Effect> {
            let of_term = |term: &usize| {
                let term = *term;
                (first[term]..first[term + 1]).map(move |place| Effect { term, place })
            };
            terms.iter().flat_map(of_term).collect()
        };
        let (outer, inner) = (effects_of(outer_terms), effects_of(inner_terms));
        let n_effects = first[design.random().len()];
        let mut parting = Self {
            outer_terms: outer_terms.to_vec(),
            inner_terms: inner_terms.to_vec(),
            inner,
            components: Vec::new(),
            component_of: Vec::new(),
            place_in_component: vec![None; n_effects],
            rank: design.rank(),
            first,
        };
        let mut linked = Linked((0..n_effects).collect());
        for row in 0..design.n_observations() {
            let acting: Vec<usize> = parting.outer_in(design, row).map(|(effect, _)| effect).collect();
            acting.windows(2).for_each(|pair| linked.join(pair[0], pair[1]));
        }
        // Components in the order of their first effect.
        let mut number_of = vec![None; n_effects];
        for effect in outer {
            let root = linked.root(effect.place);
            let number = *number_of[root].get_or_insert(parting.components.len());
            if number == parting.components.len() {
                parting.components.push(Component::default());
            }
            let effects = &mut parting.components[number].effects;
            parting.place_in_component[effect.place] = Some(effects.len());
            effects.push(effect);
        }
        for row in 0..design.n_observations() {
            let number = parting.outer_in(design, row).next().and_then(|(effect, _)| number_of[linked.root(effect)]);
            if let Some(number) = number {
                let beside: Vec<usize> = parting.left_in(design, row).map(|(column, _)| column).collect();
                let columns = &mut parting.components[number].columns;
                columns.extend(beside);
                columns.push(parting.rank + parting.inner.len());
            }
            parting.component_of.push(number);
        }
        for component in &mut parting.components {
            component.columns.sort_unstable();
            component.columns.dedup();
        }
        parting
    }

    /// Number of effects, outer and inner.
    pub(super) fn n_effects(&self) -> usize {
        self.place_in_component.len()
    }

    /// Outer effects that act in a row, with their strength `√w z`.
    pub(super) fn outer_in(&self, design: &Design, row: usize) -> impl Iterator<Item = (usize, f64)> {
        self.acting(&self.outer_terms, design, row)
    }

    /// Columns left over that are not nought in a row, but for the residual's.
    pub(super) fn left_in(&self, design: &Design, row: usize) -> impl Iterator<Item = (usize, f64)> {
        let fixed = (0..self.rank).map(move |column| (column, design.qr.q_column(column)[row]));
        // Inner effects stand in the order of the inner terms.
        let mut column = self.rank;
        let inner = self.inner_terms.iter().flat_map(move |term| {
            let start = column;
            column += self.first[term + 1] - self.first[*term];
            self.acting(std::slice::from_ref(term), design, row)
                .map(move |(effect, z)| (start + effect - self.first[*term], z))
        });
        fixed.filter(|(_, value)| value.abs() > NOUGHT).chain(inner)
    }

    fn acting(&self, terms: &[usize], design: &Design, row: usize) -> impl Iterator<Item = (usize, f64)> {
        let weight = design.root_weight(row);
        terms.iter().flat_map(move |number| {
            let term = &design.random()[*number];
            let start = self.first[*number] + term.groups[row] * term.n_columns();
            let strengths = term.columns.iter().map(move |column| weight * column[row]);
            strengths.enumerate().filter(|(_, z)| *z != 0.0).map(move |(column, z)| (start + column, z))
        })
    }

    /// Multiplications of a round of moves: all outer spreads once, and every inner one.
    fn cost(&self) -> u64 {
        let of_component = |component: &Component| {
            let (effects, columns) = (component.effects.len() as u64, component.columns.len() as u64);
            effects.pow(3) / 6 + effects.pow(2) * columns / 2 + effects * columns.pow(2) / 2
        };
        let (fixed, inner) = (self.rank as u64, self.inner.len() as u64);
        let left_over = (fixed + inner + 1).pow(2) * fixed / 2;
        let outer = self.components.iter().map(of_component).sum::<u64>() + left_over;
        outer + self.inner_terms.len() as u64 * (inner + 1).pow(3) / 6
    }
}

/// Sets of effects that share rows, each by its root.
struct Linked(Vec<usize>);

impl Linked {
    fn root(&mut self, mut at: usize) -> usize {
        while self.0[at] != at {
            self.0[at] = self.0[self.0[at]];
            at = self.0[at];
        }
        at
    }

    fn join(&mut self, one: usize, other: usize) {
        let (one, other) = (self.root(one), self.root(other));
        self.0[other] = one;
    }
}
