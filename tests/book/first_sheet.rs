//! What the first sheet says.

use evenstand_book::{BookFacts, BookUnits, review_workbook};

use crate::{book, part, review, rows, words};

#[test]
fn it_lists_every_sheet_with_its_rows_and_links_to_it() {
    let tables = review(&[("moist", None)]);
    let book = book(&tables, BookUnits::Metric);
    let list = rows(&book, "About");
    for table in &tables {
        let name = &table.schema().name;
        let row = list.iter().find(|row| row[0].to_string() == *name).unwrap_or_else(|| panic!("{name} is not listed"));
        let said: Vec<String> = row[1..].iter().map(ToString::to_string).collect();
        let file = format!("results/{name}.csv");
        assert_eq!(
            said,
            [table.schema().title.clone(), table.schema().description.clone(), table.len().to_string(), file]
        );
    }
    let sheet = part(&book, "xl/worksheets/sheet1.xml");
    // One link a table, and one to the charts.
    assert_eq!(sheet.matches("<hyperlink ref=").count(), tables.len() + 1);
    assert!(sheet.contains("location=\"'curves'!A1\"") || sheet.contains("location=\"curves!A1\""), "{sheet}");
}

#[test]
fn it_says_what_is_invented_and_what_comes_first() {
    let said = words(&book(&[], BookUnits::Metric), "About");
    assert!(said.starts_with("Winter review\nInvented data:"), "{said}");
    assert!(said.contains("the operator's manual comes first") && said.contains("engine off"), "{said}");
    let facts = BookFacts { title: "=1+1".into(), invented: false, units: BookUnits::Metric };
    let said = words(&review_workbook(&[], &facts).unwrap(), "About");
    assert!(said.starts_with("=1+1\nStarting points"), "{said}");
    let facts = BookFacts { title: "long ".repeat(200), ..facts };
    assert!(words(&review_workbook(&[], &facts).unwrap(), "About").starts_with("long long"));
}
