//! What was recorded when, in days of the field's own time zone.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_settings::Settings;
use evenstand_tables::rows::{FieldRow, RecordedRow};
use evenstand_tables::{Day, Moment, TablesError};
use jiff::tz::TimeZone;

use crate::emergence::local_days;
use crate::key::FieldSeason;
use crate::strips::{Kept, zone_of};
use crate::traces::LoggedStrip;

/// Days of weather that belong to a season: before planting and after it.
const WEATHER_DAYS: (i32, i32) = (14, 60);

/// Rows and strips of a kind on a day.
type Days = BTreeMap<(FieldSeason, &'static str, i32), (i64, BTreeSet<String>)>;

/// A row a field-season, kind of record and day, in that order. A record without a time has no day. Errors where counts do not follow their schema.
pub(crate) fn recorded(
    kept: &Kept,
    logged: &[LoggedStrip],
    settings: &Settings,
) -> Result<Vec<RecordedRow>, TablesError> {
    let zones: BTreeMap<FieldSeason, TimeZone> = kept
        .fields
        .iter()
        .map(|field| (FieldSeason::new(&field.field_id, field.season), zone_of(Some(field), settings)))
        .collect();
    let review = zone_of(None, settings);
    let mut days = Days::new();
    let mut note = |what: &'static str, field: FieldSeason, at: Option<Moment>, strip: Option<&str>, rows: i64| {
        let Some(at) = at else { return };
        let zone = zones.get(&field).unwrap_or(&review);
        let day = local_days(at, 0.0, zone).floor() as i32;
        let entry = days.entry((field, what, day)).or_default();
        entry.0 += rows;
        entry.1.extend(strip.map(str::to_owned));
    };
    for row in &kept.fields {
        note("planted", FieldSeason::new(&row.field_id, row.season), row.planted_at, None, 1);
    }
    for strip in logged {
        note(
            "setting_log",
            strip.key.field.clone(),
            Some(Moment(strip.started)),
            Some(&strip.key.strip_id),
            strip.rows,
        );
    }
    for row in &kept.soil {
        note("soil_note", FieldSeason::new(&row.field_id, row.season), row.taken_at, row.strip_id.as_deref(), 1);
    }
    for row in &kept.digs {
        note("dig_check", FieldSeason::new(&row.field_id, row.season), row.dug_at, row.strip_id.as_deref(), 1);
    }
    for row in kept.counts.iter() {
        let row = row?;
        note("stand_count", FieldSeason::new(&row.field_id, row.season), row.counted_at, Some(&row.strip_id), 1);
    }
    weather(kept, &zones, &mut days);
    let rows = days.into_iter().map(|((field, what, day), (rows, strips))| RecordedRow {
        field_id: field.field_id,
        season: field.season,
        what: what.to_owned(),
        day: Day(day),
        rows: Some(rows),
        strips: (!strips.is_empty()).then_some(strips.len() as i64),
    });
    Ok(rows.collect())
}

/// Weather of the field, or of all fields, around planting.
fn weather(kept: &Kept, zones: &BTreeMap<FieldSeason, TimeZone>, days: &mut Days) {
    let planted = |field: &FieldRow| {
        let zone = zones.get(&FieldSeason::new(&field.field_id, field.season))?;
        Some(local_days(field.planted_at?, 0.0, zone).floor() as i32)
    };
    let mut dates: BTreeMap<Option<&str>, Vec<i32>> = BTreeMap::new();
    for row in &kept.weather {
        dates.entry(row.field_id.as_deref()).or_default().push(row.date.0);
    }
    for field in &kept.fields {
        let Some(planted) = planted(field) else { continue };
        let near = planted - WEATHER_DAYS.0..=planted + WEATHER_DAYS.1;
        let own = [None, Some(field.field_id.as_str())].into_iter().filter_map(|whose| dates.get(&whose)).flatten();
        for date in own.filter(|date| near.contains(date)) {
            days.entry((FieldSeason::new(&field.field_id, field.season), "weather", *date)).or_default().0 += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_tables::rows::{CountRow, WeatherRow};

    #[test]
    fn days_are_those_of_the_field_and_weather_stands_near_planting_alone() {
        // 2025-05-02 03:30 UTC is the evening of the first of May in Chicago.
        let evening = Moment(1_746_156_600_000_000);
        let kept = Kept {
            fields: vec![FieldRow {
                field_id: "A".into(),
                season: 2025,
                planted_at: Some(evening),
                timezone: Some("America/Chicago".into()),
                ..FieldRow::default()
            }],
            counts: (0..3)
                .map(|number| CountRow {
                    field_id: "A".into(),
                    season: 2025,
                    strip_id: (number % 2).to_string(),
                    counted_at: Some(evening),
                    ..CountRow::default()
                })
                .collect(),
            weather: [20_100, 20_209, 20_400]
                .map(|day| WeatherRow { date: Day(day), ..WeatherRow::default() })
                .to_vec(),
            ..Kept::default()
        };
        let told: Vec<(String, i32, Option<i64>, Option<i64>)> = recorded(&kept, &[], &Settings::default())
            .unwrap()
            .into_iter()
            .map(|row| (row.what, row.day.0, row.rows, row.strips))
            .collect();
        assert_eq!(
            told,
            [
                ("planted".to_owned(), 20_209, Some(1), None),
                ("stand_count".to_owned(), 20_209, Some(3), Some(2)),
                ("weather".to_owned(), 20_209, Some(1), None),
            ]
        );
    }
}
