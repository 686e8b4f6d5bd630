//! Writes the sample reviews: invented setting logs, notes, digs and counts, with the truth that they were drawn from.
//!
//! `make_demo OUT_DIR` writes a folder a review into `OUT_DIR` (default `sample-data` below the working folder): `README.md`,
//! `evenstand.toml`, `raw/` and the truth. It overwrites what has these names. The seed is a constant, so the same program writes the same bytes.
//!
//! The demo, in the order its parts are used: `scenario` says which fields there are and how they were planted, `condition`
//! what force does there, `emergence` draws the plants, the table modules write down what a person would have seen,
//! `blemish` spoils a few rows on purpose, and `truth` and `pages` explain it all. The small reviews of the notebooks stand in `small`.

mod generator;

use std::error::Error;
use std::fs;
use std::path::PathBuf;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args_os().skip(1);
    let folder = arguments.next().map_or_else(|| PathBuf::from("sample-data"), PathBuf::from);
    if arguments.next().is_some() {
        return Err("make_demo takes one argument at most: the folder to write the reviews into".into());
    }
    for review in generator::reviews()? {
        let mut bytes = 0;
        for file in &review.files {
            let path = folder.join(review.folder).join(&file.path);
            if let Some(parent) = path.parent() {
                fs::create_dir_all(parent)?;
            }
            fs::write(path, &file.text)?;
            bytes += file.text.len();
        }
        let written = folder.join(review.folder);
        eprintln!("wrote {} files, {} kB, into {}", review.files.len(), bytes / 1000, written.display());
    }
    Ok(())
}
