//! `pages` makes from benches/measured/ what pages show: the tables in README.md and benches/README.md, and notebooks-md/07-how-it-scales.md with its plot.

use std::error::Error;
use std::fs;

use evenstand_benches::pages::{plot, ratios, read, table};

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

fn main() -> Result<(), Box<dyn Error>> {
    for (page, text) in made()? {
        fs::write(format!("{ROOT}/{page}"), text)?;
    }
    Ok(())
}

/// The pages and what they should hold.
fn made() -> Result<Vec<(String, String)>, Box<dyn Error>> {
    let kept = |file: &str| fs::read_to_string(format!("{ROOT}/benches/measured/{file}"));
    let measured = read(&kept("whole.csv")?)?;
    let machine = kept("machine.txt")?;
    let with_machine = |table: String| format!("{}\n\n{}", machine.trim(), table.trim());
    let (whole, ratios) = (with_machine(table(&measured)), with_machine(ratios(&measured)));
    let mut made = vec![("notebooks-md/07-how-it-scales.svg".to_owned(), plot(&measured))];
    for (page, name, block) in [
        ("notebooks-md/07-how-it-scales.md", "measured", &whole),
        ("README.md", "measured", &ratios),
        ("benches/README.md", "measured", &whole),
        ("benches/README.md", "core", &kept("core.md")?),
    ] {
        let before = made.iter().find(|(other, _)| other == page).map(|(_, text)| text.clone());
        let text = before.map_or_else(|| fs::read_to_string(format!("{ROOT}/{page}")), Ok)?;
        made.retain(|(other, _)| other != page);
        let text = replaced(&text, name, block.trim()).ok_or(format!("{page} has no lines {name}: begin and end"))?;
        made.push((page.to_owned(), text));
    }
    Ok(made)
}

/// The text with the block between the two lines that name it; `None` where they are not there.
fn replaced(text: &str, name: &str, block: &str) -> Option<String> {
    let (begin, end) = (format!("<!-- {name}: begin -->"), format!("<!-- {name}: end -->"));
    let (before, rest) = text.split_once(&begin)?;
    let (_, after) = rest.split_once(&end)?;
    Some(format!("{before}{begin}\n{block}\n{end}{after}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pages_say_what_was_measured() {
        for (page, text) in made().expect("pages that can be made") {
            let found = fs::read_to_string(format!("{ROOT}/{page}")).expect("a page");
            assert!(found == text, "{page} is not what benches/measured says; run `pages`");
        }
    }
}
