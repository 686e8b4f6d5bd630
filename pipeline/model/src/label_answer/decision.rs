//! From draws of positions to best, window, start, evidence and shape: the lines of `decision`, read off labels instead of a grid of forces.

use crate::decision::{
    ENOUGH_FIELD_SEASONS, Evidence, Gain, HeldBack, LIKELY, NO_DIFFERENCE, NearBest, Shape, expected, shape_of,
    window_of,
};
use crate::groups::{Basis, Coverage};

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
    let worth = expected(typical);
    let allowed = (0..labels).filter(|label| test.can_be_best.contains(label));
    let best = allowed.max_by(|a, b| worth[*a].total_cmp(&worth[*b]).then(b.cmp(a))).unwrap_or(0);
    let (window, level_everywhere) = window_of(typical, best, tolerance);
    let seen = test.p_value <= NO_DIFFERENCE;
    let shape = if seen {
        shape_of(typical, best, steps_from_the_ends(labels))
    } else {
        let flat = test.largest_difference <= 2.0 * tolerance || level_everywhere >= LIKELY;
        if flat { Shape::Flat } else { Shape::Untold }
    };
    let stay = default.is_some_and(|default| {
        let inside = window.is_some_and(|(low, high)| (low..=high).contains(&default));
        let better = typical.iter().filter(|draw| draw[best] > draw[default]).count();
        inside || (better as f64 / typical.len() as f64) < LIKELY
    });
    let start = default.filter(|_| stay).unwrap_or(best);
    let near = NearBest::of(&draws.shares_near_best(start, tolerance));
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
    let evidence = Evidence::of(near, enough && (stay || seen), held_back);
    let gain = default.map(|default| {
        let gains: Vec<f64> = typical.iter().map(|draw| draw[start] - draw[default]).collect();
        Gain::of(&gains, start != default)
    });
    Decision { shape, best, window, evidence, start, stay, held_back, gain, near }
}

/// The positions one step from the lightest and from the heaviest.
fn steps_from_the_ends(labels: usize) -> (usize, usize) {
    (1, labels - 2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shape_is_read_off_the_order_of_the_positions() {
        let over = |worth: [i32; 4]| {
            let best = (0..4).max_by_key(|label| worth[*label]).unwrap();
            shape_of(&[worth.map(f64::from).to_vec()], best, steps_from_the_ends(4))
        };
        assert_eq!(over([1, 2, 4, 3]), Shape::Inside);
        assert_eq!(over([1, 2, 3, 4]), Shape::Heavier);
        assert_eq!(over([4, 3, 2, 1]), Shape::Lighter);
        assert_eq!(over([1, 2, 4, 4]), Shape::Plateau);
        assert_eq!(over([4, 4, 2, 1]), Shape::Plateau);
        assert_eq!(over([4, 1, 1, 4]), Shape::Untold);
    }
}
