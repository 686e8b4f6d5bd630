//! Open task data of real terminals, and a log written out by hand, where they lie beside the repository.

use std::path::{Path, PathBuf};

use super::*;
use crate::{Channel, LogExtent};

/// A file of the folder beside the repository; says so where it is not there.
fn shared(name: &str) -> Option<PathBuf> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared").join(name);
    if !path.exists() {
        println!("skipped: ../shared is not there");
        return None;
    }
    Some(path)
}

fn open_bundle(name: &str) -> Option<Bundle> {
    let path = shared(&format!("data/isoxml/{name}"))?;
    let opened = if path.is_dir() {
        Bundle::of_folder(&path, Limits::default())
    } else {
        Bundle::of_zip(&path, Limits::default())
    };
    Some(opened.unwrap())
}

/// What follows `"key":` after the place where `under` stands; a list is split at its commas.
fn expected_values(json: &str, under: &str, key: &str) -> Vec<String> {
    let object = &json[json.find(under).unwrap_or_else(|| panic!("{under}"))..];
    let key = format!("\"{key}\":");
    let value = &object[object.find(&key).unwrap_or_else(|| panic!("{key}")) + key.len()..];
    let (value, end) = (value.trim_start(), [',', '}']);
    let text = match value.strip_prefix('[') {
        Some(list) => list.split(']').next().unwrap(),
        None => value.split(end).next().unwrap(),
    };
    text.split(',').map(|value| value.trim().trim_matches('"').to_owned()).collect()
}

fn expected_numbers(json: &str, under: &str, key: &str) -> Vec<f64> {
    expected_values(json, under, key).iter().map(|number| number.parse().unwrap()).collect()
}

fn bounds_of(extent: &LogExtent) -> Vec<f64> {
    let bounds = extent.bounds.unwrap();
    vec![bounds.south, bounds.north, bounds.west, bounds.east]
}

const PLANTER_32: &str = "planter32_gaugewheel_singlelayer.zip";
const TRACTOR: &str = "v4_tractor_timelog_external_files.zip";

#[test]
fn the_planter_of_32_rows_has_its_expected_logs_and_forces() {
    let Some((mut bundle, json)) = open_bundle(PLANTER_32).zip(shared("data/expected_public.json")) else { return };
    let json = std::fs::read_to_string(json).unwrap();
    let expected = &json[json.find(&format!("isoxml/{PLANTER_32}")).unwrap()..];
    let data = TaskData::open(&mut bundle).unwrap();
    assert_eq!(data.notices, []);
    let survey = data.survey(&mut bundle).unwrap();

    for (at, extent) in survey.logs.iter().enumerate() {
        let log = (at + 1).to_string();
        assert_eq!(vec![extent.records as f64], expected_numbers(expected, "records_per_tlg", &log));
        let channels = survey.channels.iter().filter(|channel| channel.log == at).count();
        assert_eq!(vec![channels as f64], expected_numbers(expected, "channels_per_tlg", &log));
    }
    assert_eq!(survey.logs.len(), 3);
    let bounds = expected_numbers(expected, "time_range_local", "bbox_lat_lon");
    for extent in &survey.logs {
        assert_eq!(bounds_of(extent), bounds);
        let times = [extent.earliest, extent.latest].map(|time| format!("{:.3}", time.unwrap()));
        assert_eq!(&times[..], expected_values(expected, "\"raw_unit\"", "time_range_local"));
    }

    let forces: Vec<&Channel> = survey.channels.iter().filter(|channel| channel.ddi == Some(0x01AB)).collect();
    assert_eq!(
        vec![forces.len() as f64],
        expected_numbers(expected, "target_gauge_wheel_force_raw", "rows_with_gauge_wheel_force")
    );
    for force in &forces {
        let row = format!("\"{}\"", force.element.as_deref().unwrap());
        let number = |key| expected_numbers(expected, &row, key)[0];
        assert_eq!(force.seen.count as f64, number("n"), "{row}");
        assert_eq!(force.seen.first.map(f64::from), Some(number("first")), "{row}");
        assert_eq!(force.seen.last.map(f64::from), Some(number("last")), "{row}");
        assert!((force.seen.mean().unwrap() - number("mean_of_logged_changes")).abs() < 5e-5, "{row}");
        assert_eq!((force.unit(), force.quantity()), (Some("kgs"), Some((1.0, "N"))), "{row}");
        assert_eq!(&*force.parents[0], "Element", "{row}");
        assert_eq!(force.designator.as_deref(), Some("Gauge Wheel Force"), "{row}");
    }
    let target = survey.channels.iter().find(|channel| channel.ddi == Some(0x01AA)).unwrap();
    assert_eq!((&*target.element_id, target.seen.first, target.seen.last), ("DET-8", Some(444), Some(444)));
    let singulation =
        survey.channels.iter().filter(|channel| channel.ddi == Some(0x019F)).filter_map(|channel| channel.seen.maximum);
    assert_eq!(
        vec![f64::from(singulation.max().unwrap())],
        expected_numbers(expected, "\"other\"", "seed_singulation_ppm_max")
    );
}

