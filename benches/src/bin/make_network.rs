//! `make_network ROWS FIELD_SEASONS FOLDER` writes an invented review of that size.

use std::error::Error;
use std::path::Path;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [rows, fields, folder] = arguments.as_slice() else {
        return Err(
            "make_network takes a number of telemetry rows, a number of field-seasons and a folder to write into"
                .into(),
        );
    };
    let written =
        evenstand_benches::network::write(rows.replace('_', "").parse()?, fields.parse()?, Path::new(folder))?;
    println!("{written} telemetry rows of {fields} field-seasons in {folder}");
    Ok(())
}
