//! `pages` makes from benches/measured/ what pages show: the tables in README.md and benches/README.md, and notebooks-md/07-how-it-scales.md with its plot.
//! `pages --check` changes nothing and fails where one of them is not what would be made.

use std::error::Error;
use std::fs;

use evenstand_benches::pages::{plot, ratios, read, table};

/// Between these lines of a page stands what is made here.
const BEGIN: &str = "<!-- measured: begin -->";
const END: &str = "<!-- measured: end -->";

fn main() -> Result<(), Box<dyn Error>> {
    let check = std::env::args().any(|argument| argument == "--check");
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
    let measured = read(&fs::read_to_string(format!("{root}/benches/measured/whole.csv"))?)?;
    let machine = fs::read_to_string(format!("{root}/benches/measured/machine.txt"))?;
    let block = |table: String| format!("{BEGIN}\n{}\n\n{table}{END}", machine.trim());
    let (whole, ratios) = (block(table(&measured)), block(ratios(&measured)));
    let mut made = vec![("notebooks-md/07-how-it-scales.svg".to_owned(), plot(&measured))];
    for (page, block) in
        [("notebooks-md/07-how-it-scales.md", &whole), ("benches/README.md", &whole), ("README.md", &ratios)]
    {
        let text = fs::read_to_string(format!("{root}/{page}"))?;
        let (before, rest) = text.split_once(BEGIN).ok_or(format!("{page} has no line {BEGIN}"))?;
        let (_, after) = rest.split_once(END).ok_or(format!("{page} has no line {END}"))?;
        made.push((page.to_owned(), format!("{before}{block}{after}")));
    }
    for (page, text) in made {
        let path = format!("{root}/{page}");
        if check && fs::read_to_string(&path).unwrap_or_default() != text {
            return Err(format!("{page} is not what benches/measured says; run `pages`").into());
        }
        if !check {
            fs::write(path, text)?;
        }
    }
    Ok(())
}
