//! Text files: CSV and its relatives, and columns of text.

use std::io::Read;

use crate::IngestError;
use crate::columns_of_text::ColumnsOfText;
use crate::delimited::{Delimited, decoded};
use crate::file_report::{FileReport, Source, Surroundings};
use crate::mapping::Mapping;
use crate::table_file::read_table;

/// Reads a text file as a stream.
///
/// Without a mapping that says otherwise the text is UTF-8 or what its byte order mark says, and the delimiter the one of
/// comma, semicolon, tab and bar that divides the first lines most evenly. Errors only where the bytes cannot be read or
/// the sink fails.
pub fn read_text(source: &Source, bytes: impl Read, around: Surroundings) -> Result<FileReport, IngestError> {
    let mapping = around.mapping;
    let text = decoded(bytes, mapping.and_then(|mapping| mapping.encoding))
        .map_err(|error| IngestError::read(&source.file, &error))?;
    match mapping.and_then(Mapping::cut) {
        Some(cut) => read_table(source, &mut ColumnsOfText::new(&source.file, text, cut), around),
        None => {
            let delimiter = mapping.and_then(|mapping| mapping.delimiter);
            read_table(source, &mut Delimited::new(&source.file, text, delimiter), around)
        }
    }
}
