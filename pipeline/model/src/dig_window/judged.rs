//! One question of the digs, in every group: curves over force, and the limit where each crosses the share allowed.

use std::collections::BTreeMap;

use evenstand_agronomy::force_levels;
use evenstand_settings::Settings;
use evenstand_stats::{Line, ShareCurve, ShareCurves, ShareRow, Slope, StatsError};
use evenstand_tables::rows::{DigCurveRow, DigStripRow, ModelRow};

use super::placed::{DugGroup, Place, place};
use super::{CONTRADICTED, Lies, Limit, Told, quantiles};
use crate::analysis::seed_of;
use crate::decision::{LIKELY, grid};
use crate::summary::mean;

/// What a dig is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Question {
    NotShut,
    TooFirm,
}

impl Question {
    pub fn name(self) -> &'static str {
        match self {
            Question::NotShut => "not_shut",
            Question::TooFirm => "too_firm",
        }
    }

    /// The answer of one dig.
    pub fn seen(self, dig: &DigStripRow) -> Option<bool> {
        match self {
            Question::NotShut => dig.not_shut,
            // An open trench is not too firm, but where nobody noted the effort it says nothing of firm ones either.
            Question::TooFirm => dig.too_firm.filter(|_| dig.dig_effort.is_some()),
        }
    }

    /// Which way its share goes with force, as the trade expects.
    fn slope(self) -> Slope {
        match self {
            Question::NotShut => Slope::Falling,
            Question::TooFirm => Slope::Rising,
        }
    }

    fn allowed(self, settings: &Settings) -> f64 {
        match self {
            Question::NotShut => settings.dig.open_share,
            Question::TooFirm => settings.dig.firm_share,
        }
    }

    /// The side of the forces dug on which a limit would condemn all of them.
    fn bad_side(self) -> Lies {
        match self {
            Question::NotShut => Lies::Heavier,
            Question::TooFirm => Lies::Lighter,
        }
    }

    /// Where the limit lies by plain sight: no place as asked, or every place, at any force dug.
    fn shown(self, (yes, places): (u32, u32)) -> Option<Lies> {
        match (self, yes == 0, yes == places) {
            (Question::NotShut, true, _) | (Question::TooFirm, _, true) => Some(Lies::Lighter),
            (Question::NotShut, _, true) | (Question::TooFirm, true, _) => Some(Lies::Heavier),
            _ => None,
        }
    }

    /// What is seen where the share goes the other way.
    pub(super) fn contradiction(self) -> &'static str {
        match self {
            Question::NotShut => "heavier settings left the trench open more often, not less",
            Question::TooFirm => "heavier settings were too firm less often, not more",
        }
    }
}

/// The answer to one question in every group.
pub(super) struct Judged {
    pub question: Question,
    pub told: Vec<Told>,
    curves: Vec<Option<Drawn>>,
    /// Mean spread between field-seasons, and mean correlation of places in a strip.
    spreads: Option<(f64, f64)>,
    note: Option<String>,
}

/// The curve of one group.
struct Drawn {
    points: Vec<CurvePoint>,
    mode: Line,
    effective_draws: f64,
}

#[derive(Debug, Clone, Copy)]
struct CurvePoint {
    force_n: f64,
    share: [f64; 3],
}

/// Asks one question of every group. Groups share the spread between field-seasons and the correlation of places in a strip.
pub(super) fn judge(groups: &[DugGroup], question: Question, settings: &Settings) -> Judged {
    let rows: Vec<Vec<Strip>> = groups.iter().map(|group| strips(group, question)).collect();
    let fitting: Vec<usize> = (0..groups.len()).filter(|group| several_settings(&rows[*group])).collect();
    let mut judged = Judged {
        question,
        told: rows.iter().map(|rows| if rows.is_empty() { Told::NotJudged } else { Told::OneSetting }).collect(),
        curves: groups.iter().map(|_| None).collect(),
        spreads: None,
        note: None,
    };
    let of_group = |(number, group): (usize, &usize)| rows[*group].iter().map(move |strip| strip.row(number));
    let model_rows: Vec<ShareRow> = fitting.iter().enumerate().flat_map(of_group).collect();
    if model_rows.is_empty() {
        return judged;
    }
    let seed = seed_of(settings.analysis.seed, "digs", question.name());
    let curves = ShareCurves { draws: settings.analysis.draws, ..ShareCurves::new(seed) };
    let drawn = match curves.draw(&model_rows, fitting.len()) {
        Ok(drawn) => drawn,
        Err(why) => {
            judged.note = Some(why.to_string());
            return judged;
        }
    };
    judged.spreads = Some((mean(&drawn.standard_deviations), mean(&drawn.correlations)));
    for (curve, group) in drawn.groups.iter().zip(fitting) {
        let (Ok(curve), Some(dug)) = (curve, groups[group].dug) else { continue };
        let Ok((told, drawn)) = told(curve, question, question.allowed(settings), dug, sum(&rows[group])) else {
            continue;
        };
        (judged.told[group], judged.curves[group]) = (told, Some(drawn));
    }
    judged
}

