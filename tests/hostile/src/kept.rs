//! The door of linking: small kept tables with rows that do not fit together.

use evenstand_link::{Kept, SettingLogs, link};
use evenstand_settings::Settings;
use evenstand_tables::rows::{CountRow, DigRow, FieldRow, MeasureRow, SoilRow, SpacingRow, StripSheetRow, WeatherRow};
use evenstand_tables::{Day, Moment};

use crate::choices::Choices;

const FIELDS: [&str; 4] = ["a", "b", "c", ""];
const STRIPS: [&str; 6] = ["1", "2", "3", "4", "5", "6"];
const HOUR: i64 = 3_600_000_000;

/// A time of May 2025 to the hour, none, or one at the end of what a table can hold.
fn time(choices: &mut Choices) -> Option<Moment> {
    match choices.byte() {
        255 => Some(Moment(i64::MAX)),
        254 => Some(Moment(i64::MIN)),
        253 => None,
        hours => Some(Moment(1_746_057_600_000_000 + i64::from(hours) * 3 * HOUR)),
    }
}

fn kept(choices: &mut Choices) -> Kept {
    let (mut kept, mut counts) = (Kept::default(), Vec::new());
    let season = |choices: &mut Choices| if choices.below(16) == 15 { 2024 } else { 2025 };
    while !choices.is_over() && counts.len() + kept.strips.len() + kept.digs.len() + kept.spacing.len() < 200 {
        let (field_id, season) = (choices.name(&FIELDS), season(choices));
        let strip_id = choices.name(&STRIPS);
        match choices.below(8) {
            0 => kept.fields.push(FieldRow {
                field_id,
                season,
                planted_at: time(choices),
                row_spacing_m: choices.number(1.0),
                seed_rate_per_m2: choices.number(12.0),
                seed_spacing_m: choices.number(0.3),
                planter_id: choices.name_or_none(&["p", "q"]),
                ..FieldRow::default()
            }),
            1 => kept.strips.push(StripSheetRow {
                field_id,
                season,
                strip_id,
                block: choices.name_or_none(&["1", "2"]),
                condition: choices.name_or_none(&["wet", "dry"]),
                planted_at: time(choices),
                started_at: time(choices),
                ended_at: time(choices),
                length_m: choices.number(400.0),
                ..StripSheetRow::default()
            }),
            2 => kept.soil.push(SoilRow {
                field_id,
                season,
                strip_id: choices.name_or_none(&STRIPS),
                taken_at: time(choices),
                sand_frac: choices.number(1.0),
                silt_frac: choices.number(1.0),
                clay_frac: choices.number(1.0),
                water_gravimetric_frac: choices.number(0.5),
                plastic_limit_frac: choices.number(0.5),
                residue_cover_frac: choices.number(1.0),
                soil_temp_c: choices.number(20.0),
                crust: Some(choices.below(2) == 0),
                ..SoilRow::default()
            }),
            3 => kept.digs.push(DigRow {
                field_id,
                season,
                strip_id: Some(strip_id),
                dug_at: time(choices),
                trench_shut: choices.name_or_none(&["yes", "no", "partly"]),
                light_at_seed: Some(choices.below(2) == 0),
                dig_effort: Some(i64::from(choices.byte())),
                ..DigRow::default()
            }),
            4 => kept.spacing.push(SpacingRow {
                field_id,
                season,
                strip_id,
                position_m: choices.number(5.0).unwrap_or(0.0),
                ..SpacingRow::default()
            }),
            5 => kept.measures.push(MeasureRow {
                field_id,
                season,
                strip_id,
                name: choices.name(&["yield", "height"]),
                value: choices.number(10.0).unwrap_or(0.0),
                ..MeasureRow::default()
            }),
            6 => kept.weather.push(WeatherRow {
                field_id: Some(field_id),
                season,
                date: Day(20_200 + i32::from(choices.byte())),
                tmin_c: choices.number(20.0),
                tmax_c: choices.number(30.0),
                rain_mm: choices.number(50.0),
                ..WeatherRow::default()
            }),
            _ => counts.push(CountRow {
                field_id,
                season,
                strip_id,
                sample_id: choices.name_or_none(&["x", "y"]),
                row_length_m: choices.number(5.3),
                seeds_sown: choices.number(50.0),
                counted_at: time(choices),
                emerged: i64::from(choices.byte()),
                ..CountRow::default()
            }),
        }
    }
    kept.counts = counts.into();
    kept
}

/// Links such tables: strips once each, and findings with words.
pub fn link_kept(input: &[u8]) {
    let mut choices = Choices::of(input);
    let clock = ["", "clock = \"thermal\"\n"][choices.below(2)];
    let settings = Settings::parse(clock).unwrap_or_default();
    let linked = match link(kept(&mut choices), SettingLogs::default(), &settings) {
        Ok(linked) => linked,
        Err(error) => unreachable!("kept rows that are no table: {error}"),
    };
    let mut keys: Vec<_> = linked.strips.iter().map(|row| (&row.field_id, row.season, &row.strip_id)).collect();
    let all = keys.len();
    keys.sort();
    keys.dedup();
    assert_eq!(keys.len(), all, "a strip twice");
    for finding in &linked.findings {
        assert!(!finding.message.is_empty() && !finding.code.is_empty(), "a finding without words");
    }
}
