//! What a suggestion hangs on: one field-season, one response, one tolerance, or one way to take force.
//!
//! Each suggestion of the response that decides is held against alternatives, a row each. An alternative is a pattern to look at, not
//! another answer: only a field-season that carries a settled answer alone changes the evidence (`left_out.rs`).

use std::collections::BTreeMap;

use evenstand_tables::Finding;
use evenstand_tables::rows::{SensitivityRow, StartingPointRow};
use rayon::prelude::*;

use crate::analysis::Questions;
use crate::decision::{Evidence, Picture, choose, gain, picture};
use crate::draws::GroupDraws;
use crate::group_answer::{GroupAnswer, Outlook, Told};
use crate::groups::{Coverage, GroupKey};
use crate::hangs_on::{findings, hangs_on};
use crate::left_out::{Advice, LeftOut, choose_held};
use crate::other_axis::{OnOtherAxis, groups_that_differ, on_other_axis, other_axis};
use crate::response::{Measures, Response};

/// Other tolerances, as shares of the one used.
const TOLERANCES: [(f64, &str); 2] = [(0.5, "half"), (2.0, "double")];

/// Alternatives to every suggestion, and what is to be looked at.
pub(crate) struct Sensitivity {
    pub rows: Vec<SensitivityRow>,
    pub findings: Vec<Finding>,
}

/// A suggestion that alternatives are held against.
struct Suggestion<'a> {
    group: &'a GroupAnswer,
    told: &'a Told,
    start_n: f64,
    default_n: Option<f64>,
}

/// Another reading of the same strips.
struct Alternative<'a> {
    draws: &'a GroupDraws,
    coverage: &'a Coverage,
    picture: &'a Picture,
    left_out: Option<&'a LeftOut>,
}

/// Holds every suggestion of the response that decides against its alternatives, and says in `starts` what each hangs on. `starts` are the
/// starting points of `groups`, in their order.
pub(crate) fn sensitivity(
    questions: &Questions,
    measures: &Measures,
    groups: &[GroupAnswer],
    starts: &mut [StartingPointRow],
) -> Sensitivity {
    let suggestions: Vec<Option<Suggestion>> =
        groups.iter().zip(&*starts).map(|(group, start)| Suggestion::new(group, start)).collect();
    let elsewhere = other_axes(questions, measures, suggestions.iter().flatten());
    let rows: Vec<Vec<SensitivityRow>> = suggestions
        .par_iter()
        .map(|suggestion| suggestion.as_ref().map_or_else(Vec::new, |of| of.rows(groups, &elsewhere, questions)))
        .collect();
    drop(suggestions);
    let mut found = Vec::new();
    for (start, rows) in starts.iter_mut().zip(&rows) {
        start.hangs_on = hangs_on(start, rows);
        found.extend(findings(start, rows));
    }
    Sensitivity { rows: rows.into_iter().flatten().collect(), findings: found }
}

/// Answers on the other axis, by response and group.
type Elsewhere = BTreeMap<String, BTreeMap<GroupKey, OnOtherAxis>>;

/// The other axis of every response that decides where the two forces differ.
fn other_axes<'a>(
    questions: &Questions,
    measures: &Measures,
    suggestions: impl Iterator<Item = &'a Suggestion<'a>>,
) -> Elsewhere {
    let differing = groups_that_differ(questions.strips, questions.settings);
    let deciding: BTreeMap<&str, f64> = suggestions
        .filter(|of| differing.contains(&of.group.key))
        .map(|of| (of.group.response.as_str(), of.group.tolerance))
        .collect();
    let responses = Response::all(measures);
    responses
        .iter()
        .filter_map(|response| {
            let tolerance = *deciding.get(response.name.as_str())?;
            let mut answers = on_other_axis(questions.strips, measures, response, tolerance, questions.settings);
            answers.retain(|key, _| differing.contains(key));
            Some((response.name.clone(), answers))
        })
        .collect()
}

impl<'a> Suggestion<'a> {
    /// `None` where another response decides, or no start is suggested.
    fn new(group: &'a GroupAnswer, start: &StartingPointRow) -> Option<Self> {
        let Outlook::Told(told) = &group.finding else { return None };
        let start_n = start.start_n.filter(|_| group.primary)?;
        Some(Self { group, told, start_n, default_n: start.default_n })
    }

