//! A tidy CSV table held as text cells.

/// A table with a header and rows of as many cells.
pub struct TidyTable {
    /// File name.
    pub name: String,
    /// Column names.
    pub header: Vec<&'static str>,
    /// Cells, a row as long as the header.
    pub rows: Vec<Vec<String>>,
}

impl TidyTable {
    /// An empty table.
    pub fn new(name: impl Into<String>, header: &[&'static str]) -> Self {
        Self { name: name.into(), header: header.to_vec(), rows: Vec::new() }
    }

    /// Adds a row.
    pub fn push<const N: usize>(&mut self, row: [String; N]) {
        debug_assert_eq!(N, self.header.len(), "{}: cells as the header has", self.name);
        self.rows.push(row.into());
    }

    /// The position of a column, where there is one of this name.
    pub fn column(&self, name: &str) -> Option<usize> {
        self.header.iter().position(|column| *column == name)
    }

    /// The file's text: comma, line feed, quotes only where a cell holds a comma.
    pub fn text(&self) -> String {
        let mut text = self.header.join(",");
        text.push('\n');
        for row in &self.rows {
            for (position, cell) in row.iter().enumerate() {
                if position > 0 {
                    text.push(',');
                }
                if cell.contains(',') {
                    text.push('"');
                    text.push_str(cell);
                    text.push('"');
                } else {
                    text.push_str(cell);
                }
            }
            text.push('\n');
        }
        text
    }
}
