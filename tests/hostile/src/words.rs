//! Words that people type: settings, blocks of foreign files, names of columns, quantities, times.

use evenstand_agronomy::quantity::{length, population, pressure};
use evenstand_agronomy::{Kind, kinds_of_suffix};
use evenstand_ingest::{Format, Mapping, Zones, read_text};
use evenstand_settings::Settings;

use crate::door::{read, settings};
use crate::parts::Parts;

/// The text of `evenstand.toml`: refused in words, or settings whose every calibration and source can be used.
pub fn settings_file(input: &[u8]) {
    let text = String::from_utf8_lossy(input);
    let parsed = match Settings::parse(&text) {
        Ok(parsed) => parsed,
        Err(error) => {
            assert!(error.to_string().len() > 10, "{error}");
            return;
        }
    };
    for planter in &parsed.planters {
        for kilopascals in [0.0, 1.0, 137.9, 1e9] {
            let force = planter.force_at_pressure(kilopascals);
            assert!(force.is_none_or(f64::is_finite), "a force that is no number: {planter:?}");
        }
    }
    for zone in parsed.timezone.iter() {
        if let Err(problem) = Zones::new(Some(zone), parsed.time_formats.clone()) {
            assert!(problem.contains(zone.as_str()), "{problem}");
        }
    }
    for rule in &parsed.sources {
        mapped(rule);
    }
}

fn mapped(rule: &evenstand_settings::SourceRule) {
    match Mapping::new(rule) {
        Ok(mapping) => {
            for file in ["stand_count.csv", "Counts/May 2025.xlsx", "../../etc/passwd", "", "a/b/c/d"] {
                mapping.fits(file);
            }
            for format in [Format::Text, Format::Workbook, Format::TaskData] {
                mapping.keys_without_effect(format);
            }
        }
        Err(problem) => assert!(problem.len() > 10, "{problem}"),
    }
}

/// The first line is the header of a file of every raw table, the others its rows.
pub fn header(input: &[u8]) {
    const KINDS: [&str; 10] = [
        "field",
        "strip",
        "setting_log",
        "soil_note",
        "dig_check",
        "stand_count",
        "spacing",
        "plant",
        "measure",
        "weather",
    ];
    let kind = KINDS[usize::from(input.first().copied().unwrap_or(0)) % KINDS.len()];
    let bytes = input.get(1..).unwrap_or_default();
    read(kind, &Settings::default(), |source, around| read_text(source, bytes, around));
}

/// Each line is a quantity of the command line, and a unit that ends the name of a column.
pub fn quantity(input: &[u8]) {
    for line in String::from_utf8_lossy(input).lines() {
        for read in [length(line), population(line)] {
            match read {
                Ok(value) => assert!(value.is_finite(), "{line}: {value}"),
                Err(problem) => assert!(problem.len() > 10, "{problem}"),
            }
        }
        assert!(pressure(line).is_none_or(f64::is_finite), "{line}");
        for kind in [Kind::Force, Kind::Pressure, Kind::Length, Kind::Speed] {
            kind.split_column(line);
        }
        kinds_of_suffix(line);
    }
}

/// Each line is a time, read in the zone and formats of the settings beside it.
pub fn time(input: &[u8]) {
    let parts = Parts::of(input);
    let settings = settings(&parts.settings());
    let mut table = b"field_id;season;strip_id;emerged;counted_at\n".to_vec();
    let (_, lines) = parts.first();
    for (number, line) in lines.split(|byte| *byte == b'\n').enumerate() {
        table.extend_from_slice(format!("A;2025;{number};3;").as_bytes());
        table.extend_from_slice(line);
        table.push(b'\n');
    }
    read("stand_count", &settings, |source, around| read_text(source, table.as_slice(), around));
}
