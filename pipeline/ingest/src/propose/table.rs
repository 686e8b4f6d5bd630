//! The first rows of a table, parted into its header and its columns.

use std::collections::BTreeSet;

use super::dates::looks_like_a_date;
use super::header_rows::{self, HeaderRows};
use super::numbers::looks_like_a_number;
use crate::header::tidy;
use evenstand_workbook::column_letters;

use crate::header_rows::two_rows;
use crate::reading::Reading;
use crate::record::{Cell, OwnedCell, Record};

/// Columns that are looked at.
pub(super) const MOST_COLUMNS: usize = 200;
/// Letters of a cell that are looked at.
const MOST_LETTERS: usize = 120;

/// Longest name of a column that a block repeats; a longer one is no name.
const LONGEST_NAME: usize = 300;

/// A cell below the header.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Body {
    Empty,
    Text(String),
    Number(f64),
    /// A day or a time that the format itself marks as one.
    Time(String),
    Boolean,
}

impl Body {
    fn of(cell: Cell) -> Self {
        match cell {
            Cell::Empty | Cell::Fault(_) => Body::Empty,
            Cell::Number(number) | Cell::Share(number) => Body::Number(number),
            Cell::Boolean(_) => Body::Boolean,
            Cell::Day(_) | Cell::Moment(_) | Cell::Clock(_) | Cell::Instant(_) => Body::Time(cell.text().into_owned()),
            Cell::Text(_) | Cell::NotText(_) => Body::Text(cell.text().chars().take(MOST_LETTERS).collect()),
        }
    }

    /// How it reads as text.
    pub fn text(&self) -> String {
        match self {
            Body::Empty => String::new(),
            Body::Text(text) | Body::Time(text) => text.clone(),
            Body::Number(number) => number.to_string(),
            Body::Boolean => "yes".to_owned(),
        }
    }
}

/// One column of the file.
#[derive(Debug)]
pub(super) struct Column {
    /// Its name as reading the file will find it.
    pub name: String,
    /// What a block calls it: its name, with a number where several share it. `None` where it has no name.
    pub reference: Option<String>,
    pub cells: Vec<Body>,
}

impl Column {
    /// Texts of cells that are not empty and not the usual marks of a missing value.
    pub fn texts(&self) -> impl Iterator<Item = &str> {
        self.cells.iter().filter_map(|cell| match cell {
            Body::Text(text) if !Reading::default().is_missing(text) => Some(text.as_str()),
            _ => None,
        })
    }

    /// Cells that hold anything but the usual marks of a missing value, as text.
    pub fn filled(&self) -> impl Iterator<Item = String> {
        let missing = Reading::default();
        self.cells.iter().map(Body::text).filter(move |text| !missing.is_missing(text))
    }

    /// The numbers of the column, and how many cells hold something else.
    pub fn numbers(&self, reading: &Reading) -> (Vec<f64>, usize) {
        let (mut numbers, mut others) = (Vec::new(), 0);
        for cell in &self.cells {
            match cell {
                Body::Number(number) if !reading.is_missing_number(*number) => numbers.push(*number),
                Body::Text(text) if !reading.is_missing(text) => match reading.number(text) {
                    Some(number) => numbers.push(number),
                    None => others += 1,
                },
                Body::Time(_) | Body::Boolean => others += 1,
                _ => {}
            }
        }
        (numbers, others)
    }

    /// Whether most cells are numbers. `None` where no cell holds anything.
    pub fn is_numeric(&self, reading: &Reading) -> Option<bool> {
        let (numbers, others) = self.numbers(reading);
        (!numbers.is_empty() || others > 0).then_some(numbers.len() > others)
    }

    /// Whether every number is whole.
    pub fn is_whole(&self, reading: &Reading) -> bool {
        let (numbers, others) = self.numbers(reading);
        !numbers.is_empty() && others <= numbers.len() / 2 && numbers.iter().all(|number| number.fract() == 0.0)
    }

    pub fn distinct(&self) -> BTreeSet<String> {
        self.filled().collect()
    }
}

