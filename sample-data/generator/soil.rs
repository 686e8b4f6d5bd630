//! Soil notes and dig checks.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::clock::LocalMinute;
use super::digging::dig;
use super::emergence::FieldRecord;
use super::growth::noise;
use super::random::{Purpose, stream};
use super::scenario::Client;
use super::tidy::TidyTable;

/// What a soil note is about and says, before units.
struct Note {
    strip: String,
    block: String,
    taken_at: LocalMinute,
    depth_in: f64,
    moisture: &'static str,
    /// Gravimetric water, percent, where somebody weighed a sample as well.
    water_pct: Option<f64>,
    residue_pct: Option<i64>,
    text: &'static str,
}

/// Soil notes, one file a client: inches and Fahrenheit for one, centimetres and Celsius for the other.
pub fn soil_notes(records: &[FieldRecord]) -> Vec<TidyTable> {
    let mut tables = Vec::new();
    for client in Client::ALL {
        let tamarack = client == Client::Tamarack;
        let (depth, temperature) = if tamarack { ("depth_in", "soil_temp_f") } else { ("depth_cm", "soil_temp_c") };
        let mut table = TidyTable::new(
            format!("soil_note-{}.csv", client.short()),
            &[
                "field_id",
                "season",
                "strip_id",
                "block",
                "taken_at",
                depth,
                "texture",
                "moisture_feel",
                "water_gravimetric_pct",
                "residue_cover_pct",
                temperature,
                "note",
            ],
        );
        for record in records.iter().filter(|r| r.plan.client == client) {
            let mut generator = stream(Purpose::Soil, record.index);
            for note in notes(record, &mut generator) {
                let temp_f = 57.0 + 2.0 * noise(&mut generator);
                table.push([
                    record.plan.field.into(),
                    record.plan.season.to_string(),
                    note.strip,
                    note.block,
                    note.taken_at.plain(),
                    if tamarack { format!("{}", note.depth_in) } else { format!("{:.0}", note.depth_in * 2.54) },
                    record.plan.texture.into(),
                    note.moisture.into(),
                    note.water_pct.map_or(String::new(), |water| format!("{water:.1}")),
                    note.residue_pct.map_or(String::new(), |cover| cover.to_string()),
                    if tamarack { format!("{temp_f:.0}") } else { format!("{:.1}", (temp_f - 32.0) / 1.8) },
                    note.text.into(),
                ]);
            }
        }
        tables.push(table);
    }
    tables
}

/// The notes of one field-season: of the field, of its blocks in later seasons, and some that are odd on purpose.
fn notes(record: &FieldRecord, generator: &mut ChaCha8Rng) -> Vec<Note> {
    let plan = record.plan;
    let condition = plan.condition;
    let morning = plan.planted_at().plus(-50);
    let cover = |generator: &mut ChaCha8Rng| {
        if condition.covered() { generator.random_range(8..15) * 5 } else { generator.random_range(1..4) * 5 }
    };
    let mut note = |strip: &str, block: Option<usize>| Note {
        strip: strip.into(),
        block: block.map_or(String::new(), |block| block.to_string()),
        taken_at: morning,
        depth_in: 2.0,
        moisture: condition.moisture(),
        // In keeping with the feel: no more than the wilting point of the soil where dry, near its field capacity where moist.
        water_pct: (plan.client == Client::Tamarack && plan.season >= 2024).then(|| {
            let usual = if condition.moisture() == "dry" { 9.5 } else { 21.0 };
            usual + 0.8 * noise(generator)
        }),
        residue_pct: Some(cover(generator)),
        text: "",
    };

    // Moisture was never noted for the last block of this field.
    if plan.is("home-south", 2025) {
        return (1..=plan.repeats)
            .map(|block| {
                let full = note("", Some(block));
                if block < plan.repeats {
                    return full;
                }
                Note { moisture: "", text: "ran out of daylight", ..full }
            })
            .collect();
    }
    let mut notes = vec![note("", None)];
    if plan.is_trial() && plan.season >= 2024 {
        notes.extend((1..=plan.repeats).map(|block| note("", Some(block))));
    }
    // An older note and a deep one, which say something else and must not count.
    if plan.is("quarry-east", 2024) {
        notes.push(Note {
            taken_at: morning.plus(-12 * 24 * 60),
            moisture: "wet",
            water_pct: None,
            text: "before the dry spell",
            ..note("", None)
        });
        notes.push(Note {
            depth_in: 12.0,
            moisture: "wet",
            water_pct: None,
            residue_pct: None,
            text: "below the seed zone",
            ..note("", None)
        });
    }
    // This strip runs from a moist hollow over a dry knoll.
    if plan.is("home-north", 2024) {
        notes.push(Note { text: "west half", ..note("S07", None) });
        notes.push(Note { moisture: "dry", text: "east half over the knoll", ..note("S07", None) });
    }
    notes
}

/// Dig checks, one file a client: two places a strip in the fields where somebody dug.
pub fn dig_checks(records: &[FieldRecord]) -> Vec<TidyTable> {
    let mut tables = Vec::new();
    for client in Client::ALL {
        let tamarack = client == Client::Tamarack;
        let mut table = TidyTable::new(
            format!("dig_check-{}.csv", client.short()),
            &[
                "field_id",
                "season",
                "strip_id",
                "dug_at",
                "row_unit",
                "trench_shut",
                "light_at_seed",
                "air_gap",
                "firm_all_round",
                "press_mark",
                "dig_effort",
                "soil_thrown",
                if tamarack { "seed_depth_in" } else { "seed_depth_cm" },
            ],
        );
        for record in records.iter().filter(|r| r.plan.client == client && r.plan.dug) {
            let mut generator = stream(Purpose::Digs, record.index);
            let truth = record.plan.condition.truth();
            let shift_n = record.effects.best_force_n - truth.best_force_n;
            for (order, strip) in record.strips.iter().enumerate() {
                for row_unit in [3, 6] {
                    let dug_at = record.plan.planted_at().plus(20 + order as i64 * 8);
                    let finding = dig(&mut generator, &truth, shift_n, strip.force_n);
                    let depth_in = 2.0 + 0.12 * noise(&mut generator);
                    let [shut, light, air, firm, mark, effort, thrown] = finding;
                    table.push([
                        record.plan.field.into(),
                        record.plan.season.to_string(),
                        strip.id.clone(),
                        dug_at.plain(),
                        row_unit.to_string(),
                        shut.into(),
                        light.into(),
                        air.into(),
                        firm.into(),
                        mark.into(),
                        effort.into(),
                        thrown.into(),
                        if tamarack { format!("{depth_in:.2}") } else { format!("{:.1}", depth_in * 2.54) },
                    ]);
                }
            }
        }
        tables.push(table);
    }
    tables
}
