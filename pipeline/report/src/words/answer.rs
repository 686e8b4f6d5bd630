//! The answer for a planter in a condition, in words: the same words for the page and for the terminal.

use evenstand_tables::rows::{KnobRow, PlanterRow, StartingPointRow};
use serde::Serialize;

use crate::results::{Results, knob_gauge};
use crate::words::gauge::{Gauge, Unit};
use crate::words::number::{self, NO_BREAK_SPACE};
use crate::words::response::Response;

/// How far an answer can be trusted. Shown as a word, a sign and a shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub(crate) enum Evidence {
    Settled,
    Leaning,
    Open,
}

impl Evidence {
    /// From the word in the tables. A word that is not known is taken as open: nothing is claimed.
    pub fn of(word: &str) -> Self {
        match word {
            "settled" => Evidence::Settled,
            "leaning" => Evidence::Leaning,
            _ => Evidence::Open,
        }
    }

    /// The word.
    pub fn word(self) -> &'static str {
        match self {
            Evidence::Settled => "settled",
            Evidence::Leaning => "leaning",
            Evidence::Open => "open",
        }
    }
}

/// What to do in one condition.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Answer {
    pub condition: String,
    pub evidence: Evidence,
    /// The start in the planter's own knob; absent where the answer is open.
    pub start: Option<String>,
    /// The same as a force, where forces are known.
    pub start_force: Option<String>,
    /// "stay", "lighter", "heavier" or "open".
    pub advice: String,
    pub advice_words: Option<String>,
    pub window: Option<String>,
    pub gain: Option<String>,
    /// The gain alone, for the terminal: "about 4 points more plants on time (1 to 7)".
    pub short_gain: Option<String>,
    pub chance: Option<String>,
    pub chance_tenths: Option<usize>,
    pub reason: Option<String>,
    pub basis_words: Option<String>,
    /// What digging allows, in the knob.
    pub digging: Option<String>,
    pub notes: Vec<String>,
}

/// Title of the card of answers whose planter nobody described.
pub(crate) const NOT_DESCRIBED: &str = "Planter not described";

/// A planter with its answers.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Card {
    pub planter: String,
    pub closer: Option<String>,
    pub knob: String,
    pub answers: Vec<Answer>,
    /// Nothing, "dense" or "packed": many conditions are set closer, so that the card still fits one sheet.
    pub density: &'static str,
    pub uncalibrated: bool,
}

/// How the values of one planter are written.
enum Knob {
    Pressure(Gauge),
    Positions,
    Force(Gauge),
}

/// A card for every planter, and one for answers that belong to no planter that is described.
pub(crate) fn cards(results: &Results) -> Vec<Card> {
    let mut planter_ids: Vec<&str> = results.planters.iter().map(|planter| planter.planter_id.as_str()).collect();
    for row in &results.settings {
        if !planter_ids.contains(&row.planter_id.as_str()) {
            planter_ids.push(&row.planter_id);
        }
    }
    let mut cards: Vec<Card> = planter_ids.into_iter().map(|planter_id| planter_card(results, planter_id)).collect();
    cards.extend(cards_without_planter(results));
    cards
}

fn planter_card(results: &Results, planter_id: &str) -> Card {
    let rows: Vec<&KnobRow> = results.settings.iter().filter(|row| row.planter_id == planter_id).collect();
    let planter = results.planter(planter_id);
    let mut conditions: Vec<&str> = Vec::new();
    for row in &rows {
        if !conditions.contains(&row.condition.as_str()) {
            conditions.push(&row.condition);
        }
    }
    let answers: Vec<Answer> = conditions
        .into_iter()
        .filter_map(|condition| {
            let here = || rows.iter().copied().filter(|row| row.condition == condition);
            here()
                .find(|row| row.primary == Some(true))
                .or_else(|| here().find(|row| row.response == results.primary()))
                .or_else(|| here().next())
        })
        .map(|row| answer(results, planter, row))
        .collect();
    let closer = planter
        .and_then(|planter| planter.closer.clone())
        .or_else(|| rows.first().map(|row| row.closer.clone()))
        .map(|closer| plain_words(&closer));
    Card {
        planter: planter_id.to_owned(),
        closer,
        knob: knob_words(results, planter),
        density: density(answers.len()),
        answers,
        uncalibrated: planter.is_some_and(|planter| planter.calibrated == Some(false)),
    }
}

fn density(answers: usize) -> &'static str {
    match answers {
        0..=4 => "",
        5..=7 => "dense",
        _ => "packed",
    }
}

