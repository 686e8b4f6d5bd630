//! Records, channels and carried values of logs made in memory, and every fault.

use std::time::Duration;

use super::*;
use crate::{Carried, Change, DEFAULT_GAP};

#[test]
fn a_record_has_its_time_place_and_changes() {
    let (records, notices) = all_records(&mut planter(&[record(0, &[(0, 2000), (1, 400)]), record(1500, &[(2, -5)])]));
    assert_eq!(notices, []);
    assert_eq!(records.len(), 2);
    let last = &records[1];
    assert_eq!((last.number, last.status), (2, Some(4)));
    assert_eq!(last.local.unwrap().to_string(), "2025-05-06T12:00:01.5");
    assert_eq!(last.utc.unwrap().to_string(), "2025-05-06T17:00:01.5Z");
    assert_eq!((last.latitude, last.longitude), (Some(41.05), Some(-92.95)));
    assert_eq!(last.changes, [Change { position: 2, raw: -5 }]);
}

#[test]
fn a_position_may_be_missing_fixed_or_partly_logged() {
    for (position, bytes, expected) in [
        ("", 0, (None, None, None)),
        ("<PTN/>", 0, (None, None, None)),
        ("<PTN A=\"41.5\" B=\"-93.25\" D=\"1\"/>", 0, (Some(41.5), Some(-93.25), Some(1))),
        ("<PTN C=\"\" E=\"\" F=\"\" G=\"\"/>", 9, (None, None, None)),
        ("<PTN A=\"\"/>", 4, (None, None, None)),
    ] {
        let header = format!("<TIM A=\"\">{position}<DLV A=\"01AB\" B=\"\" C=\"DET-3\"/></TIM>");
        let mut log = [&NOON.to_le_bytes()[..], &DAY.to_le_bytes()].concat();
        log.extend(vec![7; bytes]);
        log.extend([1, 0, 200, 0, 0, 0]);
        let (records, notices) = all_records(&mut archive(&[
            ("TASKDATA.XML", PLANTER.as_bytes()),
            ("TLG00001.XML", header.as_bytes()),
            ("TLG00001.BIN", &log),
        ]));
        assert_eq!(notices, [], "{position}");
        let record = &records[0];
        assert_eq!((record.latitude, record.longitude, record.status), expected, "{position}");
        assert_eq!(record.changes, [Change { position: 0, raw: 200 }], "{position}");
    }
}

#[test]
fn a_survey_shows_what_a_person_needs_to_name_a_channel() {
    let mut bundle = planter(&[record(0, &[(1, 0), (2, 300)]), record(1000, &[(1, 440)]), record(2000, &[(1, 400)])]);
    let data = TaskData::open(&mut bundle).unwrap();
    let survey = data.survey(&mut bundle).unwrap();
    assert_eq!(survey.notices, []);
    let [speed, force, closing, fixed] = &survey.channels[..] else { panic!("{:?}", survey.channels) };

    assert_eq!((force.path().as_str(), force.ddi), ("Planter > Seed boom > Row 1", Some(0x01AB)));
    assert_eq!(
        (force.designator.as_deref(), force.name()),
        (Some("Gauge wheel force"), Some("Actual Downforce as Force"))
    );
    assert_eq!((force.seen.count, force.seen.first, force.seen.last), (3, Some(0), Some(400)));
    assert_eq!((force.seen.minimum, force.seen.maximum, force.seen.mean()), (Some(0), Some(440), Some(280.0)));
    assert_eq!((force.unit(), force.quantity()), (Some("kg"), Some((1.0, "N"))));
    assert!((force.value(440) - 44.86724).abs() < 1e-9);
    assert!(force.hint().unwrap().contains("not the closing force unless you know it is"));

    assert_eq!(
        (closing.designator.as_deref(), closing.name(), closing.quantity()),
        (Some("Closing force"), None, None)
    );
    assert_eq!((closing.value(300), closing.unit()), (100.0, Some("lbf")));
    assert!(closing.hint().unwrap().contains("makers"));

    assert_eq!(
        (fixed.constant, fixed.seen.count, fixed.path().as_str()),
        (Some(300), 0, "Planter > Seed boom > Row 2")
    );
    assert_eq!((speed.seen.count, speed.seen.mean(), speed.hint()), (0, None, None));
    assert_eq!((speed.path().as_str(), speed.device.as_deref()), ("Planter > Seed boom", Some("The planter")));

    let extent = &survey.logs[0];
    assert_eq!((extent.records, extent.located, extent.ahead_of_utc), (3, 3, Some((-5 * 3600, -5 * 3600))));
    assert_eq!(extent.earliest.unwrap().to_string(), "2025-05-06T12:00:00");
    assert_eq!(extent.latest.unwrap().to_string(), "2025-05-06T12:00:02");
    assert_eq!(extent.bounds.unwrap().north, 41.05);
}

