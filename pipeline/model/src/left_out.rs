//! Would the answer stand without one field-season?
//!
//! Each trial field-season is left out in turn. What is left is the group's own parabola of the fit by restricted likelihood (`curve.rs`), exact at the
//! variances of the whole fit, so nothing is fitted or drawn again. The suggested start is held against its best inside the tested range, at
//! the group's mean level.

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
        let has_trial =
            |number: usize| observed.rows.iter().any(|row| row.group == group && row.field_season == number);
        let without = (0..observed.field_seasons.len()).filter(|number| has_trial(*number)).map(|number| {
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
    /// beyond what it loses with all of them if that is already too much; or where the way from the default turns round.
    pub fn of(&self, start_n: f64, default_n: Option<f64>, tolerance: f64) -> Vec<Without<'_>> {
        let ground = &self.ground;
        let (low, high) = ground.tested;
        let default_n = default_n.unwrap_or(start_n);
        let tested_default = default_n.clamp(low, high);
        let advised = Advice::of(start_n, default_n, ground.tested);
        let with_all = ground.loss(&self.whole, start_n);
        let allowed = if with_all > tolerance { with_all + tolerance } else { tolerance };
        let told = |parabola: &Parabola| {
            let as_good = tested_default == default_n && ground.loss(parabola, default_n) <= tolerance;
            let start = if as_good { default_n } else { parabola.best_n };
            ToldWithout {
                best_n: parabola.best_n,
                start_n: start,
                advice: Advice::of(start, default_n, ground.tested),
                loss: ground.loss(parabola, start_n),
            }
        };
        let turned_already = told(&self.whole).advice.against(advised);
        self.without
            .iter()
            .map(|(field_season, parabola)| {
                let told = parabola.as_ref().map(told);
                let stands =
                    told.is_some_and(|told| told.loss <= allowed && (turned_already || !told.advice.against(advised)));
                Without { field_season, told, stands }
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
    let mut choice = choose(draws, coverage, picture, default_n);
    let carries: Vec<String> = left_out
        .filter(|_| choice.evidence == Evidence::Settled)
        .map_or_else(Vec::new, |left_out| left_out.of(choice.start_n, default_n, picture.tolerance))
        .into_iter()
        .filter(|without| !without.stands)
        .map(|without| without.field_season.name())
        .collect();
    let why = (!carries.is_empty()).then(|| {
        choice.evidence = Evidence::Leaning;
        format!(
            " It would be settled, but it hangs on one field-season: without {} the start would be another.",
            carries.join(", or without ")
        )
    });
    Held { choice, why }
}

impl FieldSeason {
    /// Field and season in words.
    pub fn name(&self) -> String {
        format!("{} {}", self.field_id, self.season)
    }
}
