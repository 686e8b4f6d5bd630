//! ODS made by hand.

use evenstand_workbook::{Workbook, WorkbookError};

use crate::support::{at, kind, ods_of, open, print, zipped};

#[test]
fn cells_of_every_type_are_read_by_their_type() {
    let rows = r##"<table:table-row>
        <table:table-cell office:value-type="float" office:value="3.50"><text:p>3,5</text:p></table:table-cell>
        <table:table-cell office:value-type="percentage" office:value="0.93"><text:p>93%</text:p></table:table-cell>
        <table:table-cell office:value-type="boolean" office:boolean-value="true"><text:p>TRUE</text:p></table:table-cell>
        <table:table-cell office:value-type="date" office:date-value="1850-05-09"><text:p>9.5.</text:p></table:table-cell>
        <table:table-cell office:value-type="date" office:date-value="2025-05-09T07:30:00"/>
        <table:table-cell office:value-type="time" office:time-value="PT07H30M00S"/>
        <table:table-cell office:value-type="time" office:time-value="PT30H00M00S"/>
        <table:table-cell table:formula="of:=1/0" office:value-type="string" office:string-value="" calcext:value-type="error"><text:p>#DIV/0!</text:p></table:table-cell>
        <table:table-cell table:formula="of:=A0" office:value-type="float" office:value="0"><text:p>Err:508</text:p></table:table-cell>
        <table:table-cell office:value-type="string"><office:annotation><text:p>a note</text:p></office:annotation><text:p>wet<text:s text:c="3"/>and <text:span>cloddy</text:span>&amp; more</text:p><text:p>second</text:p></table:table-cell>
        <table:table-cell table:formula="of:=1+1"/>
        <table:table-cell office:value-type="float" office:value="many"><text:p>many</text:p></table:table-cell>
        <table:table-cell office:value-type="string"><text:p>#N/A</text:p></table:table-cell>
        </table:table-row>"##;
    let sheet = open(ods_of(rows)).sheet("Log").unwrap();
    for (address, wanted, text) in [
        ("A1", "number", "3.5"),
        ("B1", "number", "0.93"),
        ("C1", "boolean", "true"),
        ("D1", "day", "1850-05-09"),
        ("E1", "moment", "2025-05-09T07:30:00"),
        ("F1", "clock", "07:30:00"),
        ("G1", "duration", "30:00:00"),
        ("H1", "fault", "#DIV/0!"),
        ("I1", "fault", "Err:508"),
        ("J1", "text", "wet   and cloddy& more\nsecond"),
        ("K1", "empty", ""),
        ("L1", "text", "many"),
        ("M1", "text", "#N/A"),
    ] {
        assert_eq!((kind(at(&sheet, address)), at(&sheet, address).text().as_ref()), (wanted, text), "{address}");
    }
    assert_eq!(
        print(&sheet.notices),
        ["K1: a formula without a result", "L1: not of the type it is said to be, read as text"]
    );
}

#[test]
fn repeats_count_and_repeated_empty_cells_cost_nothing() {
    let rows = r#"<table:table-header-rows><table:table-row><table:table-cell table:number-columns-repeated="2"/>
        <table:table-cell table:number-columns-repeated="3" office:value-type="float" office:value="7"/></table:table-row></table:table-header-rows>
        <table:table-row table:number-rows-repeated="4"><table:table-cell table:number-columns-repeated="99999999999999999999"/></table:table-row>
        <table:table-row table:number-rows-repeated="2"><table:table-cell office:value-type="float" office:value="8"/><table:table-cell table:number-columns-repeated="16383"/></table:table-row>
        <table:table-row table:number-rows-repeated="10000000000"><table:table-cell table:number-columns-repeated="10000000000"/></table:table-row>"#;
    let sheet = open(ods_of(rows)).sheet("Log").unwrap();
    assert_eq!(
        sheet.rows.iter().map(|row| (row.number, row.cells.len())).collect::<Vec<_>>(),
        [(1, 5), (6, 1), (7, 1)]
    );
    assert_eq!(print(&sheet.regions()), ["C1:E1", "A6:A7"]);
}

