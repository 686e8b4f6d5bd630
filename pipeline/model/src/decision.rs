//! From draws to an answer: best, window, start, evidence, shape.

use crate::summary::{limits, mean, quantile};

use crate::dig_window::BoundBy;
use crate::draws::{Field, GroupDraws, UnseenFields};
use crate::groups::{Basis, Coverage};
use crate::levels::LevelTest;

/// Points of the force grid between the lightest and the heaviest force tested.
pub(crate) const GRID_POINTS: usize = 61;
/// Probability from which a thing is taken to hold.
pub(crate) const LIKELY: f64 = 0.8;
/// Confidence with which a settled start is right in four fields of five.
const CONFIDENT: f64 = 0.9;
/// Field-seasons of trials from which an answer can be settled.
pub(crate) const ENOUGH_FIELD_SEASONS: usize = 3;
/// Probability from which an answer leans one way.
pub(crate) const LEANING: f64 = 0.5;
/// Probability from which the shape of a curve is named.
const CLEAR: f64 = 0.9;
/// Above this p value no setting could be told from another.
pub(crate) const NO_DIFFERENCE: f64 = 0.05;

/// How far an answer can be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Evidence {
    Open,
    Leaning,
    Settled,
}

impl Evidence {
    pub fn name(self) -> &'static str {
        match self {
            Evidence::Open => "open",
            Evidence::Leaning => "leaning",
            Evidence::Settled => "settled",
        }
    }
}

impl Evidence {
    /// How far a start can be trusted; `may_settle` where the strips behind it are of a kind and number that can settle.
    pub fn of(near: NearBest, may_settle: bool, held_back: Option<HeldBack>) -> Self {
        let nearly = if near.confident >= LIKELY && may_settle {
            Evidence::Settled
        } else if near.probability >= LEANING {
            Evidence::Leaning
        } else {
            Evidence::Open
        };
        match held_back {
            Some(HeldBack::DefaultBeyond | HeldBack::DugElsewhere) => Evidence::Open,
            Some(HeldBack::TriedApart(tried, all)) if 2 * tried < all => Evidence::Open,
            Some(_) => nearly.min(Evidence::Leaning),
            None => nearly,
        }
    }
}

/// Shape of the response over the tested range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shape {
    Inside,
    Lighter,
    Heavier,
    Plateau,
    Flat,
    Untold,
}

impl Shape {
    pub fn name(self) -> &'static str {
        match self {
            Shape::Inside => "inside",
            Shape::Lighter => "lighter",
            Shape::Heavier => "heavier",
            Shape::Plateau => "plateau",
            Shape::Flat => "flat",
            Shape::Untold => "untold",
        }
    }
}

/// What holds for every default: the curve's best, its window and shape.
#[derive(Debug, Clone)]
pub(crate) struct Picture {
    pub shape: Shape,
    pub best_n: f64,
    pub best_low_n: f64,
    pub best_high_n: f64,
    pub window: Option<(f64, f64)>,
    /// Whether any difference between settings can be seen.
    pub seen: bool,
    pub tolerance: f64,
    /// Fields not yet seen.
    pub unseen: UnseenFields,
}

/// The start against one default.
#[derive(Debug, Clone)]
pub(crate) struct Choice {
    pub evidence: Evidence,
    /// The start considered, also where the evidence is open and it is not suggested.
    pub start_n: f64,
    /// Whether the start is the default.
    pub stay: bool,
    /// Whether it stays because the default is in the window: as good as the best.
    pub as_good: bool,
    /// What keeps the evidence down, where something does.
    pub held_back: Option<HeldBack>,
    pub gain: Option<Gain>,
    pub near: NearBest,
    /// The limit of the dig window that moved the start, and the start before.
    pub bound: Option<(BoundBy, f64)>,
}

/// What an answer cannot be firmer for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum HeldBack {
    /// The default lies outside what was tried, on the side where the best may be.
    DefaultBeyond,
    /// The default lies outside what was tried, so the start cannot be held against it.
    DefaultUntried,
    /// Digging allows none of the forces tried.
    DugElsewhere,
    /// Digging keeps the start away from where the stand has its best.
    DugAgainst,
    /// So many of all field-seasons tried settings around the start.
    TriedApart(usize, usize),
}

