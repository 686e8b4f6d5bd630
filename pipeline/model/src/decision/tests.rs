//! Each rule on draws simple enough to work out by hand.

use super::*;
use crate::by_hand::{FALLING, LEVEL, RISING, TESTED, TOLERANCE, draws, peak_at, told_apart, tried};
use crate::dig_window::Allowed;

fn seen(draws: &GroupDraws) -> Picture {
    picture(draws, &tried(), Some(&told_apart()), TOLERANCE)
}

/// The choice of a curve that was seen.
fn chosen(draws: &GroupDraws, coverage: &Coverage, default_n: Option<f64>) -> Choice {
    choose(draws, coverage, &picture(draws, coverage, Some(&told_apart()), TOLERANCE), default_n)
}

fn close(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-9, "{found}, expected {expected}");
}

#[test]
fn evidence_is_settled_from_four_fields_in_five_leaning_from_one_in_two_and_held_back_where_something_speaks_against() {
    let near = |probability: f64, confident: f64| NearBest { probability, confident };
    let cases = [
        (near(1.0, 0.8), true, None, Evidence::Settled),
        (near(1.0, 0.79), true, None, Evidence::Leaning),
        (near(1.0, 1.0), false, None, Evidence::Leaning),
        (near(0.5, 0.0), true, None, Evidence::Leaning),
        (near(0.49, 0.0), true, None, Evidence::Open),
        (near(1.0, 1.0), true, Some(HeldBack::DefaultBeyond), Evidence::Open),
        (near(1.0, 1.0), true, Some(HeldBack::DugElsewhere), Evidence::Open),
        (near(1.0, 1.0), true, Some(HeldBack::DefaultUntried), Evidence::Leaning),
        (near(1.0, 1.0), true, Some(HeldBack::DugAgainst), Evidence::Leaning),
        (near(0.4, 0.0), true, Some(HeldBack::DugAgainst), Evidence::Open),
        // Less than half of the field-seasons is too few to lean on.
        (near(1.0, 1.0), true, Some(HeldBack::TriedApart(1, 3)), Evidence::Open),
        (near(1.0, 1.0), true, Some(HeldBack::TriedApart(2, 4)), Evidence::Leaning),
        (near(1.0, 1.0), true, Some(HeldBack::TriedApart(2, 3)), Evidence::Leaning),
    ];
    for (near, may_settle, held_back, expected) in cases {
        assert_eq!(Evidence::of(near, may_settle, held_back), expected, "{near:?} {may_settle} {held_back:?}");
    }
    assert!(Evidence::Open < Evidence::Leaning && Evidence::Leaning < Evidence::Settled);
}

#[test]
fn names_are_those_of_the_tables() {
    assert_eq!(
        [Evidence::Open, Evidence::Leaning, Evidence::Settled].map(Evidence::name),
        ["open", "leaning", "settled"]
    );
    let shapes = [Shape::Inside, Shape::Lighter, Shape::Heavier, Shape::Plateau, Shape::Flat, Shape::Untold];
    assert_eq!(shapes.map(Shape::name), ["inside", "lighter", "heavier", "plateau", "flat", "untold"]);
}

#[test]
fn a_gain_is_the_mean_of_the_draws_and_better_is_above_nothing() {
    let gains: Vec<f64> = (-5..=15).map(f64::from).collect();
    let gain = Gain::of(&gains, true);
    close(gain.expected, 5.0);
    close(gain.low, -4.0);
    close(gain.high, 14.0);
    close(gain.probability.unwrap(), 15.0 / 21.0);
    assert_eq!(Gain::of(&gains, false).probability, None);
    // Of a force over itself there is none to be better with.
    let draws = draws(&[(4, peak_at(250.0)), (6, RISING)]);
    let gain = super::gain(&draws, 250.0, 100.0);
    close(gain.expected, (4.0 * 2.25 + 6.0 * 1.5) / 10.0);
    close(gain.probability.unwrap(), 1.0);
    assert_eq!(super::gain(&draws, 100.0, 100.0).probability, None);
    close(probability_better(&draws, 300.0, 250.0), 0.6);
    close(probability_better(&draws, 300.0, 300.0), 0.0);
}

