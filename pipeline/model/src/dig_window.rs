//! What digging showed, by condition and closer: the forces between which the trench is shut and the soil not pressed too hard.
//!
//! The share of places not shut falls with force, and the share too firm rises; that is what the trade expects and what is taken for granted
//! where the digs do not contradict it. Each share has a logistic curve over force with a random effect a field-season, places of one
//! strip correlated, and the penalty of Firth for its coefficients, so that "all shut" and "none too firm" have an answer too
//! ([`evenstand_stats::ShareCurves`]). The limit is where the curve of the typical field crosses the share allowed; its interval and the probability that
//! a window is left come from the draws. Strips dug at one setting alone have no curve: their places are counted, with exact limits.

mod counted;
mod judged;
mod limit;
mod placed;
mod rows;
mod words;

use std::collections::BTreeMap;

use evenstand_settings::{Dig, Settings};
use evenstand_tables::Finding;
use evenstand_tables::rows::{DigCurveRow, DigLevelRow, DigWindowRow, ModelRow};

use crate::decision::{ENOUGH_FIELD_SEASONS, Evidence};
use crate::groups::GroupKey;
use crate::summary::quantile;

pub(crate) use judged::Question;
pub(crate) use limit::{Lies, Limit};
pub(crate) use placed::{DugGroup, placed};

/// Probability below which a share goes the other way than the trade expects.
const CONTRADICTED: f64 = 0.1;
/// Digs in fields by which forces never varied inside settle nothing: the force and its field are one.
const VARIED_FIELDS: usize = 1;

/// The dig window of one group.
#[derive(Debug, Clone)]
pub(crate) struct DigWindow {
    /// Lightest force that shuts the trench often enough.
    pub open: Told,
    /// Heaviest force that does not press too hard too often.
    pub firm: Told,
    /// Probability that a typical field has a force that does both, among the forces dug; missing where either limit is.
    pub probability: Option<f64>,
    pub evidence: Evidence,
    /// Lightest and heaviest force dug; `None` where no place has a force.
    pub dug: Option<(f64, f64)>,
    pub counts: Counts,
    /// Why the evidence is what it is, in words.
    pub reason: String,
}

/// What the digs say of one limit.
#[derive(Debug, Clone)]
pub(crate) enum Told {
    /// A limit.
    Limit(Limit),
    /// The share goes the other way than the trade expects, with the probability of the expected way.
    Contradicted(f64),
    /// No trend with force is told, with the probability of the expected way.
    NoTrend(f64),
    /// Too few places were judged, or what they say of the bad side is not sure enough.
    TooFew,
    /// Places were judged, but at one setting only.
    OneSetting,
    /// Nothing was judged.
    NotJudged,
}

impl Told {
    pub fn limit(&self) -> Option<&Limit> {
        match self {
            Told::Limit(limit) => Some(limit),
            _ => None,
        }
    }

    fn lies(&self) -> Lies {
        self.limit().map_or(Lies::Unknown, Limit::lies)
    }
}

/// How much was dug.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Counts {
    pub digs: usize,
    pub judged_open: usize,
    pub open: usize,
    pub judged_firm: usize,
    pub firm: usize,
    pub field_seasons: usize,
    /// Field-seasons with two settings or more.
    pub varied: usize,
    pub strips: usize,
    pub levels: usize,
    /// Places that name no strip.
    pub nameless: usize,
}

/// Forces that digging allows a start to have; an end that is not known is empty.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Allowed {
    pub low: Option<f64>,
    pub high: Option<f64>,
    /// Whether the window is settled. A knob too coarse for one that is not may step over its limits.
    pub settled: bool,
    /// Whether digging found no force that does both.
    pub none: bool,
}

/// Which limit moved a start.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum BoundBy {
    Open,
    Firm,
}

impl BoundBy {
    pub fn name(self) -> &'static str {
        match self {
            BoundBy::Open => "open_limit",
            BoundBy::Firm => "firm_limit",
        }
    }
}

