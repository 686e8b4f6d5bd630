//! Would the answer stand without one field-season?
//!
//! Each trial field-season is left out in turn. What is left is the group's own parabola of the fit by restricted likelihood (`curve.rs`), exact at the
//! variances of the whole fit, so nothing is fitted or drawn again. The suggested start is held against its best inside the tested range, at
//! the group's mean level.

use std::collections::BTreeSet;

use evenstand_stats::{LinearFit, leave_one_group_out};

use crate::curve::CurveModel;
use crate::curve_basis::basis;
use crate::decision::{Choice, Evidence, Picture, choose, grid};
use crate::draws::GroupDraws;
use crate::groups::{Basis, Coverage};
use crate::response::{Better, Scale};

/// A start this near to the default, as a share of the tested range, is a stay.
const STAY: f64 = 0.1;

/// Which way a start lies from the default.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Advice {
    Lighter,
    Stay,
    Heavier,
}

impl Advice {
    /// Within a tenth of the tested range of the default it is a stay.
    pub fn of(start_n: f64, default_n: f64, tested: (f64, f64)) -> Self {
        let (away, stay) = (start_n - default_n, STAY * (tested.1 - tested.0));
        match away {
            _ if away < -stay => Advice::Lighter,
            _ if away > stay => Advice::Heavier,
            _ => Advice::Stay,
        }
    }

    pub fn name(self) -> &'static str {
        match self {
            Advice::Lighter => "lighter",
            Advice::Stay => "stay",
            Advice::Heavier => "heavier",
        }
    }

    fn against(self, other: Self) -> bool {
        matches!((self, other), (Advice::Lighter, Advice::Heavier) | (Advice::Heavier, Advice::Lighter))
    }
}

/// Level, slope and curvature of a group at the mean of its strips.
type Coefficients = [f64; 3];

/// A group's parabola, with its best inside the tested range.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Parabola {
    coefficients: Coefficients,
    best_n: f64,
    top: f64,
}

/// What force does to a parabola's response.
#[derive(Debug, Clone, Copy)]
struct Ground {
    scale: Scale,
    better: Better,
    centre_n: f64,
    half_range_n: f64,
    /// Means of s and s² over the strips of the group.
    mean: [f64; 2],
    tested: (f64, f64),
}

impl Ground {
    /// The response in its own unit, turned so that more is better.
    fn worth(&self, coefficients: &Coefficients, force_n: f64) -> f64 {
        let functions = basis((force_n - self.centre_n) / self.half_range_n);
        let [level, slope, curvature] = coefficients;
        let modelled = level + slope * (functions[1] - self.mean[0]) + curvature * (functions[2] - self.mean[1]);
        self.better.sign() * self.scale.back(modelled)
    }

    fn parabola(&self, coefficients: Coefficients) -> Parabola {
        let mut best = (f64::NAN, f64::NEG_INFINITY);
        for force_n in grid(self.tested) {
            let worth = self.worth(&coefficients, force_n);
            if worth > best.1 {
                best = (force_n, worth);
            }
        }
        Parabola { coefficients, best_n: best.0, top: best.1 }
    }

    fn loss(&self, parabola: &Parabola, force_n: f64) -> f64 {
        (parabola.top - self.worth(&parabola.coefficients, force_n)).max(0.0)
    }
}

/// The trial field-seasons of one group, each left out in turn.
#[derive(Debug, Clone)]
pub(crate) struct LeftOut {
    ground: Ground,
    whole: Parabola,
    without: Vec<(FieldSeason, Option<Parabola>)>,
}

/// A field and season.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct FieldSeason {
    pub field_id: String,
    pub season: i64,
}

/// What one field-season left out says of a start.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Without<'a> {
    pub field_season: &'a FieldSeason,
    pub told: Option<ToldWithout>,
    /// Whether the start stands without it.
    pub stands: bool,
}

/// The group's parabola without a field-season.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ToldWithout {
    pub best_n: f64,
    /// The default where it loses no more than the tolerance, else the best.
    pub start_n: f64,
    pub advice: Advice,
    /// What the start loses against the best, in the response's own unit.
    pub loss: f64,
}