#[test]
fn a_share_is_expected_on_average_and_relied_on_at_its_tenth() {
    let shares: Vec<f64> = (0..=10).map(|tenth| f64::from(tenth) / 10.0).collect();
    let near = NearBest::of(&shares);
    close(near.probability, 0.5);
    close(near.confident, 0.1);
    let draws = draws(&[(7, peak_at(250.0)), (3, peak_at(150.0))]);
    let near = near_best(&draws, &seen(&draws), 240.0);
    close(near.probability, 0.7);
    close(near.confident, 0.0);
}

#[test]
fn the_grid_has_equal_steps_from_the_lightest_to_the_heaviest() {
    let grid = grid(TESTED);
    assert_eq!(grid.len(), 61);
    for (point, force) in [(0, 100.0), (1, 100.0 + 200.0 / 60.0), (30, 200.0), (60, 300.0)] {
        close(grid[point], force);
    }
}

#[test]
fn a_set_is_told_in_whole_cells_between_settings() {
    let cells = |low: f64, high: f64| to_cells((low, high), &tried().level_forces, TESTED);
    // Walls at 130, 190 and 260.
    assert_eq!(cells(240.0, 250.0), (190.0, 260.0));
    assert_eq!(cells(190.0, 190.0), (190.0, 190.0));
    assert_eq!(cells(189.0, 261.0), (130.0, 300.0));
    assert_eq!(cells(100.0, 120.0), (100.0, 130.0));
}

#[test]
fn a_best_lies_between_the_neighbours_of_the_settings_that_can_be_it() {
    let levels = tried().level_forces;
    assert_eq!(between_neighbours(&[160.0], &levels), (100.0, 220.0));
    assert_eq!(between_neighbours(&[160.0, 220.0], &levels), (100.0, 300.0));
    assert_eq!(between_neighbours(&[100.0], &levels), (100.0, 160.0));
    assert_eq!(between_neighbours(&[300.0], &levels), (220.0, 300.0));
    assert_eq!(between_neighbours(&[], &levels), (f64::NEG_INFINITY, f64::INFINITY));
}

#[test]
fn the_window_holds_points_near_the_best_of_four_draws_in_five() {
    // Four draws are best at the second point and near at the third; one is best at the last.
    let many = vec![0.0, 2.0, 1.5, 1.0, 0.0];
    let one = vec![0.0, 0.0, 0.0, 1.0, 2.0];
    let typical = [many.clone(), many.clone(), many.clone(), many.clone(), one.clone()];
    assert_eq!(window_of(&typical, 1, 0.5), (Some((1, 2)), 0.0));
    assert_eq!(window_of(&typical, 2, 0.5), (Some((1, 2)), 0.0));
    // All five are within one of their best at the fourth point, and four at the second.
    assert_eq!(window_of(&typical, 1, 1.0), (Some((1, 3)), 0.0));
    assert_eq!(window_of(&typical, 4, 0.5), (None, 0.0));
    assert_eq!(window_of(&typical, 0, 2.0), (Some((0, 4)), 1.0));
    // Three in five are not enough.
    assert_eq!(window_of(&[many.clone(), many.clone(), many, one.clone(), one], 1, 0.5), (None, 0.0));
}

#[test]
fn a_shape_is_named_where_nine_draws_in_ten_show_it() {
    let shape = |parts: &[(usize, [f64; 5])], best: usize| {
        let typical: Vec<Vec<f64>> = parts.iter().flat_map(|(count, worth)| vec![worth.to_vec(); *count]).collect();
        shape_of(&typical, best, (1, 3))
    };
    let (inside, rising, falling) = ([0.0, 1.0, 2.0, 1.0, 0.0], [0.0, 1.0, 2.0, 3.0, 4.0], [4.0, 3.0, 2.0, 1.0, 0.0]);
    assert_eq!(shape(&[(10, inside)], 2), Shape::Inside);
    assert_eq!(shape(&[(9, inside), (1, rising)], 2), Shape::Inside);
    assert_eq!(shape(&[(10, rising)], 4), Shape::Heavier);
    assert_eq!(shape(&[(10, falling)], 0), Shape::Lighter);
    assert_eq!(shape(&[(10, [0.0, 1.0, 2.0, 2.0, 2.0])], 4), Shape::Plateau);
    assert_eq!(shape(&[(10, [2.0, 2.0, 2.0, 1.0, 0.0])], 0), Shape::Plateau);
    assert_eq!(shape(&[(5, rising), (5, falling)], 2), Shape::Untold);
    // Nine draws show either end to be worse; where only eight show one, the response may be level there.
    assert_eq!(shape(&[(8, inside), (1, rising), (1, falling)], 2), Shape::Inside);
    assert_eq!(shape(&[(8, inside), (2, rising)], 2), Shape::Plateau);
}

