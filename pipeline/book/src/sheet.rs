//! One table as a sheet: what stands where, and how it is written.

use std::collections::BTreeMap;

use evenstand_tables::Table;
use rust_xlsxwriter::{Color, Format, FormatAlign, FormatBorder, Note, Worksheet, XlsxError};

use crate::column::{Measure, Shown, measure, unit_in_words};
use crate::names;
use crate::pressure_rows::PressureRows;
use crate::values::{Values, serial, texts, wholes, written_day};
use crate::{BookError, BookUnits};

/// Row of the names, row of the units and first row of cells, counted from 0.
const NAMES: u32 = 0;
const UNITS: u32 = 1;
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
struct SheetColumn {
    name: String,
    label: String,
    unit: String,
    note: String,
    values: Values,
    /// How numbers are shown: one entry for all rows, or one a row.
    shown: Vec<Shown>,
}

/// A table as it stands in the workbook.
#[derive(Debug)]
pub(crate) struct Sheet {
    name: String,
    columns: Vec<SheetColumn>,
    /// Row of the table for each row of the sheet.
    order: Vec<usize>,
    left_out: usize,
    keys: u16,
}

impl Sheet {
    /// Plans the sheet of a table, with at most so many rows, names and units among them.
    pub fn of(
        table: &Table,
        name: String,
        pressures: &PressureRows,
        units: BookUnits,
        most_rows: usize,
    ) -> Result<Self, BookError> {
        let schema = table.schema();
        let responses = texts(table, "response")?;
        let compared = texts(table, "compared")?.unwrap_or_default();
        let is_pressure = pressures.rows(table)?;
        // Rows in which a force column has a value, and which of them are pressures.
        let mut forces: Vec<bool> = vec![false; table.len()];
        let mut columns = Vec::new();
        for (column, label) in schema.columns.iter().zip(names::of_columns(&schema.columns)) {
            let values = Values::read(table, column)?;
            let measure = measure(&schema.name, column, responses.is_some());
            let (unit, shown) = match (&values, measure) {
                (Values::Number(numbers), Measure::Force) => {
                    let mut kinds = [false; 2];
                    for ((force, number), &is_pressure) in forces.iter_mut().zip(numbers).zip(&is_pressure) {
                        *force |= number.is_some();
                        kinds[usize::from(is_pressure)] |= number.is_some();
                    }
                    let [plain, pressure] = [false, true].map(|is_pressure| Shown::force(is_pressure, units));
                    let unit = match kinds {
                        [_, false] => plain.unit.to_owned(),
                        [false, true] => pressure.unit.to_owned(),
                        [true, true] => format!("{} or {}", plain.unit, pressure.unit),
                    };
                    (unit, is_pressure.iter().map(|&is_pressure| Shown::force(is_pressure, units)).collect())
                }
                (Values::Number(_), Measure::Compared) => {
                    let [force, pressure] = [false, true].map(|is_pressure| Shown::force(is_pressure, units).unit);
                    let is_pressure = compared.iter().map(|compared| compared.as_deref() == Some("pressure"));
                    let shown = is_pressure.map(|is_pressure| Shown::force(is_pressure, units)).collect();
                    (format!("{force} or {pressure}"), shown)
                }
                (Values::Number(_), Measure::Response) => {
                    let responses = responses.iter().flatten();
                    let shown = responses.map(|response| Shown::response(response.as_deref().unwrap_or_default()));
                    ("as response".to_owned(), shown.collect())
                }
                (Values::Number(_), Measure::Quantity(kind, place)) => {
                    let shown = Shown::quantity(kind, place, units);
                    (shown.unit.to_owned(), vec![shown])
                }
                (Values::Number(_), Measure::Share) => ("%".to_owned(), vec![Shown::plain("%", "0.0%")]),
                (Values::Number(_), Measure::Probability) => (String::new(), vec![Shown::plain("", "0.000")]),
                (Values::Number(_), Measure::Other(format)) => {
                    let unit = unit_in_words(column.unit.as_deref());
                    (unit.to_owned(), vec![Shown::plain(unit, format)])
                }
                (Values::Moment(_), _) => ("UTC".to_owned(), Vec::new()),
                _ => (unit_in_words(column.unit.as_deref()).to_owned(), Vec::new()),
            };
            columns.push(SheetColumn {
                name: column.name.clone(),
                label,
                unit,
                note: format!("{}: {}", column.name, column.description),
                values,
                shown,
            });
        }
        if forces.iter().zip(&is_pressure).any(|(force, pressure)| *force && *pressure) {
            columns.push(unit_column(&forces, &is_pressure, units));
        }
        if schema.name == "field_effects" {
            columns.push(shown_as(table)?);
        }
        let mut order = order(table)?;
        let kept = most_rows.saturating_sub(FIRST_ROW as usize).min(order.len());
        let left_out = order.len() - kept;
        order.truncate(kept);
        let is_key = |name: &str| matches!(name, "condition" | "closer" | "field_id" | "season" | "strip_id");
        let keys = schema.columns.iter().take_while(|column| is_key(&column.name)).count().min(3);
        Ok(Self { name, columns, order, left_out, keys: u16::try_from(keys).unwrap_or(0) })
    }

