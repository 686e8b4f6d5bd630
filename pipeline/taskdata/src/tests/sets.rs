//! Opening a set: machines, places, work, linked files, and what is refused.

use super::*;
use crate::{ElementKind, Status};

#[test]
fn machines_fields_and_tasks_come_out_with_their_names() {
    let mut bundle = planter(&[record(0, &[])]);
    let data = TaskData::open(&mut bundle).unwrap();
    assert_eq!(data.version, (Some(3), Some(3)));
    assert_eq!(data.notices, []);
    let (device, row) = data.element("DET-4").unwrap();
    assert_eq!(device.designator.as_deref(), Some("The planter"));
    assert_eq!((row.designator.as_deref(), row.kind, row.number), (Some("Row 2"), ElementKind::Unit, Some(3)));
    assert_eq!(row.parents.iter().map(|name| &**name).collect::<Vec<_>>(), ["Planter", "Seed boom"]);
    let field = data.field("PFD1").unwrap();
    assert_eq!((field.designator.as_deref(), field.area_m2), (Some("North"), Some(20_000.0)));
    assert_eq!(
        field.boundary.iter().map(|ring| (ring.hole, ring.points.len())).collect::<Vec<_>>(),
        [(false, 3), (true, 3)]
    );
    assert_eq!(field.boundary[0].points[1], [-92.9, 41.0]);
    assert_eq!(data.farms[0].designator.as_deref(), Some("Home"));
    let task = &data.tasks[0];
    assert_eq!((task.designator.as_deref(), task.status), (Some("Plant north"), Some(Status::Completed)));
    assert_eq!(task.times[0].start.unwrap().local.to_string(), "2025-05-06T12:00:00");
    assert_eq!(task.times[0].start.unwrap().offset_seconds, None);
    assert_eq!(task.times[0].stop.unwrap().offset_seconds, Some(-5 * 3600));
    let place = data.logs().next().unwrap();
    assert_eq!((place.log.name.as_str(), place.task.unwrap().id.as_str()), ("TLG00001", "TSK1"));
    assert_eq!(place.field.unwrap().id, "PFD1");
}

#[test]
fn version_4_with_linked_files_in_a_folder_and_small_letters_says_the_same() {
    let mut bundle = archive_of(&linked(&record(0, &[(1, 400)])));
    let data = TaskData::open(&mut bundle).unwrap();
    assert_eq!(data.version, (Some(4), Some(2)));
    assert_eq!(codes(&data.notices), [("linked_file_missing", 1), ("log_without_task", 1)]);
    assert!(data.notices[0].message.contains("PDT00000.XML"), "{:?}", data.notices);
    let survey = data.survey(&mut bundle).unwrap();
    assert_eq!(survey.channels.len(), 8);
    assert_eq!(survey.channels[1].path(), "Planter > Seed boom > Row 1");
    // The log that no task names is read as well.
    assert_eq!((data.logs[1].task, survey.logs[1].records), (None, 1));
    assert_eq!(data.logs().map(|place| place.field.is_some()).collect::<Vec<_>>(), [true, false]);
}

#[test]
fn two_sets_in_one_archive_are_refused_by_name_and_can_be_opened_one_by_one() {
    let mut bundle = archive(&[("a/TASKDATA.XML", PLANTER.as_bytes()), ("b/taskdata.xml", PLANTER.as_bytes())]);
    let error = refusal(&mut bundle);
    assert!(error.contains("a/TASKDATA.XML") && error.contains("b/taskdata.xml"), "{error}");
    for place in TaskData::places(&bundle) {
        assert_eq!(TaskData::open_at(&mut bundle, &place).unwrap().tasks.len(), 1, "{place}");
    }
    let error = refusal(&mut archive(&[("notes.txt", b"x")]));
    assert!(error.contains("no TASKDATA.XML") && error.contains("notes.txt"), "{error}");
}

