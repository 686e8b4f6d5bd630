//! One table as a sheet: what stands where, and how it is shown.

use std::collections::BTreeMap;
use std::sync::Arc;

use arrow::array::{Array, ArrayRef, StringArray, UInt32Array};
use arrow::compute::take;
use evenstand_tables::{Column, Table, TableSchema, TablesError};
use rust_xlsxwriter::{Color, Format, FormatAlign};

use crate::column::{Measure, Shown, measure, unit_in_words};
use crate::names;
use crate::pressure_rows::PressureRows;
use crate::values::{Cells, Content, texts, wholes};
use crate::{BookError, BookUnits};

/// Row of the names, row of the units and first row of cells, counted from 0.
pub(crate) const NAMES: u32 = 0;
/// See [`NAMES`].
pub(crate) const UNITS: u32 = 1;
/// See [`NAMES`].
pub(crate) const FIRST_ROW: u32 = 2;
/// Longest text of a cell, in UTF-16 units (a limit of the file format).
const LONGEST_TEXT: usize = 32_767;
/// Name of the column that says whether a row holds forces or pressures, and of the one that charts take names from.
pub(crate) const FORCE_UNIT: &str = "force_unit";
/// See [`FORCE_UNIT`].
pub(crate) const SHOWN_AS: &str = "shown_as";

/// A column of a sheet.
#[derive(Debug)]
pub(crate) struct SheetColumn {
    name: String,
    pub label: String,
    pub unit: String,
    pub note: String,
    /// The cells that are shown.
    array: ArrayRef,
    numbers: Numbers,
}

/// How the numbers of a column are shown.
#[derive(Debug)]
enum Numbers {
    /// All in one way.
    Alike(Shown),
    /// In several ways; of each row that is shown, in which one.
    Several(Vec<Shown>, Vec<u8>),
    /// As they are; no quantity is behind them.
    Bare,
}

/// How a cell looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Look {
    /// As cells look, or as the whole column is said to.
    Plain,
    /// In a number format of its own.
    Format(&'static str),
    /// As text, even after a person has opened it.
    Quoted,
}

/// A table as it stands in the workbook.
#[derive(Debug)]
pub(crate) struct Sheet {
    name: String,
    columns: Vec<SheetColumn>,
    /// The rows that are shown, in their order.
    shown: Table,
    rows: usize,
    keys: u16,
}

