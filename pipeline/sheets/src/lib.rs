//! Blank record sheets: what a person takes to the field, and what is typed into it reads back without any mapping.
//!
//! [`record_sheets`] gives every file as bytes and touches no disk: a CSV and an XLSX for each raw table, a card for the
//! cab, one for the spade, one that tells moisture by feel and one for weighing a closing system as printable pages, and a commented starter `evenstand.toml`. Columns are those of the
//! schemas, in the order in which people fill them in, with the unit in their name.
//!
//! Rows are left blank but for one example, which a reader passes over: a row that names a strip and holds no count
//! would be set aside later as incomplete, one for every strip that nobody walked to. Strips that are known stand in
//! drop-downs, on the card for the cab, and beside the explanations, from where they can be copied.
//!
//! ```
//! use evenstand_settings::Settings;
//! use evenstand_sheets::{Options, record_sheets};
//!
//! let settings = Settings::parse("[display]\nunits = \"us\"")?;
//! let sheets = record_sheets(&settings, &[], &[], &Options::default())?;
//! let counts = sheets.files.iter().find(|file| file.name == "stand_count.csv").expect("one a raw table");
//! assert!(String::from_utf8_lossy(&counts.bytes).starts_with("field_id,season,strip_id,"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod card;
mod column;
mod delimited;
mod error;
mod example;
mod explanations;
mod known;
mod order;
mod starter;
mod units;
mod weigh_card;
mod workbook;

use std::collections::BTreeMap;

use evenstand_settings::Settings;
use evenstand_tables::{Group, schemas};

pub use error::SheetsError;
pub use known::{KnownField, KnownStrip};
pub use starter::STARTER;
pub use units::UnitSystem;

/// Files, in the order in which a person would look at them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheets {
    /// The files.
    pub files: Vec<SheetFile>,
}

/// One file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetFile {
    /// Name without a folder. A record sheet is called like its raw table, so that it is known by its name.
    pub name: String,
    /// What it holds.
    pub bytes: Vec<u8>,
}

/// Choices about the sheets. The default takes everything from the settings.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Options {
    /// Units; `None` means those of `[display]`.
    pub system: Option<UnitSystem>,
    /// Kind of unit (`length`), or name of a column without its unit (`row_length`), and the suffix that it gets (`ft`).
    /// A column's own goes before its kind's.
    pub units: BTreeMap<String, String>,
    /// Season whose strips are printed on the card for the cab; `None` means the latest that is known.
    pub season: Option<i64>,
}

/// Makes every sheet. `strips` are taken to stand in planting order; names that are empty, longer than 200 letters or
/// hold control characters are left out. Same input, same bytes.
///
/// Errors where [`Options::units`] asks for a unit that there is not.
pub fn record_sheets(
    settings: &Settings,
    strips: &[KnownStrip],
    fields: &[KnownField],
    options: &Options,
) -> Result<Sheets, SheetsError> {
    let units = units::Units::new(settings, options)?;
    let known = known::Known::new(settings, strips, fields, options.season);
    let mut files = vec![
        SheetFile { name: card::CAB_CARD.into(), bytes: card::cab_card(settings, &known, &units)?.into_bytes() },
        SheetFile { name: card::DIG_CARD.into(), bytes: card::dig_card(&units)?.into_bytes() },
        SheetFile { name: card::FEEL_CARD.into(), bytes: card::feel_card(settings)?.into_bytes() },
        SheetFile { name: weigh_card::WEIGH_CARD.into(), bytes: weigh_card::weigh_card(settings)?.into_bytes() },
    ];
    for table in schemas().iter().filter(|table| table.group == Group::Raw) {
        let columns = column::columns(table, settings, &known, &units);
        files.push(SheetFile { name: format!("{}.csv", table.name), bytes: delimited::blank(&columns).into_bytes() });
        let name = format!("{}.xlsx", table.name);
        let bytes = workbook::blank(table, &columns, &known)
            .map_err(|source| SheetsError::Workbook { file: name.clone(), source: Box::new(source) })?;
        files.push(SheetFile { name, bytes });
    }
    files.push(SheetFile { name: "evenstand.toml".into(), bytes: STARTER.as_bytes().to_vec() });
    Ok(Sheets { files })
}