#[test]
fn a_repeated_id_is_named_with_both_that_carry_it_across_files_too() {
    let error =
        refusal_of("<ISO11783_TaskData VersionMajor=\"4\">\n<WKR A=\"WKR1\"/>\n<WKR A=\"WKR1\"/></ISO11783_TaskData>");
    assert!(error.contains("WKR1") && error.contains("line 2") && error.contains("line 3"), "{error}");
    let main = r#"<ISO11783_TaskData VersionMajor="4"><XFR A="FRM00000"/><FRM A="FRM1"/></ISO11783_TaskData>"#;
    let error =
        refusal(&mut archive(&[("TASKDATA.XML", main.as_bytes()), ("FRM00000.XML", br#"<XFC><FRM A="FRM1"/></XFC>"#)]));
    assert!(error.contains("FRM1") && error.contains("FRM00000.XML"), "{error}");
}

#[test]
fn missing_grids_fields_and_logs_are_said_and_do_not_stop_the_reading() {
    let xml = r#"<ISO11783_TaskData VersionMajor="4"><TSK A="TSK1" E="PFD9"><GRD G="GRD00001"/><TLG A="TLG00001"/>
        <TLG A="TLG00001"/><TIM A="2025-05-06T12:00:00" B="2025-05-06T11:00:00"/><TIM A="yesterday"/></TSK></ISO11783_TaskData>"#;
    let mut bundle = archive(&[("TASKDATA.XML", xml.as_bytes()), ("TLG00001.BIN", b"")]);
    let data = TaskData::open(&mut bundle).unwrap();
    let mut found = codes(&data.notices);
    found.sort();
    let expected = [
        "field_missing",
        "grid_missing",
        "log_file_missing",
        "log_named_twice",
        "task_time_backwards",
        "task_time_unreadable",
    ];
    assert_eq!(found, expected.map(|code| (code, 1)));
    assert_eq!(data.logs.len(), 1);
    let error = data.read_log(&mut bundle, 0).unwrap_err().to_string();
    assert!(error.contains("TLG00001.XML"), "{error}");
    assert!(data.read_log(&mut bundle, 1).unwrap_err().to_string().contains("number 1"));
    assert_eq!(codes(&data.survey(&mut bundle).unwrap().notices), [("log_unreadable", 1)]);
}

#[test]
fn a_bare_angle_bracket_in_a_name_is_refused_with_line_and_cure() {
    let error = refusal_of("<ISO11783_TaskData>\n<DVC A=\"DVC-1\" E=\"<serial>\"/></ISO11783_TaskData>");
    assert!(
        error.contains("TASKDATA.XML, line 2") && error.contains("&lt;") && error.contains("attribute E"),
        "{error}"
    );
}

#[test]
fn damaged_and_foreign_xml_is_refused_by_what_is_wrong_with_it() {
    for (xml, expected) in [
        ("", "empty"),
        ("<ISO11783_TaskData>\n<TSK A=\"TSK1\">", "ends inside TSK of line 2"),
        ("<ISO11783_TaskData></TSK>", "line 1"),
        ("<kml/>", "begins with <kml>"),
        ("<ISO11783_TaskData/><ISO11783_TaskData/>", "follows after the end"),
        ("<ISO11783_TaskData A=\"1\" A=\"2\"/>", "damaged"),
        ("<ISO11783_TaskData A=\"&unknown;\"/>", "five entities"),
        ("<!DOCTYPE x [<!ENTITY a \"b\">]><ISO11783_TaskData/>", "DOCTYPE"),
        ("<?xml version=\"1.0\" encoding=\"EBCDIC\"?><ISO11783_TaskData/>", "ebcdic"),
    ] {
        let error = refusal_of(xml);
        assert!(error.contains(expected), "{xml}: {error}");
    }
}

#[test]
fn what_is_nested_or_repeated_beyond_reason_is_refused() {
    let deep = format!("<ISO11783_TaskData>{}", "<X>".repeat(100_000));
    assert!(refusal_of(&deep).contains("32 levels"));
    let attributes: String = (0..300).map(|number| format!(" a{number}=\"1\"")).collect();
    assert!(refusal_of(&format!("<ISO11783_TaskData{attributes}/>")).contains("256 attributes"));
    let kept = format!("<ISO11783_TaskData>{}</ISO11783_TaskData>", "<FRM/>".repeat(1_000_001));
    assert!(refusal_of(&kept).contains("1000000 elements"));
    let parts = format!("<ISO11783_TaskData><DVC>{}</DVC></ISO11783_TaskData>", "<DET/>".repeat(20_001));
    assert!(refusal_of(&parts).contains("20000 device elements"));
}

#[test]
fn parts_that_are_each_others_parents_do_not_lead_round_for_ever() {
    let xml = r#"<ISO11783_TaskData VersionMajor="4"><DVC A="DVC1"><DET A="DET1" B="1" D="a" F="2"/><DET A="DET2" B="2" D="b" F="1"/>
        <DET A="DET3" B="3" D="c" F="3"/></DVC></ISO11783_TaskData>"#;
    let data = TaskData::open(&mut archive(&[("TASKDATA.XML", xml.as_bytes())])).unwrap();
    let parents = |id| data.element(id).unwrap().1.parents.iter().map(|name| name.to_string()).collect::<Vec<_>>();
    assert_eq!(parents("DET1"), ["b"]);
    assert_eq!(parents("DET3"), Vec::<String>::new());
}

#[test]
fn accents_are_read_from_western_bytes_that_claim_to_be_utf8() {
    let xml = b"<?xml version=\"1.0\" encoding=\"UTF-8\"?><ISO11783_TaskData VersionMajor=\"4\"><FRM A=\"FRM1\" B=\"S\xFCdhof &amp; Co\"/></ISO11783_TaskData>";
    let data = TaskData::open(&mut archive(&[("TASKDATA.XML", xml)])).unwrap();
    assert_eq!(data.farms[0].designator.as_deref(), Some("Südhof & Co"));
    assert_eq!(codes(&data.notices), [("encoding_guessed", 1)]);
}

#[test]
fn a_presentation_that_contradicts_the_dictionary_is_said() {
    let xml = PLANTER.replace("C=\"0.101971\"", "C=\"1\"").replace("C=\"0.0036\"", "C=\"0\"");
    let data =
        TaskData::open(&mut archive(&[("TASKDATA.XML", xml.as_bytes()), ("TLG00001.XML", b""), ("TLG00001.BIN", b"")]))
            .unwrap();
    assert_eq!(codes(&data.notices), [("presentation_unusable", 1), ("presentation_disagrees", 1)]);
    assert!(
        data.notices[1].message.contains("Gauge wheel force") && data.notices[1].message.contains("1 N"),
        "{:?}",
        data.notices
    );
}

#[test]
fn a_damaged_linked_file_does_not_take_the_logs_along() {
    let main = r#"<ISO11783_TaskData VersionMajor="4"><XFR A="TSK00000"/><XFR A="FRM00000"/></ISO11783_TaskData>"#;
    let mut bundle = archive(&[
        ("TASKDATA.XML", main.as_bytes()),
        ("TSK00000.XML", b"<XFC><TSK A=\"TSK1\"><TLG A=\"TLG00001\"/>"),
        ("FRM00000.XML", b"<XFC><FRM A=\"FRM1\" B=\"Home\"/></XFC>"),
        ("TLG00001.XML", HEADER.as_bytes()),
        ("TLG00001.BIN", &record(0, &[(1, 400)])),
    ]);
    let data = TaskData::open(&mut bundle).unwrap();
    assert_eq!(codes(&data.notices), [("linked_file_unreadable", 1), ("log_without_task", 1)]);
    assert!(data.notices[0].message.contains("ends inside TSK"), "{:?}", data.notices);
    assert_eq!((data.farms.len(), data.survey(&mut bundle).unwrap().logs[0].records), (1, 1));
}

#[test]
fn two_files_whose_names_differ_by_case_alone_are_told() {
    let log = record(0, &[]);
    let mut bundle = archive(&[
        ("TASKDATA.XML", PLANTER.as_bytes()),
        ("TLG00001.XML", HEADER.as_bytes()),
        ("TLG00001.BIN", &log),
        ("tlg00001.bin", &log),
    ]);
    let data = TaskData::open(&mut bundle).unwrap();
    assert_eq!(codes(&data.notices), [("log_name_repeated", 1)]);
    assert_eq!((data.logs.len(), data.logs[0].records_file.as_deref()), (1, Some("TLG00001.BIN")));
}

#[test]
fn long_names_are_cut_and_odd_boundaries_left_out_with_a_word() {
    let xml = format!(
        "<ISO11783_TaskData VersionMajor=\"4\"><PFD A=\"PFD1\" C=\"{}\"><PLN A=\"1\"><LSG A=\"9\"/>\
         <LSG A=\"1\"><PNT A=\"2\" C=\"95\" D=\"0\"/><PNT A=\"2\" C=\"1\" D=\"1\"/></LSG></PLN></PFD></ISO11783_TaskData>",
        "ü".repeat(600)
    );
    let data = TaskData::open(&mut archive(&[("TASKDATA.XML", xml.as_bytes())])).unwrap();
    assert_eq!(data.fields[0].designator.as_ref().unwrap().chars().count(), 512);
    assert_eq!(data.fields[0].boundary, []);
    let expected = ["text_cut", "boundary_line_unknown", "boundary_corners_dropped", "boundary_too_short"];
    assert_eq!(codes(&data.notices), expected.map(|code| (code, 1)));
}

#[test]
fn a_channel_takes_its_name_from_its_own_part_before_the_rest_of_the_machine() {
    let xml = r#"<ISO11783_TaskData VersionMajor="4"><DVC A="DVC1">
        <DET A="DET1" B="1" D="left" F="0"><DOR A="12"/><DOR A="11"/></DET><DET A="DET2" B="2" D="right" F="0"><DOR A="13"/></DET>
        <DET A="DET3" B="3" D="middle" F="0"/>
        <DPD A="11" B="0038" E="data"/><DPT A="12" B="0038" C="50" D="property"/><DPD A="13" B="0038" E="right depth"/>
        <DPD A="14" B="018D" E="only speed"/></DVC></ISO11783_TaskData>"#;
    let data = TaskData::open(&mut archive(&[("TASKDATA.XML", xml.as_bytes())])).unwrap();
    let name = |id, ddi| {
        let (device, element) = data.element(id).unwrap();
        device.data_of(element, ddi).and_then(|entry| entry.designator.as_deref())
    };
    assert_eq!((name("DET1", 0x38), name("DET2", 0x38)), (Some("data"), Some("right depth")));
    // A part that refers to nothing: what is one of its kind is named, what is not stays open.
    assert_eq!((name("DET3", 0x18D), name("DET3", 0x38)), (Some("only speed"), None));
}

#[test]
fn a_file_that_links_to_itself_is_read_once_and_another_version_is_said() {
    let main = r#"<ISO11783_TaskData><XFR A="FRM00000"/></ISO11783_TaskData>"#;
    let linked = br#"<XFC><XFR A="FRM00000.xml"/><XFR A="TASKDATA"/><FRM A="FRM1"/></XFC>"#;
    let mut bundle = archive(&[("TASKDATA.XML", main.as_bytes()), ("FRM00000.XML", linked)]);
    let data = TaskData::open(&mut bundle).unwrap();
    assert_eq!((data.farms.len(), codes(&data.notices)), (1, vec![("version_unknown", 1)]));
}