/// What one curve tells; `places` are those that were as asked, of those judged.
fn told(
    curve: &ShareCurve,
    question: Question,
    allowed: f64,
    dug: (f64, f64),
    places: (u32, u32),
) -> Result<(Told, Drawn), StatsError> {
    let expected_way = curve.slope_probability(question.slope());
    let as_expected = curve.monotone(question.slope());
    let shown = question.shown(places);
    let contradicted = shown.is_none() && (expected_way < CONTRADICTED || as_expected.lines.is_empty());
    let drawn_from = if contradicted || as_expected.lines.is_empty() { curve } else { &as_expected };
    let points = grid(dug)
        .into_iter()
        .map(|force_n| CurvePoint { force_n, share: quantiles(&drawn_from.share_at(force_n)) })
        .collect();
    let drawn = Drawn { points, mode: curve.mode, effective_draws: drawn_from.effective_sample_size };
    let told = if places.1 < ENOUGH_PLACES {
        Told::TooFew
    } else if contradicted {
        Told::Contradicted(expected_way)
    } else if shown.is_none() && expected_way < LIKELY {
        Told::NoTrend(expected_way)
    } else {
        let fields = drawn_from.crossing_of_new_cluster(allowed)?;
        let limit = Limit::new(drawn_from.crossing(allowed)?, &fields, expected_way, dug, shown);
        if limit.surely(question.bad_side()) < LIKELY && limit.lies() == question.bad_side() && shown.is_none() {
            Told::TooFew
        } else {
            Told::Limit(limit)
        }
    };
    Ok((told, drawn))
}

fn sum(strips: &[Strip]) -> (u32, u32) {
    strips.iter().fold((0, 0), |(yes, places), strip| (yes + strip.yes, places + strip.places))
}

/// Places judged in one strip.
struct Strip {
    field_season: usize,
    force_n: f64,
    yes: u32,
    places: u32,
}

impl Strip {
    fn row(&self, group: usize) -> ShareRow {
        ShareRow { group, cluster: self.field_season, x: self.force_n, successes: self.yes, trials: self.places }
    }
}

/// Judged places by strip, of strips with a force.
fn strips(group: &DugGroup, question: Question) -> Vec<Strip> {
    let mut field_seasons: BTreeMap<Place, usize> = BTreeMap::new();
    let mut by_strip: BTreeMap<(usize, Option<&str>), Strip> = BTreeMap::new();
    for dig in &group.digs {
        let (Some(force_n), Some(yes)) = (dig.force_n, question.seen(dig)) else { continue };
        let next = field_seasons.len();
        let field_season = *field_seasons.entry(place(dig)).or_insert(next);
        let strip = by_strip.entry((field_season, dig.strip_id.as_deref())).or_insert(Strip {
            field_season,
            force_n,
            yes: 0,
            places: 0,
        });
        strip.yes += u32::from(yes);
        strip.places += 1;
    }
    by_strip.into_values().collect()
}

fn several_settings(strips: &[Strip]) -> bool {
    force_levels(&strips.iter().map(|strip| strip.force_n).collect::<Vec<_>>()).1.len() > 1
}

impl Judged {
    /// The curve of one group.
    pub fn curve_rows(&self, number: usize, group: &DugGroup) -> Vec<DigCurveRow> {
        let points = self.curves[number].as_ref().map_or(&[][..], |drawn| &drawn.points);
        points
            .iter()
            .map(|point| DigCurveRow {
                condition: group.key.condition.clone(),
                closer: group.key.closer.clone(),
                planter_id: group.key.planter(),
                question: self.question.name().to_owned(),
                force_n: point.force_n,
                share: Some(point.share[1]),
                low: Some(point.share[0]),
                high: Some(point.share[2]),
            })
            .collect()
    }

    /// What was fitted, for the model table.
    pub fn facts(&self, groups: &[DugGroup]) -> Vec<ModelRow> {
        let fact = |item: &str, name: &str, value: Option<f64>, text: Option<String>| ModelRow {
            model: "digs".to_owned(),
            response: Some(self.question.name().to_owned()),
            item: item.to_owned(),
            name: name.to_owned(),
            value,
            std_error: None,
            text,
        };
        if let Some(why) = &self.note {
            return vec![fact("note", "not_fitted", None, Some(why.clone()))];
        }
        let Some((deviation, correlation)) = self.spreads else { return Vec::new() };
        let mut facts = vec![
            fact("formula", "formula", None, Some(FORMULA.to_owned())),
            fact("variance", "field-season standard deviation", Some(deviation), None),
            fact("variance", "correlation of places in a strip", Some(correlation), None),
        ];
        for (group, drawn) in
            groups.iter().zip(&self.curves).filter_map(|(group, drawn)| Some((group, drawn.as_ref()?)))
        {
            let name = |what: &str| format!("{what} {}; {}", group.key.condition, group.key.closer);
            facts.push(fact("coefficient", &name("intercept"), Some(drawn.mode.intercept), None));
            facts.push(fact("coefficient", &name("force"), Some(drawn.mode.slope), None));
            facts.push(enough_draws(fact("check", &name("effective draws"), Some(drawn.effective_draws), None)));
        }
        facts
    }
}

/// Places from which a limit is told: fewer cannot show that a tenth of them are as asked.
const ENOUGH_PLACES: u32 = 10;
/// Effective draws from which the ends of a 90 % interval are steady.
const ENOUGH_DRAWS: f64 = 200.0;

fn enough_draws(mut check: ModelRow) -> ModelRow {
    let enough = check.value.is_some_and(|draws| draws >= ENOUGH_DRAWS);
    let failed = "failed: fewer than 200 draws stand behind the limits, so their ends are rough";
    check.text = Some(if enough { "passed" } else { failed }.to_owned());
    check
}

const FORMULA: &str = "logit share = intercept + slope × force by condition and closer, normal effect of field-season, places of a strip beta-binomial; Firth's penalty on intercepts and slopes; 90 % intervals from posterior draws";
