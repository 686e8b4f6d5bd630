//! Reads last season's `starting_points.csv`.

use std::collections::HashMap;
use std::fs;

use evenstand_model::LastStart;
use evenstand_store::sha256_of_bytes;
use evenstand_tables::unguarded;

use crate::failure::Failure;
use crate::review::Review;

/// Last season's answers and the hash of their file; `None` where the settings name none.
///
/// Columns are found by name and others passed over, so that a table of an older version reads too. Errors where the file is not there or is no
/// such table: a review that is told to compare must not quietly leave it out.
pub fn last_season(review: &Review) -> Result<Option<(Vec<LastStart>, String)>, Failure> {
    let Some(name) = &review.settings.last_season.starting_points else { return Ok(None) };
    let path = review.folder.join(name);
    let help =
        "[last_season] starting_points names the starting_points.csv in the results folder of last season's review";
    let bytes =
        fs::read(&path).map_err(|error| Failure::new(format!("{} cannot be read: {error}", path.display()), help))?;
    let wrong = |problem: String| Failure::new(format!("{}: {problem}", path.display()), help);
    let mut reader = csv::Reader::from_reader(bytes.as_slice());
    let head = reader.headers().map_err(|error| wrong(error.to_string()))?.clone();
    let columns: HashMap<&str, usize> = head.iter().enumerate().map(|(place, name)| (name, place)).collect();
    for needed in ["condition", "closer", "response", "evidence", "start_n"] {
        if !columns.contains_key(needed) {
            return Err(wrong(format!(
                "there is no column {needed}; the columns are {}",
                head.iter().collect::<Vec<_>>().join(", ")
            )));
        }
    }
    let mut starts = Vec::new();
    for (record, line) in reader.records().zip(2..) {
        let record = record.map_err(|error| wrong(error.to_string()))?;
        let text = |name: &str| {
            let cell = columns.get(name).and_then(|place| record.get(*place)).filter(|cell| !cell.is_empty())?;
            Some(unguarded(cell).to_owned())
        };
        let needed = |name: &str| text(name).ok_or_else(|| wrong(format!("row {line}: {name} is empty")));
        let number = |name: &str| match text(name) {
            None => Ok(None),
            Some(cell) => cell
                .parse::<f64>()
                .ok()
                .filter(|number| number.is_finite())
                .map(Some)
                .ok_or_else(|| wrong(format!("row {line}, column {name}: \"{cell}\" is no number"))),
        };
        starts.push(LastStart {
            condition: needed("condition")?,
            closer: needed("closer")?,
            planter_id: text("planter_id"),
            response: needed("response")?,
            primary: text("primary").map(|word| word == "true"),
            evidence: needed("evidence")?,
            start_n: number("start_n")?,
            default_n: number("default_n")?,
            n_field_seasons: number("n_field_seasons")?.map(|count| count as i64),
            n_strips: number("n_strips")?.map(|count| count as i64),
        });
    }
    Ok(Some((starts, sha256_of_bytes(&bytes))))
}