/// Leaves out each trial field-season of each group. `None` for a group of logs, or one whose settings tell no slope.
pub(crate) fn left_out(model: &CurveModel) -> Vec<Option<LeftOut>> {
    let observed = &model.observations;
    let field_seasons: Vec<usize> = observed.rows.iter().map(|row| row.field_season).collect();
    let without = leave_one_group_out(&model.design, &model.fit, &field_seasons, observed.field_seasons.len());
    let Ok(without) = without else { return vec![None; observed.groups.len()] };
    let of_group = |group: usize| {
        let coverage = &observed.groups[group].1;
        let terms = model.groups[group];
        let (intercept, linear) = (terms.intercept?, terms.linear?);
        if coverage.basis == Basis::Logs {
            return None;
        }
        let read = |value: &dyn Fn(usize) -> Option<f64>| {
            Some([value(intercept)?, value(linear)?, terms.quadratic.map_or(Some(0.0), value)?])
        };
        let frame = &model.frame;
        let mean = frame.groups[group].mean;
        let ground = Ground {
            scale: model.response.scale,
            better: model.response.better,
            centre_n: frame.centre_n,
            half_range_n: frame.half_range_n,
            mean: [mean[1], mean[2]],
            tested: coverage.tested,
        };
        let whole = ground.parabola(read(&|column| Some(model.fit.coefficients()[column]))?);
        let of_group = observed.rows.iter().filter(|row| row.group == group);
        let trials: BTreeSet<usize> = of_group.map(|row| row.field_season).collect();
        let without = trials.into_iter().map(|number| {
            let (field_id, season) = observed.field_seasons[number];
            let told = read(&|column| without[number].told[column]).map(|told| ground.parabola(told));
            (FieldSeason { field_id: field_id.to_owned(), season }, told)
        });
        Some(LeftOut { ground, whole, without: without.collect() })
    };
    (0..observed.groups.len()).map(of_group).collect()
}

impl LeftOut {
    /// A start against each field-season left out.
    ///
    /// It does not stand where nothing is told without the field-season; where it then loses more than the tolerance, and more than the tolerance
    /// beyond what it loses with all of them if that is already too much; or where the way from the default turns round: a move that gained with
    /// all of them gains nothing, or the best lies on the other side.
    pub fn of(&self, start_n: f64, default_n: Option<f64>, tolerance: f64) -> Vec<Without<'_>> {
        let ground = &self.ground;
        let (low, high) = ground.tested;
        let default_n = default_n.unwrap_or(start_n);
        let tested = (low..=high).contains(&default_n);
        let advised = Advice::of(start_n, default_n, ground.tested);
        let with_all = ground.loss(&self.whole, start_n);
        let allowed = if with_all > tolerance { with_all + tolerance } else { tolerance };
        let told = |parabola: &Parabola| {
            let as_good = tested && ground.loss(parabola, default_n) <= tolerance;
            let start = if as_good { default_n } else { parabola.best_n };
            ToldWithout {
                best_n: parabola.best_n,
                start_n: start,
                advice: Advice::of(start, default_n, ground.tested),
                loss: ground.loss(parabola, start_n),
            }
        };
        let turned = |parabola: &Parabola| {
            let gain = ground.worth(&parabola.coefficients, start_n) - ground.worth(&parabola.coefficients, default_n);
            let no_gain = tested && start_n != default_n && gain <= 0.0;
            no_gain || told(parabola).advice.against(advised)
        };
        let turned_with_all = turned(&self.whole);
        let stands =
            |parabola: &Parabola| ground.loss(parabola, start_n) <= allowed && (turned_with_all || !turned(parabola));
        self.without
            .iter()
            .map(|(field_season, parabola)| Without {
                field_season,
                told: parabola.as_ref().map(told),
                stands: parabola.as_ref().is_some_and(stands),
            })
            .collect()
    }
}

/// A choice, and the field-season it was held back for.
pub(crate) struct Held {
    pub choice: Choice,
    /// Said where the evidence fell.
    pub why: Option<String>,
}

/// Chooses the start against a default. What is settled falls to leaning where the start does not stand without one of the field-seasons.
pub(crate) fn choose_held(
    draws: &GroupDraws,
    coverage: &Coverage,
    picture: &Picture,
    left_out: Option<&LeftOut>,
    default_n: Option<f64>,
) -> Held {
    let choice = choose(draws, coverage, picture, default_n);
    let without = left_out.map_or_else(Vec::new, |left_out| left_out.of(choice.start_n, default_n, picture.tolerance));
    hold_back(choice, &without)
}

fn hold_back(mut choice: Choice, without: &[Without]) -> Held {
    let why = carried_by(without).filter(|_| choice.evidence == Evidence::Settled);
    if why.is_some() {
        choice.evidence = Evidence::Leaning;
    }
    Held { choice, why }
}

/// The field-seasons without which a start does not stand, in words.
fn carried_by(without: &[Without]) -> Option<String> {
    let names: Vec<String> =
        without.iter().filter(|without| !without.stands).map(|without| without.field_season.name()).collect();
    (!names.is_empty()).then(|| {
        format!(
            " It would be settled, but it hangs on one field-season: without {} the start would be another.",
            names.join(", or without ")
        )
    })
}