#[test]
fn a_value_holds_until_the_next_change_but_not_over_a_gap_and_a_fixed_one_throughout() {
    let mut bundle = planter(&[
        record(0, &[]),
        record(1000, &[(1, 400)]),
        record(61_000, &[]),
        record(121_001, &[]),
        record(122_000, &[(1, 0), (3, 310)]),
        record(121_000, &[]),
        record(0, &[]),
    ]);
    let data = TaskData::open(&mut bundle).unwrap();
    let mut reader = data.read_log(&mut bundle, 0).unwrap();
    let chosen = [reader.channels()[3].clone(), reader.channels()[1].clone(), reader.channels()[2].clone()];
    let mut carried = Carried::new(&chosen, DEFAULT_GAP);
    let mut found = Vec::new();
    while let Some(record) = reader.next_record() {
        carried.update(record);
        found.push((carried.raw(0), carried.raw(1)));
        assert_eq!((carried.raw(2), carried.shown(2)), (None, None));
    }
    assert_eq!(
        found,
        [
            (Some(300), None),      // nothing is known before the first change
            (Some(300), Some(400)), // the change
            (Some(300), Some(400)), // 60 s without a record: still held
            (Some(300), None),      // 60.001 s: the machine may have been off
            (Some(310), Some(0)),   // zero is a value; a fixed value may be logged after all
            (Some(310), Some(0)),   // a second back
            (Some(300), None),      // two minutes back: the clock was set
        ]
    );
    let mut carried = Carried::new(&chosen, Duration::from_secs(3600));
    let (records, _) = all_records(&mut bundle);
    records.iter().for_each(|record| carried.update(record));
    assert_eq!((carried.raw(0), carried.quantity(1), carried.shown(9)), (Some(310), Some(0.0), None));
}

#[test]
fn every_fault_inside_a_log_is_counted_with_its_first_record() {
    let good = (410_500_000, -929_500_000);
    let mut log = vec![
        record(0, &[(1, 1)]),
        record(1000, &[(4, 1), (255, 2), (1, 3)]), // two channels that the header does not name
        record(500, &[]),                          // back in time
        record_at(NOON, DAY + 2, good, 4, &[]),    // two days on
        record_at(86_400_000, DAY + 2, good, 4, &[]), // beyond midnight
        record_at(NOON, DAY + 2, (i32::MAX, i32::MAX), 15, &[]), // not available
        record_at(NOON, DAY + 2, (0, 0), 0, &[]),  // no fix
        record_at(NOON, DAY + 2, (910_000_000, 0), 4, &[]), // beyond the pole
        record_at(NOON, DAY + 2, (410_000_000, 1_800_000_001), 4, &[]),
        record_at(NOON, DAY + 2, good, 0, &[(1, 9)]), // a place without a fix
    ];
    let mut cut = record(0, &[(1, 1), (2, 2)]);
    cut.truncate(cut.len() - 1);
    log.push(cut);
    let (records, notices) = all_records(&mut planter(&log));
    assert_eq!(records.len(), 10);
    assert_eq!(records[1].changes, [Change { position: 1, raw: 3 }]);
    assert_eq!(records[4].local, None);
    assert!(records[5..9].iter().all(|record| record.latitude.is_none() && record.longitude.is_none()));
    assert_eq!((records[9].latitude, records[9].changes.len()), (Some(41.05), 1));
    assert_eq!(
        codes(&notices),
        [
            ("log_unknown_channel", 2),
            ("log_no_time", 1),
            ("log_time_jumps", 1),
            ("log_time_backwards", 1),
            ("log_no_position", 2),
            ("log_position_impossible", 2),
            ("log_position_doubtful", 1),
            ("log_cut_short", 1),
        ]
    );
    let places: Vec<&str> = notices.iter().map(|notice| notice.place.as_str()).collect();
    assert_eq!(places[0], "TLG00001.BIN, from record 2");
    assert_eq!(places[7], "TLG00001.BIN, record 11");
}

#[test]
fn an_empty_log_has_no_records_and_no_faults() {
    assert_eq!(all_records(&mut planter(&[])), (vec![], vec![]));
}

