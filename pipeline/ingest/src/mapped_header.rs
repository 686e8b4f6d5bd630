//! Matches the header of a foreign file by what its `[[source]]` block says.

use std::collections::BTreeMap;

use evenstand_agronomy::{Kind, closest};
use evenstand_settings::{ColumnRule, WideRule};
use evenstand_tables::{ColumnType, TableSchema};
use jiff::ToSpan;
use jiff::civil::Date;

use crate::header::{EachColumn, HeaderFault, Layout, Origin, Unused, feed_from_cell, find, tidy, told, unfed};
use crate::mapping::{Mapping, name_fits};
use crate::record::OwnedCell;

/// Feeds columns from where the block says; columns that it does not name are fed by cells of the same name.
///
/// `names` are as they stand in the file. Errors where the block names a column that one of the two sides lacks.
pub(crate) fn match_mapped(
    schema: &TableSchema,
    names: &[String],
    default_units: &BTreeMap<String, String>,
    mapping: &Mapping,
) -> Result<Layout, HeaderFault> {
    let mut layout = unfed(schema, names.len());
    let mut spoken_for = vec![false; names.len()];
    for (ours, rule) in &mapping.rule.columns {
        let (index, unit) = column_of_ours(schema, ours, rule.unit.as_deref(), default_units, "columns")?;
        let cells = rule.from.iter().map(|theirs| cell_named(names, theirs, ours)).collect::<Result<Vec<_>, _>>()?;
        cells.iter().for_each(|cell| spoken_for[*cell] = true);
        free(&layout, schema, index, ours)?;
        let feed = &mut layout.feeds[index];
        match cells.as_slice() {
            [cell] => feed_from_cell(feed, &schema.columns[index], *cell, unit),
            _ => {
                feed.origin = Origin::Joined(cells, joint(rule, schema.columns[index].column_type));
                feed.unit = unit;
            }
        }
        feed.label = format!("{} (\"{}\")", feed.label, rule.from.join("\", \""));
    }
    for (ours, value) in &mapping.rule.constants {
        let (index, unit) = column_of_ours(schema, ours, None, default_units, "constants")?;
        free(&layout, schema, index, ours)?;
        layout.feeds[index].origin = Origin::Constant(constant(value, schema.columns[index].column_type));
        layout.feeds[index].unit = unit;
        layout.feeds[index].label = format!("{ours} (a constant of the [[source]] block)");
    }
    for theirs in &mapping.rule.ignore {
        for (cell, _) in names.iter().enumerate().filter(|(_, name)| name_fits(theirs, name)) {
            spoken_for[cell] = true;
        }
    }
    if let Some(wide) = &mapping.rule.wide {
        widen(schema, names, default_units, wide, &mut layout, &mut spoken_for)?;
    }
    for (cell, name) in names.iter().enumerate().filter(|(cell, name)| !spoken_for[*cell] && !name.trim().is_empty()) {
        match find(schema, "", &tidy(name), default_units) {
            Ok(Some((index, unit))) if layout.feeds[index].origin == Origin::Absent => {
                feed_from_cell(&mut layout.feeds[index], &schema.columns[index], cell, unit);
            }
            Ok(Some((index, _))) => layout.unused.push(Unused {
                cell,
                name: name.clone(),
                remedy: format!("{} comes from elsewhere, as the [[source]] block says", schema.columns[index].name),
            }),
            Ok(None) => layout.unused.push(Unused {
                cell,
                name: name.clone(),
                remedy: "add it under columns in the [[source]] block if it is wanted".into(),
            }),
            Err(fault) => layout.unused.push(Unused {
                cell,
                name: name.clone(),
                remedy: "add it under columns in the [[source]] block, with its unit, if it is wanted; ".to_owned()
                    + fault.message.trim_start_matches(": "),
            }),
        }
    }
    for (ours, words) in &mapping.rule.synonyms {
        let (index, _) = column_of_ours(schema, ours, None, default_units, "synonyms")?;
        layout.feeds[index].synonyms =
            words.iter().map(|(theirs, word)| (theirs.trim().to_lowercase(), word.clone())).collect();
    }
    Ok(layout)
}

/// The column of the schema that a key of the block means.
pub(crate) fn column_of_ours(
    schema: &TableSchema,
    ours: &str,
    unit: Option<&str>,
    default_units: &BTreeMap<String, String>,
    key: &str,
) -> Result<(usize, Option<(Kind, String)>), HeaderFault> {
    let full = unit.map_or_else(|| ours.to_owned(), |unit| format!("{ours}_{unit}"));
    // Words have no unit: their column may be named without one.
    let place = format!("the [[source]] block, {key}.{ours}");
    if key == "synonyms"
        && let Some(index) =
            schema.columns.iter().position(|column| column.name == ours || column.stem.as_deref() == Some(ours))
    {
        return Ok((index, None));
    }
    find(schema, &place, &full, default_units)?.ok_or_else(|| {
        let known = || schema.columns.iter().map(|column| column.stem.as_deref().unwrap_or(&column.name));
        let near = closest(ours, known()).map(|near| format!("; did you mean {near}?")).unwrap_or_default();
        HeaderFault {
            code: "unknown_column_in_source",
            message: format!("{place}: {} has no column \"{full}\"{near}", schema.name),
            remedy: format!("write one of {}", known().collect::<Vec<_>>().join(", ")),
        }
    })
}

