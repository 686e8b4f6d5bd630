//! Converted cells, against values worked out by hand, and pressures among forces.

use calamine::{Data, DataType};
use evenstand_book::BookUnits;
use evenstand_tables::rows::{CourseMeanRow, CurveRow, PlanterRow, StripRow, TelemetryRow, TraceRow};
use evenstand_tables::{Row, Table};

use crate::{book, column, planter, strip, unit, words};

fn number(cell: &Data) -> f64 {
    cell.get_float().unwrap_or_else(|| panic!("no number: {cell:?}"))
}

fn near(cell: &Data, by_hand: f64) {
    assert!((number(cell) - by_hand).abs() < 5e-7, "{cell:?} {by_hand}");
}

fn nominal(strip_id: &str) -> StripRow {
    StripRow { planter_id: Some("air-8".into()), force_source: Some("nominal".into()), ..strip(strip_id) }
}

fn mixed() -> Vec<Table> {
    let strips = [
        StripRow {
            force_n: Some(200.0),
            set_pressure_kpa: Some(241.316_505_260_88),
            speed_m_s: Some(2.0),
            soil_temp_c: Some(10.0),
            rain_after_mm: Some(25.4),
            t50_cd: Some(90.0),
            emerged_share: Some(0.8),
            ..strip("S1")
        },
        StripRow { force_n: Some(206.842_718_795_04), ..nominal("S2") },
        StripRow { strip_id: "S3".into(), force_source: None, ..nominal("S3") },
    ];
    let trace = |strip_id: &str| TraceRow {
        field_id: "north".into(),
        season: 2025,
        strip_id: strip_id.into(),
        along_m: Some(30.48),
        set_n: Some(100.0),
        ..TraceRow::default()
    };
    vec![
        PlanterRow::to_table(&[planter("weighed-12", true), planter("air-8", false)]).unwrap(),
        StripRow::to_table(&strips).unwrap(),
        TraceRow::to_table(&[trace("S1"), trace("S2")]).unwrap(),
    ]
}

#[test]
fn under_us_units_cells_and_their_unit_row_are_converted_together() {
    let book = book(&mixed(), BookUnits::Us);
    // 200 N / 4.4482216152605 = 44.961789 lbf.
    near(&column(&book, "strips", "Closing downforce")[0], 44.961_789);
    near(&column(&book, "strips", "Set pressure")[0], 35.0);
    near(&column(&book, "strips", "Speed")[0], 4.473_872_6);
    near(&column(&book, "strips", "Soil temp, value")[0], 50.0);
    near(&column(&book, "strips", "Rain after")[0], 1.0);
    near(&column(&book, "traces", "Along")[0], 100.0);
    near(&column(&book, "strips", "Emerged share")[0], 0.8);
    // Responses stand in columns of their own tables too, where a unit cannot be told by column.
    near(&column(&book, "strips", "Time to 50 % in degree-days")[0], 90.0);
    let units =
        ["Closing downforce", "Set pressure", "Speed", "Soil temp, value", "Rain after", "Time to 50 % in degree-days"]
            .map(|name| unit(&book, "strips", name));
    assert_eq!(units, ["lbf or psi", "psi", "mph", "°F", "in", "°C·d"]);
    assert_eq!(unit(&book, "traces", "Along"), "ft");
    assert!(words(&book, "About").contains("4.4482216152605"), "the factor is told");
}

#[test]
fn under_metric_units_cells_are_as_kept() {
    let book = book(&mixed(), BookUnits::Metric);
    assert_eq!(column(&book, "strips", "Closing downforce")[0], Data::Float(200.0));
    assert_eq!(column(&book, "strips", "Set pressure")[0], Data::Float(241.316_505_260_88));
    assert_eq!(unit(&book, "strips", "Speed"), "m/s");
    assert!(!words(&book, "About").contains("4.4482216152605"));
}

#[test]
fn a_pressure_that_stands_for_a_force_is_never_called_a_force() {
    let metric = book(&mixed(), BookUnits::Metric);
    // 206.84 kPa is 30 psi; as newtons it would be 46.5 lbf.
    assert_eq!(column(&metric, "strips", "Closing downforce")[1], Data::Float(206.842_718_795_04));
    let said = [Data::String("N".into()), Data::String("kPa".into()), Data::Empty];
    assert_eq!(column(&metric, "strips", "Unit of force"), said);
    assert_eq!(unit(&metric, "strips", "Closing downforce"), "N or kPa");
    assert_eq!(column(&metric, "traces", "Unit of force"), said[..2]);
    assert!(words(&metric, "About").contains("(strips, traces)"), "{}", words(&metric, "About"));
    let us = book(&mixed(), BookUnits::Us);
    near(&column(&us, "strips", "Closing downforce")[1], 30.0);
    assert_eq!(column(&us, "strips", "Unit of force")[1], Data::String("psi".into()));
    // Without such rows there is no such column.
    let forces = book(&[StripRow::to_table(&[StripRow { force_n: Some(1.0), ..strip("S1") }]).unwrap()], BookUnits::Us);
    assert_eq!(unit(&forces, "strips", "Closing downforce"), "lbf");
    assert!(!words(&forces, "strips").contains("Unit of force"));
}

#[test]
fn tables_without_strips_ask_the_planter_and_those_without_planters_the_field() {
    let curve = |planter_id: Option<&str>| CurveRow {
        planter_id: planter_id.map(str::to_owned),
        force_n: 68.947_572_931_68,
        ..CurveRow::default()
    };
    let mean = |field: &str| CourseMeanRow {
        field_id: field.into(),
        season: 2025,
        force_n: 68.947_572_931_68,
        ..CourseMeanRow::default()
    };
    let mut tables = mixed();
    tables.push(CurveRow::to_table(&[curve(None), curve(Some("air-8")), curve(Some("weighed-12"))]).unwrap());
    tables.push(CourseMeanRow::to_table(&[mean("north"), mean("south")]).unwrap());
    let book = book(&tables, BookUnits::Us);
    let curves = column(&book, "curves", "Force");
    near(&curves[1], 10.0);
    near(&curves[0], 15.500_031);
    near(&curves[2], 15.500_031);
    let means = column(&book, "course_means", "Force");
    near(&means[0], 10.0);
    near(&means[1], 15.500_031);
}

#[test]
fn what_telemetry_compares_follows_what_the_row_compared() {
    let row = |compared: &str| TelemetryRow {
        compared: Some(compared.into()),
        mean_set: Some(68.947_572_931_68),
        ..TelemetryRow::default()
    };
    let table = TelemetryRow::to_table(&[row("pressure"), row("force")]).unwrap();
    let book = book(&[table], BookUnits::Us);
    let means = column(&book, "telemetry", "Mean set");
    near(&means[0], 10.0);
    near(&means[1], 15.500_031);
    assert_eq!(unit(&book, "telemetry", "Mean set"), "lbf or psi");
}