/// The first rows of a table.
#[derive(Debug)]
pub(super) struct Table {
    pub header: HeaderRows,
    pub columns: Vec<Column>,
    /// First words of rows that are sums or means of the others.
    pub totals: BTreeSet<String>,
    /// Rows below the header that were looked at.
    pub rows: usize,
    /// Texts above the header.
    pub titles: Vec<String>,
}

/// First words of rows that hold sums or means.
const TOTALS: &[&str] =
    &["total", "totals", "sum", "mean", "average", "avg", "grand total", "summe", "mittel", "mittelwert", "moyenne"];

impl Table {
    /// Finds the header and parts the rest into columns. `named` says that the first row holds the names, whatever it looks like.
    pub fn of(rows: &[(i64, Vec<OwnedCell>)], named: bool) -> Self {
        let rows: Vec<&(i64, Vec<OwnedCell>)> = rows.iter().filter(|(_, row)| !row.is_blank()).collect();
        let header = if named { HeaderRows::first_row() } else { header_rows::find(&rows) };
        let cells = |row: &Vec<OwnedCell>| -> Vec<String> {
            (0..row.len().min(MOST_COLUMNS)).map(|index| row.cell(index).text().trim().to_owned()).collect()
        };
        let mut body: Vec<&Vec<OwnedCell>> = rows.iter().skip(header.body).map(|(_, row)| row).collect();
        let first_word = |row: &Vec<OwnedCell>| -> String {
            let first = (0..row.len()).map(|index| row.cell(index)).find(|cell| *cell != Cell::Empty);
            first.map(|cell| cell.text().trim_end_matches(':').to_owned()).unwrap_or_default()
        };
        let totals: BTreeSet<String> = body
            .iter()
            .map(|row| first_word(row))
            .filter(|word| TOTALS.contains(&word.to_lowercase().as_str()))
            .collect();
        body.retain(|row| !totals.contains(&first_word(row)));
        let names = match header.at.as_slice() {
            [] => {
                (0..body.iter().map(|row| row.len()).max().unwrap_or(0).min(MOST_COLUMNS)).map(column_letters).collect()
            }
            [only] => rows.get(*only).map(|(_, row)| cells(row)).unwrap_or_default(),
            [upper, lower, ..] => {
                let of = |at: usize| rows.get(at).map(|(_, row)| cells(row)).unwrap_or_default();
                two_rows(&of(*upper), &of(*lower))
            }
        };
        let columns = (0..names.len())
            .map(|index| Column {
                reference: reference(&names, index),
                name: names[index].clone(),
                cells: body.iter().map(|row| Body::of(row.cell(index))).collect(),
            })
            .collect();
        let above = header.at.first().copied().unwrap_or(0);
        let titles = rows.iter().take(above).flat_map(|(_, row)| cells(row)).filter(|text| !text.is_empty()).collect();
        Self { header, columns, totals, rows: body.len(), titles }
    }
}

/// What a block calls the column at this position.
fn reference(names: &[String], index: usize) -> Option<String> {
    let name = names.get(index).filter(|name| !name.is_empty() && name.len() <= LONGEST_NAME)?;
    let same: Vec<usize> = (0..names.len()).filter(|other| tidy(&names[*other]) == tidy(name)).collect();
    let place = same.iter().position(|other| *other == index)? + 1;
    Some(if same.len() > 1 { format!("{name}#{place}") } else { name.clone() })
}

/// What a cell is, for telling a header from values.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Look {
    Nothing,
    Word,
    Value,
}

/// What a cell looks like. Marks of missing values are values: they stand below a header, not in it.
pub(super) fn look(cell: Cell) -> Look {
    match cell {
        Cell::Empty | Cell::Fault(_) => Look::Nothing,
        Cell::Text(text) if text.len() <= 40 => {
            let value = looks_like_a_number(text) || looks_like_a_date(text) || Reading::default().is_missing(text);
            if value { Look::Value } else { Look::Word }
        }
        Cell::Text(_) | Cell::NotText(_) => Look::Word,
        _ => Look::Value,
    }
}
