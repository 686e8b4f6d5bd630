//! Charts of the spreadsheet itself: curves with their strips, and differences by field.
//!
//! Every chart refers to cells of the sheets, so a person can change, copy and restyle it. Everything is black or grey and
//! told apart by shape, for printers without colours.

use std::collections::BTreeMap;

use evenstand_tables::{Cell, Group, Table, TablesError, schema};
use rust_xlsxwriter::{
    Chart, ChartAxisLabelPosition, ChartFont, ChartFormat, ChartLegendPosition, ChartLine, ChartLineDashType,
    ChartMarker, ChartMarkerType, ChartSolidFill, ChartType, Color, Format, Worksheet, XlsxError,
};

use crate::axis::around;
use crate::column::Shown;
use crate::names::{CHARTS, capitalised, in_words};
use crate::pressure_rows::PressureRows;
use crate::sheet::{FIRST_ROW, SHOWN_AS, Sheet, cut, cut_to};
use crate::values::{Texts, texts};
use crate::{BookError, BookUnits};

/// Conditions that get charts; the others are named below them.
const MOST_CONDITIONS: usize = 12;
/// Size of a chart in pixels, rows from one pair to the next, and the column where the second one stands.
const WIDTH: u32 = 620;
const HEIGHT: u32 = 400;
const ROWS: u32 = 23;
const SECOND: u16 = 10;
/// Per cent of their size at which charts are printed; columns are a quarter wider where the usual font is not there.
const PRINTED: u16 = 52;
/// Longest text that stands in for a picture, in UTF-16 units (a limit of the file format).
const LONGEST_ALTERNATIVE: usize = 255;
/// Ink of curves, and of limits and marks.
const BLACK: u32 = 0x0000_0000;
const DARK: u32 = 0x0040_4040;
const GREY: u32 = 0x0080_8080;

/// What a curve belongs to.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Default)]
pub(crate) struct CurveOf {
    condition: String,
    closer: String,
    planter: Option<String>,
    response: String,
}

/// Row by row, which curve a row belongs to.
pub(crate) fn groups(table: &Table) -> Result<Vec<CurveOf>, TablesError> {
    let condition = texts(table, "condition")?;
    let closer = texts(table, "closer")?;
    let planter = texts(table, "planter_id")?;
    let response = texts(table, "response")?;
    let at = |texts: &Option<Texts>, row: usize| texts.as_ref()?.at(row).map(str::to_owned);
    let rows = 0..table.len();
    let curve = |row| CurveOf {
        condition: at(&condition, row).unwrap_or_default(),
        closer: at(&closer, row).unwrap_or_default(),
        planter: at(&planter, row),
        response: at(&response, row).unwrap_or_default(),
    };
    Ok(rows.map(curve).collect())
}

impl CurveOf {
    fn heading(&self) -> String {
        let planter = self.planter.as_ref().map(|planter| format!(", {planter}")).unwrap_or_default();
        let condition = if self.condition.is_empty() { "all conditions" } else { &self.condition };
        format!("{condition}: {}{planter}", in_words(&self.closer))
    }

    /// Title of the axis of values.
    fn response_title(&self) -> String {
        let title =
            schema(Group::Results, "strips").ok().and_then(|strips| strips.column(&self.response)?.title.clone());
        let plain = self.response.strip_prefix("measure:").unwrap_or(&self.response);
        let name = title.unwrap_or_else(|| capitalised(&in_words(plain)));
        let unit = Shown::response(&self.response).unit;
        if unit.is_empty() { name } else { format!("{name} ({unit})") }
    }
}

/// Columns of a table whose cells the charts refer to.
pub(crate) fn referred(table: &str) -> &'static [&'static str] {
    match table {
        "curves" => &["force_n", "estimate", "low", "high"],
        "adjusted" => &["force_n", "adjusted"],
        "field_effects" => &["high", "low", "difference", SHOWN_AS],
        _ => &[],
    }
}

/// A sheet with the rows of each curve.
struct Spans<'a> {
    sheet: &'a Sheet,
    /// First row of the sheet's cells, from 0, and their number.
    of: BTreeMap<CurveOf, (usize, usize)>,
}

impl<'a> Spans<'a> {
    fn of(name: &str, sheets: &'a [Sheet]) -> Result<Option<Self>, BookError> {
        let Some(sheet) = sheets.iter().find(|sheet| sheet.schema().name == name) else { return Ok(None) };
        let mut of: BTreeMap<CurveOf, (usize, usize)> = BTreeMap::new();
        for (position, group) in groups(sheet.shown())?.into_iter().enumerate() {
            of.entry(group).or_insert((position, 0)).1 += 1;
        }
        Ok(Some(Self { sheet, of }))
    }