impl Allowed {
    /// A force moved to the nearest that digging allows, and by what.
    pub fn bound(&self, force_n: f64) -> (f64, Option<BoundBy>) {
        match (self.low, self.high) {
            (Some(low), _) if force_n < low => (low, Some(BoundBy::Open)),
            (_, Some(high)) if force_n > high => (high, Some(BoundBy::Firm)),
            _ => (force_n, None),
        }
    }

    /// Whether it has a limit.
    pub fn is_bounded(&self) -> bool {
        self.low.is_some() || self.high.is_some()
    }

    /// How far a force lies outside what digging allows; 0 inside.
    pub fn outside_n(&self, force_n: f64) -> f64 {
        (self.bound(force_n).0 - force_n).abs()
    }

    /// Whether digging allows a force, give or take rounding.
    pub fn allows(&self, force_n: f64) -> bool {
        let slack = 1e-9 * force_n.abs().max(1.0);
        self.low.is_none_or(|low| force_n >= low - slack) && self.high.is_none_or(|high| force_n <= high + slack)
    }
}

impl DigWindow {
    /// The limits that a start must keep to: those of a window that is at least leaning.
    pub fn allowed(&self) -> Allowed {
        if self.evidence == Evidence::Open {
            return Allowed { none: self.is_crossed(), ..Allowed::default() };
        }
        let inside = |told: &Told| told.limit().and_then(Limit::inside);
        Allowed {
            low: inside(&self.open),
            high: inside(&self.firm),
            settled: self.evidence == Evidence::Settled,
            none: false,
        }
    }

    /// The forces dug that are neither too light nor too heavy; `None` where there are none, or where nothing is told.
    pub fn window(&self) -> Option<(f64, f64)> {
        let (low, high) = self.dug?;
        let allowed = self.allowed();
        (self.evidence != Evidence::Open).then(|| (allowed.low.unwrap_or(low), allowed.high.unwrap_or(high)))
    }

    /// Whether the lower limit lies above the upper one: no force does both, dug or not.
    pub fn is_crossed(&self) -> bool {
        let (Told::Limit(open), Told::Limit(firm)) = (&self.open, &self.firm) else { return false };
        match (open.lies(), firm.lies()) {
            (Lies::Inside, Lies::Inside) => open.estimate > firm.estimate,
            (Lies::Inside | Lies::Heavier, Lies::Lighter) | (Lies::Heavier, Lies::Inside) => true,
            _ => false,
        }
    }

    /// Whether no force that was dug is both heavy and light enough.
    pub fn is_empty(&self) -> bool {
        self.is_crossed() || self.open.lies() == Lies::Heavier || self.firm.lies() == Lies::Lighter
    }
}

/// Everything that digging alone says.
#[derive(Debug, Default)]
pub(crate) struct Digs {
    pub windows: BTreeMap<GroupKey, DigWindow>,
    pub window_rows: Vec<DigWindowRow>,
    pub curves: Vec<DigCurveRow>,
    pub levels: Vec<DigLevelRow>,
    pub facts: Vec<ModelRow>,
    pub findings: Vec<Finding>,
}

/// Works out the dig window of every group that was dug.
pub(crate) fn dig_windows(groups: &[DugGroup], settings: &Settings) -> Digs {
    let mut answers = Digs::default();
    let open = judged::judge(groups, Question::NotShut, settings);
    let firm = judged::judge(groups, Question::TooFirm, settings);
    for judged in [&open, &firm] {
        answers.facts.extend(judged.facts(groups));
    }
    for (number, group) in groups.iter().enumerate() {
        let window = window_of(group, &open.told[number], &firm.told[number], &settings.dig);
        answers.window_rows.push(rows::window_row(group, &window));
        answers.findings.extend(findings(group, &window, &settings.dig));
        for judged in [&open, &firm] {
            answers.curves.extend(judged.curve_rows(number, group));
            answers.levels.extend(counted::level_rows(group, judged.question));
        }
        answers.windows.insert(group.key.clone(), window);
    }
    answers
}