impl FieldSeason {
    /// Field and season in words.
    pub fn name(&self) -> String {
        format!("{} {}", self.field_id, self.season)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decision::NearBest;

    /// Parabolas on the response's own scale over 100 to 300 N, the best at 200 N + 100 N × `best`.
    fn parabola(ground: &Ground, best: f64, curvature: f64) -> Parabola {
        ground.parabola([50.0, 2.0 * curvature * best, -curvature])
    }

    fn left_out(whole: (f64, f64), without: &[Option<(f64, f64)>]) -> LeftOut {
        let ground = Ground {
            scale: Scale::Identity,
            better: Better::Higher,
            centre_n: 200.0,
            half_range_n: 100.0,
            mean: [0.0, 0.0],
            tested: (100.0, 300.0),
        };
        let told = |(best, curvature): (f64, f64)| parabola(&ground, best, curvature);
        let name = |number: usize| FieldSeason { field_id: format!("field {number}"), season: 2025 };
        LeftOut {
            ground,
            whole: told(whole),
            without: without.iter().enumerate().map(|(number, curve)| (name(number), curve.map(told))).collect(),
        }
    }

    fn stand(left_out: &LeftOut, start_n: f64, default_n: f64) -> Vec<bool> {
        left_out.of(start_n, Some(default_n), 1.0).into_iter().map(|without| without.stands).collect()
    }

    #[test]
    fn a_start_falls_with_the_field_season_without_which_it_loses_more_than_the_tolerance() {
        // Curvature 10: 1 is lost at 32 N from the best.
        let held = left_out((0.5, 10.0), &[Some((0.6, 10.0)), Some((0.0, 10.0)), Some((0.4, 10.0))]);
        assert_eq!(stand(&held, 250.0, 140.0), [true, false, true]);
        let verdicts = held.of(250.0, Some(140.0), 1.0);
        let told = verdicts[1].told.unwrap();
        assert_eq!((told.best_n, told.start_n, told.advice), (200.0, 200.0, Advice::Heavier));
        assert!((told.loss - 2.5).abs() < 1e-9, "{told:?}");
        assert!(carried_by(&verdicts).unwrap().contains("without field 1 2025 the start"));
        assert_eq!(carried_by(&held.of(250.0, Some(140.0), 3.0)), None);
    }

    #[test]
    fn a_move_that_gains_nothing_without_a_field_season_turns_round_even_where_little_is_lost() {
        // Curvature 1: nothing loses the tolerance.
        let held = left_out((0.5, 1.0), &[Some((0.5, 1.0)), Some((-0.2, 1.0))]);
        assert_eq!(stand(&held, 250.0, 150.0), [true, false]);
        // Staying at the default asks for no gain.
        assert_eq!(stand(&held, 150.0, 150.0), [true, true]);
        // A default that was not tried is no ground to compare with, only a side.
        assert_eq!(stand(&held, 250.0, 50.0), [true, true]);
    }

    #[test]
    fn what_the_parabola_says_with_all_field_seasons_is_not_held_against_one_of_them() {
        // The start comes from a lopsided curve; the parabola of all field-seasons lies elsewhere.
        let held = left_out((-0.5, 4.0), &[Some((-0.5, 4.0)), Some((-0.55, 4.0)), Some((-0.9, 4.0))]);
        assert_eq!(stand(&held, 250.0, 150.0), [true, true, false]);
    }

    #[test]
    fn what_is_settled_falls_to_leaning_with_the_reason_and_nothing_else_changes() {
        let choice = |evidence| Choice {
            evidence,
            start_n: 250.0,
            stay: false,
            as_good: false,
            held_back: None,
            gain: None,
            near: NearBest { probability: 0.95, confident: 0.85 },
            bound: None,
        };
        let alike = left_out((0.5, 10.0), &[Some((0.5, 10.0)), Some((0.6, 10.0))]);
        let carried = left_out((0.5, 10.0), &[Some((0.5, 10.0)), Some((0.0, 10.0))]);
        for (evidence, expected) in [
            (Evidence::Settled, Evidence::Leaning),
            (Evidence::Leaning, Evidence::Leaning),
            (Evidence::Open, Evidence::Open),
        ] {
            let held = hold_back(choice(evidence), &alike.of(250.0, Some(150.0), 1.0));
            assert_eq!((held.choice.evidence, held.why), (evidence, None));
            let held = hold_back(choice(evidence), &carried.of(250.0, Some(150.0), 1.0));
            assert_eq!(held.choice.evidence, expected);
            assert_eq!(held.why.is_some_and(|why| why.contains("field 1 2025")), evidence == Evidence::Settled);
        }
    }

    #[test]
    fn without_the_only_field_season_nothing_is_told() {
        let held = left_out((0.0, 10.0), &[None]);
        let verdicts = held.of(200.0, Some(200.0), 1.0);
        assert_eq!((verdicts[0].told, verdicts[0].stands), (None, false));
    }

    #[test]
    fn a_flat_parabola_has_its_best_at_the_lightest_force_and_loses_nothing() {
        let held = left_out((0.0, 0.0), &[Some((0.0, 0.0))]);
        let told = held.of(200.0, Some(200.0), 1.0)[0].told.unwrap();
        assert_eq!((told.best_n, told.start_n, told.loss), (100.0, 200.0, 0.0));
    }
}
