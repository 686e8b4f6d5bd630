//! Ties a Rust struct to a table.

use crate::{Group, Table, TablesError};

/// A struct whose fields are columns of one table. Made by the `rows!` macro in [`crate::rows`].
///
/// Reading takes the columns the struct names; writing fills the columns it does not name with missing values.
pub trait Row: Sized {
    /// Set of the table.
    const GROUP: Group;
    /// Name of the table.
    const TABLE: &'static str;
    /// Names, types and nullability of the columns the struct has.
    fn columns() -> Vec<(&'static str, crate::ColumnType, bool)>;
    /// All rows of a table. Errors where a column is absent or a needed value is missing.
    fn from_table(table: &Table) -> Result<Vec<Self>, TablesError>;
    /// A table of these rows, in this order.
    fn to_table(rows: &[Self]) -> Result<Table, TablesError>;
}

/// The rows with every number missing that is none, or larger than `largest` either way, and how many these were; `None` where there is no
/// such number. Errors where a column that must not be empty holds one.
pub fn with_usable_numbers<R: Row>(rows: &[R], largest: f64) -> Result<Option<(Vec<R>, usize)>, TablesError> {
    let Some((table, taken_out)) = R::to_table(rows)?.with_usable_numbers(largest)? else { return Ok(None) };
    Ok(Some((R::from_table(&table)?, taken_out)))
}

macro_rules! rows {
    ($($(#[$doc:meta])* $name:ident in $group:ident $table:literal { $($field:ident : $type:ty),+ $(,)? })+) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Default)]
        pub struct $name {
            $(#[doc = concat!("Column `", stringify!($field), "`; see its sentence in the schema.")] pub $field: $type,)+
        }

        impl $crate::Row for $name {
            const GROUP: $crate::Group = $crate::Group::$group;
            const TABLE: &'static str = $table;

            fn columns() -> Vec<(&'static str, $crate::ColumnType, bool)> {
                vec![$((stringify!($field), <$type as $crate::Cell>::COLUMN_TYPE, <$type as $crate::Cell>::NULLABLE)),+]
            }

            fn from_table(table: &$crate::Table) -> Result<Vec<Self>, $crate::TablesError> {
                $(let mut $field = <$type as $crate::Cell>::read(table, stringify!($field))?.into_iter();)+
                let mut rows = Vec::with_capacity(table.len());
                while let ($(Some($field),)+) = ($($field.next(),)+) {
                    rows.push(Self { $($field),+ });
                }
                Ok(rows)
            }

            fn to_table(rows: &[Self]) -> Result<$crate::Table, $crate::TablesError> {
                let schema = $crate::schema(Self::GROUP, Self::TABLE)?;
                if rows.is_empty() {
                    return Ok($crate::Table::empty(schema));
                }
                let batch = arrow::array::RecordBatch::try_from_iter_with_nullable([
                    $((stringify!($field), <$type as $crate::Cell>::build(rows.iter().map(|row| &row.$field)), true)),+
                ])?;
                $crate::Table::from_batches(schema, &[batch])
            }
        }
    )+};
}
pub(crate) use rows;