    /// Name of the sheet.
    pub fn name(&self) -> &str {
        &self.name
    }
    /// Rows of the table that the sheet has.
    pub fn shown_rows(&self) -> usize {
        self.order.len()
    }
    /// Rows of the table for which there is no room.
    pub fn left_out(&self) -> usize {
        self.left_out
    }
    /// Row of the table for each row of the sheet.
    pub fn order(&self) -> &[usize] {
        &self.order
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
        let row = *self.order.get(row)?;
        let Values::Number(numbers) = &column.values else { return None };
        let kept = numbers.get(row).copied().flatten()?;
        let shown = column.shown.get(row).or(column.shown.first())?.value(kept);
        shown.is_finite().then_some(shown)
    }

    /// The sheet, written.
    pub fn worksheet(&self) -> Result<Worksheet, BookError> {
        self.write().map_err(|source| BookError::sheet(&self.name, source))
    }

    fn write(&self) -> Result<Worksheet, XlsxError> {
        let mut sheet = Worksheet::new();
        sheet.set_name(&self.name)?;
        let header = header().set_text_wrap();
        let unit =
            Format::new().set_italic().set_font_color(Color::RGB(0x0050_5050)).set_border_bottom(FormatBorder::Thin);
        let mut formats = Formats::default();
        let mut lines = 1;
        for (position, column) in (0_u16..).zip(&self.columns) {
            sheet.write_string_with_format(NAMES, position, &column.label, &header)?;
            sheet.write_string_with_format(UNITS, position, &column.unit, &unit)?;
            sheet.insert_note(NAMES, position, &note(&column.note))?;
            let width = column.width(&self.order);
            lines = lines.max(column.label.chars().count().div_ceil(width.saturating_sub(2).max(1)));
            sheet.set_column_width(position, f64::from(u32::try_from(width).unwrap_or(60)))?;
            if let Some(shown) = column.one_format() {
                sheet.set_column_format(position, formats.of(shown))?;
            }
            for (row, &from) in (FIRST_ROW..).zip(&self.order) {
                column.write(&mut sheet, row, position, from, &mut formats)?;
            }
        }
        sheet.set_row_height(NAMES, 15.5 * f64::from(u32::try_from(lines.min(4)).unwrap_or(4)))?;
        sheet.set_freeze_panes(FIRST_ROW, self.keys)?;
        if let (false, Some(last)) = (self.order.is_empty(), self.columns.len().checked_sub(1)) {
            // Buttons stand in the row of units, so that sorting leaves it where it is.
            let last_row = UNITS + u32::try_from(self.order.len()).unwrap_or(0);
            sheet.autofilter(UNITS, 0, last_row, u16::try_from(last).unwrap_or(0))?;
        }
        sheet.set_landscape();
        sheet.set_repeat_rows(NAMES, UNITS)?;
        sheet.set_print_fit_to_pages(1, 0);
        Ok(sheet)
    }
}

