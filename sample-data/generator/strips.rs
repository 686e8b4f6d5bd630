//! `field.csv` and the strip lists.

use super::clock::LocalMinute;
use super::emergence::FieldRecord;
use super::scenario::{Client, Role};
use super::tidy::TidyTable;

/// `field.csv`, kept by the consultant for both clients in one file.
pub fn field_table(records: &[FieldRecord]) -> TidyTable {
    let mut table = TidyTable::new(
        "field.csv",
        &[
            "field_id",
            "season",
            "client",
            "farm",
            "crop",
            "hybrid",
            "planted_at",
            "row_spacing_in",
            "seed_rate_per_ac",
            "seed_depth_in",
            "tillage",
            "previous_crop",
            "planter_id",
            "germination_pct",
            "replanted",
        ],
    );
    for record in records {
        let plan = record.plan;
        let planter = record.strips[0].setting.planter();
        table.push([
            plan.field.into(),
            plan.season.to_string(),
            plan.client.name().into(),
            plan.farm.into(),
            "maize".into(),
            if plan.season < 2024 { "H104" } else { "H107" }.into(),
            plan.planted_at().plain(),
            "30".into(),
            "33200".into(),
            if plan.condition.moisture() == "dry" { "2.25" } else { "2" }.into(),
            if plan.condition.covered() { "no_till" } else { "full" }.into(),
            if plan.condition.covered() { "maize" } else { "soybean" }.into(),
            planter.into(),
            "98".into(),
            if plan.role == Role::Replanted { "yes" } else { "no" }.into(),
        ]);
    }
    table
}

/// The strip lists, one a client: feet for one, metres for the other.
pub fn strip_tables(records: &[FieldRecord]) -> Vec<TidyTable> {
    Client::ALL
        .into_iter()
        .map(|client| {
            let length = match client {
                Client::Tamarack => "length_ft",
                Client::Hollis => "length_m",
            };
            let mut table = TidyTable::new(
                format!("strip-{}.csv", client.short()),
                &["field_id", "season", "strip_id", "block", "treatment", length, "rows", "planted_at"],
            );
            for record in records.iter().filter(|r| r.plan.client == client) {
                for strip in &record.strips {
                    table.push([
                        record.plan.field.into(),
                        record.plan.season.to_string(),
                        strip.id.clone(),
                        strip.block.map_or(String::new(), |block| block.to_string()),
                        String::new(),
                        match client {
                            Client::Tamarack => "1320",
                            Client::Hollis => "380",
                        }
                        .into(),
                        match strip.setting.planter() {
                            "north-12" => "12",
                            _ => "8",
                        }
                        .into(),
                        strip.planted_at.map_or(String::new(), LocalMinute::plain),
                    ]);
                }
            }
            table
        })
        .collect()
}
