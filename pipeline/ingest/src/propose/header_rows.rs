//! Which rows of a table are its header.

use std::collections::BTreeSet;

use super::columns::is_known;
use super::dates::{day_of, month_and_day};
use super::names::suffix;
use super::table::{Look, MOST_COLUMNS, look};
use super::wide::visit_of;
use crate::record::{OwnedCell, Record};

/// Rows in which a header is looked for.
const ROWS_LOOKED_AT: usize = 30;

/// Where the header is.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct HeaderRows {
    /// Positions of its rows; none where the table has no header.
    pub at: Vec<usize>,
    /// Numbers of its rows as the file counts them.
    pub numbers: Vec<i64>,
    /// Position of the first row below it.
    pub body: usize,
    /// Whether it is the first row that holds anything, which need not be said.
    pub first: bool,
}

impl HeaderRows {
    /// The first row alone.
    pub fn first_row() -> Self {
        Self { at: vec![0], numbers: Vec::new(), body: 1, first: true }
    }
}

type Row = (i64, Vec<OwnedCell>);

/// Finds the header among rows that hold something.
pub(super) fn find(rows: &[&Row]) -> HeaderRows {
    let looks: Vec<Vec<Look>> = rows.iter().take(2 * ROWS_LOOKED_AT).map(|(_, row)| looks_of(row)).collect();
    let none = HeaderRows { at: Vec::new(), numbers: Vec::new(), body: 0, first: false };
    let widths: Vec<usize> = looks.iter().map(|row| filled(row)).collect();
    let width = usual(&widths);
    let candidates = (0..rows.len().min(ROWS_LOOKED_AT))
        .filter(|row| 2 * widths[*row] >= width || 2 * width_with_next(&looks, rows, *row) >= width);
    // The first of the best: a later row that is as good is a row of words.
    let mut best: Option<(i64, usize)> = None;
    for row in candidates {
        let score = score(&looks, rows, row);
        if best.is_none_or(|(most, _)| score > most) {
            best = Some((score, row));
        }
    }
    let Some((_, main)) = best.filter(|(score, _)| *score > 0) else {
        return HeaderRows { body: first_full(&widths, width), ..none };
    };
    let at = with_second_row(rows, &looks, main);
    let number = |row: &usize| rows.get(*row).map_or(0, |(number, _)| *number);
    HeaderRows {
        numbers: at.iter().map(number).collect(),
        body: at.last().map_or(0, |last| last + 1),
        first: at == [0],
        at,
    }
}

fn looks_of(row: &Vec<OwnedCell>) -> Vec<Look> {
    (0..row.len().min(MOST_COLUMNS)).map(|index| look(row.cell(index))).collect()
}

fn filled(looks: &[Look]) -> usize {
    looks.iter().filter(|look| **look != Look::Nothing).count()
}

/// Cells filled in a row or the one below it, where the row names two columns or more: a word over many visits stands in one cell of
/// them, and the row is far narrower than the table. None where it does not.
fn width_with_next(looks: &[Vec<Look>], rows: &[&Row], row: usize) -> usize {
    let (Some((_, cells)), Some(next)) = (rows.get(row), looks.get(row + 1)) else { return 0 };
    let own = &looks[row];
    let named = (0..own.len()).filter(|column| is_known(&cells.cell(*column).text().trim().to_lowercase())).count();
    let is_filled = |looks: &[Look], column: usize| looks.get(column).is_some_and(|look| *look != Look::Nothing);
    let both = (0..own.len().max(next.len())).filter(|column| is_filled(own, *column) || is_filled(next, *column));
    if named >= 2 { both.count() } else { 0 }
}

/// The number of filled cells that most rows have; of equals the larger.
fn usual(widths: &[usize]) -> usize {
    let same = |width: usize| widths.iter().filter(|other| **other == width).count();
    widths.iter().copied().max_by_key(|width| (same(*width), *width)).unwrap_or(0)
}

fn first_full(widths: &[usize], width: usize) -> usize {
    widths.iter().position(|filled| 2 * filled >= width).unwrap_or(0)
}

