//! One column of a blank sheet: its name with the unit, what may stand in it, and the words that say so.

use evenstand_agronomy::Kind;
use evenstand_settings::Settings;
use evenstand_tables::{Column, ColumnType, TableSchema};

use crate::example::{Example, Examples};
use crate::known::Known;
use crate::order::in_order;
use crate::units::Units;

/// A column of a blank sheet.
pub(crate) struct SheetColumn {
    /// As the schema has it.
    pub column: &'static Column,
    /// Name in the header, unit included.
    pub name: String,
    /// The unit in words; empty where there is none.
    pub unit: String,
    /// What may stand in it.
    pub rule: Rule,
    /// Cell of the example row.
    pub example: Option<Example>,
}

/// What may stand in a cell.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Rule {
    /// Anything.
    Free,
    /// One of these words.
    Words(Vec<String>),
    /// One of the names that are known, or a new one.
    Known(List),
    /// A whole number between these.
    Whole(i32, i32),
    /// A number between these, in the unit of the column; `None` where there is no limit.
    Number(Option<f64>, Option<f64>),
    /// A day.
    Day,
    /// A day, or a day and a time.
    Moment,
}

/// A list of known names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum List {
    Fields,
    Seasons,
    Strips,
    Planters,
    Positions,
}

impl List {
    /// The list that is about a column.
    fn of(column: &str) -> Option<List> {
        match column {
            "field_id" => Some(List::Fields),
            "season" => Some(List::Seasons),
            "strip_id" => Some(List::Strips),
            "planter_id" => Some(List::Planters),
            "closing_position" => Some(List::Positions),
            _ => None,
        }
    }

    /// How many names there are.
    pub fn length(self, known: &Known) -> usize {
        match self {
            List::Fields => known.fields.len(),
            List::Seasons => known.seasons.len(),
            List::Strips => known.strip_ids.len(),
            List::Planters => known.planters.len(),
            List::Positions => known.positions.len(),
        }
    }
}

/// The columns of a table in the order of its sheet.
pub(crate) fn columns(
    table: &'static TableSchema,
    settings: &Settings,
    known: &Known,
    units: &Units,
) -> Vec<SheetColumn> {
    let examples = Examples::new(settings, known);
    in_order(table).into_iter().map(|column| sheet_column(column, &table.name, &examples, known, units)).collect()
}

fn sheet_column(
    column: &'static Column,
    table: &str,
    examples: &Examples,
    known: &Known,
    units: &Units,
) -> SheetColumn {
    let measured = measured(column, units);
    let (name, unit) = match &measured {
        Some((stem, kind, suffix)) => (format!("{stem}_{suffix}"), unit_in_words(stem, *kind, suffix)),
        None => {
            (column.name.clone(), if column.unit.is_some() { "degrees, with decimals".into() } else { String::new() })
        }
    };
    let in_unit = |kept: f64| match &measured {
        Some((_, kind, suffix)) => kind.from_kept(suffix, kept).unwrap_or(kept),
        None => kept,
    };
    let example = examples.of(table, &column.name).map(|example| match example {
        // A gauge is read to three digits, a tape or a thermometer to two.
        Example::Number(kept) if measured.as_ref().is_some_and(|(_, kind, _)| *kind == Kind::Pressure) => {
            Example::Number(rounded(in_unit(kept), 3))
        }
        Example::Number(kept) if measured.is_some() => Example::Number(rounded(in_unit(kept), 2)),
        other => other,
    });
    SheetColumn { column, name, unit, rule: rule(column, known, in_unit), example }
}

/// Name without a unit, kind and suffix of a column that has units.
fn measured(column: &'static Column, units: &Units) -> Option<(&'static str, Kind, &'static str)> {
    let stem = column.stem.as_deref()?;
    let kind = Kind::parse(column.unit_kind.as_deref()?)?;
    Some((stem, kind, units.suffix(kind, stem)))
}

/// Name of the column of a table in a sheet, such as `set_pressure_psi`, and its unit in words.
pub(crate) fn name_and_unit(table: &str, column: &str, units: &Units) -> (String, String) {
    let table = evenstand_tables::schema(evenstand_tables::Group::Raw, table).ok();
    match table.and_then(|table| table.column(column)).and_then(|column| measured(column, units)) {
        Some((stem, kind, suffix)) => (format!("{stem}_{suffix}"), unit_in_words(stem, kind, suffix)),
        None => (column.to_owned(), String::new()),
    }
}

fn unit_in_words(stem: &str, kind: Kind, suffix: &str) -> String {
    let label = kind.label(suffix).unwrap_or(suffix);
    match (kind, suffix) {
        (Kind::Share, "pct") => "% (for 30 % write 30)".into(),
        (Kind::Share, _) => "fraction (for 30 % write 0.3)".into(),
        // Two letters that are also a word.
        (Kind::Length | Kind::Rain, "in") => "inches".into(),
        (Kind::Length, "ft") => "feet".into(),
        (Kind::Population, _) if stem.starts_with("seed") => label.replace("plants", "seeds"),
        _ => label.into(),
    }
}

