//! The sample reviews as lists of files, before anything is written to disk: the demo, and small ones for the notebooks.

mod blemish;
mod clock;
mod condition;
mod counts;
mod digging;
mod emergence;
mod growth;
mod outlines;
mod pages;
mod plants;
mod random;
mod scenario;
mod setting_logs;
mod small;
mod soil;
mod strips;
mod tidy;
mod truth;
mod weather;

use std::error::Error;

use emergence::FieldRecord;
use scenario::FIELD_SEASONS;
use tidy::TidyTable;

/// One file of the review: its path below the review folder and its text.
pub struct ReviewFile {
    /// Path below the review folder, with `/` between parts.
    pub path: String,
    /// What stands in it.
    pub text: String,
}

impl ReviewFile {
    /// A table below the review folder, at the path that is its name.
    fn from_table(table: &TidyTable) -> Self {
        Self { path: table.name.clone(), text: table.text() }
    }
}

/// A review folder of `sample-data/`.
pub struct SampleReview {
    /// Its name.
    pub folder: &'static str,
    /// What stands in it.
    pub files: Vec<ReviewFile>,
}

/// Every sample review: the demo first.
///
/// # Errors
/// A distribution that cannot be set up, or a blemish that finds no row to spoil: both are faults of this program.
pub fn reviews() -> Result<Vec<SampleReview>, Box<dyn Error>> {
    let mut reviews = vec![SampleReview { folder: "winter-review", files: demo()? }];
    reviews.extend(small::reviews()?);
    Ok(reviews)
}

/// Every file of the demo, in a fixed order.
///
/// # Errors
/// A distribution that cannot be set up, or a blemish that finds no row to spoil: both are faults of this program.
fn demo() -> Result<Vec<ReviewFile>, Box<dyn Error>> {
    let mut records = Vec::new();
    for (index, field_season) in FIELD_SEASONS.iter().enumerate() {
        records.push(FieldRecord::draw(index, field_season)?);
    }

    let mut tables = Vec::new();
    tables.push(strips::field_table(&records));
    tables.extend(strips::strip_tables(&records));
    tables.extend(setting_logs::hand_written(&records));
    tables.extend(setting_logs::telemetry(&records));
    tables.extend(counts::stand_counts(&records));
    tables.extend(soil::soil_notes(&records));
    tables.extend(soil::dig_checks(&records));
    tables.extend(plants::spacings(&records));
    tables.extend(plants::leaf_stages(&records));
    tables.push(plants::yields(&records));
    tables.push(weather::daily());
    let blemishes = blemish::spoil(&mut tables)?;

    let mut files: Vec<ReviewFile> =
        tables.iter().map(|table| ReviewFile { path: format!("raw/{}", table.name), text: table.text() }).collect();
    files.extend(outlines::outlines(&records));
    files.push(ReviewFile { path: "truth.csv".into(), text: truth::by_condition().text() });
    files.push(ReviewFile { path: "truth_fields.csv".into(), text: truth::by_field(&records).text() });
    files.push(ReviewFile { path: "truth.md".into(), text: truth::explanation() });
    files.push(ReviewFile { path: "README.md".into(), text: pages::readme(&records, &blemishes) });
    files.push(ReviewFile { path: "evenstand.toml".into(), text: pages::settings() });
    Ok(files)
}