#[test]
fn a_picture_tells_best_window_and_cells_of_a_peak() {
    let draws = draws(&[(10, peak_at(250.0))]);
    let picture = seen(&draws);
    assert_eq!(picture.shape, Shape::Inside);
    close(picture.best_n, 250.0);
    assert_eq!((picture.best_low_n, picture.best_high_n), (190.0, 260.0));
    let (low, high) = picture.window.unwrap();
    close(low, 240.0);
    close(high, 260.0);
    assert!(picture.seen);
    assert!(!super::picture(&draws, &tried(), None, TOLERANCE).seen);
    let barely = |p_value| LevelTest { p_value, ..told_apart() };
    assert!(super::picture(&draws, &tried(), Some(&barely(0.05)), TOLERANCE).seen);
    assert!(!super::picture(&draws, &tried(), Some(&barely(0.051)), TOLERANCE).seen);
}

#[test]
fn the_best_stays_among_settings_that_can_be_it_and_the_lightest_of_equals_is_taken() {
    let draws_of_peak = draws(&[(10, peak_at(250.0))]);
    let held = |can_be_best: Vec<f64>| {
        let levels = LevelTest { can_be_best, ..told_apart() };
        super::picture(&draws_of_peak, &tried(), Some(&levels), TOLERANCE).best_n
    };
    close(held(vec![160.0]), 220.0);
    close(held(vec![100.0]), 160.0);
    close(held(vec![220.0]), 250.0);
    close(held(vec![]), 250.0);
    close(seen(&draws(&[(10, LEVEL)])).best_n, 100.0);
    close(seen(&draws(&[(10, RISING)])).best_n, 300.0);
    // Which best differs by draw, over the middle nine in ten.
    let spread = seen(&draws(&[(1, FALLING), (18, peak_at(210.0)), (1, RISING)]));
    assert_eq!((spread.best_low_n, spread.best_high_n), (190.0, 260.0));
    let wide = seen(&draws(&[(2, FALLING), (16, peak_at(210.0)), (2, RISING)]));
    assert_eq!((wide.best_low_n, wide.best_high_n), (100.0, 300.0));
}

#[test]
fn shapes_of_a_picture_look_at_the_outer_thirds() {
    assert_eq!(seen(&draws(&[(10, RISING)])).shape, Shape::Heavier);
    assert_eq!(seen(&draws(&[(10, FALLING)])).shape, Shape::Lighter);
    // Half of the draws are past their best at the heavy end, and no worse at two thirds of the range than there.
    let gentle = |slope: f64| [0.0, slope, 0.0];
    assert_eq!(seen(&draws(&[(5, gentle(0.01)), (5, peak_at(265.0))])).shape, Shape::Plateau);
    assert_eq!(seen(&draws(&[(5, gentle(-0.01)), (5, peak_at(135.0))])).shape, Shape::Plateau);
}

#[test]
fn what_was_not_seen_is_flat_only_where_differences_are_excluded_or_draws_are_alike() {
    let shape = |parts: &[(usize, [f64; 3])], coverage: &Coverage, largest_difference: f64| {
        let levels = LevelTest { p_value: 0.5, largest_difference, ..told_apart() };
        super::picture(&draws(parts), coverage, Some(&levels), TOLERANCE).shape
    };
    assert_eq!(shape(&[(10, RISING)], &tried(), TOLERANCE), Shape::Flat);
    assert_eq!(shape(&[(10, RISING)], &tried(), 1.001 * TOLERANCE), Shape::Untold);
    assert_eq!(shape(&[(8, LEVEL), (2, RISING)], &tried(), 1.0), Shape::Flat);
    assert_eq!(shape(&[(7, LEVEL), (3, RISING)], &tried(), 1.0), Shape::Untold);
    let logs = Coverage { basis: Basis::Logs, ..tried() };
    assert_eq!(shape(&[(10, LEVEL)], &logs, 1.0), Shape::Untold);
    assert_eq!(super::picture(&draws(&[(10, LEVEL)]), &tried(), None, TOLERANCE).shape, Shape::Flat);
}

