//! Traces of files that have ended. Their pieces wait in a file without a name until all are read, so that memory grows with strips and
//! not with what they are cut into.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufReader, BufWriter, Read, Seek, Write};
use std::ops::Range;
use std::path::{Path, PathBuf};

use evenstand_tables::rows::TraceRow;
use evenstand_tables::{Row, Table};

use crate::LinkError;
use crate::key::StripKey;

/// Rows that become columns together.
const PART: usize = 4096;

/// A piece as it waits: its place on the strip and its rows, then the columns of `traces` from `along_m` to `actual_high_n`; NaN where there is
/// no value.
pub(crate) type PieceNumbers = [f64; 10];

/// Bytes of a piece.
const BYTES: usize = size_of::<PieceNumbers>();

/// What the pieces of a trace have in common.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Heading {
    pub source_file: String,
    pub planter_id: Option<String>,
    pub row_unit: Option<String>,
    /// Length of a piece in seconds.
    pub piece_s: f64,
    pub rows_at_speed: i64,
}

/// Telemetry along each strip, in a file that nobody else sees and that goes with this value.
#[derive(Debug, Default)]
pub struct Traced {
    folder: PathBuf,
    /// None until there is a piece.
    file: Option<BufWriter<File>>,
    pieces: u64,
    strips: BTreeMap<StripKey, (Heading, Range<u64>)>,
}

impl Traced {
    /// No traces yet; those to come wait on the disk of this folder.
    pub(crate) fn new(folder: &Path) -> Self {
        Self { folder: folder.to_owned(), ..Self::default() }
    }

    /// Takes a trace. Of a strip that comes more than once the one with most rows at speed is kept; of equal ones that of the file whose name
    /// comes first, and within a file the first. Errors where the disk takes nothing.
    pub(crate) fn add(
        &mut self,
        key: StripKey,
        heading: Heading,
        pieces: impl Iterator<Item = PieceNumbers>,
    ) -> Result<(), LinkError> {
        if let Some((other, _)) = self.strips.get(&key)
            && (heading.rows_at_speed, &other.source_file) <= (other.rows_at_speed, &heading.source_file)
        {
            return Ok(());
        }
        let first = self.pieces;
        self.write(pieces).map_err(|error| LinkError::Scratch { folder: self.folder.clone(), error })?;
        self.strips.insert(key, (heading, first..self.pieces));
        Ok(())
    }

    fn write(&mut self, pieces: impl Iterator<Item = PieceNumbers>) -> io::Result<()> {
        let file = match &mut self.file {
            Some(file) => file,
            none => none.insert(BufWriter::new(tempfile::tempfile_in(&self.folder)?)),
        };
        for piece in pieces {
            piece.iter().try_for_each(|number| file.write_all(&number.to_le_bytes()))?;
            self.pieces += 1;
        }
        Ok(())
    }

    /// Rows of `traces` in the order of field, season, strip and piece, some thousands at a time. Errors where they cannot be read back.
    pub fn parts(self) -> impl Iterator<Item = Result<Table, LinkError>> + Send {
        let Self { folder, file, strips, .. } = self;
        let mut waiting = file.map(Waiting::of).transpose();
        let mut strips = strips.into_iter();
        std::iter::from_fn(move || {
            let mut rows = Vec::new();
            for (key, (heading, pieces)) in strips.by_ref() {
                let read = match &mut waiting {
                    Ok(Some(waiting)) => waiting.read(pieces),
                    Ok(None) => Ok(Vec::new()),
                    Err(error) => Err(io::Error::from(error.kind())),
                };
                match read {
                    Ok(pieces) => rows.extend(pieces.iter().map(|piece| row(&key, &heading, piece))),
                    Err(error) => return Some(Err(LinkError::Scratch { folder: folder.clone(), error })),
                }
                if rows.len() >= PART {
                    break;
                }
            }
            (!rows.is_empty()).then(|| Ok(TraceRow::to_table(&rows)?))
        })
    }

    /// All rows. Errors as [`Self::parts`].
    #[cfg(test)]
    pub(crate) fn rows(self) -> Result<Vec<TraceRow>, LinkError> {
        let mut rows = Vec::new();
        for part in self.parts() {
            rows.extend(TraceRow::from_table(&part?)?);
        }
        Ok(rows)
    }
}

/// The file, once all is written.
struct Waiting {
    file: BufReader<File>,
    /// The piece that would be read next.
    at: u64,
}