#[test]
fn a_header_without_a_time_in_each_record_is_refused_and_odd_channels_keep_their_place() {
    let set = |header: &str| {
        archive(&[("TASKDATA.XML", PLANTER.as_bytes()), ("TLG00001.XML", header.as_bytes()), ("TLG00001.BIN", &[0; 6])])
    };
    let mut bundle = set("<TIM A=\"2025-05-06T12:00:00\"/>");
    let data = TaskData::open(&mut bundle).unwrap();
    let error = data.read_log(&mut bundle, 0).unwrap_err().to_string();
    assert!(error.contains("TLG00001.XML, line 1") && error.contains("2025-05-06T12:00:00"), "{error}");

    let mut bundle =
        set("<TIM A=\"\"><PTN/><PTN/><DLV A=\"XYZ\" C=\"DET-3\"/><DLV A=\"01AB\" B=\"much\" C=\"DET-9\"/>\
        <DLV A=\"DFFE\" B=\"\" C=\"DET-3\" D=\"65256\" E=\"16\" F=\"31\"/></TIM>");
    let reader = data.read_log(&mut bundle, 0).unwrap();
    let channels: Vec<_> = reader.channels().iter().map(|channel| (channel.position, channel.ddi)).collect();
    assert_eq!(channels, [(0, None), (1, Some(0x01AB)), (2, Some(57342))]);
    assert_eq!((reader.channels()[1].path().as_str(), reader.channels()[1].constant), ("DET-9", None));
    assert_eq!(reader.channels()[2].message, Some((65256, 16, 31)));
    assert!(reader.channels()[2].hint().unwrap().contains("another message"));
    assert_eq!(
        codes(&reader.notices()),
        [("position_twice", 1), ("channel_number_unreadable", 1), ("constant_unreadable", 1), ("part_missing", 1),]
    );

    let channels = "<DLV A=\"01AB\" B=\"\" C=\"DET-3\"/>".repeat(300);
    let mut bundle = set(&format!("<TIM A=\"\">{channels}</TIM>"));
    let reader = data.read_log(&mut bundle, 0).unwrap();
    assert_eq!((reader.channels().len(), codes(&reader.notices())), (256, vec![("too_many_channels", 1)]));
}

#[test]
fn the_same_position_in_two_logs_stays_two_channels() {
    let xml = PLANTER.replace("<TLG A=\"TLG00001\" C=\"1\"/>", "<TLG A=\"TLG00001\"/><TLG A=\"TLG00002\"/>");
    let second = HEADER.replace("DET-3", "DET-9").replace("DET-4", "DET-3").replace("DET-9", "DET-4");
    let log = record(0, &[(1, 400)]);
    let mut bundle = archive(&[
        ("TASKDATA.XML", xml.as_bytes()),
        ("TLG00001.XML", HEADER.as_bytes()),
        ("TLG00001.BIN", &log),
        ("TLG00002.XML", second.as_bytes()),
        ("TLG00002.BIN", &log),
    ]);
    let data = TaskData::open(&mut bundle).unwrap();
    let survey = data.survey(&mut bundle).unwrap();
    let forces: Vec<_> = survey.channels.iter().filter(|channel| channel.seen.count > 0).collect();
    let told: Vec<_> = forces.iter().map(|channel| (channel.log, channel.position, channel.path())).collect();
    assert_eq!(
        told,
        [(0, 1, "Planter > Seed boom > Row 1".to_owned()), (1, 1, "Planter > Seed boom > Row 2".to_owned())]
    );
}

#[test]
fn two_rows_with_one_series_are_told_and_a_few_equal_values_are_not() {
    let header = HEADER.replace("B=\"300\"", "B=\"\"");
    let survey = |records: u32, other: i32| {
        let log: Vec<u8> = (0..records)
            .flat_map(|step| record(step * 1000, &[(1, 400), (3, if step == 5 { other } else { 400 })]))
            .collect();
        let mut bundle = archive(&[
            ("TASKDATA.XML", PLANTER.as_bytes()),
            ("TLG00001.XML", header.as_bytes()),
            ("TLG00001.BIN", &log),
        ]);
        TaskData::open(&mut bundle).unwrap().survey(&mut bundle).unwrap()
    };
    let equal = survey(10, 400);
    assert_eq!(codes(&equal.notices), [("equal_series", 1)]);
    assert!(equal.notices[0].message.contains("Row 1; Planter > Seed boom > Row 2"), "{:?}", equal.notices);
    assert_eq!((codes(&survey(9, 400).notices), codes(&survey(10, 401).notices)), (vec![], vec![]));
    assert!(!equal.channels[1].same_source(&equal.channels[3]) && equal.channels[1].same_source(&equal.channels[1]));
}