#[test]
fn a_best_is_not_tried_where_its_window_lies_outside() {
    let over = |tested: (f64, f64)| Coverage { tested, ..tried() };
    let heavy = draws(&[(10, peak_at(250.0))]);
    assert!(best_not_tried(&heavy, &over((100.0, 239.0)), TESTED, TOLERANCE));
    assert!(!best_not_tried(&heavy, &over((100.0, 241.0)), TESTED, TOLERANCE));
    assert!(best_not_tried(&heavy, &over((261.0, 300.0)), TESTED, TOLERANCE));
    assert!(!best_not_tried(&heavy, &over((259.0, 300.0)), TESTED, TOLERANCE));
    // Without a window there is nothing to say.
    assert!(!best_not_tried(&draws(&[(5, RISING), (5, FALLING)]), &over((180.0, 220.0)), TESTED, TOLERANCE));
}

#[test]
fn a_default_in_the_window_stays_and_one_outside_goes_where_the_best_is_likely_better() {
    let peak = draws(&[(10, peak_at(250.0))]);
    let stays = chosen(&peak, &tried(), Some(245.0));
    assert!(stays.stay && stays.as_good && stays.held_back.is_none() && stays.bound.is_none());
    close(stays.start_n, 245.0);
    assert_eq!(stays.evidence, Evidence::Settled);
    let gain = stays.gain.unwrap();
    assert_eq!((gain.expected, gain.probability), (0.0, None));
    let goes = chosen(&peak, &tried(), Some(100.0));
    assert!(!goes.stay && !goes.as_good);
    close(goes.start_n, 250.0);
    assert_eq!(goes.evidence, Evidence::Settled);
    close(goes.gain.unwrap().expected, 2.25);
    let without = chosen(&peak, &tried(), None);
    assert!(!without.stay && without.gain.is_none() && without.held_back.is_none());
    close(without.start_n, 250.0);
    // Eight draws in ten are enough to go, seven are not.
    let split = |better: usize| draws(&[(better, peak_at(250.0)), (10 - better, [0.0, -0.05, 0.0])]);
    assert!(!chosen(&split(8), &tried(), Some(110.0)).stay);
    let stays = chosen(&split(7), &tried(), Some(110.0));
    assert!(stays.stay && !stays.as_good);
    close(stays.start_n, 110.0);
}

#[test]
fn only_what_was_shown_in_enough_field_seasons_is_settled() {
    let peak = draws(&[(10, peak_at(250.0))]);
    let evidence = |coverage: &Coverage, default_n: f64| chosen(&peak, coverage, Some(default_n)).evidence;
    assert_eq!(evidence(&Coverage { field_seasons: 2, ..tried() }, 100.0), Evidence::Leaning);
    assert_eq!(evidence(&Coverage { basis: Basis::Logs, ..tried() }, 100.0), Evidence::Leaning);
    assert_eq!(evidence(&Coverage { spans: vec![TESTED; 2], ..tried() }, 100.0), Evidence::Leaning);
    // A move that no test saw is not settled; staying needs none.
    let unseen = picture(&peak, &tried(), None, TOLERANCE);
    assert_eq!(choose(&peak, &tried(), &unseen, Some(100.0)).evidence, Evidence::Leaning);
    assert_eq!(choose(&peak, &tried(), &unseen, Some(250.0)).evidence, Evidence::Settled);
}

#[test]
fn a_start_that_few_field_seasons_tried_is_held_back() {
    let peak = draws(&[(10, peak_at(250.0))]);
    let light = (100.0, 200.0);
    let held_back = |spans: Vec<(f64, f64)>| {
        let choice = chosen(&peak, &Coverage { spans, ..tried() }, Some(100.0));
        (choice.held_back, choice.evidence)
    };
    assert_eq!(held_back(vec![light, light, TESTED]), (Some(HeldBack::TriedApart(1, 3)), Evidence::Open));
    assert_eq!(held_back(vec![light, light, TESTED, TESTED]), (Some(HeldBack::TriedApart(2, 4)), Evidence::Leaning));
    assert_eq!(held_back(vec![light, light, TESTED, TESTED, TESTED]), (None, Evidence::Settled));
    assert_eq!(held_back(vec![TESTED, TESTED]).0, None);
    assert_eq!(held_back(vec![light, TESTED]).0, Some(HeldBack::TriedApart(1, 2)));
}

