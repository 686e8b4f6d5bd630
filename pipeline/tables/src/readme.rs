//! `schemas/README.md`, made from the schema files.

use std::fmt::Write;

use crate::{Group, schemas};

/// The text of `schemas/README.md`: every table and column in a form people can read.
pub fn schemas_readme() -> String {
    let mut text = String::from(
        "# Tables\n\nMade from the schema files in this folder (Frictionless Table Schema); do not edit. A test compares it and,\n\
         with `SNAPSHOTS=overwrite`, writes it again.\n\n\
         In raw files a column that has a unit may come in any unit of its kind: `row_spacing_in` and `row_spacing_cm` are\n\
         both read as `row_spacing_m`.\n",
    );
    for (group, heading) in [
        (Group::Raw, "Raw tables: what people put into `raw/`"),
        (Group::Kept, "Kept tables: what `ingest` writes into `store/`, and `link` into a file"),
        (Group::Results, "Result tables: what `model` writes into `results/`"),
    ] {
        let _ = write!(text, "\n## {heading}\n");
        if group == Group::Kept {
            text.push_str("\nThe raw tables again, with `source_file`, `source_row` and `source_sha256` on every row, and these:\n");
        }
        for table in schemas().iter().filter(|table| table.group == group) {
            if group == Group::Kept && schemas().iter().any(|raw| raw.group == Group::Raw && raw.name == table.name) {
                continue;
            }
            let _ = write!(
                text,
                "\n### {}\n\n{}\n\n| column | type | unit | meaning |\n| --- | --- | --- | --- |\n",
                table.name, table.description
            );
            for column in &table.columns {
                let mut meaning = column.description.clone();
                if !column.allowed().is_empty() {
                    let _ = write!(meaning, " One of: {}.", column.allowed().join(", "));
                }
                if column.required() {
                    meaning.push_str(" Needed.");
                }
                if !column.aliases.is_empty() {
                    let _ = write!(meaning, " People write: {}.", column.aliases.join(", "));
                }
                let _ = writeln!(
                    text,
                    "| `{}` | {} | {} | {} |",
                    column.name,
                    column.column_type.name(),
                    column.unit.as_deref().unwrap_or(""),
                    meaning
                );
            }
        }
    }
    text
}