fn window_of(group: &DugGroup, open: &Told, firm: &Told, limits: &Dig) -> DigWindow {
    let mut window = DigWindow {
        open: open.clone(),
        firm: firm.clone(),
        probability: None,
        evidence: Evidence::Open,
        dug: group.dug,
        counts: group.counts,
        reason: String::new(),
    };
    if let (Told::Limit(open), Told::Limit(firm), Some(dug)) = (open, firm, group.dug) {
        window.probability = Some(limit::probability_of_window(open, firm, dug));
    }
    window.evidence = evidence(&window);
    window.reason = words::reason(&window, limits);
    window
}

/// Settled: both limits' 90 % intervals leave a window among the forces dug, in three field-seasons or more, and forces varied inside some. Leaning:
/// the limits themselves leave one, or one limit is told and the digs are silent on the other. Else open.
fn evidence(window: &DigWindow) -> Evidence {
    let counts = &window.counts;
    match (&window.open, &window.firm) {
        (Told::Limit(open), Told::Limit(firm)) => {
            let dug = window.dug.unwrap_or((f64::NAN, f64::NAN));
            let (shut_from, firm_from) = (open.high.max(dug.0), firm.low.min(dug.1));
            let enough = counts.field_seasons >= ENOUGH_FIELD_SEASONS && counts.varied >= VARIED_FIELDS;
            if enough && shut_from < firm_from {
                Evidence::Settled
            } else if window.is_empty() {
                Evidence::Open
            } else {
                Evidence::Leaning
            }
        }
        // One limit is told, and the digs are silent on the other: what is not too light, or not too heavy, is known all the same.
        (Told::Limit(_), other) | (other, Told::Limit(_)) if !matches!(other, Told::Contradicted(_)) => {
            let usable = window.open.lies() != Lies::Heavier && window.firm.lies() != Lies::Lighter;
            if usable { Evidence::Leaning } else { Evidence::Open }
        }
        _ => Evidence::Open,
    }
}

/// What a person should look at.
fn findings(group: &DugGroup, window: &DigWindow, limits: &Dig) -> Vec<Finding> {
    let condition = &group.key.condition;
    let mut found = Vec::new();
    for (question, told) in [(Question::NotShut, &window.open), (Question::TooFirm, &window.firm)] {
        if let Told::Contradicted(probability) = told {
            found.push(
                Finding::warning(
                    "dig_share_contradicts",
                    format!(
                        "{condition}: {} (the other way, as the trade expects it, has a probability of {probability:.2}), so no limit is worked out from these digs",
                        question.contradiction()
                    ),
                )
                .remedy("look at what else changed with the force: moisture, field, depth stop, who dug and when; dig all settings on one day in one field"),
            );
        }
    }
    if window.is_crossed() {
        let chance = window
            .probability
            .map(|probability| format!(" (probability that a force does both: {probability:.2})"))
            .unwrap_or_default();
        let why = words::why_empty(window, limits);
        found.push(
            Finding::warning("dig_window_empty", format!("{condition}: {why}{chance}")).remedy(words::EMPTY_REMEDY),
        );
    } else if window.is_empty() {
        let side = if window.open.lies() == Lies::Heavier { "heavier" } else { "lighter" };
        let why = words::why_empty(window, limits);
        found.push(Finding::warning("dig_limit_beyond", format!("{condition}: {why}")).remedy(format!(
            "dig behind {side} settings, if the planter and its manual have them; where they are no better, {}",
            words::TRADE_NEXT
        )));
    }
    if group.thrown.0 > 0 && 5 * group.thrown.0 >= group.thrown.1 {
        found.push(
            Finding::note(
                "soil_thrown",
                format!("{condition}: the discs threw soil or residue at {} of {} places dug", group.thrown.0, group.thrown.1),
            )
            .remedy("set the depth stop so that the discs run shallower, then dig again; if they still throw, drive slower (common practice)"),
        );
    }
    found
}

/// The 5, 50 and 95 % quantiles.
fn quantiles(values: &[f64]) -> [f64; 3] {
    [0.05, 0.5, 0.95].map(|share| quantile(values, share))
}