/// Start against default in the typical field; positive is better.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Gain {
    pub expected: f64,
    pub low: f64,
    pub high: f64,
    /// Probability that the start is better; missing where the start is the default.
    pub probability: Option<f64>,
}

impl Gain {
    /// From the gain of each draw; `moved` where the start is not the default.
    pub fn of(gains: &[f64], moved: bool) -> Self {
        let (low, high) = limits(gains);
        Self {
            expected: mean(gains),
            low,
            high,
            probability: moved.then(|| gains.iter().filter(|gain| **gain > 0.0).count() as f64 / gains.len() as f64),
        }
    }
}

/// The force grid of a group.
pub(crate) fn grid(tested: (f64, f64)) -> Vec<f64> {
    (0..GRID_POINTS).map(|point| tested.0 + (tested.1 - tested.0) * point as f64 / (GRID_POINTS - 1) as f64).collect()
}

/// Reads the draws of one group.
pub(crate) fn picture(draws: &GroupDraws, coverage: &Coverage, levels: Option<&LevelTest>, tolerance: f64) -> Picture {
    let grid = grid(coverage.tested);
    let typical = draws.surface(&grid);
    let unseen = draws.unseen_fields(&grid);
    let worth = expected(&typical);
    let allowed = levels.map_or(coverage.tested, |test| between_neighbours(&test.can_be_best, &coverage.level_forces));
    let slack = 1e-6 * (coverage.tested.1 - coverage.tested.0);
    let best = (0..grid.len())
        .filter(|point| (allowed.0 - slack..=allowed.1 + slack).contains(&grid[*point]))
        .max_by(|a, b| worth[*a].total_cmp(&worth[*b]).then(b.cmp(a)));
    let best = best.unwrap_or_else(|| argmax(&worth));
    let (window, level_everywhere) = window_of(&typical, best, tolerance);
    let window = window.map(|(low, high)| (grid[low], grid[high]));
    let best_unseen = unseen.best();
    let (best_low_n, best_high_n) = to_cells(limits(&best_unseen), &coverage.level_forces, coverage.tested);
    // A trial without a test has not shown a difference, and what logs show may be the fields'.
    let seen = levels.is_some_and(|test| test.p_value <= NO_DIFFERENCE);
    let shape = if seen {
        // Still rising over the last third of the range, or level there.
        let last = grid.len() - 1;
        shape_of(&typical, best, (last / 3, 2 * last / 3))
    } else {
        let excluded = levels.is_some_and(|test| test.largest_difference <= tolerance);
        let alike = coverage.basis == Basis::Trial && level_everywhere >= LIKELY;
        if excluded || alike { Shape::Flat } else { Shape::Untold }
    };
    Picture { shape, best_n: grid[best], best_low_n, best_high_n, window, seen, tolerance, unseen }
}

/// Whether the near-best window of a curve over a wider range of forces lies wholly outside the forces tried in its condition.
pub(crate) fn best_not_tried(draws: &GroupDraws, coverage: &Coverage, wide: (f64, f64), tolerance: f64) -> bool {
    let wide = grid(wide);
    let typical = draws.surface(&wide);
    let window = window_of(&typical, argmax(&expected(&typical)), tolerance).0;
    window.is_some_and(|(low, high)| wide[high] < coverage.tested.0 || wide[low] > coverage.tested.1)
}

/// A set widened to whole cells: a cell reaches from a setting tried halfway to its neighbours. Nothing was measured between settings, so
/// a set is not told finer than that.
fn to_cells(set: (f64, f64), level_forces: &[f64], tested: (f64, f64)) -> (f64, f64) {
    let walls = level_forces.windows(2).map(|pair| (pair[0] + pair[1]) / 2.0);
    let low = walls.clone().filter(|wall| *wall <= set.0).fold(tested.0, f64::max);
    let high = walls.filter(|wall| *wall >= set.1).fold(tested.1, f64::min);
    (low, high)
}