/// Position of the file's column of this name; `Name#2` is the second one of that name.
fn cell_named(names: &[String], theirs: &str, ours: &str) -> Result<usize, HeaderFault> {
    let (name, which) = match theirs.rsplit_once('#') {
        Some((name, number)) if number.parse::<usize>().is_ok_and(|number| number > 0) => {
            (name, number.parse::<usize>().unwrap_or(1))
        }
        _ => (theirs, 0),
    };
    let same = |wanted: &str| -> Vec<usize> {
        names.iter().enumerate().filter(|(_, name)| tidy(name) == tidy(wanted)).map(|(cell, _)| cell).collect()
    };
    let whole = same(theirs);
    let (found, which) = if whole.is_empty() { (same(name), which) } else { (whole, 0) };
    match (found.as_slice(), which) {
        ([cell], 0) => Ok(*cell),
        (cells, number) if number > 0 && number <= cells.len() => Ok(cells[number - 1]),
        ([], _) => {
            let near = closest(theirs, names.iter().map(String::as_str));
            Err(HeaderFault {
                code: "missing_column",
                message: format!(
                    "the [[source]] block takes {ours} from \"{theirs}\", which is not in the header; found {}",
                    listed(names)
                ),
                remedy: match near {
                    Some(near) => format!("if \"{near}\" was meant, write it in the block"),
                    None => {
                        "correct the name in the block, or say there in which row the names of the columns stand, such \
                             as header_row = 4 for the fourth row"
                            .into()
                    }
                },
            })
        }
        (cells, _) => Err(HeaderFault {
            code: "duplicate_column",
            message: format!("the header has \"{name}\" {} times", cells.len()),
            remedy: format!("say which one in the [[source]] block: \"{name}#1\" is the first"),
        }),
    }
}

/// Errors where two keys of the block feed one column.
fn free(layout: &Layout, schema: &TableSchema, index: usize, ours: &str) -> Result<(), HeaderFault> {
    if layout.feeds[index].origin == Origin::Absent {
        return Ok(());
    }
    Err(HeaderFault {
        code: "duplicate_column",
        message: format!("the [[source]] block gives {} twice, at last by {ours}", schema.columns[index].name),
        remedy: "keep one of the two".into(),
    })
}

fn joint(rule: &ColumnRule, column_type: ColumnType) -> String {
    let usual = if matches!(column_type, ColumnType::Datetime | ColumnType::Date) { " " } else { "-" };
    rule.joined_by.clone().unwrap_or_else(|| usual.to_owned())
}

/// The cell that stands in every row: of a text column always text, so that no row has to make it anew.
fn constant(value: &toml::Value, column_type: ColumnType) -> OwnedCell {
    let cell = match value {
        toml::Value::Integer(whole) => OwnedCell::Number(*whole as f64),
        toml::Value::Float(number) => OwnedCell::Number(*number),
        toml::Value::Boolean(yes) => OwnedCell::Boolean(*yes),
        toml::Value::String(text) => OwnedCell::Text(text.clone()),
        other => OwnedCell::Text(other.to_string()),
    };
    match column_type {
        ColumnType::String => OwnedCell::Text(cell.as_cell().text().into_owned()),
        _ => cell,
    }
}

fn widen(
    schema: &TableSchema,
    names: &[String],
    default_units: &BTreeMap<String, String>,
    wide: &WideRule,
    layout: &mut Layout,
    spoken_for: &mut [bool],
) -> Result<(), HeaderFault> {
    let (name_to, name_unit) = column_of_ours(schema, &wide.name_to, None, default_units, "wide.name_to")?;
    let (value_to, value_unit) = column_of_ours(schema, &wide.value_to, None, default_units, "wide.value_to")?;
    for (index, unit, ours) in [(name_to, name_unit, &wide.name_to), (value_to, value_unit, &wide.value_to)] {
        free(layout, schema, index, ours)?;
        layout.feeds[index].origin = Origin::EachColumn;
        layout.feeds[index].unit = unit;
    }
    for (cell, name) in names.iter().enumerate() {
        if spoken_for[cell] || !wide.columns.iter().any(|pattern| name_fits(pattern, name)) {
            continue;
        }
        spoken_for[cell] = true;
        let stands_for = match (wide.names.get(name), &wide.day_zero) {
            (Some(meaning), _) => meaning.clone(),
            (None, Some(day_zero)) => days_after(day_zero, name)?,
            (None, None) => name.clone(),
        };
        layout.each.push(EachColumn { cell, name: stands_for, label: name.clone() });
    }
    if layout.each.is_empty() {
        return Err(HeaderFault {
            code: "missing_column",
            message: format!(
                "the [[source]] block makes rows of the columns \"{}\", and the header has none of them; found {}",
                wide.columns.join("\", \""),
                listed(names)
            ),
            remedy: "correct the names in the block; * stands for any letters".into(),
        });
    }
    layout.each_to = Some((name_to, value_to));
    layout.newly = wide.newly;
    Ok(())
}

/// The date that lies as many days after day zero as the digits in a name say.
fn days_after(day_zero: &str, name: &str) -> Result<String, HeaderFault> {
    let fault = |message: String, remedy: &str| HeaderFault { code: "bad_time", message, remedy: remedy.to_owned() };
    let zero: Date = day_zero.parse().map_err(|_| {
        fault(format!("the [[source]] block, wide.day_zero: \"{day_zero}\" is no date"), "write it as 2025-04-28")
    })?;
    let digits: String =
        name.chars().skip_while(|letter| !letter.is_ascii_digit()).take_while(char::is_ascii_digit).collect();
    let days = digits.parse::<i64>().ok().filter(|days| *days < 10_000).ok_or_else(|| {
        fault(
            format!("the column \"{name}\" does not say how many days after {day_zero} it was counted"),
            "say what it stands for under wide.names in the block",
        )
    })?;
    let day =
        zero.checked_add(days.days()).map_err(|error| fault(format!("column \"{name}\": {error}"), "correct it"))?;
    Ok(day.to_string())
}

fn listed(names: &[String]) -> String {
    told(&names.iter().filter(|name| !name.is_empty()).cloned().collect::<Vec<_>>())
}
