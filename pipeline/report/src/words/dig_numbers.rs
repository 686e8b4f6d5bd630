//! What was dug at each setting, counted: the panel of digs as numbers, and all there is where settings have no force.

use evenstand_tables::rows::DigLevelRow;

use crate::results::Results;
use crate::words::gauge::Gauge;
use crate::words::number::{self, NO_BREAK_SPACE};
use crate::words::why::{Pool, WordTable, belongs};

/// The places dug in a pool, a row a setting; `None` where nothing was dug.
pub(crate) fn counted(results: &Results, pool: &Pool, gauge: Gauge) -> Option<WordTable> {
    let rows: Vec<&DigLevelRow> = results
        .dig_levels
        .iter()
        .filter(|row| belongs(pool, &row.condition, &row.closer, row.planter_id.as_ref()))
        .collect();
    let mut settings: Vec<(Option<f64>, Option<&String>)> = Vec::new();
    for row in &rows {
        let setting = setting(row);
        if !settings.contains(&setting) {
            settings.push(setting);
        }
    }
    if settings.is_empty() {
        return None;
    }
    // Both questions list their settings in order; one that only the second has goes to its place.
    settings.sort_by(|a, b| a.0.unwrap_or(f64::MAX).total_cmp(&b.0.unwrap_or(f64::MAX)));
    let cell = |of: (Option<f64>, Option<&String>), question: &str| {
        let found = rows.iter().find(|row| row.question == question && setting(row) == of);
        found.map_or_else(|| "–".to_owned(), |row| counts(row))
    };
    let named = |(force, position): (Option<f64>, Option<&String>)| match (force, position) {
        (Some(force), _) => gauge.text(force),
        (None, Some(position)) => format!("position {position}"),
        (None, None) => "not known".to_owned(),
    };
    Some(WordTable {
        caption: "Places dug, counted".to_owned(),
        head: ["Setting", "Not shut", "Too firm"].map(str::to_owned).to_vec(),
        rows: settings.iter().map(|of| vec![named(*of), cell(*of, "not_shut"), cell(*of, "too_firm")]).collect(),
        rest: Some(format!(
            "In brackets the 90{NO_BREAK_SPACE}% interval, as if places had nothing to do with each other. Every number is in \
             results/dig_levels.csv and results/dig_curves.csv."
        )),
    })
}

fn setting(row: &DigLevelRow) -> (Option<f64>, Option<&String>) {
    (row.force_n.filter(|force| force.is_finite()), row.closing_position.as_ref())
}

/// "9 of 60 (8 to 24 %)".
fn counts(row: &DigLevelRow) -> String {
    let places = row.n_digs.unwrap_or(0);
    let yes = row.n_yes.map_or_else(|| "–".to_owned(), |yes| yes.to_string());
    let bare = |share: f64| number::whole(100.0 * share);
    let interval = row.low.zip(row.high).map_or_else(String::new, |(low, high)| {
        format!(" ({})", number::with_unit(&number::range(&bare(low), &bare(high)), "%"))
    });
    format!("{yes} of {places}{interval}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::gauge::Unit;

    fn level(question: &str, force_n: Option<f64>, position: Option<&str>, n_yes: i64) -> DigLevelRow {
        DigLevelRow {
            condition: "wet".into(),
            closer: "discs".into(),
            question: question.into(),
            force_n,
            closing_position: position.map(str::to_owned),
            n_digs: Some(12),
            n_yes: Some(n_yes),
            low: Some(0.03),
            high: Some(0.44),
            ..DigLevelRow::default()
        }
    }

    fn table(dig_levels: Vec<DigLevelRow>) -> Option<Vec<String>> {
        let results = Results { dig_levels, ..Results::default() };
        let table = counted(&results, &Pool::of("wet", "discs", None), Gauge::plain(Unit::Newton))?;
        Some(table.rows.iter().map(|row| row.join("|").replace(NO_BREAK_SPACE, " ")).collect())
    }

    #[test]
    fn a_setting_has_both_questions_in_one_row_in_order_of_force() {
        let rows = table(vec![
            level("not_shut", Some(300.0), None, 2),
            level("too_firm", Some(150.0), None, 0),
            level("too_firm", Some(300.0), None, 7),
        ]);
        assert_eq!(rows.unwrap(), ["150 N|–|0 of 12 (3 to 44 %)", "300 N|2 of 12 (3 to 44 %)|7 of 12 (3 to 44 %)"]);
    }

    #[test]
    fn positions_without_a_force_keep_their_name() {
        let rows = table(vec![level("not_shut", None, Some("2"), 4), level("not_shut", None, Some("3"), 1)]);
        assert_eq!(rows.unwrap(), ["position 2|4 of 12 (3 to 44 %)|–", "position 3|1 of 12 (3 to 44 %)|–"]);
    }

    #[test]
    fn where_nothing_was_dug_there_is_no_table() {
        assert_eq!(table(Vec::new()), None);
    }
}
