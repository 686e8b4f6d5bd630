//! ISO 11783-10 task data through the binary: a small invented planter with two row units and one air pressure.

use std::io::{Cursor, Write};

use crate::foreign::{balance, review_of};

/// A planter whose rows carry downforce (dictionary number 01AB, newton) and whose machine part logs an air pressure under a
/// number that makers use as they like, shown in kilopascals at 0.5 a step.
const TASKDATA: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<ISO11783_TaskData VersionMajor="4" VersionMinor="3">
 <DVC A="DVC-1" B="Invented planter">
  <DET A="DET-1" B="1" C="1" D="Planter" E="0" F="0"><DOR A="10"/></DET>
  <DET A="DET-2" B="2" C="6" D="Row 1" E="1" F="1"><DOR A="11"/></DET>
  <DET A="DET-3" B="3" C="6" D="Row 2" E="2" F="1"><DOR A="11"/></DET>
  <DPD A="10" B="E010" C="1" D="8" E="Closing air" F="20"/>
  <DPD A="11" B="01AB" C="1" D="8" E="Gauge wheel load"/>
  <DVP A="20" B="0" C="0.5" D="1" E="kPa"/>
 </DVC>
 <PFD A="PFD1" C="North" D="100000"/>
 <TSK A="TSK1" B="Planting" E="PFD1" G="4"><TLG A="TLG00001" C="1"/></TSK>
</ISO11783_TaskData>"#;

const HEADER: &str = r#"<TIM A="" D="4"><PTN A="" B="" D=""/><DLV A="E010" B="" C="DET-1"/><DLV A="01AB" B="" C="DET-2"/><DLV A="01AB" B="" C="DET-3"/></TIM>"#;

/// One record: milliseconds since midnight, and values as (channel, raw).
fn record(bytes: &mut Vec<u8>, milliseconds: u32, values: &[(u8, i32)]) {
    bytes.extend(milliseconds.to_le_bytes());
    // 2025-04-28, in days since 1980-01-01: 45 years of 365 days, 12 leap days, and 117 days into the year.
    bytes.extend((45 * 365_u16 + 12 + 117).to_le_bytes());
    bytes.extend(420_005_000_i32.to_le_bytes());
    bytes.extend((-929_999_500_i32).to_le_bytes());
    bytes.push(4);
    bytes.push(values.len() as u8);
    for (channel, raw) in values {
        bytes.push(*channel);
        bytes.extend(raw.to_le_bytes());
    }
}

