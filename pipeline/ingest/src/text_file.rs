//! Text files: CSV and its relatives, and columns of text.

use std::io::Read;

use evenstand_settings::Settings;
use evenstand_tables::Sink;

use crate::IngestError;
use crate::columns_of_text::ColumnsOfText;
use crate::delimited::{Delimited, decoded};
use crate::mapping::Mapping;
use crate::table_file::{FileReport, Source, Surroundings, read_table};
use crate::time::Zones;
use crate::whereabouts::Whereabouts;

/// Reads a text file as a stream. Kept rows go to `sink` in batches; time zones of fields are noted in `zones`.
///
/// Without a mapping that says otherwise the text is UTF-8 or what its byte order mark says, and the delimiter the one of
/// comma, semicolon, tab and bar that divides the first lines most evenly. Errors only where the bytes cannot be read or
/// the sink fails.
pub fn read_text(
    source: &Source,
    bytes: impl Read,
    mapping: Option<&Mapping>,
    whereabouts: &Whereabouts,
    settings: &Settings,
    zones: &mut Zones,
    sink: &mut dyn Sink,
) -> Result<FileReport, IngestError> {
    let text = decoded(bytes, mapping.and_then(|mapping| mapping.encoding))
        .map_err(|error| IngestError::read(&source.file, &error))?;
    let around = Surroundings { settings, mapping, reading: None, whereabouts, zones, sink };
    match mapping.and_then(Mapping::cut) {
        Some(cut) => read_table(source, &mut ColumnsOfText::new(&source.file, text, cut), around),
        None => {
            let delimiter = mapping.and_then(|mapping| mapping.delimiter);
            read_table(source, &mut Delimited::new(&source.file, text, delimiter), around)
        }
    }
}