    fn rows(&self, groups: &[GroupAnswer], elsewhere: &Elsewhere, questions: &Questions) -> Vec<SensitivityRow> {
        let mut rows = self.left_out();
        rows.extend(groups.iter().filter_map(|other| self.response(other)));
        rows.extend(TOLERANCES.map(|(factor, name)| self.tolerance(factor, name)));
        let there = elsewhere.get(&self.group.response).and_then(|answers| answers.get(&self.group.key));
        // Actual forces vary inside fields where the setting never did, but that is no trial.
        let there = there.filter(|there| there.coverage.basis == self.group.coverage.basis);
        rows.extend(there.map(|there| {
            let OnOtherAxis { draws, coverage, picture } = there;
            // Whether settings differ at all is seen by the settings, on whichever axis their curve is drawn.
            let picture = Picture { seen: self.told.picture.seen, ..picture.clone() };
            let alternative = Alternative { draws, coverage, picture: &picture, left_out: None };
            self.held_against("axis", other_axis(questions.settings), &alternative)
        }));
        rows
    }

    fn row(&self, kind: &str, detail: impl Into<String>) -> SensitivityRow {
        SensitivityRow {
            condition: self.group.key.condition.clone(),
            closer: self.group.key.closer.clone(),
            planter_id: self.group.key.planter(),
            response: self.group.response.clone(),
            kind: kind.to_owned(),
            detail: detail.into(),
            tolerance: Some(self.group.tolerance),
            ..SensitivityRow::default()
        }
    }

    fn left_out(&self) -> Vec<SensitivityRow> {
        let Some(left_out) = &self.told.left_out else { return Vec::new() };
        left_out
            .of(self.start_n, self.default_n, self.group.tolerance)
            .into_iter()
            .map(|without| SensitivityRow {
                field_id: Some(without.field_season.field_id.clone()),
                season: Some(without.field_season.season),
                best_n: without.told.map(|told| told.best_n),
                start_n: without.told.map(|told| told.start_n),
                advice: without.told.map(|told| told.advice.name().to_owned()),
                loss: without.told.map(|told| told.loss),
                agrees: Some(without.stands),
                ..self.row("left_out", without.field_season.name())
            })
            .collect()
    }

    fn response(&self, other: &GroupAnswer) -> Option<SensitivityRow> {
        let Outlook::Told(told) = &other.finding else { return None };
        (other.key == self.group.key && other.response != self.group.response).then(|| {
            let alternative = Alternative {
                draws: &told.draws,
                coverage: &other.coverage,
                picture: &told.picture,
                left_out: told.left_out.as_ref(),
            };
            self.held_against("response", &other.response, &alternative)
        })
    }

    /// A start that stays where it is, within a tenth of the tested range, does not hang on the tolerance; nor does any where no difference
    /// between settings was seen.
    fn tolerance(&self, factor: f64, name: &str) -> SensitivityRow {
        let (told, coverage) = (self.told, &self.group.coverage);
        let picture = picture(&told.draws, coverage, told.levels.as_ref(), factor * self.group.tolerance);
        let alternative =
            Alternative { draws: &told.draws, coverage, picture: &picture, left_out: told.left_out.as_ref() };
        let mut row = self.held_against("tolerance", name, &alternative);
        let start = choose(&told.draws, coverage, &picture, self.default_n).start_n;
        row.agrees = Some(!picture.seen || Advice::of(start, self.start_n, coverage.tested) == Advice::Stay);
        row
    }

    /// An alternative disagrees where the suggested start loses more than its tolerance there, and moving from it is shown to pay there: a
    /// difference between settings is seen, and the best is the better one with the probability that any move asks for.
    fn held_against(&self, kind: &str, detail: &str, other: &Alternative) -> SensitivityRow {
        let Alternative { draws, coverage, picture, left_out } = *other;
        let own = choose_held(draws, coverage, picture, left_out, self.default_n).choice;
        let start_n = self.start_n.clamp(coverage.tested.0, coverage.tested.1);
        let loss = gain(draws, picture.best_n, start_n).expected.max(0.0);
        let from_here = choose(draws, coverage, picture, Some(start_n));
        let leaves = picture.seen && !from_here.stay && from_here.evidence != Evidence::Open;
        let suggested = own.evidence != Evidence::Open;
        SensitivityRow {
            best_n: Some(picture.best_n),
            start_n: suggested.then_some(own.start_n),
            advice: suggested
                .then(|| Advice::of(own.start_n, self.default_n.unwrap_or(self.start_n), coverage.tested))
                .map(|advice| advice.name().to_owned()),
            evidence: Some(own.evidence.name().to_owned()),
            loss: Some(loss),
            tolerance: Some(picture.tolerance),
            agrees: Some(!leaves || loss <= picture.tolerance),
            ..self.row(kind, detail)
        }
    }
}