#[test]
fn a_default_that_was_not_tried_holds_back_most_where_the_best_may_lie_towards_it() {
    let held_back = |parabola: [f64; 3], default_n: f64| {
        let choice = chosen(&draws(&[(10, parabola)]), &tried(), Some(default_n));
        assert!(choice.held_back.is_none() || (choice.gain.is_none() && !choice.stay));
        choice.held_back
    };
    assert_eq!(held_back(RISING, 310.0), Some(HeldBack::DefaultBeyond));
    assert_eq!(held_back(FALLING, 310.0), Some(HeldBack::DefaultUntried));
    assert_eq!(held_back(FALLING, 90.0), Some(HeldBack::DefaultBeyond));
    assert_eq!(held_back(RISING, 90.0), Some(HeldBack::DefaultUntried));
    assert_eq!(held_back(peak_at(210.0), 310.0), Some(HeldBack::DefaultUntried));
    assert_eq!(held_back(peak_at(210.0), 90.0), Some(HeldBack::DefaultUntried));
    // Within a hundredth of the range it counts as its end.
    let at_the_end = chosen(&draws(&[(10, RISING)]), &tried(), Some(301.9));
    assert!(at_the_end.stay && at_the_end.held_back.is_none());
    close(at_the_end.start_n, 300.0);
    let at_the_end = chosen(&draws(&[(10, FALLING)]), &tried(), Some(98.1));
    assert!(at_the_end.stay);
    close(at_the_end.start_n, 100.0);
    assert_eq!(held_back(RISING, 302.1), Some(HeldBack::DefaultBeyond));
    assert_eq!(held_back(FALLING, 97.9), Some(HeldBack::DefaultBeyond));
}

#[test]
fn digging_moves_a_start_and_says_where_the_stand_is_against_it() {
    let peak = draws(&[(10, peak_at(250.0))]);
    let dug = |low: Option<f64>, high: Option<f64>| Coverage {
        allowed: Allowed { low, high, ..Allowed::default() },
        ..tried()
    };
    // A move by digging counts as shown, though no test of the stand saw one.
    let coverage = dug(Some(255.0), None);
    let moved = choose(&peak, &coverage, &picture(&peak, &coverage, None, TOLERANCE), Some(250.0));
    assert_eq!((moved.start_n, moved.bound), (255.0, Some((BoundBy::Open, 250.0))));
    assert!(!moved.stay && !moved.as_good && moved.held_back.is_none());
    assert_eq!(moved.evidence, Evidence::Settled);
    let against = chosen(&peak, &dug(None, Some(200.0)), Some(250.0));
    assert_eq!((against.start_n, against.held_back), (200.0, Some(HeldBack::DugAgainst)));
    assert_eq!(against.evidence, Evidence::Open);
    let elsewhere = chosen(&peak, &dug(Some(320.0), None), Some(250.0));
    assert_eq!((elsewhere.held_back, elsewhere.evidence), (Some(HeldBack::DugElsewhere), Evidence::Open));
    // Half of the draws near their best are not against it.
    let half = draws(&[(5, peak_at(250.0)), (5, peak_at(262.0))]);
    assert_eq!(chosen(&half, &dug(Some(265.0), None), Some(250.0)).held_back, None);
    assert_eq!(chosen(&half, &dug(None, Some(300.0)), Some(250.0)).bound, None);
}

#[test]
fn a_default_that_digging_denies_gives_way_to_the_nearest_that_is_as_good_as_the_best() {
    // Seven draws in ten are better at 200 than at the default, which is too few to leave it for the stand's sake.
    let peak = draws(&[(7, peak_at(200.0)), (3, LEVEL)]);
    let coverage = |high: f64| Coverage { allowed: Allowed { high: Some(high), ..Allowed::default() }, ..tried() };
    assert!(chosen(&peak, &tried(), Some(280.0)).stay);
    let high = seen(&peak).window.unwrap().1;
    assert!(high < 250.0);
    let moved = chosen(&peak, &coverage(250.0), Some(280.0));
    assert_eq!((moved.start_n, moved.bound, moved.held_back), (high, Some((BoundBy::Firm, 280.0)), None));
    // Where digging denies all that is as good, the limit is left, and the stand is against it.
    let against = chosen(&peak, &coverage(150.0), Some(280.0));
    assert_eq!((against.start_n, against.held_back), (150.0, Some(HeldBack::DugAgainst)));
}