/// Expected worth at each point.
pub(crate) fn expected(typical: &[Vec<f64>]) -> Vec<f64> {
    (0..typical[0].len()).map(|point| mean(&typical.iter().map(|draw| draw[point]).collect::<Vec<_>>())).collect()
}

/// The points around the best one that are within tolerance of each draw's best with probability [`LIKELY`], `None` where not even it is; and
/// the share of draws that are level within tolerance throughout. `typical` has the worth of each point, draw by draw.
pub(crate) fn window_of(typical: &[Vec<f64>], best: usize, tolerance: f64) -> (Option<(usize, usize)>, f64) {
    let mut near = vec![0usize; typical[0].len()];
    let mut level_everywhere = 0usize;
    for draw in typical {
        let top = draw[argmax(draw)];
        near.iter_mut().zip(draw).for_each(|(count, worth)| *count += usize::from(top - worth <= tolerance));
        level_everywhere += usize::from(draw.iter().all(|worth| top - worth <= tolerance));
    }
    let share = |count: usize| count as f64 / typical.len() as f64;
    let good: Vec<bool> = near.iter().map(|count| share(*count) >= LIKELY).collect();
    let window = good[best].then(|| {
        let low = (0..=best).rev().take_while(|point| good[*point]).last().unwrap_or(best);
        let high = (best..good.len()).take_while(|point| good[*point]).last().unwrap_or(best);
        (low, high)
    });
    (window, share(level_everywhere))
}

/// Where a curve's best may lie when only `can_be_best` of the settings tried can be the best without a curve: between the settings beside
/// them. A curve that finds it elsewhere has the wrong shape.
fn between_neighbours(can_be_best: &[f64], level_forces: &[f64]) -> (f64, f64) {
    let (Some(lightest), Some(heaviest)) = (can_be_best.first(), can_be_best.last()) else {
        return (f64::NEG_INFINITY, f64::INFINITY);
    };
    let below = level_forces.iter().rev().find(|force| *force < lightest).unwrap_or(lightest);
    let above = level_forces.iter().find(|force| *force > heaviest).unwrap_or(heaviest);
    (*below, *above)
}

/// The shape in which a difference between settings was seen; `typical` has the worth of each point, draw by draw. `inner` are a point near
/// the light end and one near the heavy end: clearly worse than its end, the response still rises there.
pub(crate) fn shape_of(typical: &[Vec<f64>], best: usize, inner: (usize, usize)) -> Shape {
    let last = typical[0].len() - 1;
    let worse = |point: usize, than: usize| {
        typical.iter().filter(|draw| draw[point] < draw[than]).count() as f64 / typical.len() as f64 >= CLEAR
    };
    match (worse(0, best), worse(last, best)) {
        (true, true) => Shape::Inside,
        (false, false) => Shape::Untold,
        (true, false) if worse(inner.1, last) => Shape::Heavier,
        (false, true) if worse(inner.0, 0) => Shape::Lighter,
        _ => Shape::Plateau,
    }
}