#[test]
fn repeats_of_filled_cells_beyond_a_sheet_are_refused() {
    for rows in [
        r#"<table:table-row><table:table-cell table:number-columns-repeated="10000000000" office:value-type="float" office:value="7"/></table:table-row>"#,
        r#"<table:table-row table:number-rows-repeated="10000000000"><table:table-cell office:value-type="float" office:value="7"/></table:table-row>"#,
        r#"<table:table-row table:number-rows-repeated="1048576"><table:table-cell table:number-columns-repeated="16384" office:value-type="float" office:value="7"/></table:table-row>"#,
    ] {
        let mut book = open(ods_of(rows));
        assert!(book.sheets()[0].holds_cells);
        assert!(matches!(book.sheet("Log"), Err(WorkbookError::TooLarge { .. })), "{rows}");
    }
}

#[test]
fn merged_cells_hidden_sheets_and_copies_of_other_files_are_told() {
    let content = r#"<office:document-content><office:automatic-styles><style:style style:name="ta2"><style:table-properties table:display="false"/></style:style></office:automatic-styles>
        <office:body><office:spreadsheet>
        <table:table table:name="Counts"><table:table-row><table:table-cell table:number-columns-spanned="3" table:number-rows-spanned="2" office:value-type="string"><text:p>Row 1</text:p></table:table-cell>
        <table:covered-table-cell table:number-columns-repeated="2"/><table:table-cell office:value-type="string"><text:p>x</text:p></table:table-cell></table:table-row></table:table>
        <table:table table:name="'file:///other'#Sheet"><table:table-source/><table:table-row><table:table-cell office:value-type="float" office:value="1"/></table:table-row></table:table>
        <table:table table:name="Old" table:style-name="ta2"><table:table-row><table:table-cell office:value-type="float" office:value="2"><table:table table:name="inner"/></table:table-cell></table:table-row></table:table>
        </office:spreadsheet></office:body></office:document-content>"#;
    let archive = zipped(&[("mimetype", "application/vnd.oasis.opendocument.spreadsheet"), ("content.xml", content)]);
    let flat = content.replace("office:document-content", "office:document");
    for bytes in [archive, format!("<?xml version=\"1.0\"?>\n{flat}").into_bytes()] {
        let mut book = open(bytes);
        let listed: Vec<_> = book.sheets().iter().map(|sheet| (sheet.name.as_str(), sheet.hidden)).collect();
        assert_eq!(listed, [("Counts", false), ("Old", true)]);
        let mut sheet = book.sheet("Counts").unwrap();
        assert_eq!(print(&sheet.merged), ["A1:C2"]);
        sheet.fill_merged();
        assert_eq!(
            sheet.rows[0].cells.iter().map(|cell| cell.text()).collect::<Vec<_>>(),
            ["Row 1", "Row 1", "Row 1", "x"]
        );
        assert_eq!(at(&book.sheet("Old").unwrap(), "A1").text(), "2");
    }
}

#[test]
fn sheets_of_one_name_are_told_apart() {
    let table = |value| {
        format!(
            "<table:table table:name=\"Log\"><table:table-row><table:table-cell office:value-type=\"float\" \
             office:value=\"{value}\"/></table:table-row></table:table>"
        )
    };
    let tables = [table(1), table(2), table(3)].concat();
    let flat = format!(
        "<?xml version=\"1.0\"?><office:document><office:spreadsheet>{tables}</office:spreadsheet></office:document>"
    );
    let mut book = open(flat.into_bytes());
    let names: Vec<String> = book.sheets().iter().map(|sheet| sheet.name.clone()).collect();
    assert_eq!(names, ["Log", "Log (2)", "Log (3)"]);
    let values = names.iter().map(|name| at(&book.sheet(name).unwrap(), "A1").text().into_owned()).collect::<Vec<_>>();
    assert_eq!(values, ["1", "2", "3"]);
}

#[test]
fn a_password_is_named_as_such() {
    let manifest = r#"<manifest:manifest><manifest:file-entry manifest:full-path="content.xml"><manifest:encryption-data/></manifest:file-entry></manifest:manifest>"#;
    let bytes = zipped(&[
        ("mimetype", "application/vnd.oasis.opendocument.spreadsheet"),
        ("META-INF/manifest.xml", manifest),
        ("content.xml", "\u{1}\u{2}"),
    ]);
    let error = Workbook::open(bytes).err().unwrap();
    assert_eq!(error, WorkbookError::PasswordProtected);
    assert!(error.to_string().contains("password"));
}
