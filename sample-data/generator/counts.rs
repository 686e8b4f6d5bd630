//! Stand counts: cumulative plants in every counted place at every inspection, one file a client and season.

use super::emergence::FieldRecord;
use super::scenario::Client;
use super::tidy::TidyTable;

/// The stand count files. One client writes down the length of row and leaves the seeds to the seeding rate; the other
/// counted the seeds it dropped.
pub fn stand_counts(records: &[FieldRecord]) -> Vec<TidyTable> {
    let mut tables = Vec::new();
    for client in Client::ALL {
        let tamarack = client == Client::Tamarack;
        for season in 2022..=2025 {
            let header: &[&str] = if tamarack {
                &["field_id", "season", "strip_id", "sample_id", "row_unit", "row_length_ft", "counted_at", "emerged"]
            } else {
                &["field_id", "season", "strip_id", "sample_id", "row_length_m", "seeds_sown", "counted_at", "emerged"]
            };
            let mut table = TidyTable::new(format!("stand_count-{}-{season}.csv", client.short()), header);
            for record in records.iter().filter(|r| r.plan.client == client && r.plan.season == season) {
                push_field(&mut table, record, tamarack);
            }
            tables.push(table);
        }
    }
    tables
}

/// The counts of one field-season, round by round as they were made.
fn push_field(table: &mut TidyTable, record: &FieldRecord, tamarack: bool) {
    let planted = record.plan.planted_at();
    let rounds = record.strips[0].visits.len();
    for round in 0..rounds {
        for strip in &record.strips {
            let visit = strip.visits[round];
            let hours = (visit.0 - planted.0) as f64 / 60.0;
            for place in &strip.places {
                let emerged = place.emerged_by(hours);
                let (fifth, sixth, time) = if tamarack {
                    (place.row_unit.to_string(), "17.42".into(), visit.plain())
                } else {
                    ("5.31".into(), place.seeds.to_string(), visit.rfc3339(0))
                };
                table.push([
                    record.plan.field.into(),
                    record.plan.season.to_string(),
                    strip.id.clone(),
                    place.id.into(),
                    fifth,
                    sixth,
                    time,
                    emerged.to_string(),
                ]);
            }
        }
    }
}