fn rule(column: &Column, known: &Known, in_unit: impl Fn(f64) -> f64) -> Rule {
    if let Some(list) = List::of(&column.name).filter(|list| list.length(known) > 0) {
        return Rule::Known(list);
    }
    if !column.allowed().is_empty() {
        return Rule::Words(column.allowed().to_vec());
    }
    match column.column_type {
        ColumnType::String => Rule::Free,
        ColumnType::Boolean => Rule::Words(vec!["yes".into(), "no".into()]),
        ColumnType::Date => Rule::Day,
        ColumnType::Datetime => Rule::Moment,
        ColumnType::Integer => {
            // A float becomes a whole number by the nearest one there is; nothing overflows.
            let low = column.minimum().map_or(i32::MIN, |low| low.ceil() as i32);
            Rule::Whole(low, column.maximum().map_or(i32::MAX, |high| high.floor() as i32))
        }
        ColumnType::Number => Rule::Number(
            column.minimum().map(|low| inward(in_unit(low), f64::ceil)),
            column.maximum().map(|high| inward(in_unit(high), f64::floor)),
        ),
    }
}

impl SheetColumn {
    /// Whether the row cannot be used without it.
    pub fn needed(&self) -> bool {
        self.column.required()
    }

    /// What may stand in the column, in words; empty where anything may.
    pub fn allowed_in_words(&self) -> String {
        match &self.rule {
            Rule::Free => String::new(),
            Rule::Words(words) => format!("one of: {}", words.join(", ")),
            Rule::Known(List::Seasons) => "a year of the list, or a new one".into(),
            Rule::Known(_) => "one of the list, or a new name".into(),
            Rule::Whole(low, i32::MAX) => format!("a whole number, {low} or more"),
            Rule::Whole(low, high) => format!("a whole number from {low} to {high}"),
            Rule::Number(Some(low), Some(high)) => format!("a number from {low} to {high}"),
            Rule::Number(Some(low), None) => format!("a number, {low} or more"),
            Rule::Number(None, Some(high)) => format!("a number, {high} or less"),
            Rule::Number(None, None) => "a number".into(),
            Rule::Day => "a date such as 2025-04-28".into(),
            Rule::Moment => "a date such as 2025-04-28, or with a time: 2025-04-28 07:30".into(),
        }
    }

    /// What a person reads when the cursor stands in the column: as many of its sentences as fit in so many letters.
    pub fn message(&self, most: usize) -> String {
        let needed = if self.needed() { "Needed." } else { "" };
        let unit = if self.unit.is_empty() { String::new() } else { format!("Unit: {}.", self.unit) };
        let allowed = self.allowed_in_words();
        let allowed = if allowed.is_empty() { allowed } else { format!("Write {allowed}.") };
        let mut message = String::new();
        for part in [self.column.description.as_str(), &unit, needed, &allowed] {
            let length = message.encode_utf16().count() + part.encode_utf16().count() + 1;
            if !part.is_empty() && length <= most {
                if !message.is_empty() {
                    message.push(' ');
                }
                message.push_str(part);
            }
        }
        message
    }
}

/// The number with four digits, by a rounding that stays inside the limits it is one of; larger ones stay as they are.
fn inward(value: f64, round: impl Fn(f64) -> f64) -> f64 {
    let power = power_for(value, 4);
    if power <= 0 {
        return value;
    }
    let scaled = value * 10_f64.powi(power);
    // What is a round number but for the last bits stays one.
    let whole = if (scaled - scaled.round()).abs() < 1e-6 { scaled.round() } else { round(scaled) };
    whole / 10_f64.powi(power)
}

/// The number with so many digits; as it is where it is too small or too large to be rounded.
fn rounded(value: f64, digits: i32) -> f64 {
    let power = power_for(value, digits);
    let scale = 10_f64.powi(power.abs());
    let round = if power < 0 { (value / scale).round() * scale } else { (value * scale).round() / scale };
    if round.is_finite() { round } else { value }
}

/// Power of ten that makes a whole number of so many digits; 0 for zero and for what is no number.
fn power_for(value: f64, digits: i32) -> i32 {
    let magnitude = value.abs().log10().floor();
    if magnitude.is_finite() { digits - 1 - magnitude as i32 } else { 0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_in_another_unit_are_round_and_stay_inside() {
        assert_eq!(inward(1.968_503_9, f64::ceil), 1.969);
        assert_eq!(inward(118.110_236, f64::floor), 118.1);
        assert_eq!(inward(5.000_000_000_001, f64::ceil), 5.0);
        assert_eq!(inward(-22.0, f64::ceil), -22.0);
        assert_eq!(inward(0.0, f64::ceil), 0.0);
        assert_eq!(inward(8_093_712.8, f64::floor), 8_093_712.8);
    }

    #[test]
    fn examples_are_as_round_as_people_write_them() {
        assert_eq!(rounded(1.968_503_9, 2), 2.0);
        assert_eq!(rounded(33_993.593_9, 2), 34_000.0);
        assert_eq!(rounded(206.84, 3), 207.0);
        assert_eq!(rounded(-17.8, 2), -18.0);
        assert_eq!(rounded(0.0, 2), 0.0);
        assert_eq!(rounded(1e-320, 2), 1e-320);
    }
}