/// Starting points that no row of `settings` covers, by closer, in units of force.
fn cards_without_planter(results: &Results) -> Vec<Card> {
    let mut cards: Vec<Card> = Vec::new();
    for point in deciding_points(results) {
        let covered = results.settings.iter().any(|row| {
            row.condition == point.condition
                && row.closer == point.closer
                && point.planter_id.as_ref().is_none_or(|planter_id| *planter_id == row.planter_id)
        });
        if covered {
            continue;
        }
        let planter = point.planter_id.as_deref().and_then(|planter_id| results.planter(planter_id));
        let row = as_knob_row(point);
        let answer = answer(results, planter, &row);
        let title = point.planter_id.clone().unwrap_or_else(|| NOT_DESCRIBED.to_owned());
        if let Some(card) = cards
            .iter_mut()
            .find(|card| card.planter == title && card.closer.as_deref() == Some(plain_words(&point.closer).as_str()))
        {
            card.answers.push(answer);
            card.density = density(card.answers.len());
        } else {
            cards.push(Card {
                planter: title,
                closer: Some(plain_words(&point.closer)),
                knob: "The settings of this review do not say how this planter is set, so answers are given as \
                       closing downforce."
                    .to_owned(),
                answers: vec![answer],
                density: density(1),
                uncalibrated: false,
            });
        }
    }
    cards
}

/// The starting point that decides in each condition, closer and planter, in the order of the table.
pub(crate) fn deciding_points(results: &Results) -> Vec<&StartingPointRow> {
    let mut groups: Vec<(&str, &str, Option<&str>)> = Vec::new();
    for point in &results.starting_points {
        let group = (point.condition.as_str(), point.closer.as_str(), point.planter_id.as_deref());
        if !groups.contains(&group) {
            groups.push(group);
        }
    }
    groups
        .into_iter()
        .filter_map(|group| {
            let here = || {
                results.starting_points.iter().filter(move |point| {
                    (point.condition.as_str(), point.closer.as_str(), point.planter_id.as_deref()) == group
                })
            };
            here()
                .find(|point| point.primary == Some(true))
                .or_else(|| here().find(|point| point.response == results.primary()))
                .or_else(|| here().next())
        })
        .collect()
}

/// The way from the default to a start, as tables of settings name it.
pub(crate) fn advice(point: &StartingPointRow) -> Option<&'static str> {
    match (Evidence::of(&point.evidence), point.start_n, point.default_n) {
        (Evidence::Open, _, _) | (_, None, _) => Some("open"),
        (_, Some(start), Some(default)) if start < default => Some("lighter"),
        (_, Some(start), Some(default)) if start > default => Some("heavier"),
        (_, Some(_), Some(_)) => Some("stay"),
        _ => None,
    }
}

fn as_knob_row(point: &StartingPointRow) -> KnobRow {
    let advice = advice(point);
    KnobRow {
        planter_id: point.planter_id.clone().unwrap_or_default(),
        closer: point.closer.clone(),
        condition: point.condition.clone(),
        response: point.response.clone(),
        primary: point.primary,
        evidence: point.evidence.clone(),
        reason: Some(point.reason.clone()),
        basis: Some(point.basis.clone()),
        shape: point.shape.clone(),
        knob: Some("none".to_owned()),
        advice: advice.map(str::to_owned),
        default_force_n: point.default_n,
        start_force_n: point.start_n,
        window_low_n: point.window_low_n,
        window_high_n: point.window_high_n,
        gain_vs_default: point.gain_vs_default,
        gain_low: point.gain_low,
        gain_high: point.gain_high,
        prob_gain: point.prob_gain,
        prob_near_best: point.prob_near_best,
        bound_by: point.bound_by.clone(),
        ..KnobRow::default()
    }
}

