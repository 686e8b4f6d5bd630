//! Which rows hold a pressure where others hold a force.
//!
//! A planter whose closing system nobody weighed is analysed in its own pressure, one nominal newton to the kilopascal. A
//! column in newtons then holds kilopascals in the rows of that planter, and nobody may read them as forces.

use std::collections::{BTreeMap, BTreeSet};

use evenstand_tables::{Table, TablesError};

use crate::values::{texts, wholes};

/// Planters, strips and field-seasons without a known force.
#[derive(Debug, Default)]
pub(crate) struct PressureRows {
    planters: BTreeSet<String>,
    strips: BTreeMap<(String, i64, String), bool>,
    field_seasons: BTreeSet<(String, i64)>,
}

impl PressureRows {
    /// Reads it off the tables `planters` and `strips`, where they are there.
    pub fn of(tables: &[Table]) -> Result<Self, TablesError> {
        let mut found = Self::default();
        let named = |name: &'static str| tables.iter().filter(move |table| table.schema().name == name);
        for table in named("planters") {
            let calibrated: Vec<Option<bool>> = evenstand_tables::Cell::read(table, "calibrated")?;
            let ids = texts(table, "planter_id")?.unwrap_or_default();
            let without = ids.into_iter().zip(calibrated).filter(|(_, calibrated)| *calibrated == Some(false));
            found.planters.extend(without.filter_map(|(id, _)| id));
        }
        for table in named("strips") {
            let keys = keys(table)?;
            let source = texts(table, "force_source")?.unwrap_or_default();
            for (key, source) in keys.into_iter().zip(source) {
                let nominal = match source.as_deref() {
                    Some(source) => source == "nominal",
                    None => key.planter.as_ref().is_some_and(|planter| found.planters.contains(planter)),
                };
                let (Some(field), Some(season), Some(strip)) = (key.field, key.season, key.strip) else { continue };
                if nominal {
                    found.field_seasons.insert((field.clone(), season));
                }
                found.strips.insert((field, season, strip), nominal);
            }
        }
        Ok(found)
    }

    /// Whether a planter's forces are pressures.
    pub fn planter(&self, planter: Option<&str>) -> bool {
        planter.is_some_and(|planter| self.planters.contains(planter))
    }

    /// Row by row, whether the forces of a table are pressures.
    ///
    /// A strip knows best; then the planter that the row names; then, where a table has no planters, the field-season. A row of
    /// a table of planters that names none pools planters, and only those with a known force are pooled.
    pub fn rows(&self, table: &Table) -> Result<Vec<bool>, TablesError> {
        let has_planters = table.schema().column("planter_id").is_some();
        let rows = keys(table)?.into_iter().map(|key| match key {
            Key { field: Some(field), season: Some(season), strip: Some(strip), .. }
                if self.strips.contains_key(&(field.clone(), season, strip.clone())) =>
            {
                self.strips.get(&(field, season, strip)) == Some(&true)
            }
            key if key.planter.is_some() => self.planter(key.planter.as_deref()),
            Key { field: Some(field), season: Some(season), .. } if !has_planters => {
                self.field_seasons.contains(&(field, season))
            }
            _ => false,
        });
        Ok(rows.collect())
    }
}

struct Key {
    planter: Option<String>,
    field: Option<String>,
    season: Option<i64>,
    strip: Option<String>,
}

/// What each row is about, as far as the table says.
fn keys(table: &Table) -> Result<Vec<Key>, TablesError> {
    let rows = table.len();
    let mut planter = texts(table, "planter_id")?.unwrap_or_else(|| vec![None; rows]).into_iter();
    let mut field = texts(table, "field_id")?.unwrap_or_else(|| vec![None; rows]).into_iter();
    let mut season = wholes(table, "season")?.unwrap_or_else(|| vec![None; rows]).into_iter();
    let mut strip = texts(table, "strip_id")?.unwrap_or_else(|| vec![None; rows]).into_iter();
    Ok((0..rows)
        .map(|_| Key {
            planter: planter.next().flatten(),
            field: field.next().flatten(),
            season: season.next().flatten(),
            strip: strip.next().flatten(),
        })
        .collect())
}
