//! Whole sets of task data, made in memory, and the open ones beside the repository where they are there.

mod files;
mod logs;
mod mutations;
mod round_trip;
mod sets;

use std::io::{Cursor, Write};

use evenstand_bundle::{Bundle, Limits};
use zip::write::SimpleFileOptions;

use crate::{Notice, Record, TaskData};

/// An archive of these files.
fn archive(files: &[(&str, &[u8])]) -> Bundle {
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    // Stored, because tests make thousands of them.
    let options = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, bytes) in files {
        writer.start_file(*name, options).unwrap();
        writer.write_all(bytes).unwrap();
    }
    Bundle::of_bytes(writer.finish().unwrap().into_inner(), Limits::default()).unwrap()
}

/// A planter of two rows under a seed boom, version 3, everything in one file.
const PLANTER: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<ISO11783_TaskData VersionMajor="3" VersionMinor="3" DataTransferOrigin="2" Unknown="x">
  <FRM A="FRM1" B="Home"/>
  <PFD A="PFD1" C="North" D="20000" F="FRM1">
    <PLN A="1"><LSG A="1">
      <PNT A="2" C="41.0" D="-93.0"/><PNT A="2" C="41.0" D="-92.9"/><PNT A="2" C="41.1" D="-92.9"/>
    </LSG><LSG A="2">
      <PNT A="2" C="41.01" D="-92.99"/><PNT A="2" C="41.01" D="-92.98"/><PNT A="2" C="41.02" D="-92.98"/>
    </LSG></PLN>
    <PLN A="2"><LSG A="1"><PNT A="2" C="1" D="1"/></LSG></PLN>
  </PFD>
  <DVC A="DVC-1" B="The planter" P99_own="1">
    <DET A="DET-1" B="1" C="1" D="Planter" E="0" F="0"/>
    <DET A="DET-2" B="2" C="2" D="Seed boom" E="1" F="1"><DOR A="20"/></DET>
    <DET A="DET-3" B="3" C="5" D="Row 1" E="2" F="2"><DOR A="21"/><DOR A="22"/></DET>
    <DET A="DET-4" B="4" C="5" D="Row 2" E="3" F="2"><DOR A="21"/><DOR A="22"/></DET>
    <DPD A="20" B="018D" C="1" D="9" E="Speed" F="31"/>
    <DPD A="21" B="01ab" C="1" D="9" E="Gauge wheel force" F="30"/>
    <DPD A="22" B="E014" C="1" D="9" E="Closing force" F="32"/>
    <DVP A="30" B="0" C="0.101971" D="1" E="kg"/>
    <DVP A="31" B="0" C="0.0036" D="1" E="km/h"/>
    <DVP A="32" B="-100" C="0.5" D="1" E="lbf"/>
  </DVC>
  <TSK A="TSK1" B="Plant north" D="FRM1" E="PFD1" G="4">
    <TIM A="2025-05-06T12:00:00" B="2025-05-06T14:00:00-05:00" D="4"><DLV A="0077" B="246" C="DET-2"/></TIM>
    <TLG A="TLG00001" C="1"/>
  </TSK>
</ISO11783_TaskData>"#;

/// Position, speed of the boom, force and closing force of row 1, and a fixed force of row 2.
const HEADER: &str = r#"<TIM A="" D="4"><PTN A="" B="" D="" H="" I=""/>
  <DLV A="018D" B="" C="DET-2"/><DLV A="01AB" B="" C="DET-3"/><DLV A="E014" B="" C="DET-3"/><DLV A="01AB" B="300" C="DET-4"/>
</TIM>"#;

/// 6 May 2025.
const DAY: u16 = 16_562;
const NOON: u32 = 43_200_000;

/// Bytes of a record under [`HEADER`], at this many milliseconds after noon.
fn record(after_noon: u32, values: &[(u8, i32)]) -> Vec<u8> {
    record_at(NOON + after_noon, DAY, (410_500_000, -929_500_000), 4, values)
}

fn record_at(time: u32, day: u16, place: (i32, i32), status: u8, values: &[(u8, i32)]) -> Vec<u8> {
    let mut bytes = Vec::new();
    bytes.extend(time.to_le_bytes());
    bytes.extend(day.to_le_bytes());
    bytes.extend(place.0.to_le_bytes());
    bytes.extend(place.1.to_le_bytes());
    bytes.push(status);
    // Universal time is five hours ahead of the machine's clock.
    bytes.extend(time.wrapping_add(5 * 3_600_000).to_le_bytes());
    bytes.extend(day.to_le_bytes());
    bytes.push(u8::try_from(values.len()).unwrap());
    for (position, raw) in values {
        bytes.push(*position);
        bytes.extend(raw.to_le_bytes());
    }
    bytes
}

/// A set of the planter with these records.
fn planter(records: &[Vec<u8>]) -> Bundle {
    archive(&[
        ("TASKDATA.XML", PLANTER.as_bytes()),
        ("TLG00001.XML", HEADER.as_bytes()),
        ("TLG00001.BIN", &records.concat()),
    ])
}

/// The planter as version 4: machines and tasks in linked files, names in other cases, all in a folder of the archive.
fn linked(log: &[u8]) -> Vec<(&'static str, Vec<u8>)> {
    let cut = |from: &str, to: &str| {
        let (start, end) = (PLANTER.find(from).unwrap(), PLANTER.find(to).unwrap() + to.len());
        format!("<?xml version=\"1.0\"?><XFC>{}</XFC>", &PLANTER[start..end]).into_bytes()
    };
    let main = r#"<ISO11783_TaskData VersionMajor="4" VersionMinor="2">
        <XFR A="DVC00000" B="1"/><XFR A="TSK00000" B="1"/><XFR A="TSK00000" B="1"/><XFR A="PDT00000" B="1"/>
        <PFD A="PFD1" C="North"/></ISO11783_TaskData>"#;
    vec![
        ("Export/Set/TaskData.xml", main.as_bytes().to_vec()),
        ("Export/Set/dvc00000.xml", cut("<DVC", "</DVC>")),
        ("Export/Set/Tsk00000.Xml", cut("<TSK", "</TSK>")),
        ("Export/Set/tlg00001.xml", HEADER.as_bytes().to_vec()),
        ("Export/Set/tlg00001.bin", log.to_vec()),
        ("Export/Set/TLG00007.xml", HEADER.as_bytes().to_vec()),
        ("Export/Set/TLG00007.bin", log.to_vec()),
        ("Export/readme.txt", b"x".to_vec()),
    ]
}

fn archive_of(files: &[(&str, Vec<u8>)]) -> Bundle {
    archive(&files.iter().map(|(name, bytes)| (*name, bytes.as_slice())).collect::<Vec<_>>())
}

/// All records of the first log, and its notices.
fn all_records(bundle: &mut Bundle) -> (Vec<Record>, Vec<Notice>) {
    let data = TaskData::open(bundle).unwrap();
    let mut reader = data.read_log(bundle, 0).unwrap();
    let mut records = Vec::new();
    while let Some(record) = reader.next_record() {
        records.push(record.clone());
    }
    (records, reader.notices())
}

fn codes(notices: &[Notice]) -> Vec<(&'static str, u64)> {
    notices.iter().map(|notice| (notice.code, notice.count)).collect()
}

fn refusal(bundle: &mut Bundle) -> String {
    TaskData::open(bundle).expect_err("it was read").to_string()
}

/// The one file `name` of an archive as a whole set that is refused.
fn refusal_of(xml: &str) -> String {
    refusal(&mut archive(&[("TASKDATA.XML", xml.as_bytes())]))
}
