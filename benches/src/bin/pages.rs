//! `pages` makes from benches/measured/ what pages show: the tables in README.md and benches/README.md, and notebooks-md/07-how-it-scales.md with its plot.
//! `pages --check` changes nothing and fails where one of them is not what would be made.

use std::error::Error;
use std::fs;

use evenstand_benches::pages::{plot, ratios, read, table};

fn main() -> Result<(), Box<dyn Error>> {
    let check = std::env::args().any(|argument| argument == "--check");
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
    let kept = |file: &str| fs::read_to_string(format!("{root}/benches/measured/{file}"));
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
        let text = before.map_or_else(|| fs::read_to_string(format!("{root}/{page}")), Ok)?;
        made.retain(|(other, _)| other != page);
        made.push((
            page.to_owned(),
            replaced(&text, name, block.trim()).ok_or(format!("{page} has no lines {name}: begin and end"))?,
        ));
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

/// The text with the block between the two lines that name it; `None` where they are not there.
fn replaced(text: &str, name: &str, block: &str) -> Option<String> {
    let (begin, end) = (format!("<!-- {name}: begin -->"), format!("<!-- {name}: end -->"));
    let (before, rest) = text.split_once(&begin)?;
    let (_, after) = rest.split_once(&end)?;
    Some(format!("{before}{begin}\n{block}\n{end}{after}"))
}