    /// The cells of a column that belong to a curve.
    fn cells(&self, curve: &CurveOf, column: &str) -> Option<(&str, u32, u16, u32, u16)> {
        let &(first, count) = self.of.get(curve)?;
        let column = self.sheet.position(column)?;
        let first = FIRST_ROW + u32::try_from(first).ok()?;
        Some((self.sheet.name(), first, column, first + u32::try_from(count).ok()? - 1, column))
    }

    /// The numbers in them.
    fn numbers(&self, curve: &CurveOf, column: &'static str) -> impl Iterator<Item = f64> {
        let (first, count) = self.of.get(curve).copied().unwrap_or_default();
        (first..first + count).filter_map(move |row| self.sheet.number(row, column))
    }
}

/// What the charts draw from.
struct Sources<'a> {
    curves: Option<Spans<'a>>,
    adjusted: Option<Spans<'a>>,
    effects: Option<Spans<'a>>,
    pressures: &'a PressureRows,
    units: BookUnits,
}

/// A chart and the words on it.
struct Drawing {
    chart: Chart,
    title: String,
    values: String,
}

impl Drawing {
    /// The chart with its words. Words that come from data stand in cells behind the chart, and the chart refers to them: taken
    /// as they are, some of them would be read as a formula.
    fn titled(self, sheet: &mut Worksheet, row: u32, column: u16, name: &str) -> Result<Chart, XlsxError> {
        let Self { mut chart, title, values } = self;
        sheet.write_string(row + 1, column, cut(&title))?;
        sheet.write_string(row + 2, column, cut(&values))?;
        chart.set_name(name).set_width(WIDTH).set_height(HEIGHT);
        chart.title().set_name((CHARTS, row + 1, column)).set_font(font(12).set_bold());
        chart.y_axis().set_name((CHARTS, row + 2, column)).set_name_font(font(10).set_bold());
        chart.legend().set_position(ChartLegendPosition::Bottom).set_font(&font(10));
        Ok(chart)
    }
}

/// A condition whose charts may be drawn.
struct Deciding {
    curve: CurveOf,
    line: String,
}

/// The sheet of charts: per condition the fitted curve of the response that decides, and the differences by field.
pub(crate) fn worksheet(sheets: &[Sheet], pressures: &PressureRows, units: BookUnits) -> Result<Worksheet, BookError> {
    let sources = Sources {
        curves: Spans::of("curves", sheets)?,
        adjusted: Spans::of("adjusted", sheets)?,
        effects: Spans::of("field_effects", sheets)?,
        pressures,
        units,
    };
    let deciding = deciding(sheets, &sources)?;
    sources.write(&deciding).map_err(|source| BookError::sheet(CHARTS, source))
}

/// Curves of the response that decides, in the order of `starting_points`.
fn deciding(sheets: &[Sheet], sources: &Sources) -> Result<Vec<Deciding>, BookError> {
    let mut found: Vec<Deciding> = Vec::new();
    for sheet in sheets.iter().filter(|sheet| sheet.schema().name == "starting_points") {
        let primary: Vec<Option<bool>> = Cell::read(sheet.shown(), "primary")?;
        let evidence = texts(sheet.shown(), "evidence")?;
        for (row, (curve, primary)) in groups(sheet.shown())?.into_iter().zip(primary).enumerate() {
            if primary != Some(true) || found.iter().any(|known| known.curve == curve) {
                continue;
            }
            let evidence = evidence.as_ref().and_then(|evidence| evidence.at(row)).unwrap_or("open");
            let unit = sources.force(&curve).unit;
            let line = match sheet.number(row, "start_n") {
                Some(start) => format!("{evidence}: starting point {start:.0} {unit}"),
                None => format!("{evidence}: no starting point"),
            };
            found.push(Deciding { curve, line });
        }
    }
    Ok(found)
}