#[test]
fn the_mean_of_forces_that_are_not_zero_is_the_expected_one() {
    let Some((mut bundle, json)) = open_bundle(PLANTER_32).zip(shared("data/expected_public.json")) else { return };
    let json = std::fs::read_to_string(json).unwrap();
    let data = TaskData::open(&mut bundle).unwrap();
    let mut compared = 0;
    for log in 0..data.logs.len() {
        let mut reader = data.read_log(&mut bundle, log).unwrap();
        let channels = reader.channels().to_vec();
        let mut sums = vec![(0.0, 0.0); channels.len()];
        while let Some(record) = reader.next_record() {
            for change in record.changes.iter().filter(|change| change.raw != 0) {
                let sum = &mut sums[usize::from(change.position)];
                *sum = (sum.0 + f64::from(change.raw), sum.1 + 1.0);
            }
        }
        for (channel, (sum, count)) in channels.iter().zip(sums).filter(|(channel, _)| channel.ddi == Some(0x01AB)) {
            let row = format!("\"{}\"", channel.element.as_deref().unwrap());
            let expected = expected_numbers(&json, &row, "nonzero_mean")[0];
            assert!((sum / count - expected).abs() < 5e-5, "{row}");
            compared += 1;
        }
    }
    assert_eq!(compared, 32);
}

#[test]
fn the_tractor_has_its_expected_records_channels_and_extent() {
    let Some((mut bundle, json)) = open_bundle(TRACTOR).zip(shared("data/expected_public.json")) else { return };
    let json = std::fs::read_to_string(json).unwrap();
    let under = format!("isoxml/{TRACTOR}");
    let data = TaskData::open(&mut bundle).unwrap();
    let survey = data.survey(&mut bundle).unwrap();
    assert_eq!(vec![survey.logs[0].records as f64], expected_numbers(&json, &under, "records"));
    assert_eq!(vec![survey.channels.len() as f64], expected_numbers(&json, &under, "channels"));
    assert_eq!(bounds_of(&survey.logs[0]), expected_numbers(&json, &under, "bbox_lat_lon"));
    assert_eq!(survey.channels[3].designator.as_deref(), Some("Speed"));
    assert_eq!(data.logs().next().unwrap().field.unwrap().id, "PFD9");
}

#[test]
fn plans_without_logs_are_read() {
    for (name, version, field, rings) in [
        ("v4_seeding_zones", 4, Some("border"), 1),
        ("v3_grid_type2", 3, Some("BH-Feld 2023"), 1),
        ("grid_in_subfolder.zip", 4, None, 0),
    ] {
        let Some(mut bundle) = open_bundle(name) else { return };
        let data = TaskData::open(&mut bundle).unwrap();
        assert_eq!((data.version.0, data.logs.len(), &data.notices[..]), (Some(version), 0, &[][..]), "{name}");
        assert_eq!(data.fields.first().and_then(|field| field.designator.as_deref()), field, "{name}");
        assert_eq!(data.fields.first().map_or(0, |field| field.boundary.len()), rings, "{name}");
    }
}

