//! What was recorded when: a calendar a season.

use std::collections::BTreeSet;

use evenstand_tables::rows::RecordedRow;

use crate::charts::calendar::{Calendar, Line};
use crate::picture::Picture;
use crate::results::{Results, of_field_season};
use crate::slug::Names;
use crate::words::fields::ordered;
use crate::words::number;
use crate::words::why::WordTable;

/// Kinds of record that have a mark of their own, with their names. Weather is read every day, so it stands in the table alone.
const KINDS: [(&str, &str); 5] = [
    ("planted", "planted"),
    ("setting_log", "setting log"),
    ("soil_note", "soil notes"),
    ("dig_check", "dig checks"),
    ("stand_count", "stand counts"),
];

/// Seasons, newest first, with something recorded.
fn seasons(results: &Results) -> Vec<i64> {
    let seasons: BTreeSet<i64> = results.recorded.iter().map(|row| row.season).collect();
    seasons.into_iter().rev().collect()
}

fn records<'a>(results: &'a Results, field_id: &'a str, season: i64) -> impl Iterator<Item = &'a RecordedRow> {
    of_field_season(&results.recorded, field_id, season).iter()
}

/// A calendar a season, with its table.
pub(crate) fn calendars(results: &Results, names: &mut Names) -> Vec<(Picture, WordTable)> {
    seasons(results)
        .into_iter()
        .filter_map(|season| Some((picture(results, season, names)?, table(results, season))))
        .collect()
}

fn fields(results: &Results, season: i64) -> Vec<&str> {
    let mut fields: Vec<&str> = Vec::new();
    for field in ordered(results).into_iter().filter(|field| field.season == season) {
        if !fields.contains(&field.field_id.as_str()) {
            fields.push(&field.field_id);
        }
    }
    fields
}

fn picture(results: &Results, season: i64, names: &mut Names) -> Option<Picture> {
    let lines: Vec<Line> = fields(results, season)
        .into_iter()
        .map(|field_id| Line {
            label: field_id.to_owned(),
            records: records(results, field_id, season)
                .filter_map(|row| Some((i64::from(row.day.0), KINDS.iter().position(|(kind, _)| *kind == row.what)?)))
                .collect(),
        })
        .filter(|line| !line.records.is_empty())
        .collect();
    if lines.is_empty() {
        return None;
    }
    let days = || lines.iter().flat_map(|line| line.records.iter().map(|record| record.0));
    let alt = format!(
        "Calendar of {season}: {} with records from {} to {}.",
        number::count(lines.len(), "field", "fields"),
        number::calendar_day(days().min().unwrap_or_default()),
        number::calendar_day(days().max().unwrap_or_default()),
    );
    let kinds = KINDS.map(|(_, name)| name.to_owned()).to_vec();
    let chart = Calendar { title: format!("What was recorded when, {season}"), kinds, lines };
    Some(Picture::new(names.unique(&format!("calendar-{season}")), alt, chart.sketch()))
}

/// Days of each kind of record by field: first, last and how many.
fn table(results: &Results, season: i64) -> WordTable {
    let mut head = vec!["Field".to_owned()];
    head.extend(KINDS.iter().map(|(_, name)| crate::words::response::capitalised(name)));
    head.push("Weather".to_owned());
    let days = |field_id: &str, what: &str| {
        let days: BTreeSet<i64> =
            records(results, field_id, season).filter(|row| row.what == what).map(|row| i64::from(row.day.0)).collect();
        match (days.first(), days.last()) {
            (Some(first), Some(last)) if first == last => number::day_and_month(*first),
            (Some(first), Some(last)) => format!(
                "{} ({})",
                number::range(&number::day_and_month(*first), &number::day_and_month(*last)),
                number::count(days.len(), "day", "days")
            ),
            _ => "–".to_owned(),
        }
    };
    let rows = fields(results, season)
        .into_iter()
        .map(|field_id| {
            let mut row = vec![field_id.to_owned()];
            row.extend(KINDS.iter().map(|(kind, _)| *kind).chain(["weather"]).map(|kind| days(field_id, kind)));
            row
        })
        .collect();
    WordTable { caption: format!("Days of records, {season}"), head, rows, rest: None }
}
