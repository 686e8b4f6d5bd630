//! What a strip says when it is pointed at: its name, block, setting and value, and the files behind it.

use evenstand_tables::rows::{SourceRow, StripRow};

use crate::results::Results;
use crate::words::gauge::Gauge;
use crate::words::number;
use crate::words::response::Response;

/// The strip in one line.
pub(crate) fn strip_says(results: &Results, strip: &StripRow, response: &Response, gauge: Gauge) -> String {
    let mut parts = vec![match &strip.block {
        Some(block) => format!("strip {}, block {block}", strip.strip_id),
        None => format!("strip {}", strip.strip_id),
    }];
    parts.extend(strip.force_n.map(|force| gauge.text(force)));
    parts.extend(strip.closing_position.as_ref().map(|position| format!("position {position}")));
    parts.extend(results.strip_value(strip, &response.name).map(|value| response.value(value, None)));
    let files = files(results, (&strip.field_id, strip.season, &strip.strip_id));
    if files.is_empty() { parts.join(", ") } else { format!("{}. From {files}", parts.join(", ")) }
}

/// Files and rows behind a strip, the setting and the counts first; nothing where the results do not tell.
pub(crate) fn files(results: &Results, (field_id, season, strip_id): (&str, i64, &str)) -> String {
    let order = |row: &&SourceRow| {
        ["setting_log", "stand_count", "dig_check", "soil_note"].iter().position(|what| *what == row.what).unwrap_or(4)
    };
    let mut rows: Vec<&SourceRow> = results.sources_of(field_id, season, strip_id).iter().collect();
    rows.sort_by_key(order);
    let named: Vec<String> = rows.into_iter().map(file).collect();
    named.join("; ")
}

fn file(row: &SourceRow) -> String {
    let Some((first, last)) = row.first_row.zip(row.last_row) else { return row.source_file.clone() };
    if first == last {
        format!("{} row {first}", row.source_file)
    } else {
        let ends = number::range(&first.to_string(), &last.to_string());
        format!("{} rows {ends}", row.source_file)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up;
    use crate::words::gauge::Unit;

    #[test]
    fn a_strip_names_its_setting_value_files_and_rows() {
        let mut strip = made_up::strip("North", 2025, "N1");
        strip.block = Some("2".to_owned());
        strip.force_n = Some(260.0);
        strip.on_time_share = Some(0.78);
        let source = |what: &str, file: &str, first: i64, last: i64| SourceRow {
            field_id: "North".into(),
            season: 2025,
            strip_id: "N1".into(),
            what: what.into(),
            source_file: file.into(),
            first_row: Some(first),
            last_row: Some(last),
            rows: Some(last - first + 1),
        };
        let results = Results {
            sources: vec![
                source("stand_count", "stand_count.csv", 4, 9),
                source("setting_log", "setting_log_2025.csv", 3, 3),
            ],
            ..Results::default()
        };
        let response = Response::of("on_time_share", &results);
        let says = strip_says(&results, &strip, &response, Gauge::plain(Unit::Newton)).replace('\u{a0}', " ");
        assert_eq!(
            says,
            "strip N1, block 2, 260 N, 78 %. From setting_log_2025.csv row 3; stand_count.csv rows 4 to 9"
        );
        strip.strip_id = "N2".into();
        assert!(!strip_says(&results, &strip, &response, Gauge::plain(Unit::Newton)).contains("From"));
    }
}