/// Chooses the start against a default: stay where the default is as good, or where the best is not shown to be better.
pub(crate) fn choose(draws: &GroupDraws, coverage: &Coverage, picture: &Picture, default_n: Option<f64>) -> Choice {
    let (low, high) = coverage.tested;
    // A default that lies outside the tested range by less than its rounding is at its end.
    let slack = 0.01 * (high - low);
    let tested_default =
        default_n.filter(|force| (low - slack..=high + slack).contains(force)).map(|force| force.clamp(low, high));
    let as_good =
        tested_default.zip(picture.window).is_some_and(|(default, (low, high))| (low..=high).contains(&default));
    let stay =
        tested_default.is_some_and(|default| as_good || probability_better(draws, picture.best_n, default) < LIKELY);
    let wanted_n = if stay { tested_default.unwrap_or(picture.best_n) } else { picture.best_n };
    let (start_n, bound) = bounded(coverage, picture, wanted_n);
    let (stay, as_good) = (stay && bound.is_none(), as_good && bound.is_none());
    let near = near_best(draws, picture, start_n);
    let tried = coverage.tried_around(start_n);
    let enough = coverage.basis == Basis::Trial && coverage.field_seasons >= ENOUGH_FIELD_SEASONS;
    // A move rests on a difference that was seen, in the stand or with the spade.
    let shown = stay || picture.seen || bound.is_some();
    let held_back = match bound {
        Some(_) if !(low..=high).contains(&start_n) => Some(HeldBack::DugElsewhere),
        Some(_) if near.probability < LEANING && !coverage.allowed.allows(picture.best_n) => Some(HeldBack::DugAgainst),
        _ => held_back(coverage, picture, default_n.filter(|_| tested_default.is_none()), tried),
    };
    let evidence = Evidence::of(near, enough && shown && tried >= ENOUGH_FIELD_SEASONS, held_back);
    let gain = tested_default.map(|default| gain(draws, start_n, default));
    Choice { evidence, start_n, stay, as_good, held_back, gain, near, bound }
}

/// The force nearest to the one wanted that digging allows, and what moved it. Where that is not as good as the best but another allowed force is, the
/// nearest of those.
fn bounded(coverage: &Coverage, picture: &Picture, wanted_n: f64) -> (f64, Option<(BoundBy, f64)>) {
    let (nearest, by) = coverage.allowed.bound(wanted_n);
    let Some(by) = by else { return (wanted_n, None) };
    let near_best = picture.window.map_or(nearest, |(low, high)| nearest.clamp(low, high));
    let start_n = if coverage.allowed.allows(near_best) { near_best } else { nearest };
    (start_n, Some((by, wanted_n)))
}

/// What holds an answer back. `untried` is a default outside the tested range.
fn held_back(coverage: &Coverage, picture: &Picture, untried: Option<f64>, tried: usize) -> Option<HeldBack> {
    let (low, high) = coverage.tested;
    let all = coverage.spans.len();
    if let Some(default) = untried {
        let slack = 1e-6 * (high - low);
        let towards_default = (default > high && picture.best_high_n >= high - slack)
            || (default < low && picture.best_low_n <= low + slack);
        Some(if towards_default { HeldBack::DefaultBeyond } else { HeldBack::DefaultUntried })
    } else if tried < all.min(ENOUGH_FIELD_SEASONS) && tried < all {
        Some(HeldBack::TriedApart(tried, all))
    } else {
        None
    }
}

/// Gain of one force over another in the typical field.
pub(crate) fn gain(draws: &GroupDraws, start_n: f64, default_n: f64) -> Gain {
    let gains: Vec<f64> = (0..draws.len())
        .map(|draw| draws.worth(draw, start_n, Field::Typical) - draws.worth(draw, default_n, Field::Typical))
        .collect();
    Gain::of(&gains, start_n != default_n)
}

/// In what share of fields a force is within tolerance of the field's best.
#[derive(Debug, Clone, Copy)]
pub(crate) struct NearBest {
    /// Expected share: the probability that it is in a field not yet seen.
    pub probability: f64,
    /// The share that is reached with confidence [`CONFIDENT`].
    pub confident: f64,
}

impl NearBest {
    /// From the share of fields of each draw.
    pub fn of(shares: &[f64]) -> Self {
        Self { probability: mean(shares), confident: quantile(shares, 1.0 - CONFIDENT) }
    }
}

pub(crate) fn near_best(draws: &GroupDraws, picture: &Picture, force_n: f64) -> NearBest {
    NearBest::of(&draws.shares_near_best(&picture.unseen, force_n, picture.tolerance))
}

fn probability_better(draws: &GroupDraws, force_n: f64, than_n: f64) -> f64 {
    gain(draws, force_n, than_n).probability.unwrap_or(0.0)
}

fn argmax(values: &[f64]) -> usize {
    values.iter().enumerate().fold(0, |best, (index, value)| if *value > values[best] { index } else { best })
}

#[cfg(test)]
mod tests;
