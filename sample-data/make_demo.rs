//! Writes the demo review: invented strip trials of closing downforce, with the truth that they were drawn from.
//!
//! `make_demo OUT_DIR` writes `README.md`, `evenstand.toml`, `raw/*.csv`, `truth.csv`, `truth_fields.csv` and `truth.md`
//! into `OUT_DIR` (default `sample-data/winter-review` below the working folder) and overwrites what has these names.
//! The seed is a constant, so the same program writes the same bytes.
//!
//! The parts, in the order they are used: `scenario` says which fields there are and how they were planted, `condition`
//! what force does there, `emergence` draws the plants, the table modules write down what a person would have seen,
//! `blemish` spoils a few rows on purpose, and `truth` and `pages` explain it all.

mod generator;

use std::error::Error;
use std::fs;
use std::path::PathBuf;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args_os().skip(1);
    let folder = arguments.next().map_or_else(|| PathBuf::from("sample-data/winter-review"), PathBuf::from);
    if arguments.next().is_some() {
        return Err("make_demo takes one argument at most: the folder to write into".into());
    }
    let files = generator::review()?;
    fs::create_dir_all(folder.join("raw"))?;
    let mut bytes = 0;
    for file in &files {
        fs::write(folder.join(&file.path), &file.text)?;
        bytes += file.text.len();
    }
    eprintln!("wrote {} files, {} kB, into {}", files.len(), bytes / 1000, folder.display());
    Ok(())
}
