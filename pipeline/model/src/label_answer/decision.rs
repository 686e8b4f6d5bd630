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
        let flat = test.largest_difference <= tolerance || level_everywhere >= LIKELY;
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
    use crate::by_hand;

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

    /// Four positions, the third best by one; `other` draws of ten have the first best instead.
    fn draws(other: usize) -> LabelDraws {
        let third = vec![0.0, 1.0, 2.0, 1.0];
        let first = vec![2.1, 1.0, 0.0, 0.0];
        LabelDraws::of((0..10).map(|draw| if draw < other { first.clone() } else { third.clone() }).collect())
    }

    fn told_apart() -> LabelTest {
        LabelTest {
            p_value: 0.01,
            largest_difference: 3.0,
            can_be_best: vec![1, 2],
            spread: 1.0,
            method: String::new(),
        }
    }

    fn decided(other: usize, default: DefaultPlace, tried: [usize; 4]) -> Decision {
        decide(&draws(other), &told_apart(), &by_hand::tried(), 0.5, default, &tried)
    }

    #[test]
    fn a_move_needs_a_likely_gain_and_a_default_as_good_stays() {
        let goes = decided(0, DefaultPlace::Tried(0), [3; 4]);
        assert_eq!((goes.best, goes.start, goes.stay, goes.evidence), (2, 2, false, Evidence::Settled));
        assert_eq!((goes.window, goes.shape, goes.held_back), (Some((2, 2)), Shape::Inside, None));
        let gain = goes.gain.unwrap();
        assert_eq!((gain.expected, gain.probability), (2.0, Some(1.0)));
        let stays = decided(0, DefaultPlace::Tried(2), [3; 4]);
        assert_eq!((stays.start, stays.stay, stays.evidence), (2, true, Evidence::Settled));
        assert_eq!(stays.gain.unwrap().probability, None);
        // Two draws in ten against the move are not too many, three are.
        assert!(!decided(2, DefaultPlace::Tried(0), [3; 4]).stay);
        let stays = decided(3, DefaultPlace::Tried(0), [3; 4]);
        assert_eq!((stays.start, stays.stay), (0, true));
        // A neighbour within the tolerance of the best is as good, however likely the best is better.
        let near = decide(&draws(0), &told_apart(), &by_hand::tried(), 1.0, DefaultPlace::Tried(1), &[3; 4]);
        assert_eq!((near.window, near.start, near.stay), (Some((1, 3)), 1, true));
    }

    #[test]
    fn what_few_field_seasons_tried_or_logs_alone_show_is_not_settled() {
        let evidence = |tried: [usize; 4]| decided(0, DefaultPlace::Tried(0), tried);
        assert_eq!(evidence([3, 3, 2, 3]).held_back, Some(HeldBack::TriedApart(2, 3)));
        assert_eq!(evidence([3, 3, 2, 3]).evidence, Evidence::Leaning);
        assert_eq!(evidence([0, 0, 3, 0]).evidence, Evidence::Settled);
        let logs = Coverage { basis: Basis::Logs, ..by_hand::tried() };
        let of_logs = decide(&draws(0), &told_apart(), &logs, 0.5, DefaultPlace::Tried(0), &[3; 4]);
        assert_eq!((of_logs.evidence, of_logs.held_back), (Evidence::Leaning, None));
        let two = Coverage { field_seasons: 2, ..by_hand::tried() };
        let of_two = decide(&draws(0), &told_apart(), &two, 0.5, DefaultPlace::Tried(0), &[2; 4]);
        assert_eq!((of_two.evidence, of_two.held_back), (Evidence::Leaning, None));
        // A move that no test saw only leans; staying asks for none.
        let unseen = LabelTest { p_value: 0.06, ..told_apart() };
        let of_unseen = |label| decide(&draws(0), &unseen, &by_hand::tried(), 0.5, DefaultPlace::Tried(label), &[3; 4]);
        assert_eq!([of_unseen(0).evidence, of_unseen(2).evidence], [Evidence::Leaning, Evidence::Settled]);
    }

    #[test]
    fn a_default_that_was_not_tried_holds_back_most_where_the_best_may_lie_towards_it() {
        let held_back = |can_be_best: Vec<usize>, default| {
            let test = LabelTest { can_be_best, ..told_apart() };
            let decision = decide(&draws(0), &test, &by_hand::tried(), 0.5, default, &[3; 4]);
            assert!(decision.gain.is_none() && !decision.stay);
            (decision.held_back, decision.evidence)
        };
        let (beyond, untried) = (Some(HeldBack::DefaultBeyond), Some(HeldBack::DefaultUntried));
        assert_eq!(held_back(vec![0, 1, 2], DefaultPlace::Lighter), (beyond, Evidence::Open));
        assert_eq!(held_back(vec![1, 2, 3], DefaultPlace::Heavier), (beyond, Evidence::Open));
        assert_eq!(held_back(vec![1, 2, 3], DefaultPlace::Lighter), (untried, Evidence::Leaning));
        assert_eq!(held_back(vec![0, 1, 2], DefaultPlace::Heavier), (untried, Evidence::Leaning));
        assert_eq!(held_back(vec![0, 1, 2, 3], DefaultPlace::Other), (untried, Evidence::Leaning));
    }

    #[test]
    fn what_was_not_seen_is_flat_only_where_differences_are_excluded_or_draws_are_alike() {
        let shape = |typical: Vec<Vec<f64>>, largest_difference: f64| {
            let test = LabelTest { p_value: 0.5, largest_difference, ..told_apart() };
            let default = DefaultPlace::Tried(0);
            decide(&LabelDraws::of(typical), &test, &by_hand::tried(), 3.0, default, &[3; 4]).shape
        };
        let (level, steep) = (vec![0.0; 4], vec![0.0, 0.0, 4.0, 0.0]);
        let of = |alike: usize| (0..10).map(|draw| if draw < alike { level.clone() } else { steep.clone() }).collect();
        assert_eq!(shape(of(0), 3.0), Shape::Flat);
        assert_eq!(shape(of(0), 3.1), Shape::Untold);
        assert_eq!(shape(of(8), 3.1), Shape::Flat);
        assert_eq!(shape(of(7), 3.1), Shape::Untold);
    }
}