impl Sources<'_> {
    /// How the forces of a curve are shown.
    fn force(&self, curve: &CurveOf) -> Shown {
        Shown::force(self.pressures.planter(curve.planter.as_deref()), self.units)
    }

    fn write(&self, deciding: &[Deciding]) -> Result<Worksheet, XlsxError> {
        let mut sheet = Worksheet::new();
        sheet.set_name(CHARTS)?;
        sheet.set_landscape();
        // Two pairs of charts stand on a page of either size of paper.
        sheet.set_print_scale(PRINTED);
        let bold = Format::new().set_bold().set_font_size(13);
        sheet.write_string_with_format(0, 0, "Curves and differences of the response that decides", &bold)?;
        sheet.write_string(
            1,
            0,
            "Left: expected response in a typical field, its interval, and each strip with its field's and block's effect taken out. \
             Right: the difference between two settings, field by field, with its 90 % interval.",
        )?;
        let drawable = |deciding: &&Deciding| {
            let is_in =
                |spans: &Option<Spans>| spans.as_ref().is_some_and(|spans| spans.of.contains_key(&deciding.curve));
            is_in(&self.curves) || is_in(&self.effects)
        };
        let (drawn, bare): (Vec<&Deciding>, Vec<&Deciding>) = deciding.iter().partition(drawable);
        let mut row = 3;
        let mut breaks = Vec::new();
        for (number, deciding) in drawn.iter().take(MOST_CONDITIONS).enumerate() {
            if number > 0 && number % 2 == 0 {
                breaks.push(row);
            }
            sheet.write_string_with_format(row, 0, cut(&deciding.curve.heading()), &Format::new().set_bold())?;
            sheet.write_string(row + 1, 0, &deciding.line)?;
            let mut column = 0;
            for drawing in [self.curve_chart(deciding), self.effect_chart(deciding)].into_iter().flatten() {
                let chart = drawing.titled(&mut sheet, row + 2, column, &format!("{CHARTS} {}", number + 1))?;
                sheet.insert_chart(row + 2, column, &chart)?;
                column = SECOND;
            }
            row += ROWS;
        }
        sheet.set_page_breaks(&breaks)?;
        let rest: Vec<String> = drawn.iter().skip(MOST_CONDITIONS).map(|deciding| deciding.curve.heading()).collect();
        if !rest.is_empty() {
            sheet.write_string(
                row,
                0,
                format!("Not drawn here, but in the sheets curves, adjusted and field_effects: {}.", rest.join("; ")),
            )?;
            row += 1;
        }
        for deciding in bare {
            let (heading, line) = (deciding.curve.heading(), &deciding.line);
            sheet.write_string(row, 0, format!("No curve: {heading} ({line}; the sheet starting_points says why)."))?;
            row += 1;
        }
        if deciding.is_empty() {
            sheet.write_string(row, 0, "There is nothing to draw: the tables hold no starting point.")?;
        }
        Ok(sheet)
    }

    fn curve_chart(&self, deciding: &Deciding) -> Option<Drawing> {
        let curve = &deciding.curve;
        let curves = self.curves.as_ref()?;
        let adjusted = self.adjusted.as_ref().filter(|adjusted| adjusted.of.contains_key(curve));
        let mut chart = Chart::new(ChartType::ScatterStraight);
        let forces = curves.cells(curve, "force_n")?;
        let lines = [
            ("Fitted curve", "estimate", line(BLACK, 2.25, ChartLineDashType::Solid)),
            ("Lower limit", "low", line(DARK, 1.0, ChartLineDashType::Dash)),
            ("Upper limit", "high", line(DARK, 1.0, ChartLineDashType::Dash)),
        ];
        if let Some(adjusted) = adjusted {
            let marker = marker(ChartMarkerType::Circle, 4, GREY);
            let (x, y) = (adjusted.cells(curve, "force_n")?, adjusted.cells(curve, "adjusted")?);
            let series = chart.add_series().set_name("Strips, adjusted").set_categories(x).set_values(y);
            series.set_format(ChartFormat::new().set_line(ChartLine::new().set_hidden(true))).set_marker(&marker);
        }
        for (name, column, line) in &lines {
            let series =
                chart.add_series().set_name(*name).set_categories(forces).set_values(curves.cells(curve, column)?);
            series.set_format(ChartFormat::new().set_line(line)).set_marker(ChartMarker::new().set_none());
        }
        let also = |column| adjusted.into_iter().flat_map(move |adjusted| adjusted.numbers(curve, column));
        let x = around(curves.numbers(curve, "force_n").chain(also("force_n")));
        let fitted = ["estimate", "low", "high"].into_iter().flat_map(|column| curves.numbers(curve, column));
        let y = around(fitted.chain(also("adjusted")));
        let force = self.force(curve);
        let quantity = if self.pressures.planter(curve.planter.as_deref()) { "pressure" } else { "downforce" };
        let alternative = format!("Fitted curve of {} over closing {quantity}: {}", curve.response, curve.heading());
        chart.set_alt_text(cut_to(&alternative, LONGEST_ALTERNATIVE));
        let axis = chart.x_axis();
        axis.set_name(&format!("Closing {quantity} ({})", force.unit)).set_name_font(font(10).set_bold());
        axis.set_num_format("0").set_font(&font(10)).set_major_gridlines(false);
        // Values of an axis that lie below nought would otherwise be written across the middle of the chart.
        axis.set_label_position(ChartAxisLabelPosition::Low);
        if let Some((low, high, step)) = x {
            axis.set_min(low).set_max(high).set_major_unit(step);
        }
        value_axis(&mut chart, number_format(&curve.response, y), y);
        let title = format!("{} ({})", curve.heading(), deciding.line);
        Some(Drawing { chart, title, values: curve.response_title() })
    }

    fn effect_chart(&self, deciding: &Deciding) -> Option<Drawing> {
        let curve = &deciding.curve;
        let effects = self.effects.as_ref()?;
        let names = effects.cells(curve, SHOWN_AS)?;
        let mut chart = Chart::new(ChartType::Stock);
        let ends = [
            ("Upper end, 90 %", "high", marker(ChartMarkerType::LongDash, 7, BLACK)),
            ("Lower end, 90 %", "low", marker(ChartMarkerType::LongDash, 7, BLACK)),
            ("Difference", "difference", marker(ChartMarkerType::Square, 8, BLACK)),
        ];
        for (name, column, marker) in ends {
            let series =
                chart.add_series().set_name(name).set_categories(names).set_values(effects.cells(curve, column)?);
            series.set_format(ChartFormat::new().set_line(ChartLine::new().set_hidden(true))).set_marker(&marker);
        }
        chart.set_high_low_lines(true).set_high_low_lines_format(ChartLine::new().set_color(Color::Black).set_width(1));
        let unit = self.force(curve).unit;
        let of = |column| effects.numbers(curve, column).next().map_or("?".to_owned(), |force| format!("{force:.0}"));
        let title = format!("{}: {} less {} {unit}", curve.heading(), of("to_n"), of("from_n"));
        let alternative = format!("Difference between two settings by field: {title}");
        chart.set_alt_text(cut_to(&alternative, LONGEST_ALTERNATIVE));
        let axis = chart.x_axis();
        axis.set_font(&font(9)).set_label_position(ChartAxisLabelPosition::Low);
        axis.set_name("Field and season").set_name_font(font(10).set_bold());
        let columns = ["difference", "low", "high"];
        // Nought belongs on an axis of differences.
        let y = around(columns.into_iter().flat_map(|column| effects.numbers(curve, column)).chain([0.0]));
        value_axis(&mut chart, number_format(&curve.response, y), y);
        let values = format!("Difference in {}", lower(&curve.response_title()));
        Some(Drawing { chart, title, values })
    }
}

