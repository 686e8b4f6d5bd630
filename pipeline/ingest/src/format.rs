//! In which format a file is, by the ending of its name.

/// A format that can be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Cells divided by a letter, or columns of text.
    Text,
    /// Apache Parquet.
    Parquet,
}

impl Format {
    /// The format of a file of this name; `None` where files with its ending are not read.
    pub fn of(file_name: &str) -> Option<Self> {
        let (_, ending) = file_name.rsplit_once('.')?;
        match ending.to_ascii_lowercase().as_str() {
            "csv" | "txt" | "tsv" | "dat" => Some(Format::Text),
            "parquet" | "pq" => Some(Format::Parquet),
            _ => None,
        }
    }
}