impl Waiting {
    fn of(file: BufWriter<File>) -> io::Result<Self> {
        let mut file = file.into_inner().map_err(io::IntoInnerError::into_error)?;
        file.rewind()?;
        Ok(Self { file: BufReader::new(file), at: 0 })
    }

    /// Strips of one log stand side by side, so that most steps lead to where the last one ended.
    fn read(&mut self, pieces: Range<u64>) -> io::Result<Vec<PieceNumbers>> {
        self.file.seek_relative((pieces.start as i64 - self.at as i64) * BYTES as i64)?;
        self.at = pieces.end;
        let mut numbers = vec![PieceNumbers::default(); (pieces.end - pieces.start) as usize];
        for number in numbers.iter_mut().flatten() {
            let mut bytes = [0; size_of::<f64>()];
            self.file.read_exact(&mut bytes)?;
            *number = f64::from_le_bytes(bytes);
        }
        Ok(numbers)
    }
}

fn row(key: &StripKey, heading: &Heading, piece: &PieceNumbers) -> TraceRow {
    let [place, rows, values @ ..] = *piece;
    let [along_m, lat, lon, speed_m_s, set_n, actual_n, actual_low_n, actual_high_n] =
        values.map(|value| (!value.is_nan()).then_some(value));
    TraceRow {
        field_id: key.field.field_id.clone(),
        season: key.field.season,
        strip_id: key.strip_id.clone(),
        planter_id: heading.planter_id.clone(),
        row_unit: heading.row_unit.clone(),
        piece: place as i64 + 1,
        from_s: Some(place * heading.piece_s),
        to_s: Some((place + 1.0) * heading.piece_s),
        along_m,
        lat,
        lon,
        speed_m_s,
        set_n,
        actual_n,
        actual_low_n,
        actual_high_n,
        rows: Some(rows as i64),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heading(source_file: &str, rows_at_speed: i64) -> Heading {
        Heading { source_file: source_file.into(), planter_id: None, row_unit: None, piece_s: 2.0, rows_at_speed }
    }

    fn pieces(set_n: f64, count: usize) -> impl Iterator<Item = PieceNumbers> {
        (0..count).map(move |place| {
            let none = f64::NAN;
            [place as f64, 3.0, none, none, none, 2.0, set_n, none, none, none]
        })
    }

    #[test]
    fn strips_come_back_in_their_order_and_the_fuller_of_two_stays() {
        let mut traced = Traced::new(&std::env::temp_dir());
        let key = |strip: usize| StripKey::new("A", 2025, &format!("{strip:03}"));
        // Two logs, each with its strips backwards; more rows than become columns together.
        for (file, rows_at_speed) in [("b.csv", 10), ("a.csv", 10), ("c.csv", 9)] {
            for strip in (0..200).rev() {
                let more = i64::from(file == "c.csv" && strip == 7) * 5;
                let set_n = strip as f64 + if file == "a.csv" { 0.25 } else { 0.5 };
                traced.add(key(strip), heading(file, rows_at_speed + more), pieces(set_n, 64)).unwrap();
            }
        }
        let rows = traced.rows().unwrap();
        assert_eq!(rows.len(), 200 * 64);
        for (at, row) in rows.iter().enumerate() {
            let (strip, place) = (at / 64, at % 64);
            assert_eq!((&row.strip_id, row.piece), (&key(strip).strip_id, place as i64 + 1));
            // Of equal logs the one whose name comes first; of the seventh strip the one with more rows.
            let expected = strip as f64 + if strip == 7 { 0.5 } else { 0.25 };
            assert_eq!((row.set_n, row.rows, row.along_m), (Some(expected), Some(3), None));
            assert_eq!((row.from_s, row.to_s), (Some(2.0 * place as f64), Some(2.0 * place as f64 + 2.0)));
        }
    }

    #[test]
    fn a_folder_that_takes_nothing_is_an_error_that_names_it() {
        let mut traced = Traced::new(Path::new("/nowhere/at all"));
        let error = traced.add(StripKey::new("A", 2025, "1"), heading("a.csv", 1), pieces(1.0, 1)).unwrap_err();
        assert!(
            matches!(&error, LinkError::Scratch { folder, .. } if folder == Path::new("/nowhere/at all")),
            "{error}"
        );
        assert_eq!(Traced::default().parts().count(), 0, "and no traces need no file");
    }
}