/// How much a row is a header: words over columns of values and words that name columns speak for it, values against it.
fn score(looks: &[Vec<Look>], rows: &[&Row], row: usize) -> i64 {
    let Some((_, cells)) = rows.get(row) else { return 0 };
    let below = |column: usize, wanted: Look| {
        looks.iter().skip(row + 1).filter(|look| look.get(column) == Some(&wanted)).count()
    };
    let (mut score, mut known, mut seen) = (0, 0, BTreeSet::new());
    for (column, own) in looks[row].iter().enumerate() {
        let text = cells.cell(column).text().trim().to_lowercase();
        match own {
            Look::Word => {
                known += i64::from(is_known(&text));
                let over_values = below(column, Look::Value) > below(column, Look::Word);
                score += i64::from(over_values) - i64::from(!seen.insert(text));
            }
            // Dates and numbers of days stand in headers of wide tables, but then over counts.
            Look::Value => score -= 1 + i64::from(day_of(&text).is_none() && text.contains(['.', ','])),
            Look::Nothing => {}
        }
    }
    let words = looks[row].iter().filter(|look| **look == Look::Word).count() as i64;
    let values = filled(&looks[row]) as i64 - words;
    // A header of dates needs names beside them; without either it is a row of the table.
    if known == 0 && (score <= 0 || words <= values) && values > 0 {
        0
    } else {
        score.max(0) + 3 * known + i64::from(known > 0)
    }
}

/// The header with a row of groups above it, or one of units or days below it.
fn with_second_row(rows: &[&Row], looks: &[Vec<Look>], main: usize) -> Vec<usize> {
    let cells = |row: usize| rows.get(row).map(|(_, cells)| cells);
    let numbers = |row: usize| rows.get(row).map_or(i64::MIN, |(number, _)| *number);
    let text =
        |row: usize, column: usize| cells(row).map(|row| row.cell(column).text().trim().to_owned()).unwrap_or_default();
    if looks.get(main + 2).is_some() && numbers(main + 1) == numbers(main) + 1 {
        let below: Vec<usize> =
            (0..looks[main + 1].len()).filter(|column| !text(main + 1, *column).is_empty()).collect();
        let values_below = |column: usize| looks.iter().skip(main + 2).any(|row| row.get(column) == Some(&Look::Value));
        // A word below a word that spans several columns, or the same word merged over both rows.
        let spans = |column: usize| {
            let of = |at: usize| (0..=at).rev().map(|at| text(main, at)).find(|above| !above.is_empty());
            let same = |other: usize| !text(main + 1, other).is_empty() && of(other) == of(column);
            let beside = same(column + 1) || (column > 0 && same(column - 1));
            looks[main + 1].get(column) == Some(&Look::Word)
                && (beside || of(column).is_some_and(|above| above == text(main + 1, column)))
        };
        let days = below.iter().any(|column| visit_of(&text(main + 1, *column)).is_some());
        let all_fit = below.iter().all(|column| {
            if days && spans(*column) {
                return true;
            }
            let text = text(main + 1, *column);
            let bare = text.trim_matches(['(', ')', '[', ']']);
            let is_day = day_of(&text).is_some() || month_and_day(&text).is_some() || short_day(&text).is_some();
            suffix(bare).is_some()
                || UNIT_WORDS.contains(&bare.to_lowercase().as_str())
                || (is_day && day_over_counts(looks, rows, main + 2, *column))
                || (looks[main + 1].get(*column) == Some(&Look::Word)
                    && visit_of(&text).is_some()
                    && values_below(*column))
        });
        if !below.is_empty() && all_fit {
            return vec![main, main + 1];
        }
    }
    let Some(upper) = main.checked_sub(1).filter(|upper| numbers(*upper) + 1 == numbers(main)) else {
        return vec![main];
    };
    let groups: Vec<usize> = (0..looks[upper].len()).filter(|column| looks[upper][*column] != Look::Nothing).collect();
    let behind_the_first = groups.iter().all(|column| *column > 0);
    let words = groups.iter().all(|column| looks[upper][*column] == Look::Word);
    if !groups.is_empty() && words && (behind_the_first || are_groups(&groups, text, upper)) {
        vec![upper, main]
    } else {
        vec![main]
    }
}