fn answer(results: &Results, planter: Option<&PlanterRow>, row: &KnobRow) -> Answer {
    let uncalibrated = planter.is_some_and(|planter| planter.calibrated == Some(false));
    let knob = match row.knob.as_deref() {
        Some("pressure") => Knob::Pressure(planter.map_or_else(|| Gauge::plain(Unit::Kilopascal), knob_gauge)),
        Some("positions") => Knob::Positions,
        _ => Knob::Force(results.axis_gauge(planter.map(|planter| planter.planter_id.as_str()))),
    };
    let evidence = Evidence::of(&row.evidence);
    let basis = row.basis.as_deref().unwrap_or("trial");
    let response = Response::of(&row.response, results);
    let start = match evidence {
        Evidence::Open => None,
        _ => knob.value(row.start_pressure_kpa, row.start_position.as_deref(), row.start_force_n),
    };
    let default = knob.value(row.default_pressure_kpa, row.default_position.as_deref(), row.default_force_n);
    let advice = if start.is_none() { "open" } else { row.advice.as_deref().unwrap_or("start") };
    let tolerance = results
        .starting_points
        .iter()
        .find(|point| point.condition == row.condition && point.closer == row.closer && point.response == row.response)
        .and_then(|point| point.tolerance);

    let mut answer = Answer {
        condition: row.condition.clone(),
        evidence: if start.is_none() { Evidence::Open } else { evidence },
        start_force: match knob {
            Knob::Force(_) => None,
            _ if uncalibrated || start.is_none() => None,
            _ => row.start_force_n.map(|force| results.force_gauge().text(force)),
        },
        advice: advice.to_owned(),
        advice_words: advice_words(advice, default.as_deref()),
        window: None,
        gain: None,
        short_gain: None,
        chance: None,
        chance_tenths: None,
        reason: row.reason.clone().filter(|reason| !reason.trim().is_empty()),
        basis_words: basis_words(basis, start.is_some()),
        digging: knob.digging(row),
        notes: Vec::new(),
        start,
    };
    if answer.start.is_none() {
        return answer;
    }
    // Nothing was compared where only places were dug; the line of digging says what it allows.
    answer.window = knob.window(row).filter(|_| basis != "digs");
    if matches!(advice, "lighter" | "heavier") {
        answer.short_gain = row.gain_vs_default.map(|gain| short_gain(&response, gain, row.gain_low, row.gain_high));
        answer.gain = answer.short_gain.as_ref().map(|gain| gain_sentence(gain, basis, default.as_deref(), row));
    }
    if let Some(chance) = row.prob_near_best.and_then(number::chance) {
        let near = match tolerance {
            Some(tolerance) if tolerance > 0.0 => {
                format!("within {} of the best setting", response.difference(tolerance, Some(tolerance)))
            }
            _ => "as good as the best setting".to_owned(),
        };
        let if_it_holds = if basis == "logs" { "If the pattern holds: right" } else { "Right" };
        let fields = number::fields_in_ten(row.prob_near_best.unwrap_or_default()).unwrap_or_default();
        answer.chance = Some(format!("{if_it_holds} in {fields} not yet seen ({near})."));
        answer.chance_tenths = Some(chance.tenths);
    }
    if row.at_limit == Some(true) {
        answer.notes.push("This is the end of the knob’s range.".to_owned());
    }
    if let Some(loss) = row.rounding_loss.filter(|loss| !response.rounds_to_nothing(*loss, tolerance)) {
        let lost = response.difference(loss.abs(), tolerance);
        answer.notes.push(format!("Rounding to the step of the knob costs about {lost}."));
    }
    answer
}

fn advice_words(advice: &str, default: Option<&str>) -> Option<String> {
    Some(match (advice, default) {
        ("stay", Some(default)) => format!("Stay at this planter’s default, {default}."),
        ("stay", None) => "Stay at this planter’s default.".to_owned(),
        ("lighter", Some(default)) => format!("Go lighter: this planter’s default is {default}."),
        ("lighter", None) => "Go lighter than the default.".to_owned(),
        ("heavier", Some(default)) => format!("Go heavier: this planter’s default is {default}."),
        ("heavier", None) => "Go heavier than the default.".to_owned(),
        ("open", _) => "Until more is known, keep what you run now and check by digging.".to_owned(),
        _ => return None,
    })
}

fn basis_words(basis: &str, has_start: bool) -> Option<String> {
    match (basis, has_start) {
        ("logs", true) => Some(
            "A pattern to be tested, not a finding: settings differed only between fields, and fields differ in other \
             ways too. Try it in strips before relying on it."
                .to_owned(),
        ),
        ("logs", false) => None,
        ("digs", _) => Some("From digging alone: no stand counts stand behind it.".to_owned()),
        _ => None,
    }
}

fn short_gain(response: &Response, gain: f64, low: Option<f64>, high: Option<f64>) -> String {
    let uncertainty = low.zip(high).map(|(low, high)| (high - low) / 2.0);
    let words = response.gain(gain, uncertainty);
    match low.zip(high) {
        Some((low, high)) => {
            let [low, high] = [low, high].map(|end| response.bare_difference(end, uncertainty));
            format!("{words} ({low}{NO_BREAK_SPACE}to{NO_BREAK_SPACE}{high})")
        }
        None => words,
    }
}

fn gain_sentence(gain: &str, basis: &str, default: Option<&str>, row: &KnobRow) -> String {
    let (words, interval) = gain.split_once(" (").map_or((gain, None), |(words, rest)| (words, Some(rest)));
    let interval = interval.map_or_else(String::new, |rest| format!(" (90 % interval: {rest}"));
    let lead = if basis == "logs" { "If the pattern holds, expect" } else { "Expect" };
    let against = default.map_or_else(|| "than at the default".to_owned(), |default| format!("than at {default}"));
    let against = if words.starts_with("a difference") { against.replace("than at", "from") } else { against };
    let better = row
        .prob_gain
        .and_then(number::chance)
        .map(|chance| format!(" Better than the default {}.", chance.words))
        .unwrap_or_default();
    format!("{lead} {words} {against}{interval}.{better}")
}

