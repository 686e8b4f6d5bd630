//! The starting points as plain text for the terminal.

use crate::results::Results;
use crate::words::answer::{Answer, Card, Evidence, NOT_DESCRIBED, cards};
use crate::words::number::NO_BREAK_SPACE;

const WIDTH: usize = 78;

/// The starting points in plain text: planter by planter and condition by condition the start in the planter's own
/// knob, how sure it is, and one short reason. Empty tables give one line that says so.
pub fn starting_points_text(results: &Results) -> String {
    let cards = cards(results);
    if cards.iter().all(|card| card.answers.is_empty()) {
        return "No starting points: nothing could be compared yet.\n".to_owned();
    }
    let mut text = String::new();
    for card in cards.iter().filter(|card| !card.answers.is_empty()) {
        if !text.is_empty() {
            text.push('\n');
        }
        planter(&mut text, card);
    }
    text.replace(NO_BREAK_SPACE, " ")
}

fn planter(text: &mut String, card: &Card) {
    let closer = card.closer.as_ref().map_or_else(String::new, |closer| format!(" ({closer})"));
    let named = if card.planter == NOT_DESCRIBED { card.planter.clone() } else { format!("Planter {}", card.planter) };
    text.push_str(&format!("{named}{closer}\n"));
    for answer in &card.answers {
        let start = match (&answer.start, &answer.start_force) {
            (Some(start), Some(force)) => format!("start at {start} ({force})"),
            (Some(start), None) => format!("start at {start}"),
            (None, _) => "no starting point yet".to_owned(),
        };
        text.push_str(&format!("  {}: {start}, {}\n", answer.condition, answer.evidence.word()));
        let line = wrapped(&why(answer), "    ");
        text.push_str(&line);
    }
}

fn why(answer: &Answer) -> String {
    let mut parts: Vec<String> = Vec::new();
    if answer.evidence != Evidence::Open {
        match (answer.advice.as_str(), &answer.short_gain) {
            ("lighter" | "heavier", Some(gain)) => {
                parts
                    .push(format!("{} than the default: {gain}.", crate::words::response::capitalised(&answer.advice)));
            }
            ("lighter" | "heavier", None) => {
                parts.push(format!("{} than the default.", crate::words::response::capitalised(&answer.advice)));
            }
            ("stay", _) => parts.push("Stay at the default.".to_owned()),
            _ => {}
        }
    }
    parts.extend(answer.digging.clone());
    if let Some(basis) = &answer.basis_words {
        let first = basis.split_inclusive(['.', ':']).next().unwrap_or(basis);
        parts.push(format!("{}.", first.trim_end_matches(['.', ':'])));
    }
    if let Some(reason) = &answer.reason {
        // One short reason: the first sentence, but all of it where it says what is missing.
        let first = reason.find(". ").map_or(reason.as_str(), |end| &reason[..=end]);
        parts.push(if answer.evidence == Evidence::Open { reason.clone() } else { first.to_owned() });
    }
    parts.join(" ")
}

fn wrapped(text: &str, indent: &str) -> String {
    let mut lines = String::new();
    let mut line = String::from(indent);
    for word in text.split([' ', '\n', '\t']).filter(|word| !word.is_empty()) {
        if line.len() > indent.len() && line.chars().count() + 1 + word.chars().count() > WIDTH {
            lines.push_str(line.trim_end());
            lines.push('\n');
            line = String::from(indent);
        }
        if line.len() > indent.len() {
            line.push(' ');
        }
        line.push_str(word);
    }
    if line.len() > indent.len() {
        lines.push_str(&line);
        lines.push('\n');
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;

    #[test]
    fn the_terminal_says_start_and_surety_for_each_planter() {
        let text = starting_points_text(&made_up::review());
        assert!(
            text.contains(
                "Planter air-12 (discs and press wheel)\n  dry, covered: start at 260 kPa (338 N), settled\n"
            ),
            "{text}"
        );
        assert!(text.contains("Heavier than the default: about 4 points more plants on time (1 to 7)."), "{text}");
        assert!(text.contains("  wet, covered: no starting point yet, open\n"), "{text}");
        assert!(
            text.contains("  moist, covered: start at 200 kPa (260 N), settled\n    Stay at the default."),
            "{text}"
        );
        assert!(text.contains("dry, covered: start at position 3 (338 N), settled"), "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
    }

    #[test]
    fn no_results_are_one_plain_line() {
        assert_eq!(starting_points_text(&Results::default()), "No starting points: nothing could be compared yet.\n");
    }

    #[test]
    fn an_unweighed_planter_shows_no_force() {
        let mut results = made_up::review();
        // Even where a table carries a force by mistake.
        for row in results.settings.iter_mut().filter(|row| row.planter_id == "unweighed-6") {
            row.start_force_n = Some(276.0);
            row.default_force_n = Some(207.0);
        }
        let text = starting_points_text(&results);
        let section = text.split("Planter ").find(|section| section.starts_with("unweighed-6")).expect("its section");
        assert!(section.contains("start at 40 psi, leaning"), "{section}");
        let unwrapped = section.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(unwrapped.contains("A pattern to be tested, not a finding."), "{section}");
        assert!(!section.contains(" N"), "{section}");
    }
}
