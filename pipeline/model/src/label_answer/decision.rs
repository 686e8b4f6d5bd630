//! From draws of positions to best, window, start, evidence and shape: the lines of `decision`, read off labels instead of a grid of forces.

use crate::decision::{
    CLEAR, CONFIDENT, ENOUGH_FIELD_SEASONS, Evidence, Gain, HeldBack, LEANING, LIKELY, NO_DIFFERENCE, NearBest, Shape,
};
use crate::groups::{Basis, Coverage};
use crate::summary::{mean, quantile};

use super::draws::LabelDraws;
use super::test::LabelTest;

/// What is decided, in numbers of positions.
#[derive(Debug, Clone)]
pub(super) struct Decision {
    pub shape: Shape,
    pub best: usize,
    /// Positions around the best that are as good.
    pub window: Option<(usize, usize)>,
    pub evidence: Evidence,
    /// The start considered, also where the evidence is open and it is not suggested.
    pub start: usize,
    /// Whether the start is the default.
    pub stay: bool,
    /// What keeps the evidence down, where something does.
    pub held_back: Option<HeldBack>,
    /// Start against default; missing where the default was not tried.
    pub gain: Option<Gain>,
    pub near: NearBest,
}

/// The default among the positions tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DefaultPlace {
    Tried(usize),
    /// Lighter than all of them, heavier than all, or another one.
    Lighter,
    Heavier,
    Other,
}

/// Decides. `tried` has the number of field-seasons that tried each position.
pub(super) fn decide(
    draws: &LabelDraws,
    test: &LabelTest,
    coverage: &Coverage,
    tolerance: f64,
    default: DefaultPlace,
    tried: &[usize],
) -> Decision {
    let untried = default;
    let default = if let DefaultPlace::Tried(label) = default { Some(label) } else { None };
    let typical = &draws.typical;
    let labels = typical[0].len();
    let expected = |label: usize| mean(&typical.iter().map(|draw| draw[label]).collect::<Vec<_>>());
    let allowed = (0..labels).filter(|label| test.can_be_best.contains(label));
    let best = allowed.max_by(|a, b| expected(*a).total_cmp(&expected(*b)).then(b.cmp(a))).unwrap_or(0);
    let share = |holds: &dyn Fn(&Vec<f64>) -> bool| {
        typical.iter().filter(|draw| holds(draw)).count() as f64 / typical.len() as f64
    };
    let top = |draw: &[f64]| draw.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let good: Vec<bool> =
        (0..labels).map(|label| share(&|draw| top(draw) - draw[label] <= tolerance) >= LIKELY).collect();
    let window = good[best].then(|| {
        let low = (0..=best).rev().take_while(|label| good[*label]).last().unwrap_or(best);
        let high = (best..labels).take_while(|label| good[*label]).last().unwrap_or(best);
        (low, high)
    });
    let worse = |label: usize, than: usize| share(&|draw| draw[label] < draw[than]) >= CLEAR;
    let seen = test.p_value <= NO_DIFFERENCE;
    let shape = if seen {
        shape(labels, best, worse)
    } else {
        let level = share(&|draw| draw.iter().all(|worth| top(draw) - worth <= tolerance));
        let flat = test.largest_difference <= 2.0 * tolerance || level >= LIKELY;
        if flat { Shape::Flat } else { Shape::Untold }
    };
    let stay = default.is_some_and(|default| {
        let inside = window.is_some_and(|(low, high)| (low..=high).contains(&default));
        inside || share(&|draw| draw[best] > draw[default]) < LIKELY
    });
    let start = default.filter(|_| stay).unwrap_or(best);
    let shares = draws.shares_near_best(start, tolerance);
    let near = NearBest { probability: mean(&shares), confident: quantile(&shares, 1.0 - CONFIDENT) };
    let enough = coverage.basis == Basis::Trial && tried[start] >= ENOUGH_FIELD_SEASONS;
    let can_be = |label: usize| test.can_be_best.contains(&label);
    let held_back = match untried {
        DefaultPlace::Lighter if can_be(0) => Some(HeldBack::DefaultBeyond),
        DefaultPlace::Heavier if can_be(labels - 1) => Some(HeldBack::DefaultBeyond),
        DefaultPlace::Lighter | DefaultPlace::Heavier | DefaultPlace::Other => Some(HeldBack::DefaultUntried),
        DefaultPlace::Tried(_) => (tried[start] < coverage.field_seasons.min(ENOUGH_FIELD_SEASONS))
            .then_some(HeldBack::TriedApart(tried[start], coverage.field_seasons)),
    };
    // A move rests on a difference that was seen.
    let nearly = if near.confident >= LIKELY && enough && (stay || seen) {
        Evidence::Settled
    } else if near.probability >= LEANING {
        Evidence::Leaning
    } else {
        Evidence::Open
    };
    let evidence = match held_back {
        Some(HeldBack::DefaultBeyond) => Evidence::Open,
        Some(HeldBack::TriedApart(tried, all)) if 2 * tried < all => Evidence::Open,
        Some(_) => nearly.min(Evidence::Leaning),
        None => nearly,
    };
    let gain = default.map(|default| {
        let gains: Vec<f64> = typical.iter().map(|draw| draw[start] - draw[default]).collect();
        Gain {
            expected: mean(&gains),
            low: quantile(&gains, 0.05),
            high: quantile(&gains, 0.95),
            probability: (start != default)
                .then(|| gains.iter().filter(|gain| **gain > 0.0).count() as f64 / gains.len() as f64),
        }
    });
    Decision { shape, best, window, evidence, start, stay, held_back, gain, near }
}

/// The shape over positions in which a difference was seen; `worse` tells whether one is clearly worse than another.
fn shape(labels: usize, best: usize, worse: impl Fn(usize, usize) -> bool) -> Shape {
    let last = labels - 1;
    match (worse(0, best), worse(last, best)) {
        (true, true) => Shape::Inside,
        (false, false) => Shape::Untold,
        // Still rising over the last step, or level there.
        (true, false) if worse(last - 1, last) => Shape::Heavier,
        (false, true) if worse(1, 0) => Shape::Lighter,
        _ => Shape::Plateau,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shape_is_read_off_the_order_of_the_positions() {
        let over = |worth: [i32; 4]| {
            let best = (0..4).max_by_key(|label| worth[*label]).unwrap();
            shape(4, best, |label, than| worth[label] < worth[than])
        };
        assert_eq!(over([1, 2, 4, 3]), Shape::Inside);
        assert_eq!(over([1, 2, 3, 4]), Shape::Heavier);
        assert_eq!(over([4, 3, 2, 1]), Shape::Lighter);
        assert_eq!(over([1, 2, 4, 4]), Shape::Plateau);
        assert_eq!(over([4, 4, 2, 1]), Shape::Plateau);
        assert_eq!(over([4, 1, 1, 4]), Shape::Untold);
    }
}
