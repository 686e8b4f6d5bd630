//! Question by question: what an argument would say, asked on the terminal.

use std::fmt::Display;
use std::io::{BufRead, Write};

use evenstand_trial::gauge;

use super::args::TrialArgs;
use super::known::ReviewFacts;
use crate::review::Review;
use evenstand_agronomy::quantity::length;

/// Asks for what the arguments leave open, and gives the arguments that would have said it. An empty answer takes what stands in brackets;
/// an answer that cannot be read is asked again; the end of the input takes every default that is left.
pub fn ask(
    review: &Review,
    facts: &ReviewFacts,
    arguments: &mut TrialArgs,
    input: &mut dyn BufRead,
    output: &mut dyn Write,
) -> Vec<String> {
    let mut asker = Asker { input, output, answered: Vec::new() };
    let names: Vec<&str> = facts.field_names().into_iter().take(12).collect();
    let example = if names.is_empty() { String::new() } else { format!(" (known: {})", names.join(", ")) };
    asker.text("--field", &format!("Which field?{example}"), &mut arguments.field, None);
    let field = arguments.field.clone().unwrap_or_default();
    asker.parsed("--season", "In which year is it planted?", &mut arguments.season, facts.next_season());
    if arguments.planter.is_empty() {
        let own = facts.field(&field).and_then(|row| row.planter_id.clone());
        let known: Vec<&str> = review.settings.planters.iter().map(|planter| planter.id.as_str()).collect();
        let mut planter = None;
        let default = own.or_else(|| known.first().map(|id| (*id).to_owned()));
        asker.text("--planter", &format!("Which planter? (known: {})", known.join(", ")), &mut planter, default);
        arguments.planter.extend(planter);
    }
    if let (true, Some(id)) = (arguments.rows.is_empty(), arguments.planter.first()) {
        let mut rows = None;
        asker.parsed("--rows", "How many rows has it?", &mut rows, facts.rows_of(id));
        arguments.rows.extend(rows);
    }
    let planter = review.settings.planter(arguments.planter.first().map_or("", String::as_str));
    let conditions: Vec<&str> = facts.conditions(&planter.closer).into_iter().collect();
    let known = if conditions.is_empty() { String::new() } else { format!(" (known: {})", conditions.join("; ")) };
    let default = facts.condition_of(&field).map(str::to_owned);
    asker.text("--condition", &format!("For which condition of the soil?{known}"), &mut arguments.condition, default);
    let spacing = facts.field(&field).and_then(|row| row.row_spacing_m);
    asker.length("--row-spacing", "How far apart are the rows?", &mut arguments.row_spacing, spacing);
    if arguments.outline.is_none() && arguments.line.is_none() {
        let length = facts.length_of(&field);
        asker.length("--length", "How long is the field along the passes?", &mut arguments.length, length);
    }
    if arguments.settings.is_empty() {
        let unit = gauge(&planter).map_or("by label".to_owned(), |unit| format!("in {unit}"));
        let mut typed = None;
        let question = format!("Which settings, {unit}, with commas between? (empty: around the default)");
        asker.text("--settings", &question, &mut typed, None);
        let typed = typed.unwrap_or_default();
        arguments.settings =
            typed.split(',').map(|text| text.trim().to_owned()).filter(|text| !text.is_empty()).collect();
    }
    asker.parsed("--blocks", "How many blocks? (empty: as the review advises, else 4)", &mut arguments.blocks, None);
    let mut places = None;
    asker.parsed("--places", "How many places are counted in a strip?", &mut places, Some(arguments.places));
    arguments.places = places.unwrap_or(arguments.places);
    let question = "When is it planted, about? (year-month-day; empty: not known)";
    asker.parsed("--planting-date", question, &mut arguments.planting_date, None);
    asker.answered
}

struct Asker<'a> {
    input: &'a mut dyn BufRead,
    output: &'a mut dyn Write,
    /// Options and values, as they would be typed.
    answered: Vec<String>,
}

impl Asker<'_> {
    fn text(&mut self, option: &str, question: &str, slot: &mut Option<String>, default: Option<String>) {
        self.read((option, question), slot, default, |text| Ok(text.to_owned()), ToString::to_string);
    }

    fn parsed<T: std::str::FromStr + Display>(
        &mut self,
        option: &str,
        question: &str,
        slot: &mut Option<T>,
        default: Option<T>,
    ) where
        T::Err: Display,
    {
        self.read(
            (option, question),
            slot,
            default,
            |text| text.parse::<T>().map_err(|error| error.to_string()),
            ToString::to_string,
        );
    }

    fn length(&mut self, option: &str, question: &str, slot: &mut Option<f64>, default: Option<f64>) {
        self.read((option, question), slot, default, length, |metres| format!("{metres:.2} m"));
    }

    fn read<T>(
        &mut self,
        (option, question): (&str, &str),
        slot: &mut Option<T>,
        default: Option<T>,
        parse: impl Fn(&str) -> Result<T, String>,
        shown: impl Fn(&T) -> String,
    ) {
        if slot.is_some() {
            return;
        }
        let bracket = default
            .as_ref()
            .map(shown)
            .filter(|text| !text.is_empty())
            .map_or(String::new(), |text| format!(" [{text}]"));
        loop {
            // A terminal that is gone is noticed at the next read.
            let _ = write!(self.output, "{question}{bracket} ");
            let _ = self.output.flush();
            let mut line = String::new();
            let ended = self.input.read_line(&mut line).map_or(true, |bytes| bytes == 0);
            let answer = line.trim();
            if ended || answer.is_empty() {
                *slot = default;
                return;
            }
            match parse(answer) {
                Ok(value) => {
                    self.answered.extend([option.to_owned(), answer.to_owned()]);
                    *slot = Some(value);
                    return;
                }
                Err(why) => {
                    let _ = writeln!(self.output, "That was not understood: {why}");
                }
            }
        }
    }
}
