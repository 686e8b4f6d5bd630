//! Setting logs: written by hand, one file a client and season, and telemetry, one file a field-season.

use rand::Rng;

use super::emergence::FieldRecord;
use super::growth::noise;
use super::random::{Purpose, stream};
use super::scenario::{Client, Role, Setting};
use super::tidy::TidyTable;

/// Hand-written logs of the field-seasons without telemetry: one row a strip, or one a field where nothing was varied.
pub fn hand_written(records: &[FieldRecord]) -> Vec<TidyTable> {
    let mut tables = Vec::new();
    for client in Client::ALL {
        let (speed, pressure, usual_speed) = match client {
            Client::Tamarack => ("speed_mph", "set_pressure_psi", "4.8"),
            Client::Hollis => ("speed_km_h", "set_pressure_kpa", "7.5"),
        };
        for season in 2022..=2025 {
            let mut table = TidyTable::new(
                format!("setting_log_{season}-{}.csv", client.short()),
                &["field_id", "season", "strip_id", "planter_id", pressure, "closing_position", speed],
            );
            for record in records.iter().filter(|record| {
                let plan = record.plan;
                plan.client == client && plan.season == season && !plan.telemetry
            }) {
                let rows = if record.plan.role == Role::Log { 1 } else { record.strips.len() };
                for strip in &record.strips[..rows] {
                    let (pressure, position) = match strip.setting {
                        Setting::Position(_) => (String::new(), strip.setting.shown()),
                        Setting::Psi(_) | Setting::Kpa(_) => (strip.setting.shown(), String::new()),
                    };
                    table.push([
                        record.plan.field.into(),
                        season.to_string(),
                        if record.plan.role == Role::Log { String::new() } else { strip.id.clone() },
                        strip.setting.planter().into(),
                        pressure,
                        position,
                        usual_speed.into(),
                    ]);
                }
            }
            if !table.rows.is_empty() {
                tables.push(table);
            }
        }
    }
    tables
}

/// Telemetry of planter `north-12`, a row every five seconds: pressure builds up while the planter starts, holds with some
/// noise along the strip and is let off at the headland.
pub fn telemetry(records: &[FieldRecord]) -> Vec<TidyTable> {
    let mut tables = Vec::new();
    for record in records.iter().filter(|record| record.plan.telemetry) {
        let plan = record.plan;
        let mut generator = stream(Purpose::Telemetry, record.index);
        let mut table = TidyTable::new(
            format!("setting_log-telemetry-{}-{}.csv", plan.field.replace('-', "_"), plan.season),
            &["field_id", "season", "strip_id", "time", "speed_mph", "set_pressure_psi", "actual_pressure_psi"],
        );
        let mut second = 0_i64;
        for strip in &record.strips {
            let Setting::Psi(set) = strip.setting else {
                continue;
            };
            let start_rows = generator.random_range(2..5);
            let strip_rows = generator.random_range(36..42);
            let turn_rows = generator.random_range(2..5);
            let mut drift = 0.0;
            for row in 0..start_rows + strip_rows + turn_rows {
                drift = 0.8 * drift + 0.5 * noise(&mut generator);
                let running = row >= start_rows && row < start_rows + strip_rows;
                let (speed, actual) = if running {
                    let speed = 4.8 + 0.12 * noise(&mut generator);
                    let wobble = 0.4 * noise(&mut generator);
                    (speed, set - strip.leak_psi + drift + wobble)
                } else if row < start_rows {
                    let share = (row + 1) as f64 / (start_rows + 1) as f64;
                    (1.6 * share, set * share)
                } else {
                    (1.5, 3.0 + generator.random::<f64>())
                };
                table.push([
                    plan.field.into(),
                    plan.season.to_string(),
                    strip.id.clone(),
                    plan.planted_at().rfc3339(second),
                    format!("{speed:.1}"),
                    format!("{set}"),
                    format!("{:.1}", actual.max(0.0)),
                ]);
                second += 5;
            }
            // The turn itself is not logged.
            second += generator.random_range(30..60);
        }
        tables.push(table);
    }
    tables
}
