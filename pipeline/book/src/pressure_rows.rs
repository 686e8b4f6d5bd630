//! Which rows hold a pressure where others hold a force.
//!
//! A planter whose closing system nobody weighed is analysed in its own pressure, one nominal newton to the kilopascal. A
//! column in newtons then holds kilopascals in the rows of that planter, and nobody may read them as forces.

use std::collections::{BTreeSet, HashMap, HashSet};

use arrow::array::{Array, Int64Array};
use evenstand_tables::{Cell, Table, TablesError};

use crate::values::{Texts, texts, wholes};

/// Planters, strips and field-seasons without a known force.
#[derive(Debug, Default)]
pub(crate) struct PressureRows {
    planters: BTreeSet<String>,
    /// Of every field-season its strips, and whether theirs is unknown. Only asked, never gone through: their order tells nothing.
    strips: HashMap<(String, i64), HashMap<String, bool>>,
    field_seasons: HashSet<(String, i64)>,
}

impl PressureRows {
    /// Reads it off the tables `planters` and `strips`, where they are there.
    pub fn of(planters: Option<&Table>, strips: Option<&Table>) -> Result<Self, TablesError> {
        let mut found = Self::default();
        if let Some(table) = planters {
            let calibrated: Vec<Option<bool>> = Cell::read(table, "calibrated")?;
            let ids = texts(table, "planter_id")?;
            let known = |row| ids.as_ref().and_then(|ids| ids.at(row)).map(str::to_owned);
            let without = (0..).zip(calibrated).filter(|(_, calibrated)| *calibrated == Some(false));
            found.planters.extend(without.filter_map(|(row, _)| known(row)));
        }
        if let Some(table) = strips {
            let keys = Keys::of(table)?;
            let source = texts(table, "force_source")?;
            for row in 0..table.len() {
                let nominal = match source.as_ref().and_then(|source| source.at(row)) {
                    Some(source) => source == "nominal",
                    None => found.planter(keys.planter(row)),
                };
                let (Some((field, season)), Some(strip)) = (keys.field_season(row), keys.strip(row)) else { continue };
                let field_season = (field.to_owned(), season);
                if nominal {
                    found.field_seasons.insert(field_season.clone());
                }
                found.strips.entry(field_season).or_default().insert(strip.to_owned(), nominal);
            }
        }
        if found.all_known() {
            found.strips = HashMap::new();
        }
        Ok(found)
    }

    fn all_known(&self) -> bool {
        self.planters.is_empty() && self.field_seasons.is_empty()
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
        if self.all_known() {
            return Ok(vec![false; table.len()]);
        }
        let keys = Keys::of(table)?;
        // Rows of one field-season mostly stand together: what is known of it is looked up once.
        let mut last: Option<(&str, i64, Option<&HashMap<String, bool>>, bool)> = None;
        let rows = (0..table.len()).map(|row| {
            let mut of_field_season = None;
            if let Some((field, season)) = keys.field_season(row) {
                let known = last.filter(|known| (known.0, known.1) == (field, season)).unwrap_or_else(|| {
                    let key = (field.to_owned(), season);
                    (field, season, self.strips.get(&key), self.field_seasons.contains(&key))
                });
                last = Some(known);
                of_field_season = Some(known);
            }
            let strip = of_field_season.and_then(|(_, _, strips, _)| strips?.get(keys.strip(row)?));
            match (strip, keys.planter(row)) {
                (Some(nominal), _) => *nominal,
                (None, Some(planter)) => self.planter(Some(planter)),
                (None, None) => keys.planter.is_none() && of_field_season.is_some_and(|known| known.3),
            }
        });
        Ok(rows.collect())
    }
}

/// What each row is about, as far as the table says.
struct Keys {
    planter: Option<Texts>,
    field: Option<Texts>,
    season: Option<Int64Array>,
    strip: Option<Texts>,
}

impl Keys {
    fn of(table: &Table) -> Result<Self, TablesError> {
        Ok(Self {
            planter: texts(table, "planter_id")?,
            field: texts(table, "field_id")?,
            season: wholes(table, "season")?,
            strip: texts(table, "strip_id")?,
        })
    }

    fn planter(&self, row: usize) -> Option<&str> {
        self.planter.as_ref()?.at(row)
    }

    fn strip(&self, row: usize) -> Option<&str> {
        self.strip.as_ref()?.at(row)
    }

    fn field_season(&self, row: usize) -> Option<(&str, i64)> {
        let season = self.season.as_ref()?;
        Some((self.field.as_ref()?.at(row)?, season.is_valid(row).then(|| season.value(row))?))
    }
}
