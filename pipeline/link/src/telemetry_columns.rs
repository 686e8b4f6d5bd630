//! Columns of kept telemetry on their way from Arrow to polars.
//!
//! Telemetry stands still in its words: thousands of rows name the same field, strip and planter. They are numbered here, so
//! that polars groups by one number, and a column without a value is never copied.

use std::collections::HashMap;

use arrow::array::{Array, Float64Array, StringArray};
use evenstand_settings::Planter;
use polars::prelude::{Column, DataFrame, DataType};
use polars::series::IsSorted;

use crate::LinkError;

/// Field, strip and planter of a row; its planter is its own, else that of its field.
type Place<'a> = (&'a str, Option<&'a str>, Option<&'a str>);

/// Where the rows of a batch were planted, and by what.
pub(crate) struct Places<'a> {
    /// Number of each row's place.
    of_rows: Vec<u32>,
    places: Vec<Place<'a>>,
}

impl<'a> Places<'a> {
    /// Numbers the places in the order in which they come.
    pub fn of(
        fields: &'a StringArray,
        strips: &'a StringArray,
        own_planters: &'a StringArray,
        planters: &HashMap<&'a str, Option<&'a str>>,
    ) -> Self {
        let text = |array: &'a StringArray, row: usize| array.is_valid(row).then(|| array.value(row));
        let mut numbers: HashMap<Place, u32> = HashMap::new();
        let mut places = Vec::new();
        let mut above: Option<(Place, u32)> = None;
        let of_rows = (0..fields.len())
            .map(|row| {
                // The planter as the row names it: that of its field is looked up once a place.
                let named = (text(fields, row).unwrap_or_default(), text(strips, row), text(own_planters, row));
                match above {
                    Some((known, number)) if known == named => number,
                    _ => {
                        let number = *numbers.entry(named).or_insert_with(|| {
                            let (field, strip, own) = named;
                            places.push((field, strip, own.or_else(|| planters.get(field).copied().flatten())));
                            places.len() as u32 - 1
                        });
                        above = Some((named, number));
                        number
                    }
                }
            })
            .collect();
        Self { of_rows, places }
    }

    /// The numbers as a column. A planter is in one strip after the other, so that they mostly rise, and polars then groups by
    /// where they change.
    pub fn column(&self) -> Column {
        let mut column = Column::new("place".into(), self.of_rows.as_slice());
        if self.of_rows.is_sorted() {
            column.set_sorted_flag(IsSorted::Ascending);
        }
        column
    }

    /// The planter of each row as its position among those of the settings, −1 for any other; one number where all rows have
    /// the same.
    pub fn planters(&self, planters: &[Planter]) -> Planters {
        let position = |place: &Place| {
            let known = planters.iter().position(|planter| Some(planter.id.as_str()) == place.2);
            known.map_or(-1, |position| position as i32)
        };
        let positions: Vec<i32> = self.places.iter().map(position).collect();
        match positions.as_slice() {
            [first, others @ ..] if others.iter().all(|other| other == first) => Planters::One(*first),
            _ => Planters::Each(self.of_rows.iter().map(|place| positions[*place as usize]).collect()),
        }
    }

    /// Writes field, strip and planter beside the number of their place.
    pub fn named(&self, frame: &mut DataFrame) -> Result<(), LinkError> {
        let numbers = frame.column("place")?.u32()?.clone();
        let places: Vec<Place> = numbers
            .iter()
            .map(|number| self.places.get(number.unwrap_or(0) as usize).copied().unwrap_or_default())
            .collect();
        let fields: Vec<&str> = places.iter().map(|place| place.0).collect();
        let strips: Vec<Option<&str>> = places.iter().map(|place| place.1).collect();
        let planters: Vec<Option<&str>> = places.iter().map(|place| place.2).collect();
        frame.with_column(Column::new("field_id".into(), fields))?;
        frame.with_column(Column::new("strip_id".into(), strips))?;
        frame.with_column(Column::new("planter".into(), planters))?;
        Ok(())
    }
}

/// Planters of the rows of a batch, as positions among those of the settings.
pub(crate) enum Planters {
    /// All rows are of this one.
    One(i32),
    Each(Vec<i32>),
}

/// Puts sums of some of the rows beside sums of all, by the number of their place; a place without such rows has sums of zero.
pub(crate) fn add_beside(all: &mut DataFrame, some: &DataFrame) -> Result<(), LinkError> {
    let row_of: HashMap<u32, usize> =
        some.column("place")?.u32()?.iter().enumerate().filter_map(|(row, place)| Some((place?, row))).collect();
    let rows: Vec<Option<usize>> =
        all.column("place")?.u32()?.iter().map(|place| row_of.get(&place?).copied()).collect();
    for column in some.columns().iter().filter(|column| column.name() != "place") {
        let sums = column.i64()?;
        let beside: Vec<i64> = rows.iter().map(|row| row.and_then(|row| sums.get(row)).unwrap_or(0)).collect();
        all.with_column(Column::new(column.name().clone(), beside))?;
    }
    Ok(())
}

/// A column of words; `None` where no row has one.
pub(crate) fn text_column(name: &str, column: &StringArray) -> Option<Column> {
    (column.null_count() < column.len()).then(|| Column::new(name.into(), column.iter().collect::<Vec<_>>()))
}

/// A column of numbers; `None` where no row has one.
pub(crate) fn number_column(name: &str, column: &Float64Array) -> Option<Column> {
    match column.null_count() {
        0 => Some(Column::new(name.into(), column.values().as_ref())),
        nulls if nulls == column.len() => None,
        _ => Some(Column::new(name.into(), column.iter().collect::<Vec<_>>())),
    }
}

/// A column of words in which no row has one.
pub(crate) fn no_text(name: &str, rows: usize) -> Column {
    Column::full_null(name.into(), rows, &DataType::String)
}