impl Knob {
    /// What digging allows; `None` where it tells no limit.
    fn digging(&self, row: &KnobRow) -> Option<String> {
        let gauged = |gauge: Gauge, low: Option<f64>, high: Option<f64>| {
            let both = low.zip(high).map(|(low, high)| gauge.range(low, high));
            (low.map(|low| gauge.text(low)), high.map(|high| gauge.text(high)), both)
        };
        let (low, high, both) = match self {
            Knob::Pressure(gauge) => gauged(*gauge, row.dig_low_pressure_kpa, row.dig_high_pressure_kpa),
            Knob::Force(gauge) => gauged(*gauge, row.dig_low_n, row.dig_high_n),
            Knob::Positions => {
                let (low, high) = (row.dig_low_position.as_ref(), row.dig_high_position.as_ref());
                let named = |label: &String| format!("position {label}");
                let both = low.zip(high).map(|(low, high)| format!("positions {}", number::range(low, high)));
                (low.map(named), high.map(named), both)
            }
        };
        Some(match (low, high, both) {
            (Some(low), Some(high), _) if low == high => format!("Digging allows {low} alone."),
            (_, _, Some(both)) => format!("Digging allows {both}."),
            (Some(low), ..) => format!("Digging asks for {low} or more."),
            (_, Some(high), _) => format!("Digging asks for {high} or less."),
            _ => return None,
        })
    }

    fn value(&self, pressure_kpa: Option<f64>, position: Option<&str>, force_n: Option<f64>) -> Option<String> {
        match self {
            Knob::Pressure(gauge) => pressure_kpa.filter(|value| value.is_finite()).map(|value| gauge.text(value)),
            Knob::Positions => position.map(|position| format!("position {position}")),
            Knob::Force(gauge) => force_n.filter(|value| value.is_finite()).map(|value| gauge.text(value)),
        }
    }

    fn window(&self, row: &KnobRow) -> Option<String> {
        let (one, range) = match self {
            Knob::Pressure(gauge) => {
                let (low, high) = row.window_low_pressure_kpa.zip(row.window_high_pressure_kpa)?;
                (gauge.number(low) == gauge.number(high), gauge.range(low, high))
            }
            Knob::Force(gauge) => {
                let (low, high) = row.window_low_n.zip(row.window_high_n)?;
                (gauge.number(low) == gauge.number(high), gauge.range(low, high))
            }
            Knob::Positions => {
                let (low, high) = row.window_low_position.as_deref().zip(row.window_high_position.as_deref())?;
                (
                    low == high,
                    format!("{}{}", if low == high { "position " } else { "positions " }, number::range(low, high)),
                )
            }
        };
        Some(if one {
            format!("Only {range} is as good, as far as can be told.")
        } else {
            format!("As good from {range}.")
        })
    }
}

fn knob_words(results: &Results, planter: Option<&PlanterRow>) -> String {
    let Some(planter) = planter else {
        return "The settings of this review do not describe this planter.".to_owned();
    };
    match planter.knob.as_deref() {
        Some("pressure") => {
            let gauge = knob_gauge(planter);
            let mut words = "Closing pressure".to_owned();
            if let Some((low, high)) = planter.min_pressure_kpa.zip(planter.max_pressure_kpa) {
                words.push_str(&format!(", {}", gauge.range(low, high)));
            }
            if let Some(step) = planter.step_pressure_kpa {
                words.push_str(&format!(" in steps of {}", gauge.number(step)));
            }
            if let Some(default) = planter.default_pressure_kpa {
                words.push_str(&format!("; default {}", gauge.text(default)));
                if let Some(force) = planter.default_force_n.filter(|_| planter.calibrated != Some(false)) {
                    words.push_str(&format!(" ({})", results.force_gauge().text(force)));
                }
            }
            words + "."
        }
        Some("positions") => match &planter.default_position {
            Some(default) => format!("Closing positions; default position {default}."),
            None => "Closing positions.".to_owned(),
        },
        _ => match planter.default_force_n.filter(|_| planter.calibrated != Some(false)) {
            Some(force) => format!("Closing downforce; default {}.", results.force_gauge().text(force)),
            None => "Closing downforce.".to_owned(),
        },
    }
}

/// A name of the tables as plain words.
pub(crate) fn plain_words(name: &str) -> String {
    name.replace('_', " ")
}
