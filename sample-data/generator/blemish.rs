//! Rows that are wrong on purpose, as in records that people keep.

use super::tidy::TidyTable;

/// A row that was spoilt, for the review's own README.
pub struct Blemish {
    /// File name.
    pub file: String,
    /// Line in the file, the header being line 1.
    pub line: usize,
    /// What is wrong there.
    pub what: String,
}

/// Spoils a few rows and returns which.
///
/// # Errors
/// A row or column that is not there: the scenario was changed and this list was not.
pub fn spoil(tables: &mut [TidyTable]) -> Result<Vec<Blemish>, String> {
    let mut blemishes = Vec::new();

    let mut row = count(tables, "tamarack-2023", "cold-spring-2", "S09", "b", 6)?;
    let right = row.cell("emerged")?.clone();
    let letters = right.replace('1', "l").replace('0', "O");
    if letters == right {
        return Err(format!("{right} has no digit that looks like a letter"));
    }
    row.cell("emerged")?.clone_from(&letters);
    blemishes.push(row.blemish(format!("letters in a number column: `{letters}` for {right}")));

    let mut row = count(tables, "tamarack-2023", "quarry-west", "S03", "a", 5)?;
    row.cell("strip_id")?.clear();
    blemishes.push(row.blemish("a count without a strip"));

    let mut row = count(tables, "hollis-2024", "home-north", "S12", "c", 4)?;
    "05/06/2024".clone_into(row.cell("counted_at")?);
    blemishes.push(row.blemish("an ambiguous date, 5 June or 6 May"));

    let before = count(tables, "hollis-2022", "ridge-top", "S16", "b", 6)?.number("emerged")?;
    let mut row = count(tables, "hollis-2022", "ridge-top", "S16", "b", 7)?;
    let right = row.number("emerged")?;
    let fallen = before.saturating_sub(4);
    *row.cell("emerged")? = fallen.to_string();
    blemishes.push(
        row.blemish(format!("a cumulative count that falls: {fallen} for {right}, after {before} at the visit before")),
    );

    let mut row = count(tables, "hollis-2023", "home-south", "S10", "a", 8)?;
    let seeds = row.number("seeds_sown")?;
    *row.cell("emerged")? = (seeds + 3).to_string();
    blemishes.push(row.blemish(format!("more plants than seeds: {} of {seeds}", seeds + 3)));

    // From the last visit to the first: a row that was renamed is no longer found.
    for visit in (0..9).rev() {
        let mut row = count(tables, "tamarack-2024", "quarry-east", "S14", "c", visit)?;
        "S41".clone_into(row.cell("strip_id")?);
        if visit == 0 {
            blemishes.push(
                row.blemish("a strip name that is found nowhere else: `S41` for S14, at all nine visits to place c"),
            );
        }
    }

    let table = named(tables, "strip-tamarack.csv")?;
    let keys = [("field_id", "lindqvist-40"), ("season", "2022"), ("strip_id", "S05")];
    let twice = matching(table, &keys).first().copied().ok_or("no strip row to write twice")?;
    let copy = table.rows[twice].clone();
    table.rows.insert(twice + 1, copy);
    let row = Row { table, position: twice + 1 };
    blemishes.push(row.blemish("the row of a strip twice"));
    Ok(blemishes)
}

/// A row of a table, to be changed.
struct Row<'a> {
    table: &'a mut TidyTable,
    position: usize,
}

impl Row<'_> {
    /// A cell of this row.
    fn cell(&mut self, column: &str) -> Result<&mut String, String> {
        let column = self.table.column(column).ok_or_else(|| format!("{} has no column {column}", self.table.name))?;
        Ok(&mut self.table.rows[self.position][column])
    }

    /// A cell of this row as a count.
    fn number(&mut self, column: &str) -> Result<usize, String> {
        let cell = self.cell(column)?;
        cell.parse().map_err(|_| format!("{column} `{cell}` is no count"))
    }

    /// The note about this row.
    fn blemish(&self, what: impl Into<String>) -> Blemish {
        Blemish { file: self.table.name.clone(), line: self.position + 2, what: what.into() }
    }
}

/// The count of a place at a visit, counted from nought.
fn count<'a>(
    tables: &'a mut [TidyTable],
    file: &str,
    field: &str,
    strip: &str,
    place: &str,
    visit: usize,
) -> Result<Row<'a>, String> {
    let table = named(tables, &format!("stand_count-{file}.csv"))?;
    let keys = [("field_id", field), ("strip_id", strip), ("sample_id", place)];
    let position = matching(table, &keys)
        .get(visit)
        .copied()
        .ok_or_else(|| format!("{file}: no visit {visit} to {field} {strip} {place}"))?;
    Ok(Row { table, position })
}

/// The table of that file name.
fn named<'a>(tables: &'a mut [TidyTable], name: &str) -> Result<&'a mut TidyTable, String> {
    tables.iter_mut().find(|table| table.name == name).ok_or_else(|| format!("no table {name}"))
}

/// Positions of the rows whose cells are as given.
fn matching(table: &TidyTable, keys: &[(&str, &str)]) -> Vec<usize> {
    let columns: Vec<(Option<usize>, &str)> = keys.iter().map(|&(name, value)| (table.column(name), value)).collect();
    (0..table.rows.len())
        .filter(|&row| columns.iter().all(|&(column, value)| column.is_some_and(|c| table.rows[row][c] == value)))
        .collect()
}
