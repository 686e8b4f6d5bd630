//! The names of columns, from one row of a header or two.

use crate::record::Record;

/// The cells of a row as names.
pub(crate) fn cells_of(record: &dyn Record) -> Vec<String> {
    (0..record.len()).map(|index| record.cell(index).text().trim().to_owned()).collect()
}

/// Names of a header of two rows: the upper one is spread over the empty cells behind it, as merged cells are.
pub(crate) fn two_rows(above: &[String], below: &[String]) -> Vec<String> {
    let mut upper = "";
    (0..above.len().max(below.len()))
        .map(|index| {
            let cell = |names: &'_ [String]| names.get(index).cloned().unwrap_or_default();
            if let Some(name) = above.get(index).filter(|name| !name.is_empty()) {
                upper = name;
            }
            match (upper, cell(below)) {
                ("", lower) => lower,
                (upper, lower) if lower.is_empty() => {
                    if cell(above).is_empty() {
                        String::new()
                    } else {
                        upper.to_owned()
                    }
                }
                // One cell merged over both rows.
                (upper, lower) if lower == upper => lower,
                (upper, lower) => format!("{upper} / {lower}"),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_header_of_two_rows_names_merged_cells_once() {
        let row = |cells: &[&str]| cells.iter().map(|cell| (*cell).to_owned()).collect::<Vec<_>>();
        // Field is merged over both rows, Stand over two columns.
        let above = row(&["Field", "Stand", "Stand", "Note"]);
        let below = row(&["Field", "V1", "V2", ""]);
        assert_eq!(two_rows(&above, &below), ["Field", "Stand / V1", "Stand / V2", "Note"]);
    }
}