impl SheetColumn {
    fn write(
        &self,
        sheet: &mut Worksheet,
        row: u32,
        position: u16,
        from: usize,
        formats: &mut Formats,
    ) -> Result<(), XlsxError> {
        let of = |days: f64, format, written: &dyn Fn() -> String, sheet: &mut Worksheet, formats: &mut Formats| {
            match serial(days) {
                Some(number) => sheet.write_number_with_format(row, position, number, formats.of(format)).map(|_| ()),
                None => sheet.write_string(row, position, written()).map(|_| ()),
            }
        };
        match &self.values {
            Values::Text(texts) => match texts.get(from).and_then(|text| text.as_deref()) {
                None | Some("") => {}
                Some(text) if text.starts_with(['=', '+', '-', '@', '\t', '\r']) => {
                    // Text it is in any case; the mark keeps it text when a person opens the cell and leaves it again.
                    sheet.write_string_with_format(row, position, cut(text), &formats.quoted)?;
                }
                Some(text) => {
                    sheet.write_string(row, position, cut(text))?;
                }
            },
            Values::Number(numbers) => {
                let shown = self.shown.get(from).or(self.shown.first());
                let number = numbers.get(from).copied().flatten();
                let (Some(shown), Some(kept)) = (shown, number) else { return Ok(()) };
                let number = shown.value(kept);
                if number.is_finite() {
                    match self.one_format() {
                        Some(_) => sheet.write_number(row, position, number)?,
                        None => sheet.write_number_with_format(row, position, number, formats.of(shown.format))?,
                    };
                }
            }
            Values::Whole(numbers) => {
                if let Some(number) = numbers.get(from).copied().flatten() {
                    sheet.write_number(row, position, number as f64)?;
                }
            }
            Values::Flag(flags) => {
                if let Some(flag) = flags.get(from).copied().flatten() {
                    sheet.write_boolean(row, position, flag)?;
                }
            }
            Values::Day(days) => {
                if let Some(day) = days.get(from).copied().flatten() {
                    let written = || written_day(i64::from(day.0));
                    of(f64::from(day.0), "yyyy-mm-dd", &written, sheet, formats)?;
                }
            }
            Values::Moment(moments) => {
                if let Some(moment) = moments.get(from).copied().flatten() {
                    let written = || {
                        let seconds = moment.0.div_euclid(1_000_000);
                        let of_day = seconds.rem_euclid(86_400);
                        let day = written_day(seconds.div_euclid(86_400));
                        format!("{day} {:02}:{:02}:{:02}", of_day / 3_600, of_day / 60 % 60, of_day % 60)
                    };
                    of(moment.days(), "yyyy-mm-dd hh:mm:ss", &written, sheet, formats)?;
                }
            }
        }
        Ok(())
    }

    /// How the numbers of the whole column are shown, where that is one format: the column then says it instead of every cell.
    fn one_format(&self) -> Option<&'static str> {
        match (&self.values, self.shown.as_slice()) {
            (Values::Number(_), [one]) => Some(one.format),
            _ => None,
        }
    }

    /// Letters that fit into the column: its longest word above, its unit, and its first cells.
    fn width(&self, order: &[usize]) -> usize {
        let word = self.label.split(' ').map(|word| word.chars().count()).max().unwrap_or(0);
        // A button covers the end of the unit.
        let heads = (word + 2).max(self.unit.chars().count() + 4).max(9);
        let cells = match &self.values {
            Values::Text(texts) => {
                let first = order.iter().take(200).filter_map(|&row| texts.get(row).and_then(|text| text.as_deref()));
                first.map(|text| text.chars().count()).max().unwrap_or(0) + 1
            }
            Values::Day(_) => 11,
            Values::Moment(_) => 19,
            Values::Number(_) | Values::Whole(_) | Values::Flag(_) => 0,
        };
        heads.max(cells).min(60)
    }
}