impl Sheet {
    /// Plans the sheet of a table of so many `rows`, of which `table` has at least those that are shown: at most `most_rows`, names and units
    /// among them.
    pub fn of(
        table: &Table,
        rows: usize,
        pressures: &PressureRows,
        units: BookUnits,
        most_rows: usize,
    ) -> Result<Self, BookError> {
        let schema = table.schema();
        let is_pressure = pressures.rows(table)?;
        let kept = most_rows.saturating_sub(FIRST_ROW as usize).min(table.len());
        let order = order(table, kept)?;
        let shown = in_order(table, &order)?;
        let is_shown_pressure: Vec<bool> = order.iter().map(|&row| is_pressure[row as usize]).collect();
        let responses = texts(&shown, "response")?;
        let compared = texts(&shown, "compared")?;
        // Rows in which a force column has a value.
        let mut forces = vec![false; table.len()];
        let mut columns = Vec::new();
        for (place, (column, label)) in schema.columns.iter().zip(names::of_columns(&schema.columns)).enumerate() {
            let array = shown.batch().column(place).clone();
            let measure = measure(&schema.name, column, responses.is_some());
            let (unit, numbers) = match (Cells::of(&array), measure) {
                (Some(Cells::Number(_)), Measure::Force) => {
                    let all = table.batch().column(place);
                    let mut kinds = [false; 2];
                    for (row, force) in forces.iter_mut().enumerate().filter(|(row, _)| all.is_valid(*row)) {
                        *force = true;
                        kinds[usize::from(is_pressure[row])] = true;
                    }
                    let [plain, pressure] = [false, true].map(|is_pressure| Shown::force(is_pressure, units));
                    let unit = match kinds {
                        [_, false] => plain.unit.to_owned(),
                        [false, true] => pressure.unit.to_owned(),
                        [true, true] => format!("{} or {}", plain.unit, pressure.unit),
                    };
                    (
                        unit,
                        Numbers::several(is_shown_pressure.iter().map(|&is_pressure| Shown::force(is_pressure, units))),
                    )
                }
                (Some(Cells::Number(_)), Measure::Compared) => {
                    let [force, pressure] = [false, true].map(|is_pressure| Shown::force(is_pressure, units).unit);
                    let is_pressure =
                        compared.iter().flat_map(|texts| texts.iter()).map(|what| what == Some("pressure"));
                    let numbers = Numbers::several(is_pressure.map(|is_pressure| Shown::force(is_pressure, units)));
                    (format!("{force} or {pressure}"), numbers)
                }
                (Some(Cells::Number(_)), Measure::Response) => {
                    let responses = responses.iter().flat_map(|texts| texts.iter());
                    let shown = responses.map(|response| Shown::response(response.unwrap_or_default()));
                    ("as response".to_owned(), Numbers::several(shown))
                }
                (Some(Cells::Number(_)), Measure::Quantity(kind, place)) => {
                    let shown = Shown::quantity(kind, place, units);
                    (shown.unit.to_owned(), Numbers::Alike(shown))
                }
                (Some(Cells::Number(_)), Measure::Share) => ("%".to_owned(), Numbers::Alike(Shown::plain("%", "0.0%"))),
                (Some(Cells::Number(_)), Measure::Probability) => {
                    (String::new(), Numbers::Alike(Shown::plain("", "0.000")))
                }
                (Some(Cells::Number(_)), Measure::Other(format)) => {
                    let unit = unit_in_words(column.unit.as_deref());
                    (unit.to_owned(), Numbers::Alike(Shown::plain(unit, format)))
                }
                (Some(Cells::Moment(_)), _) => ("UTC".to_owned(), Numbers::Bare),
                _ => (unit_in_words(column.unit.as_deref()).to_owned(), Numbers::Bare),
            };
            columns.push(SheetColumn {
                name: column.name.clone(),
                label,
                unit,
                note: format!("{}: {}", column.name, column.description),
                array,
                numbers,
            });
        }
        if forces.iter().zip(&is_pressure).any(|(force, pressure)| *force && *pressure) {
            let forces = order.iter().map(|&row| forces[row as usize]);
            columns.push(unit_column(forces.zip(is_shown_pressure), units));
        }
        if schema.name == "field_effects" {
            columns.push(shown_as(&shown)?);
        }
        let is_key = |column: &&Column| {
            matches!(column.name.as_str(), "condition" | "closer" | "field_id" | "season" | "strip_id")
        };
        let keys = schema.columns.iter().take_while(is_key).count().min(3);
        let name = schema.name.clone();
        Ok(Self { name, columns, shown, rows, keys: u16::try_from(keys).unwrap_or(0) })
    }

    /// The same sheet under another name.
    pub fn named(self, name: String) -> Self {
        Self { name, ..self }
    }

    /// Name of the sheet.
    pub fn name(&self) -> &str {
        &self.name
    }
    /// What the table is.
    pub fn schema(&self) -> &'static TableSchema {
        self.shown.schema()
    }
    /// The rows of the table that the sheet has, in its order.
    pub fn shown(&self) -> &Table {
        &self.shown
    }
    /// The columns, in their order.
    pub fn columns(&self) -> &[SheetColumn] {
        &self.columns
    }
    /// Columns that stay in sight while a person scrolls.
    pub fn keys(&self) -> u16 {
        self.keys
    }
    /// Rows of the table, those without room among them.
    pub fn rows(&self) -> usize {
        self.rows
    }
    /// Rows of the table that the sheet has.
    pub fn shown_rows(&self) -> usize {
        self.shown.len()
    }
    /// Rows of the table for which there is no room.
    pub fn left_out(&self) -> usize {
        self.rows - self.shown.len()
    }
    /// Whether rows with pressures stand among forces.
    pub fn tells_force_unit(&self) -> bool {
        self.position(FORCE_UNIT).is_some()
    }
    /// Place of a column, from 0.
    pub fn position(&self, column: &str) -> Option<u16> {
        u16::try_from(self.columns.iter().position(|known| known.name == column)?).ok()
    }
    /// The number in a cell as it is shown, by row of the sheet.
    pub fn number(&self, row: usize, column: &str) -> Option<f64> {
        let column = self.columns.iter().find(|known| known.name == column)?;
        if row >= column.array.len() {
            return None;
        }
        match column.cells()?.at(row)? {
            Content::Number(kept) => Some(column.way(row)?.value(kept)).filter(|shown| shown.is_finite()),
            _ => None,
        }
    }
}