#[test]
fn broken_sets_are_refused_each_for_its_own_reason() {
    for (name, expected) in [
        ("invalid_xml", &["TASKDATA.xml, line 3", "attribute E of DVC", "&lt;"][..]),
        ("bad_no_taskdata.zip", &["no TASKDATA.XML", "LINKLIST.xml"]),
        ("duplicate_xmlid.zip", &["CTP-1", "line 3", "line 6"]),
        ("two_taskdata_in_zip.zip", &["2 task data sets", "TASKDATA.XML and task2/TASKDATA.XML"]),
    ] {
        let Some(mut bundle) = open_bundle(name) else { return };
        let error = refusal(&mut bundle);
        assert!(expected.iter().all(|part| error.contains(part)), "{name}: {error}");
    }
}

#[test]
fn a_plan_whose_grid_is_missing_is_read_and_says_so() {
    let Some(mut bundle) = open_bundle("grid_without_binary.zip") else { return };
    let data = TaskData::open(&mut bundle).unwrap();
    assert_eq!(codes(&data.notices), [("grid_missing", 1)]);
    assert!(data.notices[0].message.contains("GRD00001.BIN"), "{:?}", data.notices);
}

#[test]
fn the_log_written_out_by_hand_decodes_to_its_table() {
    let Some(folder) = shared("reference") else { return };
    let read = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    let hex = read("tlg_example_hex.txt");
    let digits: Vec<u8> = hex.bytes().filter(u8::is_ascii_hexdigit).collect();
    let bytes: Vec<u8> =
        digits.chunks(2).map(|pair| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap()).collect();
    assert_eq!(bytes.len(), 83);
    let mut bundle = archive(&[
        ("TASKDATA.XML", PLANTER.as_bytes()),
        ("TLG00001.XML", read("tlg_example_header.xml").as_bytes()),
        ("TLG00001.BIN", &bytes),
    ]);
    let data = TaskData::open(&mut bundle).unwrap();
    let mut reader = data.read_log(&mut bundle, 0).unwrap();
    let mut carried = crate::Carried::new(reader.channels(), crate::DEFAULT_GAP);
    let table = read("tlg_example_decoded.csv");
    let mut rows = table.lines().skip(1);
    while let Some(record) = reader.next_record() {
        carried.update(record);
        let cells: Vec<&str> = rows.next().unwrap().split(',').collect();
        assert_eq!(record.local.unwrap().to_string(), format!("{}T{}", cells[1], cells[2]));
        assert_eq!((record.latitude, record.longitude), (cells[3].parse().ok(), cells[4].parse().ok()));
        assert_eq!(record.status, cells[5].parse().ok());
        let raw: Vec<_> = (0..4).map(|place| carried.raw(place)).collect();
        assert_eq!([raw[0], raw[1], raw[3]], [6, 7, 9].map(|cell: usize| cells[cell].parse().ok()));
        let count: f64 = cells[8].parse().unwrap();
        assert!((carried.quantity(2).unwrap() - count).abs() < 1e-9);
    }
    assert_eq!((rows.next(), reader.notices()), (None, vec![]));
}

#[test]
fn rows_that_carry_one_and_the_same_series_are_told() {
    let Some(mut bundle) = open_bundle(PLANTER_32) else { return };
    let data = TaskData::open(&mut bundle).unwrap();
    let survey = data.survey(&mut bundle).unwrap();
    let forces: Vec<&Channel> = survey.channels.iter().filter(|channel| channel.ddi == Some(0x01AB)).collect();
    let repeats = |at: usize| forces[..at].iter().any(|earlier| earlier.same_series(forces[at]));
    // The list of expected values has 28 distinct series in 32 rows, found by another decoder.
    assert_eq!((0..forces.len()).filter(|at| !repeats(*at)).count(), 28);
    let told = |notice: &&Notice| notice.code == "equal_series" && notice.message.contains("\"Gauge Wheel Force\"");
    assert_eq!(survey.notices.iter().filter(told).count(), 4);
}