/// Whether a row that starts in the first column holds words over several columns each, not a title or `Farm: Hill`: two words
/// or more, most of them names of columns, and one of them over more than one name in the row below.
fn are_groups(filled: &[usize], text: impl Fn(usize, usize) -> String, upper: usize) -> bool {
    let cells: Vec<String> = filled.iter().map(|column| text(upper, *column)).collect();
    let different: BTreeSet<&String> = cells.iter().collect();
    let known = different.iter().filter(|word| is_known(word) || visit_of(&format!("{word} 5/8")).is_some()).count();
    let spans = filled.iter().any(|column| {
        let (own, next) = (text(upper, *column), text(upper, column + 1));
        let both = !text(upper + 1, *column).is_empty() && !text(upper + 1, column + 1).is_empty();
        both && (next.is_empty() || next == own)
    });
    different.len() > 1 && 2 * known > different.len() && spans && cells.iter().all(|cell| !cell.contains(':'))
}

/// Words of a row of units that are no units of ours.
const UNIT_WORDS: &[&str] =
    &["-", "plants", "seeds", "no", "no.", "#", "count", "yes/no", "y/n", "date", "1-5", "text", "n", "d/m/y", "m/d/y"];

/// Whether a date in a header stands over whole numbers, not over dates.
fn day_over_counts(looks: &[Vec<Look>], rows: &[&Row], from: usize, column: usize) -> bool {
    let under: Vec<String> = (from..looks.len())
        .filter_map(|row| rows.get(row))
        .map(|(_, cells)| cells.cell(column).text().trim().to_owned())
        .filter(|text| !text.is_empty())
        .collect();
    under.iter().any(|text| text.parse::<f64>().is_ok()) && under.iter().all(|text| day_of(text).is_none())
}

/// A day and a month without a year, as in `08.05.`: day, month.
pub(super) fn short_day(text: &str) -> Option<(i8, i8)> {
    let (day, rest) = text.trim().split_once('.')?;
    let month = rest.trim_end_matches('.').trim();
    let (day, month) = (day.trim().parse().ok()?, month.parse().ok()?);
    ((1..=31).contains(&day) && (1..=12).contains(&month) && text.trim().ends_with('.')).then_some((day, month))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(text: &str) -> (Vec<i64>, bool) {
        let rows: Vec<Row> = text
            .lines()
            .enumerate()
            .map(|(row, line)| {
                (row as i64 + 1, line.split('|').map(|cell| OwnedCell::Text(cell.to_owned())).collect::<Vec<_>>())
            })
            .filter(|(_, cells)| !cells.is_blank())
            .collect();
        let header = find(&rows.iter().collect::<Vec<_>>());
        (header.numbers, header.first)
    }

    #[test]
    fn the_header_is_the_row_of_words_above_rows_of_values() {
        assert_eq!(found("Fld|Strip #|Row length (ft)\nNorth|1|17.5\nNorth|2|17.5"), (vec![1], true));
        assert_eq!(found("Stand counts 2025||\n\nFld|Strip|Plants\nNorth|1|30\nNorth|2|31"), (vec![3], false));
        assert_eq!(found("Farm:|Hill|\nDate:|2025-05-08|\nField|Strip|Texture\nN|1|loam\nN|2|clay"), (vec![3], false));
        assert_eq!(found("a|b|c\n1|2|3\n4|5|6"), (vec![1], true));
        assert_eq!(found("North|1|17.5|30\nNorth|2|17.5|31"), (vec![], false));
        assert_eq!(found("54902|20240501|21.4\n54902|20240502|20.1"), (vec![], false));
    }

    #[test]
    fn a_second_row_holds_units_or_days_or_the_first_one_groups() {
        assert_eq!(found("Field|Strip|Row length|Plants\n||ft|\nN|1|17.5|30\nN|2|17.5|31"), (vec![1, 2], false));
        assert_eq!(found("Schlag|Streifen|Bestand|\n||08.05.|12.05.\nN|1|10|30\nN|2|11|31"), (vec![1, 2], false));
        assert_eq!(found("||Counts|\nField|Strip|May 8|May 12\nN|1|10|30\nN|2|11|31"), (vec![1, 2], false));
        let many = "Schlag|Streifen|Bestand|||||\n||05.05.2025|06.05.2025|07.05.2025|08.05.2025|10.05.2025|14.05.2025\nN|1|0|9|33|56|72|85\nN|2|0|8|27|44|61|81";
        assert_eq!(found(many), (vec![1, 2], false));
        assert_eq!(found(&format!("Feldaufgang Nord|||||||\n{many}")), (vec![2, 3], false));
        assert_eq!(found("Field|Strip|Date|Plants\nN|1|2025-05-08|30\nN|2|2025-05-08|31"), (vec![1], true));
    }
}
