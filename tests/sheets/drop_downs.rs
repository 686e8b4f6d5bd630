//! What a spreadsheet offers and takes, as it lies in the file.

use calamine::{Data, DataType};
use evenstand_sheets::{Options, UnitSystem};

use crate::{POSITIONS, part, raw, rows, sheets, text};

#[test]
fn words_and_known_names_are_drop_downs_and_numbers_have_limits() {
    let made = sheets(POSITIONS, &Options { system: Some(UnitSystem::Us), ..Options::default() });
    let dig = part(&made, "dig_check.xlsx", "xl/worksheets/sheet1.xml");
    assert!(dig.contains("<formula1>\"yes,partly,no\"</formula1>"));
    assert!(dig.contains("<formula1>\"yes,no\"</formula1>"));
    assert!(dig.contains("type=\"whole\"") && dig.contains("<formula1>1</formula1><formula2>5</formula2>"));
    // 0.3 m in inches, rounded to the inside.
    assert!(dig.contains("<formula1>0</formula1><formula2>11.81</formula2>"));
    assert!(dig.contains("type=\"date\""));
    let log = part(&made, "setting_log.xlsx", "xl/worksheets/sheet1.xml");
    let columns = rows(&made, "setting_log.xlsx", "columns");
    for (name, names) in [
        ("field_id", vec!["=cmd()", "<script>alert(1)</script>", "old"]),
        ("season", vec!["2026", "2024"]),
        ("strip_id", vec!["2", "10", "S1"]),
        ("planter_id", vec!["=planter"]),
        ("closing_position", vec!["=1+1", "3-4"]),
    ] {
        let heading = format!("known {name}");
        let place = columns[0].iter().position(|cell| cell.to_string() == heading).unwrap();
        let listed: Vec<String> =
            columns[1..].iter().map(|row| row[place].to_string()).take_while(|name| !name.is_empty()).collect();
        assert_eq!(listed, names);
        let letter = char::from(b'A' + u8::try_from(place).unwrap());
        let range = format!("<formula1>columns!${letter}$2:${letter}${}</formula1>", names.len() + 1);
        assert!(log.contains(&range), "{range}");
    }
}

#[test]
fn names_stay_in_sight_and_every_header_cell_says_what_goes_there() {
    let made = sheets("", &Options::default());
    for table in raw() {
        let file = format!("{}.xlsx", table.name);
        let sheet = part(&made, &file, "xl/worksheets/sheet1.xml");
        assert!(sheet.contains("<pane ") && sheet.contains("ySplit=\"1\"") && sheet.contains("state=\"frozen\""));
        let columns = rows(&made, &file, &table.name)[0].len();
        // One message for the header and one for the cells below it.
        assert_eq!(sheet.matches(" prompt=\"").count(), 2 * columns, "{}", table.name);
        let explained = rows(&made, &file, "columns");
        for (position, header) in rows(&made, &file, &table.name)[0].iter().enumerate() {
            assert_eq!(&explained[position + 1][0], header);
            assert!(!explained[position + 1][1].is_empty());
        }
    }
    let fields = part(&made, "field.xlsx", "xl/worksheets/sheet1.xml");
    assert!(fields.contains("Distance between rows. Unit: cm."));
    assert!(fields.contains("one of: no_till, strip_till, reduced, full"));
}

#[test]
fn nothing_is_a_formula_whatever_names_people_give() {
    let made = sheets(POSITIONS, &Options::default());
    for table in raw() {
        for number in [1, 2] {
            let sheet = part(&made, &format!("{}.xlsx", table.name), &format!("xl/worksheets/sheet{number}.xml"));
            assert!(!sheet.contains("<f>") && !sheet.contains("<f "), "{}", table.name);
        }
    }
    let csv = text(&made, "setting_log.csv");
    assert!(csv.contains(",'=planter,") && csv.contains(",'=1+1,"), "{csv}");
    assert_eq!(rows(&made, "setting_log.xlsx", "setting_log")[1][4], Data::String("=planter".into()));
}

#[test]
fn known_strips_can_be_copied_in_the_order_of_the_first_columns() {
    let made = sheets("", &Options::default());
    let columns = rows(&made, "strip.xlsx", "columns");
    let first = columns[0].iter().position(|cell| cell.as_string().as_deref() == Some("to copy: field_id")).unwrap();
    let copied: Vec<String> = columns[1][first..first + 5].iter().map(ToString::to_string).collect();
    assert_eq!(copied, ["=cmd()", "2026", "2", "1", "light <b>"]);
    let header: Vec<String> = rows(&made, "strip.xlsx", "strip")[0][..5].iter().map(ToString::to_string).collect();
    assert_eq!(header, ["field_id", "season", "strip_id", "block", "treatment"]);
}