fn value_axis(chart: &mut Chart, format: &str, ends: Option<(f64, f64, f64)>) {
    let axis = chart.y_axis();
    axis.set_num_format(format).set_font(&font(10));
    axis.set_major_gridlines(true)
        .set_major_gridlines_line(ChartLine::new().set_color(Color::RGB(0x00D9_D9D9)).set_width(0.5));
    axis.set_label_position(ChartAxisLabelPosition::Low);
    if let Some((low, high, step)) = ends {
        axis.set_min(low).set_max(high).set_major_unit(step);
    }
}

/// How the marks of an axis are written: as many decimals as the step between them needs.
fn number_format(response: &str, ends: Option<(f64, f64, f64)>) -> &'static str {
    let step = ends.map_or(1.0, |(_, _, step)| step);
    match Shown::response(response).unit {
        "%" if step < 0.009 => "0.0%",
        "%" => "0%",
        "" => "General",
        _ if step < 0.9 => "0.0",
        _ => "0",
    }
}

fn line(grey: u32, width: f64, dash: ChartLineDashType) -> ChartLine {
    let mut line = ChartLine::new();
    line.set_color(Color::RGB(grey)).set_width(width).set_dash_type(dash);
    line
}

/// Filled in any case: some spreadsheets draw no edge, and a white mark would hide what lies below.
fn marker(kind: ChartMarkerType, size: u8, fill: u32) -> ChartMarker {
    let mut format = ChartFormat::new();
    format.set_border(&line(DARK, 0.75, ChartLineDashType::Solid));
    format.set_solid_fill(ChartSolidFill::new().set_color(Color::RGB(fill)));
    let mut marker = ChartMarker::new();
    marker.set_type(kind).set_size(size).set_format(&mut format);
    marker
}

fn font(size: u8) -> ChartFont {
    let mut font = ChartFont::new();
    font.set_size(f64::from(size)).set_color(Color::Black);
    font
}

fn lower(title: &str) -> String {
    let mut letters = title.chars();
    letters.next().map(|first| first.to_lowercase().chain(letters).collect()).unwrap_or_default()
}
