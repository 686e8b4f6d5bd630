//! The review in short: what was asked, what was seen, and what it rests on.

use evenstand_tables::rows::{KnobRow, StartingPointRow};
use serde::Serialize;

use crate::results::Results;
use crate::words::answer::{Evidence, advice, deciding_points};
use crate::words::number;
use crate::words::response::Response;

/// What was asked and what was seen, a sentence a line.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct InShort {
    pub asked: Vec<String>,
    pub seen: Vec<String>,
}

/// The review in short.
pub(crate) fn in_short(results: &Results) -> InShort {
    let primary = Response::of(results.primary(), results);
    let asked = vec![
        format!(
            "At which closing downforce does the crop come up most evenly, condition by condition? What decides is {}.",
            primary.in_text()
        ),
        "Is a move away from each planter’s default worth it, how sure is that, and what would make it surer?"
            .to_owned(),
    ];
    InShort { asked, seen: seen(results) }
}

/// Planters whose own default turns the answer of a condition round.
fn otherwise(results: &Results, point: &StartingPointRow) -> Vec<String> {
    let Some((advice, default)) = advice(point).filter(|advice| *advice != "open").zip(point.default_n) else {
        return Vec::new();
    };
    let own = results
        .settings
        .iter()
        .filter(|row| row.condition == point.condition && row.closer == point.closer && row.response == point.response);
    let other = own
        .filter(|row| row.evidence != "open" && row.advice.as_deref().is_some_and(|own| own != advice))
        .filter(|row| row.default_force_n.is_some_and(|own| own != default));
    let told = |row: &KnobRow| {
        let way = match row.advice.as_deref() {
            Some("stay") => "to stay",
            Some("lighter") => "to go lighter",
            _ => "to go heavier",
        };
        format!(
            "{}: {}, whose own default is another, is told {way}; {}.",
            crate::words::response::capitalised(&point.condition),
            row.planter_id,
            Evidence::of(&row.evidence).word()
        )
    };
    other.map(told).collect()
}

fn seen(results: &Results) -> Vec<String> {
    let points = deciding_points(results);
    let mut says = Vec::new();
    if points.is_empty() {
        says.push("Nothing could be compared yet.".to_owned());
        return says;
    }
    let count = |evidence: Evidence| points.iter().filter(|point| Evidence::of(&point.evidence) == evidence).count();
    says.push(format!(
        "{}: a start that is settled in {}, one that leans in {}, none yet in {}.",
        number::count(points.len(), "condition", "conditions"),
        count(Evidence::Settled),
        count(Evidence::Leaning),
        count(Evidence::Open)
    ));
    let answered = |point: &&StartingPointRow| {
        Evidence::of(&point.evidence) != Evidence::Open && point.start_n.is_some() && point.default_n.is_some()
    };
    let (moves, stays): (Vec<&StartingPointRow>, Vec<&StartingPointRow>) =
        points.iter().copied().filter(answered).partition(|point| point.start_n != point.default_n);
    if !stays.is_empty() {
        let named: Vec<&str> = stays.iter().map(|point| point.condition.as_str()).collect();
        says.push(format!("No reason was seen to leave the default in: {}.", named.join("; ")));
    }
    says.extend(points.iter().flat_map(|point| otherwise(results, point)));
    for point in moves {
        let response = Response::of(&point.response, results);
        let way = if point.start_n > point.default_n { "heavier" } else { "lighter" };
        let spread = point.gain_low.zip(point.gain_high).map(|(low, high)| (high - low) / 2.0);
        let gain = point.gain_vs_default.map(|gain| {
            let interval = point.gain_low.zip(point.gain_high).map_or_else(String::new, |(low, high)| {
                let [low, high] = [low, high].map(|end| response.bare_difference(end, spread));
                format!(" (90 % interval: {})", number::range(&low, &high))
            });
            format!(": {}{interval}", response.gain(gain, spread))
        });
        let pattern = if point.basis == "logs" { ", if the pattern of the logs holds" } else { "" };
        says.push(format!(
            "{}: start {way} than the default{}{pattern}; {}.",
            crate::words::response::capitalised(&point.condition),
            gain.unwrap_or_default(),
            Evidence::of(&point.evidence).word()
        ));
    }
    says
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;

    #[test]
    fn a_planter_whose_own_default_turns_the_answer_round_is_named() {
        let stays = StartingPointRow {
            start_n: Some(260.0),
            default_n: Some(260.0),
            ..made_up::point("dry, bare", "on_time_share", "leaning")
        };
        // Both are told to go heavier; of the second only the steps of its knob say so.
        let lighter = KnobRow { default_force_n: Some(180.0), ..made_up::knob("south", "dry, bare", "settled") };
        let same = made_up::knob("north", "dry, bare", "settled");
        let results = Results { starting_points: vec![stays], settings: vec![lighter, same], ..Results::default() };
        let says = in_short(&results).seen;
        assert!(says.contains(&"No reason was seen to leave the default in: dry, bare.".to_owned()), "{says:?}");
        let named: Vec<&String> = says.iter().filter(|says| says.contains("whose own default is another")).collect();
        assert_eq!(named.len(), 1, "{says:?}");
        assert!(named[0].starts_with("Dry, bare: south, whose own default is another, is told to go heavier; "));
    }
}
