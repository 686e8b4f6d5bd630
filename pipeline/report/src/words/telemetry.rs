//! What telemetry says about itself, strip by strip, where it has something to say.

use evenstand_tables::rows::TelemetryRow;

use crate::results::Results;
use crate::words::number;
use crate::words::why::WordTable;

/// Rows shown; the rest is named with its file.
const SHOWN: usize = 40;
/// Share of the set value from which a mean difference is told, and share of time away from it.
const DIFFERENCE_TOLD: f64 = 0.05;
const TIME_AWAY_TOLD: f64 = 0.5;

/// The strips and row units whose telemetry has something to say; `None` where none has.
pub(crate) fn telemetry_table(results: &Results) -> Option<WordTable> {
    let telling: Vec<(&TelemetryRow, String)> = results
        .telemetry
        .iter()
        .map(|row| (row, words(row).join("; ")))
        .filter(|(_, words)| !words.is_empty())
        .collect();
    if telling.is_empty() {
        return None;
    }
    let with_units = telling.iter().any(|(row, _)| row.row_unit.is_some());
    let mut head = vec!["Field", "Season", "Strip", "Rows at speed", "What its log says"];
    if with_units {
        head.insert(3, "Row unit");
    }
    let left = telling.len().saturating_sub(SHOWN);
    let rows = telling
        .into_iter()
        .take(SHOWN)
        .map(|(row, words)| {
            let mut cells = vec![
                row.field_id.clone(),
                row.season.to_string(),
                row.strip_id.clone().unwrap_or_default(),
                number::grouped(row.rows_at_speed.unwrap_or_default()),
                words,
            ];
            if with_units {
                cells.insert(3, row.row_unit.clone().unwrap_or_default());
            }
            cells
        })
        .collect();
    Some(WordTable {
        caption: "Telemetry that has something to say".to_owned(),
        head: head.into_iter().map(str::to_owned).collect(),
        rows,
        rest: Some(if left > 0 {
            format!("{left} more, and all numbers, are in results/telemetry.csv.")
        } else {
            "All numbers are in results/telemetry.csv.".to_owned()
        }),
    })
}

fn words(row: &TelemetryRow) -> Vec<String> {
    let mut words = Vec::new();
    let mut tell = |count: Option<i64>, one: &str, many: &str, more: String| {
        let count = count.and_then(|count| usize::try_from(count).ok()).unwrap_or(0);
        if count > 0 {
            words.push(number::count(count, one, many) + &more);
        }
    };
    let hours = if row.hour_jumps.unwrap_or(0) > 0 { ", by whole hours" } else { "" };
    tell(row.clock_jumps, "jump of the clock", "jumps of the clock", hours.to_owned());
    let back = row.rows_back.unwrap_or(0).saturating_sub(row.clock_jumps.unwrap_or(0));
    tell(Some(back), "row runs back in time", "rows run back in time", String::new());
    tell(row.rows_repeated, "repeated row", "repeated rows", String::new());
    let longest = row.longest_gap_s.map(|gap| format!(", the longest {}", seconds(gap))).unwrap_or_default();
    tell(row.gaps, "gap", "gaps", longest);
    let of = row.changes.map(|changes| format!(" (of {changes})")).unwrap_or_default();
    tell(row.never_arrived, "change of the setting not followed", "changes of the setting not followed", of);
    let lasted = row.sag_s.map(|lasted| format!(" below the set value, {}", seconds(lasted))).unwrap_or_default();
    tell(row.sags, "stretch", "stretches", lasted);
    tell(row.start_zero_rows, "zero at the start of a pass", "zeros at the start of a pass", String::new());
    if let (Some(channel), Some(share)) = (&row.stuck_channel, row.stuck_share) {
        let name = match channel.as_str() {
            "actual_force" => "measured force",
            "actual_pressure" => "measured pressure",
            _ => "speed",
        };
        words.push(format!("{name} stands still in {} of the rows", number::percent(share)));
    }
    if let (Some(set), Some(difference)) = (row.mean_set.filter(|set| *set > 0.0), row.mean_difference) {
        let (share, away) = (difference / set, row.outside_share.unwrap_or_default());
        if share.abs() > DIFFERENCE_TOLD || away > TIME_AWAY_TOLD {
            let side = if share < 0.0 { "below" } else { "above" };
            words.push(format!(
                "measured {} {side} set on average, away from it for {} of the time",
                number::percent(share.abs()),
                number::percent(away)
            ));
        }
    }
    words
}

fn seconds(seconds: f64) -> String {
    if seconds < 600.0 { format!("{seconds:.0} s") } else { format!("{:.0} min", seconds / 60.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(strip: usize) -> TelemetryRow {
        TelemetryRow {
            field_id: "A".into(),
            season: 2025,
            strip_id: Some(strip.to_string()),
            rows_at_speed: Some(1200),
            ..TelemetryRow::default()
        }
    }

    #[test]
    fn only_telemetry_with_something_to_say_is_shown() {
        let quiet = TelemetryRow { turns: Some(3), gaps: Some(0), mean_set: Some(300.0), ..row(1) };
        let telling = TelemetryRow {
            gaps: Some(2),
            longest_gap_s: Some(45.0),
            mean_set: Some(300.0),
            mean_difference: Some(-60.0),
            outside_share: Some(0.9),
            ..row(2)
        };
        let results = Results { telemetry: vec![quiet.clone(), telling], ..Results::default() };
        let table = telemetry_table(&results).expect("one row tells");
        assert_eq!(table.rows.len(), 1);
        assert_eq!(table.rows[0][2], "2");
        let words = &table.rows[0][4];
        assert!(words.contains("2 gaps, the longest 45 s") && words.contains("below set on average"), "{words}");
        assert!(telemetry_table(&Results { telemetry: vec![quiet], ..Results::default() }).is_none());
    }

    #[test]
    fn a_long_table_is_cut_and_row_units_have_their_column() {
        let rows = (0..50).map(|strip| TelemetryRow { row_unit: Some("3".into()), gaps: Some(1), ..row(strip) });
        let table = telemetry_table(&Results { telemetry: rows.collect(), ..Results::default() }).expect("rows");
        assert_eq!((table.rows.len(), table.head.len()), (40, 6));
        assert_eq!((table.head[3].as_str(), table.rows[0][3].as_str()), ("Row unit", "3"));
        assert!(table.rest.expect("cut").starts_with("10 more"));
    }
}
