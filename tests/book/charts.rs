//! Charts refer to the right cells.

use calamine::Data;
use evenstand_book::BookUnits;
use evenstand_tables::Row;
use evenstand_tables::rows::{CurveRow, StartingPointRow};

use crate::{book, column, part, parts, review, start, words};

fn charts(book: &[u8]) -> Vec<String> {
    let mut names: Vec<String> = parts(book).into_iter().filter(|name| name.contains("charts/chart")).collect();
    names.sort_by_key(|name| (name.len(), name.clone()));
    names
}

/// The references of a chart, in order.
fn references(chart: &str) -> Vec<String> {
    let ends = chart.split("<c:f>").skip(1);
    ends.map(|rest| rest.split("</c:f>").next().unwrap().replace('$', "")).collect()
}

#[test]
fn a_condition_has_a_curve_and_a_chart_of_effects_that_refer_to_their_cells() {
    let book = book(&review(&[("dry", None), ("moist", None)]), BookUnits::Metric);
    assert_eq!(charts(&book).len(), 4);
    // Two responses of five rows each come before: the rows of moist, on_time_share are 13 to 17 of curves.
    let curve = part(&book, "xl/charts/chart3.xml");
    assert_eq!(
        references(&curve),
        [
            "Charts!A30",
            "adjusted!I9:I11",
            "adjusted!J9:J11",
            "curves!E13:E17",
            "curves!F13:F17",
            "curves!E13:E17",
            "curves!G13:G17",
            "curves!E13:E17",
            "curves!H13:H17",
            "Charts!A31"
        ]
    );
    assert_eq!(column(&book, "curves", "Condition")[10], Data::String("moist".into()));
    assert_eq!(column(&book, "curves", "Response")[10..15], vec![Data::String("on_time_share".into()); 5]);
    assert_eq!(column(&book, "adjusted", "Response")[6..9], vec![Data::String("on_time_share".into()); 3]);
    let effects = part(&book, "xl/charts/chart4.xml");
    assert!(references(&effects).contains(&"field_effects!P11:P14".to_owned()), "{:?}", references(&effects));
    assert!(references(&effects).contains(&"field_effects!K11:K14".to_owned()), "{:?}", references(&effects));
    let names: Vec<String> =
        column(&book, "field_effects", "Shown as")[8..12].iter().map(ToString::to_string).collect();
    assert_eq!(names, ["north 2025", "south 2025", "typical field", "field not yet seen"]);
    assert!(effects.contains("<c:hiLowLines>"));
    // No numbers of their own: every number in a chart is the cache of a reference.
    assert!(!curve.contains("<c:numLit>") && !effects.contains("<c:numLit>"));
}

#[test]
fn axes_are_titled_with_units_and_curves_told_apart_without_colour() {
    let book = book(&review(&[("moist", None)]), BookUnits::Us);
    let curve = part(&book, "xl/charts/chart1.xml");
    assert!(curve.contains("Closing downforce (lbf)"), "{curve}");
    assert!(words(&book, "Charts").contains("On-time share (%)"), "{}", words(&book, "Charts"));
    assert!(words(&book, "Charts").contains("leaning: starting point 45 lbf"), "{}", words(&book, "Charts"));
    assert!(curve.contains("<a:prstDash val=\"dash\"/>") && curve.contains("<c:symbol val=\"circle\"/>"));
    // The x axis follows the converted cells: 100 to 300 N are 22 to 67 lbf.
    assert!(curve.contains("<c:max val=\"70\"/><c:min val=\"20\"/>"), "{curve}");
}

#[test]
fn a_planter_without_a_calibration_is_drawn_over_its_pressure() {
    let book = book(&review(&[("dry", Some("air-8"))]), BookUnits::Metric);
    let curve = part(&book, "xl/charts/chart1.xml");
    assert!(curve.contains("Closing pressure (kPa)") && !curve.contains("(N)"), "{curve}");
    assert!(words(&book, "Charts").contains("starting point 200 kPa"), "{}", words(&book, "Charts"));
    assert_eq!(crate::unit(&book, "curves", "Force"), "kPa");
}

#[test]
fn words_of_the_data_never_become_a_formula_of_a_chart() {
    for hostile in ["=Secrets[a]", "=(A1,A2)", "x!A1", "=curves!A1"] {
        let book = book(&review(&[(hostile, None)]), BookUnits::Metric);
        for name in charts(&book) {
            for reference in references(&part(&book, &name)) {
                let ours = ["Charts!", "curves!", "adjusted!", "field_effects!"];
                assert!(ours.iter().any(|sheet| reference.starts_with(sheet)), "{hostile}: {reference}");
                assert!(reference != "curves!A1", "{hostile}");
            }
        }
        assert!(words(&book, "Charts").contains(hostile));
    }
}

#[test]
fn rows_of_one_curve_are_kept_together() {
    let row = |condition: &str, force_n| CurveRow {
        condition: condition.into(),
        closer: "discs_and_press_wheel".into(),
        response: "on_time_share".into(),
        force_n,
        ..CurveRow::default()
    };
    let curves = [row("a", 1.0), row("b", 1.0), row("a", 2.0), row("b", 2.0)];
    let tables = [StartingPointRow::to_table(&[start("b", None, true)]).unwrap(), CurveRow::to_table(&curves).unwrap()];
    let book = book(&tables, BookUnits::Metric);
    let conditions: Vec<String> = column(&book, "curves", "Condition").iter().map(ToString::to_string).collect();
    assert_eq!(conditions, ["a", "a", "b", "b"]);
    assert!(references(&part(&book, "xl/charts/chart1.xml")).contains(&"curves!E5:E6".to_owned()));
}

#[test]
fn beyond_twelve_conditions_a_line_says_where_the_rest_is() {
    let names: Vec<String> = (1..=14).map(|number| format!("class {number}")).collect();
    let conditions: Vec<(&str, Option<&str>)> = names.iter().map(|name| (name.as_str(), None)).collect();
    let book = book(&review(&conditions), BookUnits::Metric);
    assert_eq!(charts(&book).len(), 24);
    let said = words(&book, "Charts");
    assert!(said.contains("Not drawn here") && said.contains("class 13: ") && said.contains("class 14: "), "{said}");
}

#[test]
fn a_condition_without_a_curve_is_named() {
    let open = StartingPointRow { evidence: "open".into(), start_n: None, ..start("wet", None, true) };
    let book = book(&[StartingPointRow::to_table(&[open]).unwrap()], BookUnits::Metric);
    assert!(charts(&book).is_empty());
    let said = words(&book, "Charts");
    assert!(said.contains("No curve: wet: discs and press wheel (open: no starting point"), "{said}");
}
