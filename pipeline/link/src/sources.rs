//! Which files and rows stand behind each strip.

use std::collections::BTreeMap;

use evenstand_tables::TablesError;
use evenstand_tables::rows::SourceRow;

use crate::key::StripKey;
use crate::strips::Kept;
use crate::telemetry::HandRow;
use crate::traces::LoggedStrip;

/// Rows of a file that name a strip, by kind of record.
#[derive(Debug, Default)]
struct Behind {
    files: BTreeMap<(StripKey, &'static str, String), (i64, i64, i64)>,
}

impl Behind {
    fn row(&mut self, what: &'static str, key: StripKey, file: &str, row: i64) {
        self.rows(what, key, file, (row, row, 1));
    }

    fn rows(&mut self, what: &'static str, key: StripKey, file: &str, (first, last, rows): (i64, i64, i64)) {
        let entry = self.files.entry((key, what, file.to_owned())).or_insert((first, last, 0));
        *entry = (entry.0.min(first), entry.1.max(last), entry.2 + rows);
    }
}

/// Rows in the order of field, season, strip, kind and file. A record of a whole field or block names no strip and does not stand here.
/// Errors where counts do not follow their schema.
pub(crate) fn sources(kept: &Kept, hand: &[HandRow], logged: &[LoggedStrip]) -> Result<Vec<SourceRow>, TablesError> {
    let mut behind = Behind::default();
    for row in &kept.strips {
        behind.row("strip", StripKey::new(&row.field_id, row.season, &row.strip_id), &row.source_file, row.source_row);
    }
    for row in hand {
        if let Some(strip) = &row.strip_id {
            behind.row(
                "setting_log",
                StripKey::new(&row.field_id, row.season, strip),
                &row.source_file,
                row.source_row,
            );
        }
    }
    for strip in logged {
        let rows = (strip.first_row, strip.last_row, strip.rows);
        behind.rows("setting_log", strip.key.clone(), &strip.source_file, rows);
    }
    macro_rules! named {
        ($($what:literal: $table:ident),+) => {$(
            for row in &kept.$table {
                let key = StripKey::new(&row.field_id, row.season, &row.strip_id);
                behind.row($what, key, &row.source_file, row.source_row);
            }
        )+};
    }
    macro_rules! named_or_not {
        ($($what:literal: $table:ident),+) => {$(
            for row in &kept.$table {
                if let Some(strip) = &row.strip_id {
                    behind.row($what, StripKey::new(&row.field_id, row.season, strip), &row.source_file, row.source_row);
                }
            }
        )+};
    }
    named_or_not!("soil_note": soil, "dig_check": digs);
    for row in kept.counts.iter() {
        let row = row?;
        let key = StripKey::new(&row.field_id, row.season, &row.strip_id);
        behind.row("stand_count", key, &row.source_file, row.source_row);
    }
    named!("spacing": spacing, "plant": plants, "measure": measures);
    let rows = behind.files.into_iter().map(|((key, what, source_file), (first, last, rows))| SourceRow {
        field_id: key.field.field_id,
        season: key.field.season,
        strip_id: key.strip_id,
        what: what.to_owned(),
        source_file,
        first_row: Some(first),
        last_row: Some(last),
        rows: Some(rows),
    });
    Ok(rows.collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_tables::rows::{CountRow, SoilRow};

    #[test]
    fn rows_that_name_a_strip_are_counted_by_file_and_those_of_a_field_are_not() {
        let count = |file: &str, row: i64| CountRow {
            field_id: "A".into(),
            season: 2025,
            strip_id: "1".into(),
            source_file: file.into(),
            source_row: row,
            ..CountRow::default()
        };
        let soil = |strip: Option<&str>| SoilRow {
            field_id: "A".into(),
            season: 2025,
            strip_id: strip.map(str::to_owned),
            source_file: "soil_note.csv".into(),
            source_row: 7,
            ..SoilRow::default()
        };
        let kept = Kept {
            counts: vec![count("b.csv", 9), count("a.csv", 5), count("a.csv", 2)].into(),
            soil: vec![soil(None), soil(Some("1"))],
            ..Kept::default()
        };
        let logged = [LoggedStrip {
            key: StripKey::new("A", 2025, "1"),
            source_file: "log.csv".into(),
            started: 0,
            first_row: 2,
            last_row: 900,
            rows: 899,
        }];
        let told: Vec<(String, String, i64, i64, i64)> = sources(&kept, &[], &logged)
            .unwrap()
            .into_iter()
            .map(|row| (row.what, row.source_file, row.first_row.unwrap(), row.last_row.unwrap(), row.rows.unwrap()))
            .collect();
        let row = |what: &str, file: &str, first, last, rows| (what.to_owned(), file.to_owned(), first, last, rows);
        assert_eq!(
            told,
            [
                row("setting_log", "log.csv", 2, 900, 899),
                row("soil_note", "soil_note.csv", 7, 7, 1),
                row("stand_count", "a.csv", 2, 5, 2),
                row("stand_count", "b.csv", 9, 9, 1),
            ]
        );
    }
}