/// The planter's task data as one archive.
pub fn archive() -> Vec<u8> {
    let mut log = Vec::new();
    record(&mut log, 36_000_000, &[(0, 400), (1, 500), (2, 600)]);
    record(&mut log, 36_001_000, &[(1, 510)]);
    record(&mut log, 36_002_000, &[(0, 420)]);
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let files = [
        ("data/TaskData.xml", TASKDATA.as_bytes()),
        ("data/TLG00001.XML", HEADER.as_bytes()),
        ("data/tlg00001.bin", &log),
    ];
    for (name, bytes) in files {
        writer.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
        writer.write_all(bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

const COUNTS: &[u8] = b"field_id,season,strip_id,emerged\nNorth,2025,1,30\n";

#[test]
fn channels_become_columns_as_the_block_says_and_values_hold_until_they_change() {
    let review = review_of(
        &[("monday.zip", &archive()), ("stand_count.csv", COUNTS)],
        "timezone = \"America/Chicago\"\n[[source]]\nfile = \"monday.zip\"\nkind = \"setting_log\"\nconstants.season = 2025\n\
         [[source.channel]]\ncolumn = \"actual_pressure_kpa\"\ndata = \"Closing air\"\n\
         [[source.channel]]\ncolumn = \"row_downforce_n\"\nddi = \"01AB\"\nelement = \"Row *\"\n",
    );
    let said = review.run("ingest", &["--json"]);
    assert_eq!(balance(&said.stdout), [7, 7, 0], "{}", said.stderr);
    let rows: Vec<String> = review
        .kept("setting_log")
        .iter()
        .map(|row| {
            format!(
                "{} {} {} {} {}",
                row["time"], row["field_id"], row["row_unit"], row["actual_pressure_kpa"], row["row_downforce_n"]
            )
        })
        .collect();
    // Ten o'clock of Chicago summer time; (raw + 0) × 0.5 as the machine shows it; the row's own force beside it.
    assert_eq!(
        rows,
        [
            "2025-04-28T15:00:00Z North Row 1 200.0 500.0",
            "2025-04-28T15:00:00Z North Row 2 200.0 600.0",
            "2025-04-28T15:00:01Z North Row 1 200.0 510.0",
            "2025-04-28T15:00:01Z North Row 2 200.0 600.0",
            "2025-04-28T15:00:02Z North Row 1 210.0 510.0",
            "2025-04-28T15:00:02Z North Row 2 210.0 600.0",
        ]
    );
}

#[test]
fn row_unit_downforce_is_never_closing_force_unless_somebody_says_so() {
    let block = |channel: &str| {
        format!(
            "[[source]]\nfile = \"monday.zip\"\nkind = \"setting_log\"\nconstants.season = 2025\n[[source.channel]]\n{channel}\n"
        )
    };
    let files: [(&str, &[u8]); 2] = [("monday.zip", &archive()), ("stand_count.csv", COUNTS)];
    // Without a block nothing is taken, and the message says what to do.
    let review = review_of(&files, "[[source]]\nfile = \"monday.zip\"\nkind = \"setting_log\"\n");
    let said = review.run("ingest", &[]);
    assert!(
        said.status == 1
            && said.stderr.contains("which channel is the closing force")
            && said.stderr.contains("evenstand check"),
        "{}",
        said.stderr
    );
    assert!(review.kept("setting_log").is_empty());
    // Said by a person, it is taken, and the finding remembers it.
    let review = review_of(&files, &block("column = \"actual_force_n\"\nddi = \"01AB\"\nelement = \"Row 1\""));
    let said = review.run("run", &[]);
    assert!(said.status < 2, "{}", said.stderr);
    let cautions = review.result("findings").into_iter().filter(|row| row["code"] == "channel_taken_as_said").count();
    assert_eq!(cautions, 1);
    assert_eq!(review.kept("setting_log")[0]["actual_force_n"], "500.0");
    // A force is no pressure, and a channel that is not there is named.
    let review = review_of(&files, &block("column = \"actual_pressure_kpa\"\nddi = \"01AB\"\nelement = \"Row 1\""));
    let said = review.run("ingest", &[]);
    assert!(said.stderr.contains("measures force") && said.stderr.contains("wants pressure"), "{}", said.stderr);
    let review = review_of(&files, &block("column = \"actual_pressure_kpa\"\ndata = \"Closing oil\""));
    let said = review.run("ingest", &[]);
    assert!(said.status == 1 && said.stderr.contains("Closing oil"), "{}", said.stderr);
}

#[test]
fn check_lists_the_channels_and_proposes_a_block_that_is_valid_as_it_stands() {
    let review = review_of(&[("monday.zip", &archive()), ("stand_count.csv", COUNTS)], "");
    let said = review.run("check", &[]);
    for part in [
        "ddi 01AB data \"Gauge wheel load\"",
        "2 parts, \"Row 1\" to \"Row 2\"",
        "not the closing force unless",
        "\"Closing air\" on \"Planter\": 2 values, 200 to 210 kPa",
    ] {
        assert!(said.stdout.contains(part), "{part}: {}", said.stdout);
    }
    let block = said.stdout.split_once("[[source]]").unwrap().1;
    let read: toml::Table = format!("[[source]]{block}").parse().unwrap();
    assert_eq!(read["source"][0]["file"].as_str(), Some("monday.zip"));
    let said = review.run("check", &["--json"]);
    let object: serde_json::Value = serde_json::from_str(&said.stdout).unwrap();
    assert_eq!(object["proposals"][0]["kind"], "setting_log");
}