/// The formats of cells, made once each.
struct Formats {
    by_number: BTreeMap<&'static str, Format>,
    quoted: Format,
}

impl Default for Formats {
    fn default() -> Self {
        Self { by_number: BTreeMap::new(), quoted: Format::new().set_quote_prefix() }
    }
}

impl Formats {
    fn of(&mut self, format: &'static str) -> &Format {
        self.by_number.entry(format).or_insert_with(|| Format::new().set_num_format(format))
    }
}

/// How names of columns look, here and on the first sheet.
pub(crate) fn header() -> Format {
    Format::new().set_bold().set_background_color(Color::RGB(0x00E6_E6E6)).set_align(FormatAlign::Top)
}

fn note(text: &str) -> Note {
    // About 38 letters stand in a line of 240 pixels.
    let lines = u32::try_from(text.chars().count() / 38 + 2).unwrap_or(20).min(20);
    Note::new(text).set_author("evenstand").add_author_prefix(false).set_width(240).set_height(16 * lines)
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

fn unit_column(forces: &[bool], is_pressure: &[bool], units: BookUnits) -> SheetColumn {
    let unit = |(force, is_pressure): (&bool, &bool)| force.then(|| Shown::force(*is_pressure, units).unit.to_owned());
    SheetColumn {
        name: FORCE_UNIT.to_owned(),
        label: "Unit of force".to_owned(),
        unit: String::new(),
        note: "Added for this workbook: the unit of this row's forces. A planter whose closing system was not weighed is told by its own pressure."
            .to_owned(),
        values: Values::Text(forces.iter().zip(is_pressure).map(unit).collect()),
        shown: Vec::new(),
    }
}

/// What a row of `field_effects` is called in a chart.
fn shown_as(table: &Table) -> Result<SheetColumn, BookError> {
    let scopes = texts(table, "scope")?.unwrap_or_default();
    let fields = texts(table, "field_id")?.unwrap_or_default();
    let seasons = wholes(table, "season")?.unwrap_or_default();
    let rows = scopes.into_iter().zip(fields).zip(seasons);
    let named = rows.map(|((scope, field), season)| {
        Some(match (scope.as_deref(), field, season) {
            (Some("typical"), _, _) => "typical field".to_owned(),
            (Some("new_field"), _, _) => "field not yet seen".to_owned(),
            (_, Some(field), Some(season)) => format!("{field} {season}"),
            (_, field, _) => field.unwrap_or_default(),
        })
    });
    Ok(SheetColumn {
        name: SHOWN_AS.to_owned(),
        label: "Shown as".to_owned(),
        unit: String::new(),
        note: "Added for this workbook: the row's name in the charts.".to_owned(),
        values: Values::Text(named.collect()),
        shown: Vec::new(),
    })
}

/// The order of the rows. Charts can refer to rows in one piece only, so rows of one curve are kept together, in the order of
/// their first; where they stand together already, as they do in results, nothing moves.
fn order(table: &Table) -> Result<Vec<usize>, BookError> {
    let rows = 0..table.len();
    if !matches!(table.schema().name.as_str(), "curves" | "adjusted" | "field_effects") {
        return Ok(rows.collect());
    }
    let groups = crate::charts::groups(table)?;
    let mut first: BTreeMap<_, usize> = BTreeMap::new();
    for (row, group) in groups.iter().enumerate() {
        first.entry(group).or_insert(row);
    }
    let mut order: Vec<usize> = rows.collect();
    order.sort_by_key(|&row| groups.get(row).and_then(|group| first.get(group)).copied());
    Ok(order)
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