impl SheetColumn {
    /// The cells.
    pub fn cells(&self) -> Option<Cells<'_>> {
        Cells::of(&self.array)
    }

    /// How the number of a row is shown.
    fn way(&self, row: usize) -> Option<Shown> {
        match &self.numbers {
            Numbers::Alike(shown) => Some(*shown),
            Numbers::Several(ways, of) => ways.get(usize::from(*of.get(row)?)).copied(),
            Numbers::Bare => None,
        }
    }

    /// What stands in a row as it is shown, and how it looks; nothing where the cell stays empty. `cells` are the column's own.
    pub fn shown<'a>(&self, cells: Cells<'a>, row: usize) -> Option<(Content<'a>, Look)> {
        let content = cells.at(row)?;
        let look = match &content {
            // Text it is in any case; the mark keeps it text when a person opens the cell and leaves it again.
            Content::Text(text) if text.starts_with(['=', '+', '-', '@', '\t', '\r']) && self.holds_text() => {
                Look::Quoted
            }
            Content::Text(_) | Content::Flag(_) => Look::Plain,
            Content::Time(_) if matches!(cells, Cells::Day(_)) => Look::Format("yyyy-mm-dd"),
            Content::Time(_) => Look::Format("yyyy-mm-dd hh:mm:ss"),
            Content::Number(kept) if matches!(cells, Cells::Number(_)) => {
                let way = self.way(row)?;
                let number = way.value(*kept);
                let look = if self.one_format().is_some() { Look::Plain } else { Look::Format(way.format) };
                return number.is_finite().then_some((Content::Number(number), look));
            }
            Content::Number(_) => Look::Plain,
        };
        Some((content, look))
    }

    /// Whether a row's cell stays empty.
    pub fn is_empty(&self, cells: Cells, row: usize) -> bool {
        self.array.is_null(row) || self.shown(cells, row).is_none()
    }

    fn holds_text(&self) -> bool {
        matches!(self.cells(), Some(Cells::Text(_)))
    }

    /// How the numbers of the whole column are shown, where that is one format: the column then says it instead of every cell.
    pub fn one_format(&self) -> Option<&'static str> {
        match &self.numbers {
            Numbers::Alike(shown) => Some(shown.format),
            Numbers::Several(ways, of) if of.len() == 1 => ways.first().map(|shown| shown.format),
            Numbers::Several(..) | Numbers::Bare => None,
        }
    }

    /// The looks of the column's cells beside the plain one, in the order in which they come first.
    pub fn looks(&self) -> Vec<Look> {
        let mut looks = Vec::new();
        let Some(cells) = self.cells() else { return looks };
        let most = match (&self.numbers, cells) {
            (_, Cells::Text(_) | Cells::Day(_) | Cells::Moment(_)) => 1,
            (Numbers::Several(ways, _), Cells::Number(_)) if self.one_format().is_none() => ways.len(),
            _ => 0,
        };
        for row in 0..self.array.len() {
            if looks.len() == most {
                break;
            }
            match self.shown(cells, row) {
                Some((_, look)) if look != Look::Plain && !looks.contains(&look) => looks.push(look),
                _ => {}
            }
        }
        looks
    }

    /// Letters that fit into the column: its longest word above, its unit, and its first cells.
    pub fn width(&self) -> usize {
        let word = self.label.split(' ').map(|word| word.chars().count()).max().unwrap_or(0);
        // A button covers the end of the unit.
        let heads = (word + 2).max(self.unit.chars().count() + 4).max(9);
        let cells = match self.cells() {
            Some(Cells::Text(texts)) => {
                let first = texts.iter().take(200).flatten();
                first.map(|text| text.chars().count()).max().unwrap_or(0) + 1
            }
            Some(Cells::Day(_)) => 11,
            Some(Cells::Moment(_)) => 19,
            _ => 0,
        };
        heads.max(cells).min(60)
    }
}

impl Numbers {
    fn several(shown: impl Iterator<Item = Shown>) -> Self {
        let mut ways: Vec<Shown> = Vec::new();
        let of = shown.map(|shown| {
            let place = ways.iter().position(|known| *known == shown).unwrap_or_else(|| {
                ways.push(shown);
                ways.len() - 1
            });
            // There are a handful of ways to show a number.
            u8::try_from(place).unwrap_or(u8::MAX)
        });
        let of = of.collect();
        Numbers::Several(ways, of)
    }
}

/// How names of columns look, here and on the first sheet.
pub(crate) fn header() -> Format {
    Format::new().set_bold().set_background_color(Color::RGB(0x00E6_E6E6)).set_align(FormatAlign::Top)
}

/// The text as a cell can hold it: cut with "…" where it is longer.
pub(crate) fn cut(text: &str) -> String {
    cut_to(text, LONGEST_TEXT)
}

