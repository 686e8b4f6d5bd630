//! The cells of one XLS sheet.

use super::Globals;
use super::records::{Record, Records, at_f64, at_u16, at_u32};
use super::strings::Chars;
use crate::builder::SheetBuilder;
use crate::{CellRange, Oddity, SheetCell, WorkbookError, serial};

const FORMULA: u16 = 0x0006;
/// Records that hold cells: Number, RK, MulRk, LabelSst, Label, RString, BoolErr, Formula.
const CELLS: [u16; 8] = [0x0203, 0x027E, 0x00BD, 0x00FD, 0x0204, 0x00D6, 0x0205, FORMULA];

/// Reads the records of a sheet, from its first on. Errors where a record is cut short, or beyond
/// the limits of the builder.
pub(crate) fn read(stream: &[u8], globals: &Globals, builder: &mut SheetBuilder) -> Result<(), WorkbookError> {
    // Charts on a sheet are sheets in the sheet; their numbers are not cells.
    let mut depth = 0_usize;
    // A formula whose result, a text, comes in a record of its own.
    let mut waiting: Option<(u32, usize)> = None;
    for record in Records::of(stream, "sheet") {
        let record = record?;
        match record.kind {
            // BOF
            0x0809 => depth += 1,
            // EOF
            0x000A if depth <= 1 => {
                if let Some((row, column)) = waiting {
                    builder.notice(row, column, Oddity::FormulaWithoutResult);
                }
                return Ok(());
            }
            0x000A => depth -= 1,
            _ if depth > 1 => {}
            // MergeCells
            0x00E5 => {
                let count = usize::from(at_u16(record.data, 0).unwrap_or(0));
                let ranges = record.data.get(2..).unwrap_or_default().chunks_exact(8).take(count);
                ranges.filter_map(merged).for_each(|range| builder.merge(range));
            }
            // String: the result of the formula before
            0x0207 => {
                if let Some((row, column)) = waiting.take() {
                    let long = Chars::of(&record, 0).short_or_long(globals.coding, true);
                    builder.put(row, column, long.map_or(SheetCell::Empty, SheetCell::Text))?;
                }
            }
            kind if CELLS.contains(&kind) => {
                if kind == FORMULA
                    && let Some((row, column)) = waiting.take()
                {
                    builder.notice(row, column, Oddity::FormulaWithoutResult);
                }
                let read = cell(&record, globals, builder, &mut waiting);
                read.ok_or_else(|| WorkbookError::damaged("sheet", "the record of a cell is cut short"))??;
            }
            _ => {}
        }
        if builder.is_content() {
            return Ok(());
        }
    }
    Err(WorkbookError::damaged("sheet", "it ends before its end"))
}

fn merged(range: &[u8]) -> Option<CellRange> {
    let [first_row, last_row, first_column, last_column] = [0, 2, 4, 6].map(|place| at_u16(range, place));
    let (first_row, last_row) = (u32::from(first_row?) + 1, u32::from(last_row?) + 1);
    let (first_column, last_column) = (usize::from(first_column?), usize::from(last_column?));
    (first_row <= last_row && first_column <= last_column).then_some(CellRange {
        first_row,
        first_column,
        last_row,
        last_column,
    })
}

/// Puts the cells of a record. `None` where it is too short to hold them.
fn cell(
    record: &Record<'_>,
    globals: &Globals,
    builder: &mut SheetBuilder,
    waiting: &mut Option<(u32, usize)>,
) -> Option<Result<(), WorkbookError>> {
    let data = record.data;
    let (row, column) = (u32::from(at_u16(data, 0)?) + 1, usize::from(at_u16(data, 2)?));
    let number = |column: usize, number: f64, format: u16, builder: &mut SheetBuilder| {
        let format = globals.formats.get(usize::from(format)).copied().unwrap_or_default();
        let (value, oddity) = serial::cell_of(number, format, globals.system);
        if let Some(oddity) = oddity {
            builder.notice(row, column, oddity);
        }
        builder.put(row, column, value)
    };
    Some(match record.kind {
        // Number
        0x0203 => number(column, at_f64(data, 6)?, at_u16(data, 4)?, builder),
        // RK
        0x027E => number(column, packed_number(at_u32(data, 6)?), at_u16(data, 4)?, builder),
        // MulRk: several in a row
        0x00BD => {
            let several = data.get(4..data.len().checked_sub(2)?)?.chunks_exact(6);
            several.enumerate().try_for_each(|(place, one)| match at_u16(one, 0).zip(at_u32(one, 2)) {
                Some((format, packed)) => number(column + place, packed_number(packed), format, builder),
                None => Ok(()),
            })
        }
        // LabelSst: a shared text
        0x00FD => match globals.texts.get(usize::try_from(at_u32(data, 6)?).ok()?) {
            Some(text) => builder.put(row, column, SheetCell::Text(text.clone())),
            None => {
                builder.notice(row, column, Oddity::TextMissing);
                Ok(())
            }
        },
        // Label, RString: a text of its own
        0x0204 | 0x00D6 => match Chars::of(record, 6).short_or_long(globals.coding, true) {
            Some(text) => builder.put(row, column, SheetCell::Text(text)),
            None => {
                builder.notice(row, column, Oddity::TextMissing);
                Ok(())
            }
        },
        // BoolErr
        0x0205 => builder.put(row, column, truth_or_fault(*data.get(6)?, *data.get(7)? != 0)),
        // Formula: its result, [MS-XLS] 2.5.133
        _ => {
            let result = data.get(6..14)?;
            match (at_u16(result, 6)?, result.first()?, *result.get(2)?) {
                (0xFFFF, 0, _) => {
                    *waiting = Some((row, column));
                    Ok(())
                }
                (0xFFFF, 1, truth) => builder.put(row, column, truth_or_fault(truth, false)),
                (0xFFFF, 2, fault) => builder.put(row, column, truth_or_fault(fault, true)),
                (0xFFFF, ..) => Ok(()),
                _ => number(column, at_f64(result, 0)?, at_u16(data, 4)?, builder),
            }
        }
    })
}

/// A number packed into four bytes ([MS-XLS] 2.5.217): whole or the upper part of a float, perhaps a hundredth.
fn packed_number(packed: u32) -> f64 {
    let value = match packed & 2 != 0 {
        true => f64::from(packed.cast_signed() >> 2),
        false => f64::from_bits(u64::from(packed & 0xFFFF_FFFC) << 32),
    };
    if packed & 1 != 0 { value / 100.0 } else { value }
}

/// A truth value, or an error by its number ([MS-XLS], BErr; compared with another reader's table).
fn truth_or_fault(code: u8, is_fault: bool) -> SheetCell {
    if !is_fault {
        return SheetCell::Boolean(code != 0);
    }
    let name = match code {
        0x00 => "#NULL!",
        0x07 => "#DIV/0!",
        0x0F => "#VALUE!",
        0x17 => "#REF!",
        0x1D => "#NAME?",
        0x24 => "#NUM!",
        0x2A => "#N/A",
        0x2B => "#GETTING_DATA",
        _ => "#ERROR!",
    };
    SheetCell::Fault(name.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked out by hand from what the two lowest bits mean.
    #[test]
    fn packed_numbers_are_unpacked() {
        assert_eq!(packed_number(0x3FF0_0000), 1.0);
        assert_eq!(packed_number(0x3FF0_0001), 0.01);
        assert_eq!(packed_number(0x004B_5646), 1_234_321.0);
        assert_eq!(packed_number(0x004B_5647), 12_343.21);
        assert_eq!(packed_number((-5_i32 << 2).cast_unsigned() | 2), -5.0);
    }
}
