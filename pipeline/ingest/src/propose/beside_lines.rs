//! What a block says beside the columns that were found: what is missing, what a name says of the counted place, and columns
//! that are called right and hold something else.

use std::collections::BTreeSet;

use evenstand_tables::ColumnType;

use super::Context;
use super::block::{Block, quoted, some};
use super::columns::{kind_of_unit, misfits};
use super::kinds::Candidate;
use super::names::{joined, suffix_of_kind, variants};
use super::table::Column;

/// Columns that every row needs and none of the file gives.
pub(super) fn needed_lines(block: &mut Block, candidate: &Candidate) {
    let by_other_means = ["field_id", "season", "strip_id"];
    let taken = |name: &str| candidate.wide.as_ref().is_some_and(|wide| name == wide.name_to || name == wide.value_to);
    for ours in candidate.schema.columns.iter().filter(|ours| ours.required()) {
        if !by_other_means.contains(&ours.name.as_str()) && candidate.of(&ours.name).is_none() && !taken(&ours.name) {
            block.columns.open(
                format!("{} = \"column of the file\"", ours.name),
                format!("no column is called so: {}", ours.description),
            );
        }
    }
}

/// Columns that are called right and hold something else; without these lines they would be left out in silence.
pub(super) fn misfit_lines(context: &Context, block: &mut Block, candidate: &Candidate) {
    let used: BTreeSet<usize> = candidate.columns().into_iter().collect();
    let taken = |name: &str| candidate.wide.as_ref().is_some_and(|wide| name == wide.name_to || name == wide.value_to);
    for (ours, column) in misfits(candidate.schema, context.table, context.reading, &used) {
        let (ours, column) = (&candidate.schema.columns[ours], &context.table.columns[column]);
        let asked_elsewhere = matches!(ours.name.as_str(), "moisture_feel" | "value") || taken(&ours.name);
        let Some(reference) =
            column.reference.as_ref().filter(|_| candidate.of(&ours.name).is_none() && !asked_elsewhere)
        else {
            continue;
        };
        let shown: Vec<String> = column.distinct().into_iter().collect();
        let (numbers, _) = column.numbers(context.reading);
        // Days since 1899-12-30, as spreadsheets count them (ECMA-376): 36526 is 2000-01-01, 73050 is 2099-12-31.
        let serial = numbers.iter().all(|number| (36_526.0..=73_050.0).contains(number)) && !numbers.is_empty();
        let wanted = match ours.column_type {
            ColumnType::Date | ColumnType::Datetime if serial => {
                "a spreadsheet's number of a day, not a date; save the sheet with dates"
            }
            ColumnType::Date | ColumnType::Datetime => "not a date with its year",
            ColumnType::Integer if ours.name == "season" => "not a year of four digits",
            ColumnType::Number | ColumnType::Integer => "not a number",
            ColumnType::Boolean => "not yes or no",
            ColumnType::String => "not one of its words",
        };
        block
            .columns
            .open(format!("{} = {}", ours.name, quoted(reference)), format!("it holds {}, {wanted}", some(&shown, 3)));
    }
}

/// A column of days after planting is no column of dates.
pub(super) fn day_count_line(context: &Context, block: &mut Block, candidate: &Candidate) {
    let Some(ours) = candidate.schema.column("counted_at").filter(|_| candidate.wide.is_none()) else { return };
    let names = ["dap", "dae", "das", "day after planting", "day after sowing", "day", "day number"];
    let days = context.table.columns.iter().find(|column| names.contains(&joined(&column.name).as_str()));
    if let Some(reference) = days.and_then(|column| column.reference.as_ref())
        && candidate.of(&ours.name).is_none()
    {
        block.columns.open(
            format!("{} = {}", ours.name, quoted(reference)),
            "it counts days, and only dates are read: is there a column of dates, or can one be added",
        );
    }
}

/// More plants than anybody counts in one place.
const MOST_COUNTED: f64 = 5000.0;

/// Whether the usual number of a column is too large for plants counted in one place.
pub(super) fn is_population(context: &Context, column: &Column) -> bool {
    let (mut numbers, _) = column.numbers(context.reading);
    numbers.sort_by(f64::total_cmp);
    numbers.get(numbers.len() / 2).is_some_and(|middle| *middle > MOST_COUNTED)
}

/// The length of row that the name of the counts says, as in `Plants/17.5 ft`.
pub(super) fn place_line(context: &Context, block: &mut Block, candidate: &Candidate) {
    let Some(ours) = candidate.schema.column("row_length_m").and_then(kind_of_unit) else { return };
    let counts = candidate
        .of("emerged")
        .or(candidate.of("seeds_sown"))
        .and_then(|found| context.table.columns.get(found.column));
    let Some(counts) = counts.filter(|_| candidate.of("row_length_m").is_none()) else { return };
    let spaced = counts.name.replace(['\'', '\u{2032}'], " ft ");
    let parts: Vec<&str> = spaced.split([' ', '/', '(', ')', '_']).filter(|part| !part.is_empty()).collect();
    let found = parts.windows(2).find_map(|pair| {
        let [length, unit] = pair else { return None };
        let length = length.parse::<f64>().ok().filter(|length| (0.5..=2000.0).contains(length))?;
        Some((length, suffix_of_kind(unit, ours)?))
    });
    if let Some((length, suffix)) = found {
        block.top.unsure(
            format!("constants.row_length_{suffix} = {length:?}"),
            format!("the length of row that was counted, taken from the name \"{}\"", counts.name),
        );
    }
}

/// Moisture in numbers: by mass or by volume, which the numbers do not tell.
pub(super) fn moisture_lines(context: &Context, block: &mut Block, candidate: &Candidate) {
    if candidate.of("water_gravimetric_frac").or(candidate.of("water_volumetric_frac")).is_some() {
        return;
    }
    let names = ["moisture", "soil moisture", "water content", "soil water", "soil water content"];
    let moisture = context.table.columns.iter().find(|column| {
        column.is_numeric(context.reading) == Some(true)
            && variants(&column.name).iter().any(|variant| names.contains(&variant.words.as_str()))
    });
    let Some((column, reference)) = moisture.and_then(|column| Some((column, column.reference.as_ref()?))) else {
        return;
    };
    let (numbers, _) = column.numbers(context.reading);
    let unit = if numbers.iter().any(|number| *number > 1.0) { "pct" } else { "frac" };
    let said = |words: &[&str]| words.iter().any(|word| column.name.to_lowercase().contains(word));
    let ways = [
        ("water_gravimetric", "mass of dry soil", said(&["grav", "mass", "weight"])),
        ("water_volumetric", "volume of soil", said(&["vol"])),
    ];
    let decided = ways.iter().filter(|(.., said)| *said).count() == 1;
    for (name, what, said) in ways {
        let line = format!("{name}_{unit} = {}", quoted(reference));
        if decided && said {
            block.columns.unsure(line, format!("is \"{}\" water by {what}", column.name));
        } else if !decided {
            block.columns.open(line, format!("take this line if \"{}\" is water by {what}", column.name));
        }
    }
}