/// The text in at most so many UTF-16 units, the "…" among them.
pub(crate) fn cut_to(text: &str, most: usize) -> String {
    if text.len() <= most || text.encode_utf16().count() <= most {
        return text.to_owned();
    }
    let mut units = 1;
    let fits = |letter: &char| {
        units += letter.len_utf16();
        units <= most
    };
    text.chars().take_while(fits).chain(['…']).collect()
}

/// The column that says of each row whether it holds forces and whether they are pressures.
fn unit_column(rows: impl Iterator<Item = (bool, bool)>, units: BookUnits) -> SheetColumn {
    let told: StringArray =
        rows.map(|(force, is_pressure)| force.then(|| Shown::force(is_pressure, units).unit)).collect();
    SheetColumn {
        name: FORCE_UNIT.to_owned(),
        label: "Unit of force".to_owned(),
        unit: String::new(),
        note: "Added for this workbook: the unit of this row's forces. A planter whose closing system was not weighed is told by its own pressure."
            .to_owned(),
        array: Arc::new(told),
        numbers: Numbers::Bare,
    }
}

/// What a row of `field_effects` is called in a chart.
fn shown_as(table: &Table) -> Result<SheetColumn, BookError> {
    let scopes = texts(table, "scope")?;
    let fields = texts(table, "field_id")?;
    let seasons = wholes(table, "season")?;
    let named = |row: usize| {
        let scope = scopes.as_ref().and_then(|scopes| scopes.at(row));
        let field = fields.as_ref().and_then(|fields| fields.at(row));
        let season = seasons.as_ref().filter(|seasons| seasons.is_valid(row)).map(|seasons| seasons.value(row));
        match (scope, field, season) {
            (Some("typical"), _, _) => "typical field".to_owned(),
            (Some("new_field"), _, _) => "field not yet seen".to_owned(),
            (_, Some(field), Some(season)) => format!("{field} {season}"),
            (_, field, _) => field.unwrap_or_default().to_owned(),
        }
    };
    let named: StringArray = (0..table.len()).map(|row| Some(named(row))).collect();
    Ok(SheetColumn {
        name: SHOWN_AS.to_owned(),
        label: "Shown as".to_owned(),
        unit: String::new(),
        note: "Added for this workbook: the row's name in the charts.".to_owned(),
        array: Arc::new(named),
        numbers: Numbers::Bare,
    })
}

/// Whether rows of a table are moved so that charts can refer to them.
pub(crate) fn is_regrouped(table: &str) -> bool {
    matches!(table, "curves" | "adjusted" | "field_effects")
}

/// The rows that are shown, in their order. Charts can refer to rows in one piece only, so rows of one curve are kept together, in the
/// order of their first; where they stand together already, as they do in results, nothing moves.
fn order(table: &Table, kept: usize) -> Result<Vec<u32>, BookError> {
    let rows = 0..u32::try_from(table.len()).unwrap_or(u32::MAX);
    if !is_regrouped(&table.schema().name) {
        return Ok(rows.take(kept).collect());
    }
    let groups = crate::charts::groups(table)?;
    let mut first: BTreeMap<_, usize> = BTreeMap::new();
    for (row, group) in groups.iter().enumerate() {
        first.entry(group).or_insert(row);
    }
    let mut order: Vec<u32> = rows.collect();
    order.sort_by_key(|&row| groups.get(row as usize).and_then(|group| first.get(group)).copied());
    order.truncate(kept);
    Ok(order)
}

/// The rows of a table in this order: the table itself where that is its own, else a copy, so that a long table is not kept for the few
/// rows that are shown.
fn in_order(table: &Table, order: &[u32]) -> Result<Table, TablesError> {
    if order.len() == table.len() && order.iter().zip(0..).all(|(row, place)| *row == place) {
        return Ok(table.clone());
    }
    let rows = UInt32Array::from(order.to_vec());
    let columns = table.batch().columns().iter().map(|column| take(column, &rows, None)).collect::<Result<_, _>>()?;
    let batch = arrow::array::RecordBatch::try_new(table.schema().arrow(), columns)?;
    Table::from_batches(table.schema(), &[batch])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_giant_text_is_cut_with_a_mark_and_never_inside_a_letter() {
        let exact = "a".repeat(LONGEST_TEXT);
        assert_eq!(cut(&exact), exact);
        let long = cut(&"a".repeat(LONGEST_TEXT + 1));
        assert_eq!((long.chars().count(), long.chars().last()), (LONGEST_TEXT, Some('…')));
        let wide = cut(&"🌱".repeat(20_000));
        assert_eq!(wide.encode_utf16().count(), LONGEST_TEXT);
        assert!(wide.ends_with("🌱…"));
    }
}
